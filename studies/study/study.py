"""A study: a set-up, the bands and figures wanted, and the axes to sweep; made into a list of cases."""

import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import AfterValidator

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.studies.study import units
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.guard import check_question
from tautwire.studies.study.parts import Part
from tautwire.studies.study.raw import Raw, changed, kind_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import Kind, Number, values

FEET = re.compile(r"""(ft|foot|feet|in|inch|inches|['"])\s*$""")  # what a length in them ends with


class StudySpec(Part):
    """The [study] table."""

    name: str
    question: Annotated[str, AfterValidator(check_question)] = ""
    bands: tuple[str, ...] = ("40 m", "20 m", "15 m", "10 m")
    region: int | str = 1
    want: tuple[str, ...] = ("dips",)
    swr_threshold: Number = 3.0


@dataclass(frozen=True)
class Axis:
    """One swept quantity. path: dotted key (or "variant"); column: its name in tables; label: for plots;
    texts: values as written into the set-up; numbers: the same in the column's unit (None for words).
    """

    path: str
    column: str
    label: str
    texts: tuple[Any, ...]
    numbers: tuple[float, ...] | None

    @property
    def labels(self) -> tuple[Any, ...]:
        """Its values as they stand in tables: numbers, or words."""
        return self.numbers or tuple(map(in_words, self.texts))

    def words(self, value: Any) -> str:
        """A value of this axis in words: "slope 15°", "sea water", "coax length 25 ft (7.62 m)"."""
        if self.numbers is None:
            return str(value)
        name, _, unit = self.label.rstrip(")").partition(" (")
        shown = f"{value:g}{'' if unit == '°' else ' '}{unit}".rstrip()
        own = str(self.texts[self.numbers.index(value)]) if value in self.numbers else ""
        return f"{name} {own} ({shown})" if FEET.search(own) else f"{name} {shown}"


@dataclass(frozen=True)
class Case:
    """One set-up of a study. labels: axis column -> value. raw: the set-up as texts."""

    index: int
    labels: dict[str, Any]
    raw: Raw = field(repr=False)

    def setup(self) -> Setup:
        return Setup.read(self.raw)


@dataclass(frozen=True)
class Study:
    """A study ready to run, made by `read_study` or `load_study`.

    Attributes
    ----------
    spec : StudySpec
        The "study" table: name, question, bands, region, want, swr_threshold.
    raw : dict
        The set-up as it was written, before any axis changes it.
    axes : tuple of Axis
        What is swept.
    variants : dict
        Name -> the tables that replace those of the set-up.
    bands : tuple of Band
        With lower and upper edge, Hz.
    options : dict
        Want -> the table of its options.

    Examples
    --------
    >>> import tautwire
    >>> setup = {"antenna": {"layout": "sloper", "length": "20.5 m", "slope": "25 deg"}, "coax": {"length": "5 m"}}
    >>> study = tautwire.read_study({**setup, "sweep": {"site.soil": ["sea water", "average soil"]}})
    >>> [case.labels["soil"] for case in study.cases()]
    ['sea water', 'average soil']
    """

    spec: StudySpec
    raw: Raw
    axes: tuple[Axis, ...]
    variants: dict[str, Raw]
    bands: tuple[Band, ...]
    options: Mapping[str, Any] = field(default_factory=dict)  # want -> its options Part

    @property
    def name(self) -> str:
        return self.spec.name

    def cases(self) -> list[Case]:
        """Every combination of the axes, the last axis running fastest."""
        out: list[Case] = []
        for combination in itertools.product(*(range(len(axis.texts)) for axis in self.axes)):
            raw, labels = dict(self.raw), {}
            for axis, i in zip(self.axes, combination, strict=True):
                if axis.path == "variant":
                    raw = {**raw, **self.variants[axis.texts[i]]}
                else:
                    raw = changed(raw, axis.path, axis.texts[i])
                labels[axis.column] = axis.labels[i]
            out.append(Case(len(out), labels, raw))
        return out


def in_words(text: Any) -> str:
    """A value of a set-up in words, also where it is a table: "er 9, sigma 2 mS/m"."""
    return ", ".join(f"{k} {v}" for k, v in text.items()) if isinstance(text, Mapping) else str(text)


SAME = ("turns_out", "power_w")  # columns that mean in a table what they mean as an axis

# how a quantity is shown in tables: kind -> (column suffix, unit shown, SI to shown)
SHOWN: dict[Kind, tuple[str, str, float]] = {
    units.length: ("_m", "m", 1.0),
    units.angle: ("_deg", "°", 180 / math.pi),
    units.capacitance: ("_pf", "pF", 1e12),
    units.inductance: ("_uh", "µH", 1e6),
    units.resistance: ("_ohm", "Ω", 1.0),
    units.conductivity: ("_ms_per_m", "mS/m", 1e3),
    units.power: ("_w", "W", 1.0),
    units.number: ("", "", 1.0),
}
SI_TEXT = {
    units.length: "m",
    units.angle: "rad",
    units.capacitance: "F",
    units.inductance: "H",
    units.resistance: "ohm",
    units.conductivity: "S/m",
    units.power: "W",
    units.number: "",
}


def si_text(value: float, kind: Kind) -> Any:
    """An SI value as a text that reads back to it."""
    return value if kind is units.number else f"{value!r} {SI_TEXT[kind]}"


def swept_axis(path: str, spec: Any, taken: set[str]) -> Axis:
    """The axis of one key of [sweep]. taken: columns that other axes have. Raises InputError."""
    kind = kind_of(path)
    table, _, last = path.rpartition(".")
    name = last if last not in ("length", "height", "bearing", "at") or table == "antenna" else f"{table}_{last}"
    name = re.sub(r"\W+", "_", name)
    if kind is None:
        if isinstance(spec, Mapping) or not isinstance(spec, list):
            raise InputError(f"sweep.{path}", repr(spec), "a list of values")
        if not spec:
            raise InputError(f"sweep.{path}", "[]", "at least one value")
        return Axis(path, name, name.replace("_", " "), tuple(spec), None)
    suffix, unit, factor = SHOWN[kind]
    si = values(spec, kind, f"sweep.{path}")
    written = spec if isinstance(spec, list) else [si_text(v, kind) for v in si]
    column = name + suffix
    if column in taken or column in COLUMNS and column not in SAME:
        column = re.sub(r"\W+", "_", path) + suffix
    label = name.replace("_", " ") + (f" ({unit})" if unit else "")
    return Axis(path, column, label, tuple(written), tuple(round(v * factor, 9) for v in si))
