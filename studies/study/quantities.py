"""How a quantity is shown and written: the unit people use for each kind, in tables, plots and study files."""

import math
from dataclasses import dataclass
from typing import Any

from tautwire.studies.study import units
from tautwire.studies.study.units import Kind


@dataclass(frozen=True)
class CustomaryUnit:
    """How people give a kind of quantity. suffix: of a table's column. sign: the unit in plots. unit: the unit in study
    files and sentences. factor: SI value times factor is the number in that unit.
    """

    suffix: str
    sign: str
    unit: str
    factor: float = 1.0


CUSTOMARY: dict[Kind, CustomaryUnit] = {
    units.length: CustomaryUnit("_m", "m", "m"),
    units.angle: CustomaryUnit("_deg", "°", "deg", 180 / math.pi),
    units.capacitance: CustomaryUnit("_pf", "pF", "pF", 1e12),
    units.inductance: CustomaryUnit("_uh", "µH", "uH", 1e6),
    units.resistance: CustomaryUnit("_ohm", "Ω", "ohm"),
    units.conductivity: CustomaryUnit("_ms_per_m", "mS/m", "mS/m", 1e3),
    units.power: CustomaryUnit("_w", "W", "W"),
    units.salinity: CustomaryUnit("_g_per_kg", "g/kg", "g/kg"),
    units.temperature: CustomaryUnit("_c", "°C", "C"),
    units.number: CustomaryUnit("", "", ""),
}


def customary(value: float, kind: Kind) -> float:
    """The number of an SI value in the unit people use, to nine decimals.

    >>> customary(0.2617993877991494, units.angle)
    15.0
    """
    return round(value * CUSTOMARY[kind].factor, 9)


def written(number: float, kind: Kind, digits: int = 12) -> Any:
    """A number in the unit people use as a study file has it; one of a kind without unit stays a number.

    >>> written(15.0, units.angle), written(0.1234567, units.capacitance, 6)
    ('15 deg', '0.123457 pF')
    """
    unit = CUSTOMARY[kind].unit
    return f"{number:.{digits}g} {unit}" if unit else float(f"{number:.{digits}g}")


def quantity_text(value: float, kind: Kind, digits: int = 4) -> str:
    """An SI value for people, with all its digits.

    >>> quantity_text(20.1302, units.length), quantity_text(0.5, units.angle, 3)
    ('20.13 m', '28.6 deg')
    """
    number = f"{value * CUSTOMARY[kind].factor:#.{digits}g}".rstrip(".")
    return f"{number} {CUSTOMARY[kind].unit}".strip()
