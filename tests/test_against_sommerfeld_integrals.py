"""Sommerfeld: short dipoles and coupled elements through the solver, against direct quadrature of the exact field.

The field is quad_vec's integral of the plane-wave spectrum as it is defined (test_against_quadrature.direct), without
the split, the table, or the contours that the solver uses. The limits are closed forms: image dipoles (Balanis, Antenna
Theory, sect. 4.7-4.8, from memory).
"""

from functools import lru_cache

import numpy as np
import pytest
from example_wires import LEVEL, UPRIGHT, WAVE, F, dipole, element, even, impedance
from test_against_carter import mutual
from test_against_quadrature import direct

from tautwire.model.basics import ETA0
from tautwire.model.soil.ground import FREE_SPACE, PERFECT, UniformGround, ground_named
from tautwire.model.solve.solver import Solver

pytestmark = pytest.mark.validation
SOURCE = "direct quadrature of the Sommerfeld integrals, scipy"
K = 2 * np.pi / WAVE
SOILS = ["sea water", "very good soil", "wet ground", "average soil", "very poor soil", "very dry ground"]
HEIGHTS = [0.002, 0.01, 0.05, 0.2, 0.5, 1.0]
SHORT = {UPRIGHT: "vertical", LEVEL: "horizontal"}


@lru_cache(maxsize=4096)
def reflected(rho, zeta, n2):
    """Vz, Vr, A, B of the field reflected by the soil; lengths in m."""
    return direct(K * rho, K * zeta, n2, False)


def currents(solution):
    """Places on the wire (P, 3) and moments (P, 3), Gauss weights included, of the solver's own current for 1 A at the
    port."""
    seg = solution.segments
    x, w = np.polynomial.legendre.leggauss(3)
    shape = np.stack([x * (x - 1) / 2, 1 - x * x, x * (x + 1) / 2])
    amps = (seg.current @ (solution.current * solution.impedance)) @ shape * (w / 2)
    place = seg.centre[:, None] + seg.vector[:, None] * (x / 2)[:, None]
    return place.reshape(-1, 3), (amps[..., None] * seg.vector[:, None]).reshape(-1, 3)


def induced(solution, n2):
    """Change of the input impedance by the soil, ohm: the induced EMF -int E.I ds of the solver's own current.

    E is smooth over a wire that is short against its distance from its image, so its variation is taken at the second
    order, from nodes of a three-point rule for the moments of the whole wire.
    """
    place, p = currents(solution)
    upright = abs(p[:, 2]).sum() > abs(p[:, 0]).sum()
    axis = 2 if upright else 0
    at, moment = place[:, axis], p[:, axis]
    middle = place[len(place) // 2, 2]
    # Chebyshev interpolation of the kernel in s + s' (upright) or |s - s'| (level)
    gaps = (at[:, None] + at[None, :]) if upright else np.abs(at[:, None] - at[None, :])
    low, high = gaps.min(), gaps.max()
    nodes = (low + high) / 2 + (high - low) / 2 * np.cos(np.pi * (np.arange(9) + 0.5) / 9)
    if upright:
        kernel = [ETA0 * K**2 / (4j * np.pi) * reflected(0.0001, float(z), n2)[0] for z in nodes]
    else:
        kernel = [-ETA0 * K**2 / (4 * np.pi) * reflected(max(float(r), 1e-5), 2 * middle, n2)[2] for r in nodes]
    fit = np.polynomial.chebyshev.Chebyshev.fit(nodes, np.array(kernel), 8, domain=[low, high])
    return -complex(moment @ fit(gaps) @ moment)


@pytest.fixture(params=SOILS)
def soil(request):
    return ground_named(request.param)


@pytest.mark.parametrize("way", SHORT, ids=SHORT.values())
@pytest.mark.parametrize("waves", HEIGHTS)
def test_short_dipole_over_soil(check, soil, way, waves, remember):
    """Resistance over soil over that in free space: 1 + Re(induced EMF)/R0. Lengths: the height, 0.05 waves at most."""
    height, n2 = waves * WAVE, complex(soil.n2(F))
    length, count = min(height, 0.05 * WAVE), 20
    wires, rules = dipole(length, 5e-6, height, way), even(length, count)
    free = impedance(wires, FREE_SPACE, rules, remember=remember)
    solution = Solver(wires, soil, rules, remember).solve(F)
    expected = 1 + induced(solution, n2).real / free.real
    what = f"{SHORT[way]} dipole, {waves} wavelengths over {soil.name}, R/R0"
    check(what, SOURCE, expected, solution.impedance.real / free.real, rel=0.01, abs=0.003)


@pytest.mark.parametrize("way", SHORT, ids=SHORT.values())
def test_perfect_ground_limit(check, way, remember):
    """R/R0 of a short dipole by its image: 2 vertical and 0 horizontal at the ground, and between (Balanis 4.7-4.8)."""
    for waves in (0.01, 0.25, 0.5):
        height = waves * WAVE
        length = min(height, 0.02 * WAVE)
        wires, rules = dipole(length, 5e-6, height, way), even(length, 20)
        free = impedance(wires, FREE_SPACE, rules, remember=remember).real
        u = 2 * K * height
        sin, cos = np.sin(u), np.cos(u)
        if way is UPRIGHT:
            expected = 1 + 3 * (sin / u**3 - cos / u**2)
        else:
            expected = 1 - 1.5 * (sin / u + cos / u**2 - sin / u**3)
        for ground in (PERFECT, UniformGround(10, 1e7, "very good conductor")):
            found = impedance(wires, ground, rules, remember=remember).real / free
            what = f"{SHORT[way]} dipole, {waves} wavelengths over {ground.name}, R/R0"
            check(what, "image dipole, Balanis 4.7-4.8, from memory", expected, found, rel=0.01, abs=0.003)


def test_free_space_limit(check, remember):
    """Soil that is nearly air and loses nothing, where the table of the solver is least exact (0.2 %)."""
    wires, rules = dipole(10.6, 1e-3, 1.0), even(10.6, 22)
    free = impedance(wires, FREE_SPACE, rules, remember=remember)
    near_air = impedance(wires, UniformGround(1.0001, 0), rules, remember=remember)
    check("dipole at 1 m over er 1.0001", "free space, as the limit of thin soil", free, near_air, rel=4e-3, unit="ohm")


@pytest.mark.parametrize("waves", [0.1, 0.3, 1.0, 2.0])
@pytest.mark.parametrize("way", SHORT, ids=SHORT.values())
def test_coupling_at_grazing_angles(check, way, waves, remember):
    """Mutual impedance of two short elements 0.5 m over soil: effective lengths times the field of one at the other.

    The distance runs east; level elements point north, so that they face each other.
    """
    facing = way if way is UPRIGHT else (0.0, 1.0, 0.0)
    distance, height, length = waves * WAVE, 0.5, 0.6
    for name in ("sea water", "average soil", "very poor soil"):
        soil = ground_named(name)
        n2 = complex(soil.n2(F))
        wires = dipole(length, 1e-4, height, facing, (element(length, 1e-4, (distance, 0, height), facing),))
        rules = even(length, 12)
        _, z21, z12 = mutual(wires, soil, F, rules, remember)
        _, free21, _ = mutual(wires, FREE_SPACE, F, rules, remember)
        r = K * distance
        wave = np.exp(-1j * r)
        free = -1j * ETA0 * K**2 / (4 * np.pi * r) * (1 + 1 / (1j * r) - 1 / r**2) * wave
        vz, _, _, b = reflected(distance, 2 * height, n2)
        added = ETA0 * K**2 / (4j * np.pi) * vz if way is UPRIGHT else -ETA0 * K**2 / (4 * np.pi) * b
        # elements of finite length: the ratio to free space cancels their effective lengths
        expected = (free + added) / free
        what = f"{SHORT[way]} elements, {waves} wavelengths apart over {name}, Z21 over free space"
        check(what, SOURCE, expected, z21 / free21, rel=0.03, abs=0.01)
        assert abs(z12 - z21) < 0.02 * abs(free21)
