"""The units that are read without pint, against pint."""

import pint
import pytest

from tautwire.studies.study.units import COMMON, frequency, length


@pytest.mark.parametrize(("unit", "si"), COMMON)
def test_common_units(unit, si):
    registry = pint.UnitRegistry()
    assert pytest.approx(registry.Quantity(1.0, unit).to(si).magnitude, rel=1e-15) == COMMON[unit, si]


def test_words_of_common_units_still_reach_pint():
    assert length("1 yard", "length") == pytest.approx(0.9144)
    assert frequency("14.06 MHz", "at") == pytest.approx(14.06e6) == frequency("14.06 megahertz", "at")
