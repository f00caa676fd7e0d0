"""Every unit that a study file may use, read with pint, a general-purpose library of units."""

import pint
import pytest

from tautwire.studies.study import units

REGISTRY = pint.UnitRegistry()
KINDS = (units.length, units.angle, units.frequency, units.capacitance, units.inductance, units.resistance, units.power,
         units.duration)  # fmt: skip
WHOLE = {"'": "ft", '"': "in", "\u00b0": "deg", "mil": "thou", "mHz": "MHz"}  # no radio amateur means millihertz
ENDING = {"\u2126": "ohm", "\u03a9": "ohm", "henries": "henry"}


def in_si(number: float, unit: str, si: str) -> float:
    """The same by pint, which spells some units otherwise."""
    unit = WHOLE.get(unit, unit)
    for ours, pints in ENDING.items():
        unit = unit.replace(ours, pints)
    return REGISTRY.Quantity(number, REGISTRY.parse_units(unit)).to(si).magnitude


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_units_of_one_kind(kind):
    known = units._factors(kind.unit)
    assert len(known) >= 10
    for unit in known:
        assert kind(f"0.3 {unit}", "x") == pytest.approx(in_si(0.3, unit, kind.unit), rel=1e-12), unit


@pytest.mark.parametrize("unit", ["S/m", "mS/m", "uS/cm", "dS/m", "S/ft", "siemens/meter"])
def test_conductivities(unit):
    assert units.conductivity(f"3 {unit}", "x") == pytest.approx(in_si(3, unit, "S/m"), rel=1e-12)
