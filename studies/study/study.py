"""A study: set-up, bands and axes made into cases, or cases that are listed.

Cases that are listed instead of multiplied: a table of values taken row by row, and samples drawn from ranges.

[cases]   "antenna.length" = ["19.8 m", "20.1 m"], "antenna.slope" = ["20 deg", "35 deg"]: two cases;
          or file = "my.csv", a column a key, a row a case, with a column "name" if wanted
[sample]  count = 64, seed = 1, and keys: {from, to} evenly, {mean, sd} by a normal law, or a list of words

Both become variants, with their values in the table "cases".
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import scipy
from pydantic import AfterValidator

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.studies.study import units
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.parts import Part, check_name, check_question, entry, flat, read_part
from tautwire.studies.study.raw import FEET, Raw, changed, kind_of, lengths_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import CUSTOMARY, FOOT, Number, customary, in_words, values, written

# --- Cases that are listed instead of multiplied.


TABLES = ("cases", "sample")
ENDS = ("from", "to", "mean", "sd")  # keys of a law
MOST_ROWS = 2000
MOST_CHARACTERS = 5_000_000  # of a table's file
WIDEST = 3.0  # standard deviations to which a normal law is cut off


class Sample(Part):
    """[sample]: how many cases are drawn; every other key in it is a dotted key of the set-up."""

    count: int = entry("cases to draw, as a Latin hypercube", 64, "2 to 2000", default=64)
    seed: int = entry("another seed draws other cases, the same one the same", 1, "0 or more", default=1)


def located(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """The tables with the rows of [cases] file in place of its name, which is taken from `folder`."""
    cases = tables.get("cases")
    if not isinstance(cases, Mapping) or "file" not in cases:
        return tables
    if len(cases) > 1:
        raise InputError("cases.file", repr(cases["file"]), "alone in [cases], or the values written there")
    return {**tables, "cases": _of_file(folder / str(cases["file"]))}


def _of_file(path: Path) -> dict[str, list[str]]:
    try:
        text = path.read_text(encoding="utf-8-sig") if path.is_file() else _no_file(path)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("cases.file", str(path), f"a readable table ({error})") from None
    if len(text) > MOST_CHARACTERS:
        raise InputError("cases.file", str(path), f"a table of at most {MOST_CHARACTERS:,} characters")
    mark = ";" if ";" in text.partition("\n")[0] else ","
    try:
        head, *rows = [row for row in csv.reader(io.StringIO(text), delimiter=mark) if any(row)] or [[]]
    except csv.Error as error:  # a cell longer than it takes
        raise InputError("cases.file", str(path), f"a table with cells of at most 1,000 characters ({error})") from None
    twice = [key for key in head if [k.strip() for k in head].count(key.strip()) > 1]
    if twice:
        raise InputError("cases.file", f"{path}, column {twice[0].strip()}", "each key in one column only")
    if not rows or not all(key.strip() for key in head):
        raise InputError("cases.file", str(path), "a row of keys such as antenna.length, then a row a case")
    for number, row in enumerate(rows, 1):
        if len(row) != len(head):
            raise InputError("cases.file", f"{path}, row {number}", f"{len(head)} cells as in its first row")
    return {key.strip(): [row[i].strip() for row in rows] for i, key in enumerate(head)}


def _no_file(path: Path) -> str:
    raise OSError("no such file" if not path.exists() else "it is no plain file")


def listed(raw: Mapping[str, Any], setup: Raw) -> tuple[list[dict[str, Any]], dict[str, list[Any]]]:
    """What [cases] or [sample] ask for: [[variant]] tables of the set-up, and the texts of each key; empty for neither.

    Raises InputError.
    """
    asked = [name for name in TABLES if raw.get(name)]
    if not asked:
        return [], {}
    table = raw[asked[0]]
    if not isinstance(table, Mapping):
        raise InputError(asked[0], repr(table), f"a table [{asked[0]}]")
    if len(asked) > 1 or raw.get("variant"):
        raise InputError(asked[0], "with other variants", "only one of [cases], [sample] and [[variant]]")
    values = _sampled(table) if asked[0] == "sample" else _rows(table)
    count = len(next(iter(values.values())))
    word = "sample" if asked[0] == "sample" else "row"
    names = values.pop("name", None) or [f"{word} {i}" for i in range(1, count + 1)]
    return [_variant(setup, values, i, names[i]) for i in range(count)], values


def _variant(setup: Raw, values: Mapping[str, Sequence[Any]], i: int, name: str) -> dict[str, Any]:
    """The set-up's tables that differ in row i; an empty cell leaves the set-up's value."""
    new = setup
    for path, texts in values.items():
        if texts[i] != "":
            new = changed(new, path, texts[i])
    return {"name": name, **{table: new[table] for table in new if new[table] != setup.get(table)}}


def _rows(table: Mapping[str, Any]) -> dict[str, list[Any]]:
    values = flat(table, ENDS, "cases")
    for path, texts in values.items():
        if not isinstance(texts, list) or not 1 <= len(texts) <= MOST_ROWS:
            raise InputError(f"cases.{path}", repr(texts)[:60], f"a list of 1 to {MOST_ROWS} values")
        first = next(iter(values))
        if len(texts) != len(values[first]):
            raise InputError(f"cases.{path}", f"{len(texts)} values", f"{len(values[first])}, as {first} has")
        if path != "name":
            kind_of(path)
    return values


def _sampled(table: Mapping[str, Any]) -> dict[str, list[Any]]:
    """Texts of each key, drawn as a Latin hypercube (scipy.stats.qmc)."""
    own = {k: v for k, v in table.items() if k in Sample.model_fields}
    spec: Sample = read_part(Sample, own, "sample.")
    laws = flat({k: v for k, v in table.items() if k not in own}, ENDS, "sample")
    if not 2 <= spec.count <= MOST_ROWS:
        raise InputError("sample.count", spec.count, f"2 to {MOST_ROWS}")
    if spec.seed < 0:
        raise InputError("sample.seed", spec.seed, "0 or more")
    if not laws:
        raise InputError("sample", "no key", 'a key such as "antenna.length" = {from = "19 m", to = "20 m"}')
    points = scipy.stats.qmc.LatinHypercube(len(laws), rng=spec.seed).random(spec.count)
    return {path: _drawn(path, law, points[:, i]) for i, (path, law) in enumerate(laws.items())}


def _drawn(path: str, law: Any, points: np.ndarray) -> list[Any]:
    field, kind = f"sample.{path}", kind_of(path)
    if kind is None:
        if not isinstance(law, list) or not law:
            raise InputError(field, repr(law), "a list of words to draw from")
        return [law[int(p * len(law))] for p in points]
    ends = {name: kind(text, f"{field}.{name}") for name, text in law.items()} if isinstance(law, Mapping) else {}
    if set(ends) == {"from", "to"} and ends["from"] < ends["to"]:
        drawn = ends["from"] + (ends["to"] - ends["from"]) * points
    elif set(ends) == {"mean", "sd"} and ends["sd"] > 0:
        drawn = ends["mean"] + ends["sd"] * np.clip(scipy.special.ndtri(points), -WIDEST, WIDEST)
    else:
        raise InputError(field, repr(law), '{from = "19 m", to = "20 m"} rising, or {mean = "19.8 m", sd = "0.1 m"}')
    return [written(float(x) * CUSTOMARY[kind].factor, kind, 7) for x in drawn]


# --- A study: a set-up, the bands and figures wanted, and the axes to sweep; made into a list of cases.


SPEAK = ("variant", "site.soil")  # keys whose values need no name before them


class StudySpec(Part):
    """The [study] table. spread: whether dips and turns carry their uncertainty."""

    name: str = entry(
        "name of the study; its results go to results/NAME",
        "my-park",
        "letters, digits, spaces, dots, dashes; up to 60",
        default=...,
    )
    question: Annotated[str, AfterValidator(check_question)] = entry(
        "what you want to know, in a sentence; heads the page, the slides and the summary",
        "How does the slope move the dips?",
        "up to 200 characters",
        default="",
    )
    bands: tuple[str, ...] = entry(
        "bands to compute: names, or ranges of your own",
        ["40 m", "20 m", "13.9-14.4 MHz"],
        "160 m to 6 m, each once",
        default=("40 m", "20 m", "15 m", "10 m"),
    )
    region: int | str = entry(
        "whose band edges count: ITU region 1, 2 or 3, or the US", 2, '1, 2, 3 or "US"', default=1
    )
    want: tuple[str, ...] = entry(
        "questions to answer; each may have a table of its own with options",
        ["dips", "pattern"],
        "names of wants",
        default=("dips",),
    )
    swr_threshold: Number = entry(
        "SWR up to which a band counts as usable: widths and stops refer to it", 2.5, "above 1", default=3.0
    )
    place: Annotated[str, AfterValidator(lambda text: check_name(text, "study.place") if text else "")] = entry(
        "where it hangs: heads the card, and names its logbook", "lakeside pine", "up to 60 characters", default=""
    )
    spread: bool = entry("whether dips and turns say how sure they are", False, "true or false", default=True)


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

    @property
    def name(self) -> str:
        """ "slope" of the label "slope (°)"."""
        return self.label.partition(" (")[0]

    @property
    def unit(self) -> str:
        """ "°" of the label "slope (°)"."""
        return self.label.partition(" (")[2].rstrip(")")

    def value_text(self, value: Any) -> str:
        """A value of this axis with its unit: "30°", "20.1 m", "sea water"; in feet where it is typed so."""
        own = self._typed(value)
        return own if FEET.search(own) else self._in_unit(value)

    def _typed(self, value: Any) -> str:
        return str(self.texts[self.numbers.index(value)]) if self.numbers and value in self.numbers else ""

    def _in_unit(self, value: Any) -> str:
        return f"{in_words(value)}{'' if self.unit in ('', '°') else ' '}{self.unit}"

    def words(self, value: Any) -> str:
        """A value of this axis by itself: "slope 15°", "sea water", "coax length 25 ft"."""
        return in_words(value) if self.numbers is None else f"{self.name} {self.value_text(value)}"


@dataclass(frozen=True)
class Case:
    """One set-up of a study. labels: axis column -> value. raw: the set-up as texts."""

    index: int
    labels: dict[str, Any]
    raw: Raw = field(repr=False)

    def setup(self) -> Setup:
        """The set-up in SI values, read once. Raises InputError."""
        return self._setup

    @cached_property
    def _setup(self) -> Setup:
        return Setup.read(self.raw)

    def __getstate__(self) -> dict[str, Any]:
        """As texts only, which are shorter."""
        return {k: v for k, v in self.__dict__.items() if k != "_setup"}


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
    tables : dict
        The whole study file as it was read.
    file : str
        The study file, as it was named; empty if there was none.
    own : tuple
        Tables by functions of the user's own, as `run` takes them.
    given : tuple of Axis
        The keys of [cases] or [sample] with the value of each case, in the order of the variants.

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
    tables: Raw = field(default_factory=dict, compare=False, repr=False)
    given: tuple[Axis, ...] = ()
    file: str = field(default="", compare=False)
    own: tuple[Any, ...] = ()

    @property
    def name(self) -> str:
        return self.spec.name

    @property
    def count(self) -> int:
        """Number of cases."""
        return math.prod(len(axis.texts) for axis in self.axes)

    @property
    def lengths(self) -> str:
        """ "imperial" if the set-up's lengths are typed in feet and inches, else "metric"."""
        return lengths_of(self.raw)

    def length_text(self, metres: float) -> str:
        """A length as this study's are typed: "20.10 m" or "66 ft 3 in"."""
        return units.format_length(metres, self.lengths)

    def cases(self) -> tuple[Case, ...]:
        """Every combination of the axes, the last axis running fastest."""
        return self._cases

    @cached_property
    def _cases(self) -> tuple[Case, ...]:
        return tuple(map(self.case_at, self._combinations()))

    def _combinations(self) -> Iterator[tuple[int, ...]]:
        return itertools.product(*(range(len(axis.texts)) for axis in self.axes))

    def case_at(self, places: tuple[int, ...]) -> Case:
        """The case at a place on each axis."""
        raw, index = dict(self.raw), 0
        for axis, i in zip(self.axes, places, strict=True):
            index = index * len(axis.texts) + i
            if axis.path == "variant":
                raw = {**raw, **self.variants[axis.texts[i]]}
            else:
                raw = changed(raw, axis.path, axis.texts[i])
        return Case(index, {a.column: a.labels[i] for a, i in zip(self.axes, places, strict=True)}, raw)

    def words_of(self, labels: Mapping[str, Any]) -> str:
        """A case's place on the axes: "slope 30°, average soil"; labels: column -> value, others are left out.

        Variants and soils have names of their own, so these stand alone.
        """
        return ", ".join(
            a.value_text(labels[a.column]) if a.path in SPEAK else f"{a.name} {a.value_text(labels[a.column])}"
            for a in self.axes
            if a.column in labels
        )

    def __getstate__(self) -> dict[str, Any]:
        """Without the cases: a worker is sent its own."""
        return {k: v for k, v in self.__dict__.items() if k != "_cases"}


def _written(number: float, kind: units.Kind, spec: Any) -> Any:
    """A value of a range as the study file's range is typed."""
    if kind is units.length and FEET.search(str(spec["from"])):
        return f"{number / FOOT:.9g} ft"
    return written(number, kind)


SAME = ("turns_out", "power_w")  # columns that mean in a table what they mean as an axis


def swept_axis(path: str, spec: Any, taken: set[str], given: str = "sweep") -> Axis:
    """The axis of one key of the table `given`. taken: columns that other axes have. Raises InputError."""
    kind = kind_of(path)
    table, _, last = path.rpartition(".")
    whose = ("length", "height", "bearing", "at", "distance", "drop", "fall")
    name = last if last not in whose or table == "antenna" else f"{table.removeprefix('site.')}_{last}"
    name = re.sub(r"\W+", "_", name)
    if kind is None:
        if isinstance(spec, Mapping) or not isinstance(spec, list):
            raise InputError(f"{given}.{path}", repr(spec), "a list of values")
        if not spec:
            raise InputError(f"{given}.{path}", "[]", "at least one value")
        return Axis(path, name, name.replace("_", " "), tuple(spec), None)
    if not isinstance(spec, list | Mapping):
        kind(spec, f"{given}.{path}")  # if it is no value at all, that is said first
        raise InputError(f"{given}.{path}", repr(spec), f"a list, such as [{json.dumps(spec)}], or {{from, to, step}}")
    custom = CUSTOMARY[kind]
    numbers = [customary(v, kind) for v in values(spec, kind, f"{given}.{path}")]
    texts = spec if isinstance(spec, list) else [_written(n, kind, spec) for n in numbers]
    column = name + custom.suffix
    if column in taken or column in COLUMNS and column not in SAME:
        column = re.sub(r"\W+", "_", path) + custom.suffix
    label = name.replace("_", " ") + (f" ({custom.sign})" if custom.sign else "")
    return Axis(path, column, label, tuple(texts), tuple(numbers))
