"""Limits against the published tables, and distances against closed forms.

47 CFR 1.1310 table 1, OET Bulletin 65 (97-01) and ICNIRP 2020 tables 5, 6 and 8 (Health Physics 118(5)): from memory.
"""

import numpy as np
import pytest
from test_against_hertz_dipole import LAMBDA, K, wire

from tautwire.model.basics import ETA0
from tautwire.model.errors import InputError
from tautwire.model.fields.exposure import Level, levels, limit, planes_of, quotient, stay_away
from tautwire.model.fields.near_field import Fields
from tautwire.studies.study.setup import Setup

pytestmark = pytest.mark.validation
NORTH = ((np.array([0.0, 0.0, 1.0]), 0.0),)


@pytest.mark.parametrize(
    ("f_mhz", "group", "milliwatts_per_cm2"),
    [(14, "general", 180 / 14**2), (28.5, "general", 180 / 28.5**2), (50, "general", 0.2), (1.0, "general", 100),
     (7.1, "occupational", 900 / 7.1**2), (28.5, "occupational", 900 / 28.5**2), (50, "occupational", 1.0)],
)  # fmt: skip
def test_fcc_fields_are_those_of_the_tables_power_density(f_mhz, group, milliwatts_per_cm2):
    e, h = limit(f_mhz * 1e6, "fcc", group)
    assert e**2 / 377 == pytest.approx(10 * milliwatts_per_cm2, rel=0.01)
    assert h**2 * 377 == pytest.approx(10 * milliwatts_per_cm2, rel=0.01)


def test_icnirp_figures():
    """10 MHz, general: 300/10^0.7 = 59.86 V/m, 0.22 A/m. The levels meet at 30 MHz within rounding."""
    assert limit(9.999999e6, "icnirp") == pytest.approx((59.86, 0.22), rel=1e-3)
    for group, e, h in (("general", 27.7, 0.073), ("occupational", 61, 0.16)):
        below, above = limit(29.9999e6, "icnirp", group), limit(30e6, "icnirp", group)
        assert above == (e, h)
        assert below == pytest.approx(above, rel=0.03)
    kinds = {x.kind: x for x in levels(7.1e6, "icnirp")}
    assert (kinds["instant"].e, kinds["instant"].h) == (83, 21)  # nerve stimulation, as in ICNIRP 2010
    # local levels are five times the whole-body ones as power density: 671/300 squared is 5
    assert (kinds["local"].e / kinds["whole body"].e) ** 2 == pytest.approx(5, rel=0.01)
    assert "instant" not in {x.kind for x in levels(14.1e6, "icnirp")}


def test_duty_averages_power_but_not_the_instant_level():
    fields = Fields(np.array([[83.0, 0, 0]]) + 0j, np.zeros((1, 3)) + 0j)
    assert quotient(fields, levels(7.1e6, "icnirp"), 0.05) == pytest.approx([1.0])
    fcc = levels(7.1e6, "fcc")
    assert quotient(fields, fcc, 0.5) == pytest.approx(quotient(fields, fcc, 1.0) / 2)
    with pytest.raises(InputError, match="duty"):
        quotient(fields, fcc, 0.0)


def test_refuses_unknown_standards_groups_frequencies():
    for args in ((14e6, "nobody"), (14e6, "fcc", "pets"), (1e3, "fcc"), (1e12, "icnirp")):
        with pytest.raises(InputError, match="exposure"):
            levels(*args)


def half_wave(height):
    length = LAMBDA / 2
    return wire((0, 0, height), (0, 1, 0), length, lambda s: np.cos(K * s)), length


@pytest.mark.parametrize("far", [0.35, 1.2])
def test_distance_from_a_half_wave_dipole_is_that_of_its_closed_form(far):
    """Magnetic field of a half-wave dipole broadside: I/(2 pi rho) exactly, at any distance (Balanis, ch. 8)."""
    near, length = half_wave(1.0)
    only_h = (Level("whole body", 1e9, 1 / (2 * np.pi * far), 0),)
    found = stay_away(near, only_h, 1.0, np.array([0, -length / 2, 1]), np.array([0, length / 2, 1]), NORTH, (1.0,))
    assert found.complete
    assert found.from_conductor == pytest.approx(far, abs=0.02)
    assert found.from_any_part == pytest.approx(far, abs=0.02)
    assert abs(found.worst[1]) < 0.2 * length


def test_distance_from_the_ends_of_a_half_wave_dipole():
    """Electric field in line with the wire, gap d beyond its end: eta I/(4 pi)(1/d + 1/(d + length)) from the same."""
    near, length = half_wave(1.0)
    d = 0.5
    # H is zero on the axis; E_z there is exact for both waves in step, |exp(-jkd)/d + exp(-jk(d+L))/(d+L)|, kL = pi
    only_e = (Level("whole body", ETA0 / (4 * np.pi) * (1 / d - 1 / (d + length)), 1e9, 0),)
    found = stay_away(near, only_e, 1.0, np.array([0, -length / 2, 1]), np.array([0, length / 2, 1]), NORTH, (1.0,))
    assert found.from_conductor >= d - 0.03
    reach = found.plan.up[(found.plan.value[:, np.abs(found.plan.across).argmin()] >= 1)].max()
    assert reach - length / 2 == pytest.approx(d, abs=0.11)  # a grid cell


def test_a_section_along_the_leg_finds_what_plans_and_other_sections_miss():
    """The field beyond the end of a dipole at 6 m, from the same closed form: only a section along it passes there."""
    near, length = half_wave(6.0)
    d = 0.8
    only_e = (Level("whole body", ETA0 / (4 * np.pi) * (1 / d - 1 / (d + length)), 1e9, 0),)
    ends = np.array([0, -length / 2, 6]), np.array([0, length / 2, 6])
    across, along = (np.array([0.0, 0.0, 6.0]), np.pi / 2), (np.array([0.0, 0.0, 6.0]), 0.0)
    missed = stay_away(near, only_e, 1.0, *ends, (across,), (1.0,))
    found = stay_away(near, only_e, 1.0, *ends, (across, along), (1.0,), resolution=0.1)
    assert (found.widest, len(found.sections)) == (1, 2)
    section = found.sections[1]
    level = section.value[np.abs(section.up - 6.0).argmin()]
    assert section.across[level >= 1].max() - length / 2 == pytest.approx(d, abs=0.11)  # a grid cell
    assert found.from_any_part >= d - 0.03 > missed.from_any_part


def test_a_map_between_its_computed_places_is_near_the_field_itself_and_exact_where_it_counts():
    near, length = half_wave(3.0)
    limits = (Level("whole body", ETA0 / 10, 1 / 10, 0),)
    ends = np.array([0, -length / 2, 3]), np.array([0, length / 2, 3])
    section = stay_away(near, limits, 1.0, *ends, ((np.array([0.0, 0.0, 3.0]), 0.0),), (2.0,)).sections[0]
    up, along = np.meshgrid(section.up, section.across, indexing="ij")
    known = np.isfinite(section.value)
    points = np.stack([0 * along[known], along[known], up[known]], axis=-1)
    field, told = quotient(near.at(points), limits, 1.0), section.value[known]
    exact = np.isclose(field, told, rtol=1e-6)
    assert 0.2 < exact.mean() < 0.9  # some are computed, some are not
    assert exact[field >= 0.3].all()
    assert np.abs(10 * np.log10(told / field)).max() < 4  # dB


def test_legs_that_turn_aside_above_the_body_have_sections():
    wire = {"antenna": {"layout": "sloper", "length": "19.8 m", "slope": "25 deg", "feed_height": "1.2 m"}}
    low = Setup.read({**wire, "coax": {"length": "5 m"}}).build()
    high = Setup.read({**wire, "counterpoise": [{"length": "3 m", "height": "3 m", "bearing": "70 deg"}]}).build()
    assert len(planes_of(low.structure, low.layout.bearing, 2.0)) == 1  # the coax hangs down, then lies
    planes = planes_of(high.structure, high.layout.bearing, 2.0)
    assert [round(np.degrees(bearing)) for _, bearing in planes] == [0, 70]


def test_nothing_over_the_limit_gives_zero_and_a_fixed_reach_too_small_is_told():
    near, length = half_wave(1.0)
    ends = np.array([0, -length / 2, 1]), np.array([0, length / 2, 1])
    faint = stay_away(near, (Level("x", 1e9, 1e9, 0),), 1.0, *ends, NORTH, (2.0,))
    assert (faint.from_conductor, faint.worst) == (0.0, None)
    assert faint.from_any_part <= 0.05  # closer than that counts as over any limit
    strong = stay_away(near, (Level("x", 0.1, 1e9, 0),), 1.0, *ends, NORTH, (1.0,), reach=1.0)
    assert not strong.complete
    for bad in ({"heights": ()}, {"heights": (-1.0,)}, {"reach": 0.0}, {"resolution": 0.001}):
        with pytest.raises(InputError, match="exposure"):
            stay_away(near, (), 1.0, *ends, NORTH, **bad)
