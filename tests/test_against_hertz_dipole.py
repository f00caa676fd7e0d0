"""Near fields against closed forms.

Hertzian dipole: C. A. Balanis, Antenna Theory, ch. 4, eqs. (4-8) and (4-10), from memory. Sinusoidal dipole: the same
book, ch. 8, near field of a half-wave dipole, from memory. Free-space wave impedance 376.73 ohm.
"""

import numpy as np
import pytest

from tautwire.model.basics import C0, ETA0
from tautwire.model.fields.near_field import NearField
from tautwire.model.soil.ground import FREE_SPACE, PERFECT
from tautwire.model.wires.segments import joined_segments

pytestmark = pytest.mark.validation

F = 14e6
LAMBDA = C0 / F
K = 2 * np.pi / LAMBDA


def hertz(points, moment):
    """E and H (M, 3) of a vertical current moment (A m) at the origin."""
    r = np.linalg.norm(points, axis=1)
    cos = points[:, 2] / r
    sin = np.sqrt(1 - cos**2)
    wave = np.exp(-1j * K * r)
    e_r = ETA0 * moment * cos / (2 * np.pi * r**2) * (1 + 1 / (1j * K * r)) * wave
    e_t = 1j * ETA0 * K * moment * sin / (4 * np.pi * r) * (1 + 1 / (1j * K * r) - 1 / (K * r) ** 2) * wave
    h_p = 1j * K * moment * sin / (4 * np.pi * r) * (1 + 1 / (1j * K * r)) * wave
    phi = np.arctan2(points[:, 1], points[:, 0])
    radial = points / r[:, None]
    theta = np.stack([cos * np.cos(phi), cos * np.sin(phi), -sin], axis=1)
    azimuth = np.stack([-np.sin(phi), np.cos(phi), 0 * phi], axis=1)
    return e_r[:, None] * radial + e_t[:, None] * theta, h_p[:, None] * azimuth


def wire(middle, direction, length, current, ground=FREE_SPACE):
    """A straight wire cut to carry current(s), s from -length/2 to length/2."""
    count = 40
    stops = np.linspace(-length / 2, length / 2, count + 1)
    nodes = np.array(middle) + stops[:, None] * np.array(direction)
    return NearField(F, joined_segments(nodes[:-1], nodes[1:]), current((stops[1:] + stops[:-1]) / 2) + 0j, ground)


def around(distance, count=40, seed=1):
    random = np.random.default_rng(seed)
    way = random.normal(size=(count, 3))
    return distance * way / np.linalg.norm(way, axis=1)[:, None]


def moment_of(near):
    return (near.amps @ [1 / 6, 4 / 6, 1 / 6]) @ np.linalg.norm(near.segments.vector, axis=1)


def worst(found, right):
    return np.abs(found - right).max() / np.abs(right).max()


@pytest.mark.parametrize("wavelengths", [0.1, 0.3, 1.0, 2.0])
def test_short_dipole_in_free_space(wavelengths):
    length = 0.004 * LAMBDA
    near = wire((0, 0, 0), (0, 0, 1), length, lambda s: 1 - np.abs(2 * s / length))
    points = around(wavelengths * LAMBDA)
    e, h = hertz(points, moment_of(near))
    got = near.at(points)
    assert worst(got.e, e) < 2e-3
    assert worst(got.h, h) < 2e-3


def test_half_wave_dipole_with_sinusoidal_current():
    length = LAMBDA / 2
    near = wire((0, 0, 0), (0, 0, 1), length, lambda s: np.sin(K * (length / 2 - np.abs(s))))
    rho, z = np.array([0.3, 0.5, 1.0, 4.0, 9.0]), np.array([0.0, 2.0, 4.0, 6.5, 3.0])
    got = near.at(np.stack([rho, 0 * rho, z], axis=1))
    r0, r1, r2 = np.hypot(rho, z), np.hypot(rho, z - length / 2), np.hypot(rho, z + length / 2)
    w0, w1, w2 = (np.exp(-1j * K * r) for r in (r0, r1, r2))
    c = 2 * np.cos(K * length / 2)
    e_z = -1j * ETA0 / (4 * np.pi) * (w1 / r1 + w2 / r2 - c * w0 / r0)
    h_phi = 1j / (4 * np.pi * rho) * (w1 + w2 - c * w0)
    assert got.e[:, 2] == pytest.approx(e_z, rel=5e-3)
    assert got.h[:, 1] == pytest.approx(h_phi, rel=2e-3)


def test_short_dipole_over_perfect_ground_is_two_dipoles():
    length = 0.004 * LAMBDA
    near = wire((0, 0, 3.0), (0, 0, 1), length, lambda s: 1 - np.abs(2 * s / length), PERFECT)
    points = np.abs(around(5.0)) + [0, 0, 0.02]
    points[:5, 2] = 0.01
    both = [hertz(points - [0, 0, z], moment_of(near)) for z in (3.0, -3.0)]
    got = near.at(points)
    assert worst(got.e, both[0][0] + both[1][0]) < 2e-3
    assert worst(got.h, both[0][1] + both[1][1]) < 2e-3


def test_far_away_e_over_h_is_the_wave_impedance_and_both_fall_as_one_over_r():
    near = wire((0, 0, 0), (0, 0, 1), LAMBDA / 2, lambda s: np.cos(K * s))
    points = around(60 * LAMBDA)
    points = points[np.hypot(points[:, 0], points[:, 1]) > 20 * LAMBDA]  # off the axis, where nothing is radiated
    one, two = near.at(points), near.at(2 * points)
    assert np.sqrt(one.e2 / one.h2) == pytest.approx(ETA0, rel=2e-3)
    assert np.sqrt(one.e2 / two.e2) == pytest.approx(2, rel=2e-3)
    # eta I/(2 pi r) broadside to a half-wave dipole
    side = near.at(np.array([[60 * LAMBDA, 0, 0]]))
    assert np.sqrt(side.e2[0]) == pytest.approx(ETA0 / (2 * np.pi * 60 * LAMBDA), rel=2e-3)
