"""Fields of short dipoles over soil: the closed forms with Fresnel coefficients, written out here."""

import numpy as np
import pytest
from example_wires import LEVEL, UPRIGHT, WAVE, F, dipole, even

from tautwire.model.fields.far_field import far_field
from tautwire.model.soil.ground import GROUNDS
from tautwire.model.solve.solver import Solver

SOURCE = "Fresnel coefficients, Stratton 1941, sect. 9.5; ray and image, Jordan and Balmain, ch. 16, from memory"
K = 2 * np.pi / WAVE
SOILS = ("average soil", "very poor soil", "sea water")


def coefficients(soil, psi):
    """Vertical and horizontal polarisation at grazing angle psi, as printed: index (er - jx), x = 18 sigma/f_ghz."""
    eps = soil.er - 1j * 17.975 * soil.sigma / (F / 1e9)
    root = np.sqrt(eps - np.cos(psi) ** 2)
    vertical = (eps * np.sin(psi) - root) / (eps * np.sin(psi) + root)
    horizontal = (np.sin(psi) - root) / (np.sin(psi) + root)
    return vertical, horizontal


def moment_along(solution, axis):
    """Current times length, A m: Simpson's rule on each segment."""
    mean = np.einsum("ijn,j->in", solution.segments.current, np.array([1, 4, 1]) / 6) @ solution.current
    return complex(mean @ solution.segments.vector[:, axis])


@pytest.mark.validation
@pytest.mark.parametrize("name", SOILS)
@pytest.mark.parametrize("height", [0.05, 0.4])
@pytest.mark.parametrize("psi_deg", [3.0, 25.0, 70.0])
def test_vertical(check, name, height, psi_deg):
    soil, h, psi = GROUNDS[name], height * WAVE, np.radians(psi_deg)
    solution = Solver(dipole(0.02 * WAVE, 1e-6 * WAVE, h, UPRIGHT), soil, even(0.02 * WAVE, 10)).solve(F)
    moment = moment_along(solution, 2)
    rv, _ = coefficients(soil, psi)
    lag = np.exp(-2j * K * h * np.sin(psi))
    expected = 1j * 60 * np.pi / WAVE * moment * np.cos(psi) * np.exp(1j * K * h * np.sin(psi)) * (1 + rv * lag)
    got = complex(far_field(solution, psi, 0.3)[0])
    check(f"vertical, {name}, {height} waves up, at {psi_deg:g} deg", SOURCE, expected, got, rel=3e-3, unit="V")


@pytest.mark.validation
@pytest.mark.parametrize("name", SOILS)
@pytest.mark.parametrize("psi_deg", [3.0, 25.0, 70.0])
def test_level(check, name, psi_deg):
    soil, h, psi = GROUNDS[name], 0.2 * WAVE, np.radians(psi_deg)
    wires = dipole(0.02 * WAVE, 1e-6 * WAVE, h, LEVEL)  # along x, which is east
    solution = Solver(wires, soil, even(0.02 * WAVE, 10)).solve(F)
    moment = moment_along(solution, 0)
    rv, rh = coefficients(soil, psi)
    lag, out = np.exp(-2j * K * h * np.sin(psi)), np.exp(1j * K * h * np.sin(psi))
    broadside = 60 * np.pi / WAVE * abs(moment) * abs(out * (1 + rh * lag))  # to the north: horizontally polarised
    theta, phi = far_field(solution, psi, 0.0)
    check(f"level, {name}, broadside, at {psi_deg:g} deg", SOURCE, broadside, abs(phi), rel=3e-3, unit="V")
    assert abs(theta) < 1e-6 * abs(phi)
    end = 60 * np.pi / WAVE * abs(moment) * np.sin(psi) * abs(1 - rv * lag)  # to the east: vertically polarised
    theta, phi = far_field(solution, psi, np.pi / 2)
    check(f"level, {name}, off its end, at {psi_deg:g} deg", SOURCE, end, abs(theta), rel=3e-3, unit="V")
    assert abs(phi) < 1e-6 * abs(theta)
