"""Turns to metres on a reel, and the rough electrical effect of wound wire."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants
from scipy.special import ellipe, ellipk

from tautwire.model.errors import InputError
from tautwire.model.operating.reel import Reel

HAND = Reel(20.1, core_diameter=0.12, wire_diameter=1.5e-3, width=0.03)

reels = st.builds(
    Reel,
    wire_length=st.floats(1, 60),
    core_diameter=st.floats(0.02, 0.4),
    wire_diameter=st.floats(5e-4, 4e-3),
    width=st.floats(4.1e-3, 0.1),
    stacking=st.floats(0.8, 1.5),
) | st.builds(Reel, wire_length=st.floats(1, 60), turn_length=st.floats(0.05, 1))


def test_first_layer_is_plain_circles() -> None:
    assert HAND.turns_per_layer == 20
    assert HAND.length_wound(20) == pytest.approx(20 * math.pi * 0.1215)
    assert HAND.length_wound(21) == pytest.approx(20 * math.pi * 0.1215 + math.pi * 0.1245)


def test_length_is_close_to_a_tight_spiral_of_wire() -> None:
    """One turn a layer is a flat coil: length = pi (D_outer^2 - D_inner^2)/(4 pitch), the area over the pitch."""
    flat = Reel(60, core_diameter=0.1, wire_diameter=2e-3, width=2e-3)
    turns = 60
    outer = 0.1 + 2 * turns * 2e-3
    assert flat.length_wound(turns) == pytest.approx(math.pi * (outer**2 - 0.1**2) / (4 * 2e-3), rel=1e-9)


@given(reels)
def test_turns_and_lengths_are_inverse_and_rising(reel: Reel) -> None:
    turns = np.linspace(0, reel.turns, 41)
    out = reel.length_out(turns)
    assert np.all(np.diff(out) > 0)
    assert out[0] == pytest.approx(0, abs=1e-9) and out[-1] == pytest.approx(reel.wire_length)
    np.testing.assert_allclose(reel.turns_out(out), turns, atol=1e-8 * reel.turns)
    np.testing.assert_allclose(reel.length_out(turns) + reel.length_wound(reel.turns - turns), reel.wire_length)


@given(reels, st.floats(0, 1))
def test_turns_get_shorter_as_wire_pays_out_and_match_the_slope(reel: Reel, part: float) -> None:
    each = reel.length_per_turn(np.linspace(0, reel.turns, 50))
    assert np.all(np.diff(each) <= 1e-12)
    turns = part * reel.turns
    step = 1e-6 * reel.turns
    near = np.clip([turns - step, turns + step], 0, reel.turns)
    slope = np.diff(reel.length_out(near)) / np.diff(near)
    assert reel.length_per_turn(near[1]) - 1e-5 <= slope <= reel.length_per_turn(near[0]) + 1e-5


def test_measured_turn_wins() -> None:
    reel = Reel(20, turn_length=0.4, core_diameter=0.12, wire_diameter=1.5e-3, width=0.03)
    assert reel.turns == pytest.approx(50)
    assert reel.length_out(10) == pytest.approx(4)
    assert reel.length_per_turn([1, 2]) == pytest.approx([0.4, 0.4])


@pytest.mark.parametrize(
    "sizes",
    [
        {"wire_length": 0, "turn_length": 0.4},
        {"wire_length": math.nan, "turn_length": 0.4},
        {"wire_length": 20},
        {"wire_length": 20, "core_diameter": 0.1, "width": 0.02},
        {"wire_length": 20, "turn_length": -1},
        {"wire_length": 20, "turn_length": math.inf},
        {"wire_length": 20, "core_diameter": 0.1, "wire_diameter": 2e-3, "width": 1e-3},
        {"wire_length": 20, "core_diameter": -0.1, "wire_diameter": 2e-3, "width": 0.02},
        {"wire_length": 20, "core_diameter": 0.1, "wire_diameter": math.nan, "width": 0.02},
        {"wire_length": 20, "turn_length": 0.4, "stacking": 0},
    ],
)
def test_impossible_reels_are_refused(sizes: dict[str, float]) -> None:
    with pytest.raises(InputError, match="reel"):
        Reel(**sizes)


def test_more_than_the_reel_holds_is_refused() -> None:
    for ask in (HAND.length_out, HAND.turns_out, HAND.length_wound, HAND.length_per_turn):
        for bad in (-1, 1e3, math.nan):
            with pytest.raises(InputError, match="what the reel holds"):
                ask(bad)
    with pytest.raises(InputError, match="core_diameter"):
        Reel(20, turn_length=0.4).stray_inductance(3)


def loop_inductance(reel: Reel, turns: int) -> float:
    """Sum of self and mutual inductances of coaxial circles, Maxwell (1873), art. 701, by elliptic integrals.

    M = mu0 sqrt(a b) ((2/k - k) K - (2/k) E); a loop's self inductance mu0 a (ln(8 a/r) - 2) with surface current.
    """
    count, d = reel.turns_per_layer, reel.wire_diameter
    n = np.arange(turns)
    a, z = reel.layer_diameter(n // count + 1) / 2, (n % count) * d
    aa, bb = np.meshgrid(a, a)
    m = 4 * aa * bb / ((aa + bb) ** 2 + (z[:, None] - z[None, :]) ** 2)
    np.fill_diagonal(m, 0.5)
    k = np.sqrt(m)
    mutual = constants.mu_0 * np.sqrt(aa * bb) * ((2 / k - k) * ellipk(m) - 2 / k * ellipe(m))
    np.fill_diagonal(mutual, constants.mu_0 * a * (np.log(16 * a / d) - 2))
    return float(mutual.sum())


@pytest.mark.parametrize("turns", [5, 10, 20, 40, 50])
def test_stray_inductance_against_maxwells_loops(turns: int) -> None:
    assert HAND.stray_inductance(turns) == pytest.approx(loop_inductance(HAND, turns), rel=0.06)


def test_lump_capacitance_against_a_disk_and_a_sphere() -> None:
    """Disk: 8 eps0 a (exact). Convex body: near the sphere of equal area (Chow and Yovanovich 1982, from memory)."""
    plate = Reel(20, core_diameter=0.4, wire_diameter=1e-4, width=1e-4)
    assert plate.lump_capacitance(1) == pytest.approx(8 * constants.epsilon_0 * 0.2, rel=0.02)
    drum = Reel(60, core_diameter=0.06, wire_diameter=1e-3, width=0.06)
    radius = 0.031
    sphere = math.sqrt((2 * math.pi * radius**2 + 2 * math.pi * radius * 0.06) / (4 * math.pi))
    assert drum.lump_capacitance(60) == pytest.approx(4 * math.pi * constants.epsilon_0 * sphere, rel=0.05)


def test_stray_capacitance_against_medhursts_table() -> None:
    """Medhurst (1947), H in pF/cm of diameter, from memory: 0.46 at l/D = 1, 0.50 at l/D = 2 within 5 %."""
    for ratio, factor in ((1.0, 0.46), (2.0, 0.50)):
        coil = Reel(100, core_diameter=0.099, wire_diameter=1e-3, width=0.1 * ratio)
        turns = coil.turns_per_layer
        assert coil.stray_capacitance(turns) == pytest.approx(factor * 10e-12, rel=0.05)


def test_nothing_wound_has_no_effect() -> None:
    assert HAND.stray_inductance(0) == HAND.stray_capacitance(0) == HAND.lump_capacitance(0) == 0
    at = [HAND.stray_inductance(n) for n in range(1, 50)]
    assert np.all(np.diff(at) > 0)


def test_two_counts_give_the_outermost_turn_and_how_turns_shrink() -> None:
    """Exact for turns that shrink evenly; near a wound reel's, where one count is off by half a metre."""
    n = np.array([8.0, 40.0])
    reel = Reel.of_counts(20.0, n, 0.42 * n - 0.0015 * n**2 / 2)
    assert reel.turn_length == pytest.approx(0.42) and reel.shrink == pytest.approx(0.0015)
    np.testing.assert_allclose(reel.length_out([0, 8, 40]), [0, 3.312, 15.6], atol=1e-4)
    assert reel.length_per_turn(10) == pytest.approx(0.405)
    wound = Reel(20.1, core_diameter=0.06, wire_diameter=1.5e-3, width=0.02)
    n = np.array([10.0, 0.8 * wound.turns])
    two = Reel.of_counts(20.1, n, wound.length_out(n))
    one = Reel.of_counts(20.1, n[:1], wound.length_out(n[:1]))
    at = 0.6 * wound.turns
    assert abs(two.length_out(at) - wound.length_out(at)) < 0.2 * wound.length_per_turn(at)
    assert abs(one.length_out(at) - wound.length_out(at)) > 0.5


def test_inches_of_a_few_turns_are_a_turn() -> None:
    assert Reel.of_counts(20.0, [8], [16 * 0.0254]).turn_length == pytest.approx(2 * 0.0254)


@pytest.mark.parametrize(("turns", "lengths"), [([8, 8], [3, 4]), ([8, 40], [4, 3]), ([], []), ([8], [30]), ([0], [1])])
def test_counts_that_cannot_be_are_refused(turns: list[float], lengths: list[float]) -> None:
    with pytest.raises(InputError, match=r"reel\.counted"):
        Reel.of_counts(20.0, turns, lengths)
