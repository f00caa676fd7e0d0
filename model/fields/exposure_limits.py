"""Published limits of exposure to radio-frequency fields, 0.3 to 300 MHz, as data.

Written down from memory: check against the text in force where you are before you rely on them.
"""

from dataclasses import dataclass

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.model.fields.near_field import Fields

FCC = "47 CFR 1.1310, table 1, from memory"
ICNIRP = "ICNIRP, Health Physics 118(5), 2020, tables 5 (whole body), 6 (local) and 8 (instant), from memory"
GROUPS = ("general", "occupational")


@dataclass(frozen=True)
class Level:
    """A reference level at one frequency: e, V/m rms; h, A/m rms; minutes to average the squares over (0: none)."""

    kind: str
    e: float
    h: float
    minutes: float


@dataclass(frozen=True)
class _Row:
    """E = e f^-e_fall V/m and H = h f^-h_fall A/m from lower up to upper, all with f in MHz."""

    lower: float
    upper: float
    e: float
    e_fall: float
    h: float
    h_fall: float


@dataclass(frozen=True)
class _Table:
    kind: str
    minutes: float
    rows: tuple[_Row, ...]


@dataclass(frozen=True)
class Standard:
    """name: in full. source: where the figures stand. tables: group -> its tables."""

    name: str
    source: str
    tables: dict[str, tuple[_Table, ...]]


STANDARDS: dict[str, Standard] = {
    "fcc": Standard(
        "47 CFR 1.1310",
        FCC,
        {
            "general": (
                _Table(
                    "whole body",
                    30,
                    (
                        _Row(0.3, 1.34, 614, 0, 1.63, 0),
                        _Row(1.34, 30, 824, 1, 2.19, 1),
                        _Row(30, 300, 27.5, 0, 0.073, 0),
                    ),
                ),
            ),
            "occupational": (
                _Table(
                    "whole body",
                    6,
                    (
                        _Row(0.3, 3, 614, 0, 1.63, 0),
                        _Row(3, 30, 1842, 1, 4.89, 1),
                        _Row(30, 300, 61.4, 0, 0.163, 0),
                    ),
                ),
            ),
        },
    ),
    "icnirp": Standard(
        "ICNIRP 2020",
        ICNIRP,
        {
            "general": (
                _Table("whole body", 30, (_Row(0.1, 30, 300, 0.7, 2.2, 1), _Row(30, 400, 27.7, 0, 0.073, 0))),
                _Table("local", 6, (_Row(0.1, 30, 671, 0.7, 4.9, 1), _Row(30, 400, 62, 0, 0.163, 0))),
                _Table("instant", 0, (_Row(0.1, 10, 83, 0, 21, 0),)),
            ),
            "occupational": (
                _Table("whole body", 30, (_Row(0.1, 30, 660, 0.7, 4.9, 1), _Row(30, 400, 61, 0, 0.16, 0))),
                _Table("local", 6, (_Row(0.1, 30, 1504, 0.7, 10.8, 1), _Row(30, 400, 139, 0, 0.36, 0))),
                _Table("instant", 0, (_Row(0.1, 10, 170, 0, 80, 0),)),
            ),
        },
    ),
}


def levels(f_hz: float, standard: str, group: str = "general") -> tuple[Level, ...]:
    """Every level that applies at f_hz (Hz), that of the whole body first.

    standard: a key of STANDARDS. group: one of GROUPS. Raises InputError for others, or a frequency off the tables.
    """
    key, who = standard.strip().lower(), group.strip().lower()
    if key not in STANDARDS:
        raise InputError("exposure.standard", repr(standard), f"one of {', '.join(STANDARDS)}")
    if who not in GROUPS:
        raise InputError("exposure.group", repr(group), f"one of {', '.join(GROUPS)}")
    f, found = f_hz / 1e6, []
    for table in STANDARDS[key].tables[who]:
        for row in table.rows:
            if row.lower <= f < row.upper:
                found.append(Level(table.kind, row.e * f**-row.e_fall, row.h * f**-row.h_fall, table.minutes))
                break
    if not found or found[0].kind != "whole body":
        raise InputError("exposure.frequency", f"{f:.6g} MHz", "from 0.3 to 300 MHz")
    return tuple(found)


def limit(f_hz: float, standard: str, group: str = "general") -> tuple[float, float]:
    """The whole-body level: E (V/m rms) and H (A/m rms). Arguments and errors as for `levels`."""
    first = levels(f_hz, standard, group)[0]
    return first.e, first.h


def quotient(fields: Fields, limits: tuple[Level, ...], duty: float = 1.0) -> Real:
    """Greatest of E^2/E_limit^2 and H^2/H_limit^2 over the limits, (M,); above 1 is over a limit.

    duty: time average over peak power during the averaging time, 0 to 1; it does not help against an instant level.
    Raises InputError for a duty outside.
    """
    if not 0 < duty <= 1:
        raise InputError("radio.duty", duty, "above 0, up to 1")
    worst = np.zeros(len(fields.e))
    for level in limits:
        part = duty if level.minutes else 1.0
        worst = np.maximum(worst, part * np.maximum(fields.e2 / level.e**2, fields.h2 / level.h**2))
    return worst
