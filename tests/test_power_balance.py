"""Power balance: what enters the wire is found again in sky, soil, wire and choke."""

import math
from dataclasses import replace

import numpy as np
import pytest
from example_wires import LEVEL, UPRIGHT, WAVE, F, dipole, even, portable
from scipy.integrate import quad

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.coax import coax_named
from tautwire.model.feed.transformer import PORTABLE_49_TO_1
from tautwire.model.fields.far_field import intensity, radiated, wave_number
from tautwire.model.fields.power_balance import downward, power_balance, power_chain, soil_power
from tautwire.model.soil.ground import FREE_SPACE, GROUNDS, PERFECT
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import Choke, CoaxShield, Counterpoise
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.structure import WireType, structure

CONSERVED = "conservation of power"


def end_fed(height, choke=None, coax=0.0):
    """20.1 m of wire sloping up from 1.2 m over a counterpoise whose end is at `height`, m."""
    returns = [Counterpoise(2.0, end_height=height)]
    if coax:
        returns.append(CoaxShield(coax, chokes=(choke,) if choke else ()))
    layout = sloper(length=20.1, slope=math.radians(30), feed_height=1.2)
    return structure(layout, WireType(8e-4), returns)


@pytest.mark.validation
@pytest.mark.parametrize(
    "name", ["free space", "perfect ground", *list(GROUNDS)[2:6], "average soil", "very poor soil"]
)
@pytest.mark.parametrize("height", [2.0, 0.3, 0.05])
def test_what_enters_is_found_again(check, remember, name, height):
    """Sky from the far field, soil from the field in it: neither knows the impedance matrix."""
    wires = end_fed(height)
    balance = power_balance(Solver(wires, GROUNDS[name], remember=remember).solve(F), wires)
    check(f"end-fed wire, {name}, counterpoise end at {height} m", CONSERVED, 0, balance.error, abs=0.01)
    assert balance.sky + balance.soil + balance.wire + balance.loads == pytest.approx(1)
    assert (balance.soil > 0.05) == (name not in ("free space", "perfect ground"))


def reflected(n2, height, upright):
    """R/R0 - 1 of a short dipole, `height` waves up: the reflected spectrum integrated over u0 from j by 0 to infinity.

    In lengths of 1/k; l^2 = 1 + u0^2, l dl = u0 du0.
    """

    def at(u0):
        u1 = np.sqrt(u0 * u0 + 1 - n2 + 0j)
        u1 = u1 if u1.real >= 0 else -u1
        rtm, rte = (n2 * u0 - u1) / (n2 * u0 + u1), (u0 - u1) / (u0 + u1)
        kernel = 1j * 1.5 * (u0 * u0 + 1) * rtm if upright else 0.75j * (rte + rtm * u0 * u0)
        return kernel * np.exp(-u0 * 4 * np.pi * height)

    travelling = quad(lambda t: (-1j * at(1j * t)).real, 0, 1, epsabs=1e-10, limit=400)[0]
    decaying = sum(
        quad(lambda u: at(u).real, a, b, epsabs=1e-9, limit=400)[0]
        for a, b in ((0, 0.05), (0.05, 1), (1, 10), (10, 100), (100, 4 / height + 100))
    )
    return travelling + decaying


@pytest.mark.validation
@pytest.mark.parametrize("name", ["average soil", "sea water", "very poor soil"])
@pytest.mark.parametrize("upright", [True, False], ids=["upright", "level"])
@pytest.mark.parametrize("height", [0.02, 0.3])
def test_short_dipole_over_soil(check, name, upright, height):
    """What the reflected field adds to a short dipole's resistance, less what reaches the sky, is the soil's."""
    length = 0.003 * WAVE
    wires = dipole(length, 1e-6 * WAVE, height * WAVE, UPRIGHT if upright else LEVEL)
    solution = Solver(wires, GROUNDS[name], even(length, 10)).solve(F)
    free = radiated(replace(solution, ground=FREE_SPACE))
    expected = 1 + reflected(complex(GROUNDS[name].n2(F)), height, upright) - radiated(solution) / free
    source = "Sommerfeld integral for a short dipole, worked in the test"
    what = f"soil's power over free-space power, {name}, {height} waves, {'upright' if upright else 'level'}"
    check(what, source, expected, soil_power(solution) / free, rel=0.01, abs=1e-3)


def test_half_space_of_air_takes_what_goes_down():
    """With air below the surface, the soil integral is the far field over the lower half."""
    solution = Solver(end_fed(1.1), FREE_SPACE).solve(F)
    x, w = np.polynomial.legendre.leggauss(40)
    azimuth = 2 * np.pi * np.arange(90) / 90
    down = (intensity(solution, np.arcsin((x - 1) / 2)[:, None], azimuth) * w[:, None] / 2).sum() * 2 * np.pi / 90
    assert downward(solution.segments, solution.current, wave_number(F), 1 + 0j).sum() == pytest.approx(down, rel=1e-3)


def test_soil_integral_is_converged_near_the_ground(remember):
    solution = Solver(end_fed(1.0, coax=5.0), GROUNDS["average soil"], remember=remember).solve(F)
    assert soil_power(solution) == pytest.approx(soil_power(solution, cut=12), rel=2e-3)


def test_no_soil_no_loss():
    wires = dipole(0.5 * WAVE, 1e-4, 5.0)
    for ground in (FREE_SPACE, PERFECT):
        balance = power_balance(Solver(wires, ground).solve(F), wires)
        assert balance.soil == 0
        assert balance.sky == pytest.approx(1)  # the dipole's wire is lossless


def test_loss_goes_where_it_belongs():
    """A resistive choke in the shield takes |I|^2 R, and a set-up without one has no such loss."""
    choked = end_fed(1.0, Choke(2.0, resistance=500.0), coax=5.0)
    solution = Solver(choked, GROUNDS["average soil"]).solve(F)
    balance = power_balance(solution, choked)
    where = choked.loads[0]
    index = dict((load, i) for i, load in solution.mesh.load_segments(choked))[where]
    heat = abs(solution.current[index]) ** 2 * 500
    assert balance.loads == pytest.approx(heat / balance.accounted)
    plain = end_fed(1.0, coax=5.0)
    assert power_balance(Solver(plain, GROUNDS["average soil"]).solve(F), plain).loads == 0


def test_chain_from_radio_to_sky_adds_up(remember):
    wires = portable()
    solution = Solver(wires, GROUNDS["average soil"], remember=remember).solve(F)
    feed = FeedSystem(PORTABLE_49_TO_1, coax_named("RG-58"), 5.0)
    chain = power_chain(solution, wires, feed)
    parts = (chain.mismatch, chain.coax, chain.core, chain.winding, chain.choke, chain.wire, chain.soil, chain.sky)
    assert sum(parts) == pytest.approx(1, abs=1e-6)
    assert min(parts) >= 0
    split = feed.power_split(solution.impedance, F)
    assert chain.feed_efficiency == pytest.approx(float(split.wire))
    assert chain.antenna_efficiency == pytest.approx(chain.sky / float(split.wire))
