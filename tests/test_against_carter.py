"""Carter: mutual impedance of parallel half-wave dipoles, and the induced EMF of two sinusoids in closed form.

P. S. Carter, Circuit relations in radiating systems, Proc. IRE 20 (1932), from memory; as in Balanis, Antenna Theory,
sect. 8.6, from memory. The sine and cosine integrals are scipy's.
"""

import numpy as np
import pytest
from example_wires import UPRIGHT, WAVE, F, dipole, element, even
from scipy.special import sici

from tautwire.model.soil.ground import FREE_SPACE
from tautwire.model.solve.solver import Solver

pytestmark = pytest.mark.validation
SOURCE = "Carter 1932, from memory"
LENGTH, COUNT, RADIUS = WAVE / 2, 20, 5e-6


def carter(distance):
    """Mutual impedance, ohm, of half-wave dipoles side by side; distance in m."""
    k = 2 * np.pi / WAVE
    reach = np.hypot(distance, LENGTH)
    (s0, c0), (s1, c1), (s2, c2) = (sici(k * x) for x in (distance, reach + LENGTH, reach - LENGTH))
    return complex(30 * (2 * c0 - c1 - c2), -30 * (2 * s0 - s1 - s2))


def mutual(wires, ground, f=F, rules=None, remember=None):
    """Z11 and Z21, ohm, of a dipole and the middle of the conductor near it."""
    solver = Solver(wires, ground, rules, remember) if remember else Solver(wires, ground, rules)
    parts = solver.parts(f)
    far = np.flatnonzero(parts.mesh.conductor == 2)
    other = np.zeros(len(parts.mesh.conductor))
    other[far[len(far) // 2 - 1 : len(far) // 2 + 1]] = 0.5
    ports = np.stack([parts.mesh.feed, other], axis=1)
    y = ports.T @ np.linalg.solve(parts.matrix(f), ports.astype(complex))
    z = np.linalg.inv(y)
    return z[0, 0], z[1, 0], z[0, 1]


@pytest.mark.parametrize("waves", [0.1, 0.25, 0.5, 1.0, 1.5])
def test_side_by_side(check, waves, remember):
    """The engine's wires have a radius and a current that is not quite sinusoidal: 6 % of the self-resistance."""
    distance = waves * WAVE
    near = element(LENGTH, RADIUS, (distance, 0, 20), UPRIGHT)
    _, z21, z12 = mutual(dipole(LENGTH, RADIUS, 20, UPRIGHT, (near,)), FREE_SPACE, F, even(LENGTH, COUNT), remember)
    check(f"mutual impedance at {waves} wavelengths", SOURCE, carter(distance), z21, abs=0.06 * 73.1, unit="ohm")
    assert abs(z12 - z21) < 1e-3 * 73.1


def test_carter_s_formula_itself(check):
    """Well-known value at half a wavelength, and the self-impedance as the limit of no distance."""
    check("formula at 0.5 wavelengths", "Balanis, sect. 8.6, from memory", -12.5 - 29.9j, carter(WAVE / 2), abs=0.1)
    check("formula at 1e-6 wavelengths", "Balanis, ch. 4, from memory", 73.13 + 42.54j, carter(1e-6 * WAVE), abs=0.05)
