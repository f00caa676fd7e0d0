"""The reflected-field kernels against direct adaptive quadrature of their defining integrals (scipy.integrate.quad_vec)
and against closed forms for a perfect conductor (image dipole; short dipole, Balanis, Antenna Theory, from memory).
"""

import numpy as np
import pytest
from scipy.constants import epsilon_0
from scipy.integrate import quad_vec
from scipy.special import jv

from tautwire.model.soil.sommerfeld import QUICK, kernels

PERFECT_N2 = -1e14j  # so good a conductor that the rest of its field is below 1e-6


def n2_of(er, sigma, f_mhz):
    return er - 1j * sigma / (2e6 * np.pi * f_mhz * epsilon_0)


SOILS = {
    "sandy 14 MHz": n2_of(10, 2e-3, 14),
    "dry 54 MHz": n2_of(3, 1e-4, 54),
    "no loss 28 MHz": n2_of(5, 0, 28),
    "nearly air 7 MHz": n2_of(1.5, 0, 7),
    "very good 7 MHz": n2_of(20, 30e-3, 7),
    "fresh water 28 MHz": n2_of(80, 3e-3, 28),
    "sea water 1.8 MHz": n2_of(70, 5, 1.8),
    "sea water 28 MHz": n2_of(70, 5, 28),
}
POINTS = [(0.01, 0.05), (0.3, 0.1), (1.0, 2.0), (3.0, 0.6), (6.0, 1.0), (0.02, 12.0)]


def direct(rho, zeta, n2, split):
    """The four integrals as they are defined, cut where exp(-l zeta) is 1e-16; a square for the root at l = 1."""
    kappa = (n2 - 1) / (n2 + 1) if split else 0

    def integrand(lam, square):  # square = lam^2 - 1, free of rounding
        u0, u1 = np.sqrt(square + 0j), np.sqrt(lam * lam - n2 + 0j)
        u0, u1 = (-u if u.real < 0 else u for u in (u0, u1))
        rtm, rte = (n2 * u0 - u1) / (n2 * u0 + u1) - kappa, (u0 - u1) / (u0 + u1) + kappa
        kz, b0, b1 = -1j * u0, jv(0, lam * rho), jv(1, lam * rho)
        ratio = b1 / (lam * rho)
        horizontal = [
            lam / kz * (rte * ratio - rtm * kz**2 * (b0 - ratio)),
            lam / kz * (rte * (b0 - ratio) - rtm * kz**2 * ratio),
        ]
        return np.exp(-u0 * zeta) * np.array([lam**3 / u0 * rtm * b0, lam**2 * rtm * b1, *horizontal])

    end = 40 / zeta + 2
    root = np.sqrt(n2).real
    above = [np.sqrt(p - 1) for p in (1.01, 1.5, root, 1.2 * root, 3 * root, 10 / rho) if 1 < p < end]
    tight = {"epsabs": 0, "epsrel": 1e-10, "limit": 20000}
    below_one = quad_vec(
        lambda s: 2 * s * integrand(1 - s * s, s * s * (s * s - 2)), 0, 1, points=[0.01, 0.1], **tight
    )[0]
    above_one = quad_vec(
        lambda s: 2 * s * integrand(1 + s * s, s * s * (s * s + 2)), 0, np.sqrt(end - 1), points=above, **tight
    )[0]
    return below_one + above_one


@pytest.mark.validation
@pytest.mark.parametrize("split", [True, False])
@pytest.mark.parametrize("name", SOILS)
def test_kernels_match_direct_quadrature(name, split):
    """Source: direct quadrature of the defining integrals, scipy."""
    rho, zeta = np.array(POINTS).T
    want = np.array([direct(x, z, SOILS[name], split) for x, z in POINTS]).T
    got = kernels(rho, zeta, SOILS[name], split)
    assert (abs(got - want).max(0) / abs(want).max(0)).max() < 1e-7
    quick = kernels(rho, zeta, SOILS[name], split, QUICK)
    assert (abs(quick - want).max(0) / abs(want).max(0)).max() < 1e-4


@pytest.mark.validation
@pytest.mark.parametrize("angle", [0.0, 1e-3, 0.1, 0.7, 1.5])
def test_kernels_of_a_perfect_conductor_are_the_image_dipole(angle):
    """Source: field of a dipole from derivatives of exp(-jR)/R, in closed form (any text on antennas)."""
    r = np.geomspace(1e-3, 60, 30)
    rho, zeta = r * np.cos(angle), r * np.sin(angle)
    g = np.exp(-1j * r) / r
    first = -(1j + 1 / r) * g  # dG/dR
    second = (-1 + 2j / r + 2 / r**2) * g
    c, s = np.cos(angle), np.sin(angle)
    g_zz, g_rz = second * s * s + first / r * c * c, (second - first / r) * c * s
    want = np.array([g + g_zz, g_rz, 1j * (g_zz + first / r), -1j * (g + first / r)])
    got = kernels(rho, zeta, PERFECT_N2, split=False)
    assert (abs(got - want).max(0) / abs(want).max(0)).max() < 2e-6


def resistance_ratio(n2, kh):
    """Radiation plus ground loss of a short dipole at height h over that of the same dipole in free space."""
    vz, _, a, _ = kernels(np.zeros(1), np.array([2 * kh]), n2, split=False)[:, 0]
    return 1 - 1.5 * vz.imag, 1 + 1.5 * a.real


@pytest.mark.validation
@pytest.mark.parametrize("kh", [0.05, 0.3, 1.0, 4.0])
def test_short_dipole_over_a_perfect_conductor(kh):
    """Source: radiated power of an infinitesimal dipole over a conductor (Balanis, sect. 4.7, from memory)."""
    x = 2 * kh
    vertical = 1 + 3 * (np.sin(x) / x**3 - np.cos(x) / x**2)
    horizontal = 1 - 1.5 * (np.sin(x) / x + np.cos(x) / x**2 - np.sin(x) / x**3)
    assert resistance_ratio(PERFECT_N2, kh) == pytest.approx((vertical, horizontal), abs=3e-5)


def test_short_dipole_limits():
    """Close to a perfect conductor a vertical one doubles, a horizontal one vanishes; without soil both stay."""
    assert resistance_ratio(PERFECT_N2, 0.01) == pytest.approx((2, 0), abs=1e-3)
    assert resistance_ratio(1 + 1e-12, 0.3) == pytest.approx((1, 1), abs=1e-5)


@pytest.mark.validation
def test_short_dipole_over_lossy_soil():
    """Source: direct quadrature of the defining integrals, scipy."""
    n2, kh = SOILS["sandy 14 MHz"], 0.2
    vz, _, a, _ = direct(1e-4, 2 * kh, n2, split=False)
    assert resistance_ratio(n2, kh) == pytest.approx((1 - 1.5 * vz.imag, 1 + 1.5 * a.real), rel=1e-6)


@pytest.mark.parametrize("angle", [0.0, 1e-3, 1.0, 1.1071, 1.1072, np.pi / 2])
def test_kernels_are_continuous_across_paths(angle):
    """Neighbouring points take different paths (with distance, and at rho = zeta/2): no step between them."""
    r = np.geomspace(1e-3, 60, 150)
    step = 1e-7
    for n2 in SOILS.values():
        near, far = (kernels(x * np.cos(angle), x * np.sin(angle), n2) for x in (r, r * (1 + step)))
        assert (abs(near - far).max(0) / abs(near).max(0)).max() < 1e3 * step
