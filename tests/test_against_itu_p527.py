"""ITU-R P.527: electrical constants of the named soils, and of water by its formulas.

Soils: P.527-3 (1992), figure 1, low-frequency plateaus, from memory. Water: static permittivity and conductivity
of P.527-5 and later (after Meissner and Wentz), from memory. Complex permittivity: er - j 60 sigma lambda
(P.527, eq. 1, with the customary rounding of 59.96 to 60).
"""

import math

import pytest

from tautwire.model.constants import C0
from tautwire.model.soil.ground import UniformGround, ground_named

pytestmark = pytest.mark.validation
FIGURE, FORMULA = "ITU-R P.527-3, figure 1, from memory", "ITU-R P.527-5, water, from memory"
PLATEAU = {
    "sea water": (70, 5.0),
    "fresh water": (80, 3e-3),
    "wet ground": (30, 1e-2),
    "medium dry ground": (15, 1e-3),
    "very dry ground": (3, 1e-4),
}


def water(celsius, salinity):
    """Static relative permittivity and conductivity (S/m); salinity in g/kg."""
    theta = 300 / (celsius + 273.15) - 1
    fresh = 77.66 + 103.3 * theta
    er = fresh * math.exp(-3.33330e-3 * salinity + 4.74868e-6 * salinity**2)
    t = celsius
    at_35 = 2.903602 + 8.607e-2 * t + 4.738817e-4 * t**2 - 2.991e-6 * t**3 + 4.3047e-9 * t**4
    s = salinity
    share = s * (37.5109 + 5.45216 * s + 1.4409e-2 * s**2) / (1004.75 + 182.283 * s + s**2)
    tilt = (6.9431 + 3.2841 * s - 9.9486e-2 * s**2) / (84.850 + 69.024 * s + s**2)
    other = 49.843 - 0.2276 * s + 0.198e-2 * s**2
    return er, at_35 * share * (1 + tilt * (t - 15) / (other + t))


@pytest.mark.parametrize("name", PLATEAU)
def test_named_soils(check, name):
    soil, (er, sigma) = ground_named(name), PLATEAU[name]
    check(f"{name}, permittivity", FIGURE, er, soil.er, rel=1e-9)
    check(f"{name}, conductivity", FIGURE, sigma, soil.sigma, rel=1e-9, unit="S/m")


def test_water_by_formula(check):
    """The figure is for 20 degrees Celsius; its lines are read to about a tenth."""
    sea, fresh = ground_named("sea water"), ground_named("fresh water")
    er, sigma = water(20, 35)
    check("sea water, permittivity", FORMULA, er, sea.er, rel=0.05)
    check("sea water, conductivity", FORMULA, sigma, sea.sigma, rel=0.1, unit="S/m")
    check("fresh water, permittivity", FORMULA, water(20, 0)[0], fresh.er, rel=0.02)


@pytest.mark.parametrize("f_mhz", [1.8, 7.1, 28.0])
def test_complex_permittivity(check, f_mhz):
    soil = UniformGround(13, 5e-3)
    expected = 13 - 60j * 5e-3 * C0 / (f_mhz * 1e6)
    check(f"complex permittivity, {f_mhz} MHz", "ITU-R P.527, eq. 1", expected, complex(soil.n2(f_mhz * 1e6)), rel=1e-3)
