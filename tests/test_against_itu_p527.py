"""ITU-R P.527: water by salinity and temperature, the constants of the named soils, complex permittivity.

Water: P.527-4 (06/2017): permittivity and conductivity at a salinity and temperature, figures that were looked up.
Soils: P.527-3 (1992), figure 1, low-frequency plateaus, from memory. Complex permittivity: er - j 60 sigma lambda
(P.527, eq. 1, with the customary rounding of 59.96 to 60). Practical salinity scale of 1978: sea water of 35 conducts
4.2914 S/m at 15 degrees (UNESCO 1983, from memory).
"""

import pytest

from tautwire.model.basics import C0
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import GROUNDS, TYPICAL, UniformGround, ground_named, water
from tautwire.studies.study.setup import Setup

pytestmark = pytest.mark.validation
FIGURE, FORMULA = "ITU-R P.527-3, figure 1, from memory", "ITU-R P.527-4, water"
UNESCO, GEOSCI = "practical salinity scale of 1978, from memory", "GeoSci.xyz, electromagnetics, typical values"
SOILS = {"wet ground": (30, 1e-2), "medium dry ground": (15, 1e-3), "very dry ground": (3, 1e-4)}


@pytest.mark.parametrize("name", SOILS)
def test_named_soils(check, name):
    soil, (er, sigma) = ground_named(name), SOILS[name]
    check(f"{name}, permittivity", FIGURE, er, soil.er, rel=1e-9)
    check(f"{name}, conductivity", FIGURE, sigma, soil.sigma, rel=1e-9, unit="S/m")


def test_sea_water(check):
    sea = ground_named("sea water")
    check("sea water of 35 g/kg at 15 C, permittivity", FORMULA, 73.2, sea.er, abs=0.05)
    check("sea water of 35 g/kg at 15 C, conductivity", FORMULA, 4.29, sea.sigma, abs=0.005, unit="S/m")
    check("the same", UNESCO, 4.2914, sea.sigma, abs=2e-3, unit="S/m")


@pytest.mark.parametrize(("celsius", "er"), [(15.0, 81.9), (26.85, 77.66), (28.5, 77.1)])
def test_pure_water(check, celsius, er):
    check(f"pure water at {celsius:g} C, permittivity", FORMULA, er, water(0, celsius).er, abs=0.05)
    assert water(0, celsius).sigma == 0


def test_waters_lie_near_the_older_figure(check):
    """P.527-3 gives sea water 70 and 5 S/m, fresh water 80 and 3 mS/m; its lines are read to about a tenth."""
    check("sea water, permittivity", FIGURE, 70, ground_named("sea water").er, rel=0.1)
    check("sea water, conductivity", FIGURE, 5.0, water(35, 20).sigma, rel=0.1, unit="S/m")
    check("fresh water, permittivity", FIGURE, 80, ground_named("fresh water").er, rel=0.05)
    check("fresh water, conductivity", FIGURE, 3e-3, ground_named("fresh water").sigma, rel=0.1, unit="S/m")


def test_saltier_and_warmer_water_conducts_better():
    sigma = [ground_named(n).sigma for n in ("fresh water", "lake water", "brackish water", "sea water")]
    assert sigma == sorted(sigma)
    assert water(35, 5).sigma < water(35, 15).sigma < water(35, 25).sigma


@pytest.mark.parametrize("name", TYPICAL)
def test_typical_ranges(name):
    """A named ground that is not water lies within its typical range."""
    typical, soil = TYPICAL[name], GROUNDS[name]
    assert typical.er[0] <= typical.er[1] and typical.sigma[0] <= typical.sigma[1]
    if "water" not in name and name != "ice":
        assert typical.er[0] <= soil.er <= typical.er[1] and typical.sigma[0] <= soil.sigma <= typical.sigma[1]


@pytest.mark.parametrize("f_mhz", [1.8, 7.1, 28.0])
def test_complex_permittivity(check, f_mhz):
    soil = UniformGround(13, 5e-3)
    expected = 13 - 60j * 5e-3 * C0 / (f_mhz * 1e6)
    check(f"complex permittivity, {f_mhz} MHz", "ITU-R P.527, eq. 1", expected, complex(soil.n2(f_mhz * 1e6)), rel=1e-3)


BASE = {"antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg"}, "coax": {"length": "5 m"}}


@pytest.mark.parametrize(
    ("soil", "er"),
    [
        ({"salinity": "35 g/kg", "temperature": "15 C"}, 73.2),
        ({"salinity": "3.5 %", "temperature": "59 F"}, 73.2),
        ({"salinity": "35 psu"}, 73.2),
        ("lake water", 81.9),
    ],
)
def test_water_in_a_study_file(soil, er):
    assert Setup.read({**BASE, "site": {"soil": soil}}).site.ground().er == pytest.approx(er, abs=0.1)


@pytest.mark.parametrize(
    ("soil", "words"),
    [
        ({"salinity": "60 g/kg"}, r"site\.soil\.salinity.*40 g/kg"),
        ({"salinity": 35}, r"salinity.*'35 g/kg'"),
        ({"salinity": "35 g/kg", "temperature": "80 C"}, r"site\.soil\.temperature.*40 degrees"),
        ({"salinity": "35 g/kg", "temperature": "15 K"}, "temperature.*'15 C'"),
        ({"er": 13, "sigma": "5 mS/m", "temperature": "15 C"}, "salinity beside it"),
        ({"salinity": "35 g/kg", "er": 80}, "salinity and er"),
    ],
)
def test_bad_water_is_one_clear_line(soil, words):
    with pytest.raises(InputError, match=words):
        Setup.read({**BASE, "site": {"soil": soil}}).build()
