"""Short dipoles over uniform and layered soil: their fields against empymod, a library for layered media.

empymod (Werthmueller 2017, Geophysics 82(6); PyPI) computes the waves in the layers. Its digital filters and
quadratures are made for the earth's interior, where nothing is singular at real wave numbers; in air, with
displacement currents, everything is at l = k. So it is handed a filter whose points and weights are a quadrature that
takes that singularity away (l = k sin t, then l = k sqrt(1 + u^2)).
"""

from types import SimpleNamespace

import empymod
import numpy as np
import pytest
from scipy.special import j0, j1

from tautwire.model.basics import C0, EPS0, ETA0, on_panels
from tautwire.model.fields.near_field import NearField
from tautwire.model.soil.ground import GROUNDS, Layer, LayeredGround, MoistGround, Stack
from tautwire.model.soil.sommerfeld import kernels
from tautwire.model.wires.segments import Segments

SOURCE = "empymod 2, its wave-number kernels"


def layers(*above, bottom):
    named = [Layer(soil if not isinstance(soil, str) else GROUNDS[soil], depth) for soil, depth in above]
    return LayeredGround(tuple(named), GROUNDS[bottom] if isinstance(bottom, str) else bottom)


STACKS = {
    "average soil": GROUNDS["average soil"],
    "sand over clay": layers(("very dry ground", 0.4), bottom="wet ground"),
    "ice over water": layers(("ice", 0.6), bottom="fresh water"),
    "snow on ice on water": layers(("dry snow", 0.2), ("ice", 0.3), bottom="fresh water"),
    "wet over dry": layers((MoistGround(0.25), 0.1), bottom=MoistGround(0.03)),
}
FREQUENCIES = (1.9e6, 7.1e6, 14.2e6, 28.5e6, 50e6)
RANGES = [[0.1, 0.05, 0.05], [15, 3, 3]]  # m
RANDOM = np.random.default_rng(11)
# a case: soil, frequency, horizontal distance, source height, height; 60 of them
CASES = [
    (name, float(RANDOM.choice(FREQUENCIES)), *np.exp(RANDOM.uniform(*np.log(RANGES))).tolist())
    for name in STACKS
    for _ in range(12)
]  # fmt: skip


def rule(rho, zeta, k):
    """empymod's kind of filter for one distance (m) and wave number (1/m)."""
    t, dt = on_panels(np.pi / 2 * np.linspace(0, 1, 41), 16)
    end = 40 / (k * zeta)
    edges = np.unique(np.concatenate([np.geomspace(1e-4, end, 120), np.arange(0, min(end, 12), 0.05), [0, end]]))
    u, du = on_panels(np.unique(np.concatenate([edges, np.arange(0, end, 1.5 / (k * rho))])), 12)
    lam = k * np.concatenate([np.sin(t), np.hypot(1, u)])
    weight = k * np.concatenate([np.cos(t) * dt, u / np.hypot(1, u) * du])
    x = lam * rho
    return SimpleNamespace(
        name="by quadrature", base=x, factor=np.array([x[1] / x[0]]), j0=rho * weight * j0(x), j1=rho * weight * j1(x)
    )


def reflected(stack, f_hz, source, place, way, magnetic=False):
    """Ex, Ey, Ez (or H) of a unit moment along way (0, 1, 2: x, y, z) at source, without the direct wave."""
    k = 2 * np.pi * f_hz / C0
    n2 = np.array([*stack.n2, stack.n2[-1]])  # two interfaces or more tell empymod that z goes up
    er = [1.0, *n2.real]
    ohm_m = [1e14, *(-1 / (n2.imag * 2 * np.pi * f_hz * EPS0))]
    faces = -np.cumsum([0.0, *stack.depth, 1.0])
    rho = float(np.hypot(*(place - source)[:2]))
    points = rule(rho, float(place[2] + source[2]), k)
    return np.array([
        complex(empymod.dipole(
            list(source), list(place), faces, ohm_m, f_hz, ab=10 * (i + 1 + 3 * magnetic) + way + 1, epermH=er,
            epermV=er, xdirect=None, ht="dlf", htarg={"dlf": points, "pts_per_dec": 0}, verb=0,
        ))
        for i in range(3)
    ])  # fmt: skip


def from_kernels(stack, f_hz, source, place, way, split=False):
    k = 2 * np.pi * f_hz / C0
    gap = (place - source)[:2]
    rho = float(np.hypot(*gap))
    c, s = gap / rho
    zeta = place[2] + source[2]
    vz, vr, a, b = kernels(np.array([k * rho]), np.array([k * zeta]), stack.scaled(k), split)[:, 0]
    cv, ch = ETA0 * k**2 / (4j * np.pi), -ETA0 * k**2 / (4 * np.pi)
    if way == 2:
        return cv * np.array([vr * c, vr * s, vz])
    along, across = (c, -s) if way == 0 else (s, c)
    e_rho, e_phi = ch * a * along, ch * b * across
    return np.array([e_rho * c - e_phi * s, e_rho * s + e_phi * c, -cv * vr * along])


def places(rho, low, high):
    return np.array([0.0, 0.0, low]), np.array([rho * np.cos(0.7), rho * np.sin(0.7), high])


@pytest.mark.validation
@pytest.mark.parametrize("name, f_hz, rho, low, high", CASES)
def test_reflected_field(check, name, f_hz, rho, low, high):
    stack, (source, place) = STACKS[name].stack(f_hz), places(rho, low, high)
    errors = []
    for way in range(3):
        expected = reflected(stack, f_hz, source, place, way)
        got = from_kernels(stack, f_hz, source, place, way)
        errors.append(np.linalg.norm(got - expected) / np.linalg.norm(expected))
    what = f"dipole along x, y, z over {name}, {f_hz / 1e6:g} MHz, {rho:.3g} m off, largest relative error"
    check(what, SOURCE, 0.0, max(errors), abs=1e-5)


def bump(centre, way, length=0.02):
    """A current that rises and falls along two short segments, and its moment, A m."""
    vector = np.zeros((2, 3))
    vector[:, way] = length / 2
    middles = np.array(centre) + np.array([[-0.5], [0.5]]) * vector
    current = np.zeros((2, 3, 2))
    current[0, :, 0], current[1, :, 0] = (0, 0.5, 1), (1, 0.5, 0)
    return Segments(middles, vector, current), length / 2


@pytest.mark.parametrize("f_hz", [3.6e6, 28.5e6])
@pytest.mark.parametrize("name", STACKS)
def test_near_field(name, f_hz):
    """E and H from the tables, as exposure and the matrices take them."""
    ground, free = STACKS[name], GROUNDS["free space"]
    for way in range(3):
        for rho, low, high in ((0.5, 0.4, 0.3), (2.5, 1.0, 0.2), (6.0, 0.3, 2.0)):
            source, place = places(rho, low, high)
            segments, moment = bump(source, way)
            over, alone = (NearField(f_hz, segments, np.array([1.0, 0.0]), g).at(place) for g in (ground, free))
            for magnetic, got in ((False, over.e - alone.e), (True, over.h - alone.h)):
                expected = moment * reflected(ground.stack(f_hz), f_hz, source, place, way, magnetic)
                # the dipole is short, not a point: 1e-3 of it
                assert np.linalg.norm(got[0] - expected) < 2e-3 * np.linalg.norm(expected), (way, rho, magnetic)


def test_depths_without_end_and_of_nothing():
    place = places(1.0, 0.3, 0.4)
    top, bottom = GROUNDS["average soil"], GROUNDS["very dry ground"]
    for depth, alone, tolerance in ((30.0, top, 1e-9), (1e-4, bottom, 1e-3), (0.0, bottom, 1e-12)):
        ground = LayeredGround((Layer(top, depth),), bottom)
        got = from_kernels(ground.stack(14e6), 14e6, *place, 0)
        assert np.linalg.norm(got - from_kernels(alone.stack(14e6), 14e6, *place, 0)) < tolerance * np.linalg.norm(got)


@pytest.mark.parametrize("split", [True, False])
def test_equal_layers_are_one_soil(split):
    for name in ("average soil", "sea water", "fresh water", "dry snow"):
        n2 = GROUNDS[name].stack(14e6).top
        r = np.geomspace(0.005, 60, 25)
        rho, zeta = r * np.cos(0.4), r * np.sin(0.4)
        one = kernels(rho, zeta, n2, split)
        for depths in ((0.1,), (0.3, 2.0)):
            error = np.abs(kernels(rho, zeta, Stack((n2,) * (len(depths) + 1), depths), split) - one).max(0)
            assert (error < 1e-8 * np.abs(one).max(0)).all(), (name, depths)
