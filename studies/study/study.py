"""A study file: a set-up, the bands and figures wanted, and the axes to sweep; made into a list of cases.

[study]     name, question, bands, region, want, swr_threshold
[sweep]     "antenna.slope" = {from = "15 deg", to = "60 deg", step = "5 deg"}, or a list; several axes multiply
[[variant]] name = "sloper", and tables that replace the set-up's tables of the same name
the rest    the set-up (setup.py)
"""

import itertools
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.study import units
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.parts import Part, read_part, table_at
from tautwire.studies.study.raw import Raw, changed, kind_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import Kind, Number, values
from tautwire.studies.study.want import WANTS, want_named

FEET = re.compile(r"""(ft|foot|feet|in|inch|inches|['"])\s*$""")  # what a length in them ends with
MOST_CASES = 20_000
OWN_TABLES = ("study", "sweep", "variant")


class StudySpec(Part):
    """The [study] table."""

    name: str
    question: str = ""
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


class Options(dict[str, Any]):
    """Want -> its options Part. Those wanted or written are checked at once, the rest are defaults, made when asked
    for, so that wants that a study does not use need not be loaded.
    """

    def __init__(self, raw: Mapping[str, Any], wanted: tuple[str, ...]) -> None:
        tables = {name: raw.get(name) or {} for name in (*wanted, *(n for n in WANTS if n in raw))}
        super().__init__({n: read_part(want_named(n).options, table, f"{n}.") for n, table in tables.items()})

    def __missing__(self, name: str) -> Any:
        return want_named(name).options()

    def get(self, name: str, default: Any = None) -> Any:
        return self[name]

    def __reduce__(self) -> Any:
        return _restored_options, (dict(self),)


def _restored_options(parts: dict[str, Any]) -> "Options":
    options = Options({}, ())
    options.update(parts)
    return options


@dataclass(frozen=True)
class Study:
    """A study ready to run."""

    spec: StudySpec
    raw: Raw
    axes: tuple[Axis, ...]
    variants: dict[str, Raw]
    bands: tuple[Band, ...]
    options: dict[str, Any] = field(default_factory=lambda: Options({}, ()))  # want -> its options Part

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


def _axis(path: str, spec: Any, taken: set[str]) -> Axis:
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


def read_study(raw: Mapping[str, Any], default_name: str = "study") -> Study:
    """A study from the nested mapping of a study file. Every case is checked before any is computed.

    Raises InputError for the first fault found.
    """
    if not isinstance(raw, Mapping):
        raise InputError("study", repr(raw), "a mapping with the tables of a study file")
    head = table_at(raw, "study")
    head.setdefault("name", default_name)
    spec: StudySpec = read_part(StudySpec, head, "study.")
    if not re.fullmatch(r"[\w][\w .-]{0,60}", spec.name):
        raise InputError("study.name", repr(spec.name), "letters, digits, spaces, dots and dashes, at most 60")
    if not spec.swr_threshold > 1:
        raise InputError("study.swr_threshold", spec.swr_threshold, "above 1")
    if not spec.want:
        raise InputError("study.want", "[]", f"at least one of {', '.join(WANTS)}")
    if not spec.bands:
        raise InputError("study.bands", "[]", "at least one band")
    bands = tuple(band_named(name, region=spec.region) for name in spec.bands)
    for band in bands:
        if bands.count(band) > 1:
            raise InputError("study.bands", repr(band.name), "each band once")
    options = Options(raw, spec.want)
    setup_raw = {k: v for k, v in raw.items() if k not in (*OWN_TABLES, *WANTS)}
    variants = _variants(raw.get("variant") or [])
    axes: list[Axis] = []
    if variants:
        column = "setup_variant" if "shield" in spec.want else "variant"  # tables about the shield have variants too
        axes.append(Axis("variant", column, "variant", tuple(variants), None))
    sweep = raw.get("sweep") or {}
    if not isinstance(sweep, Mapping):
        raise InputError("sweep", repr(sweep), "a table of axes")
    for path, values_spec in _flat(sweep):
        axes.append(_axis(path, values_spec, {a.column for a in axes}))
    count = math.prod(len(a.texts) for a in axes)
    if count > MOST_CASES:
        raise InputError("sweep", f"{count} cases", f"at most {MOST_CASES}")
    study = Study(spec, setup_raw, tuple(axes), variants, bands, options)
    for case in study.cases():
        try:
            setup = case.setup()
            setup.build()
            setup.feed_system()
            for name in spec.want:
                want_named(name).check(setup, study)
        except InputError as error:
            where = ", ".join(f"{k} {v}" for k, v in case.labels.items())
            allowed = f"{error.allowed} (case {where})" if where else error.allowed
            raise InputError(error.field, error.value, allowed) from None
    return study


def _flat(table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """Axes of [sweep], whether written "antenna.slope" = ... or antenna.slope = ..."""
    out: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, Mapping) and "from" not in value and "to" not in value:
            out += _flat(value, f"{prefix}{key}.")
        else:
            out.append((prefix + key, value))
    return out


def _variants(items: Any) -> dict[str, Raw]:
    out: dict[str, Raw] = {}
    if not isinstance(items, list):
        raise InputError("variant", repr(items), "[[variant]] tables")
    for number, item in enumerate(items, 1):
        if not isinstance(item, Mapping):
            raise InputError(f"variant.{number}", repr(item), "a [[variant]] table with a name")
        tables = dict(item)
        name = tables.pop("name", None)
        if not isinstance(name, str) or not name or name in out:
            raise InputError(f"variant.{number}.name", repr(name), "a name that no other variant has")
        out[name] = tables
    return out


def load_tables(path: Path) -> Raw:
    """The tables of a TOML file. Raises InputError if it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("file", path, "a study file that exists") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("file", path, f"a readable text file ({error})") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError("file", path, f"TOML ({error})") from None


def load_study(path: Path) -> Study:
    """The study in a TOML file. Raises InputError if it cannot be read or has a fault."""
    return read_study(load_tables(path), path.stem)
