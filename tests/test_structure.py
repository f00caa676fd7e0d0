"""Return conductors, chokes and the joined structure."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from tautwire.model.errors import InputError
from tautwire.model.wires.attachments import Choke, CoaxShield, Counterpoise
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.structure import Conductor, Load, Structure, WireType, check, leg_distance, structure

WIRE = WireType()
SLOPER = sloper(length=20, slope=math.radians(30))
coordinates = st.floats(-5, 5)
points = st.tuples(coordinates, coordinates, coordinates).map(np.array)


def refusal(*returns, nearby=(), layout=SLOPER, wire=WIRE):
    with pytest.raises(InputError) as caught:
        structure(layout, wire, returns, nearby)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def near(*corners, wire=WIRE):
    return Conductor(corners, wire, "nearby")


@given(points, points, points, points)
def test_leg_distance_against_scipy_bounded_least_squares(p, q, u, v):
    """scipy.optimize.lsq_linear: |p + s (q - p) - u - t (v - u)| least over 0 <= s, t <= 1."""
    if min(math.dist(p, q), math.dist(u, v)) < 0.1:
        return
    found = lsq_linear(np.column_stack([q - p, u - v]), u - p, bounds=(0, 1), method="bvls")
    assert leg_distance(p, q, u, v) == pytest.approx(math.sqrt(2 * found.cost), abs=1e-6)


@given(st.floats(0.05, 30), st.floats(0.01, 3), st.floats(0.01, 3))
def test_drop_and_run_keeps_its_length_and_stays_between_feed_and_run(length, feed, height):
    if height - feed > length:
        with pytest.raises(InputError, match=r"coax\.height = .* above the feed"):
            CoaxShield(length, height=height).conductor((0.0, 0.0, feed), 0.0)
        return
    route = CoaxShield(length, height=height).conductor((0.0, 0.0, feed), 0.0)
    assert route.length == pytest.approx(length)
    z = [p[2] for p in route.points]
    assert min(feed, height) - 1e-9 <= min(z) and max(z) <= max(feed, height) + 1e-9
    assert route.points[-1][0] > 0 and abs(route.points[-1][1]) < 1e-9  # a quarter turn from a wire going north


@given(st.floats(1.5, 30), st.floats(0.01, 2))
def test_sloping_counterpoise_ends_at_its_height_opposite_to_the_wire(length, end):
    route = Counterpoise(length, end_height=end).conductor((0.0, 0.0, 1.0), 0.0)
    assert route.length == pytest.approx(length)
    assert route.points[-1][2] == end and route.points[-1][1] < 0


def test_counterpoise_is_level_unless_told():
    assert Counterpoise(2.0).conductor((0.0, 0.0, 1.2), math.pi).points[1] == pytest.approx((0, 2, 1.2))
    told = refusal(Counterpoise(0.5, end_height=0.1))
    assert "counterpoise.end_height" in told and "1 m" in told


def test_parallel_resonance_and_limits_of_a_choke():
    """Parallel RLC: R alone at 1/(2 pi sqrt(LC)), inductive below, capacitive above (circuit theory)."""
    choke = Choke(2.0, resistance=4000.0, inductance=20e-6, capacitance=5e-12)
    f0 = 1 / (2 * math.pi * math.sqrt(20e-6 * 5e-12))
    z = choke.impedance([f0 / 2, f0, 2 * f0])
    assert z[1] == pytest.approx(4000, rel=1e-9)
    assert z[0].imag > 0 > z[2].imag
    assert Choke(0, inductance=1e-6).impedance(1e6) == pytest.approx(2j * math.pi)
    hash(choke)


def test_choke_table_interpolates_and_refuses_outside():
    choke = Choke(1.0, table=((1e6, 100 + 200j), (3e6, 300 + 0j)))
    assert choke.impedance(np.array([2e6]))[0] == pytest.approx(200 + 100j)
    with pytest.raises(InputError, match="1 to 3 MHz"):
        choke.impedance(4e6)
    for bad in ({}, {"resistance": -1.0}, {"resistance": 5.0, "table": choke.table}, {"table": ((2e6, 1j),)}):
        with pytest.raises(InputError):
            Choke(1.0, **bad)
    with pytest.raises(InputError, match="choke.position"):
        CoaxShield(5, chokes=(Choke(6.0, 5000.0),))


def test_assembled_structure():
    choke = Choke(3.0, 5000.0)
    built = structure(SLOPER, WIRE, [Counterpoise(2, height=0.3), CoaxShield(5, chokes=(choke,))])
    assert [c.role for c in built.conductors] == ["wire", "counterpoise", "coax"]
    assert built.loads == (Load(2, 3.0, choke),)
    assert built.loads[0].impedance(7e6) == pytest.approx(5000)
    assert all(c.points[0] == built.feed for c in built.conductors)
    assert built.lengths == pytest.approx({"wire": 20, "counterpoise": 2, "coax": 5})
    assert [name for name, _ in built.to_points()] == ["wire", "counterpoise", "coax"]
    hash(built)


def test_no_return_conductor_is_refused():
    assert "return conductor" in refusal()


def test_two_returns_in_one_direction_are_refused():
    told = refusal(Counterpoise(2.0), Counterpoise(3.0))
    assert "counterpoise 1 leg 1 and counterpoise 2 leg 1" in told and "different bearings" in told


@pytest.mark.parametrize(
    "returns",
    [[Counterpoise(2.0, height=0.05), CoaxShield(5.0)], [Counterpoise(5.0, bearing=b) for b in (2.0, 3.0, 4.0)]],
)
def test_several_returns_with_a_drop_each_stand_apart(returns):
    structure(SLOPER, WIRE, returns)


def test_accidental_crossing_names_both_and_the_distance():
    fence = near((-1.0, 2.0, 0.023), (3.0, -2.0, 0.023))
    told = refusal(CoaxShield(5.0), nearby=[fence])
    assert "coax leg 2 and nearby leg 1 = 0.003 m apart" in told
    structure(SLOPER, WIRE, [CoaxShield(5.0)], [near((-1.0, 2.0, 0.05), (3.0, -2.0, 0.05))])


@given(st.floats(0.1, 0.9), st.floats(0.0, 0.009))
def test_any_touch_along_the_wire_is_refused(part, gap):
    x, y, z = (a + part * (b - a) for a, b in zip(*SLOPER.points, strict=True))
    assert "touch or cross" in refusal(Counterpoise(2.0), nearby=[near((x + gap, y, z), (x + 4.0, y, z))])


@pytest.mark.parametrize(
    ("nearby", "words"),
    [
        (near((5.0, 5.0, 0.0004), (6.0, 5.0, 1.0)), "0.5 mm or more above soil"),
        (near((5.0, 5.0, 0.02), (6.0, 5.0, 0.02), wire=WireType(0.05)), "25 mm or more above soil, its outer radius"),
        (near((5.0, 5.0, 1.0), (5.0, 5.0, 1.001)), "of straight wire between corners"),
        (near((5.0, 5.0, 1.0), (5.0, 5.0, 1.0)), "of straight wire between corners"),
        (near((5.0, 5.0, 1.0), (9.0, 5.0, 1.0), (6.0, 5.05, 1.0)), "degrees apart"),
    ],
)
def test_bad_conductors_are_refused(nearby, words):
    assert words in refusal(Counterpoise(2.0), nearby=[nearby])


def test_malformed_conductors_and_loads_are_refused():
    with pytest.raises(InputError, match="role"):
        Conductor(((0, 0, 1), (0, 1, 1)), WIRE, "mast")
    with pytest.raises(InputError, match="finite"):
        Conductor(((0, 0, 1), (0, math.nan, 1)), WIRE, "nearby")
    wire, other = Conductor(((0, 0, 1), (0, 5, 1)), WIRE, "wire"), Conductor(((0, 0, 1), (0, -5, 1)), WIRE, "coax")
    with pytest.raises(InputError, match="coax.choke"):
        check(Structure((wire, other), (Load(1, 6.0, Choke(6.0, 50.0)),)))
    away = Conductor(((0, 0, 2), (0, -5, 1)), WIRE, "coax")
    with pytest.raises(InputError, match="starts at the feed"):
        check(Structure((wire, away)))


def test_free_space_needs_no_height():
    wire, other = Conductor(((0, 0, 0), (0, 5, 0)), WIRE, "wire"), Conductor(((0, 0, 0), (0, -5, 0)), WIRE, "coax")
    check(Structure((wire, other)), over_soil=False)
    with pytest.raises(InputError):
        check(Structure((wire, other)))
