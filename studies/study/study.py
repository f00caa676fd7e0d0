"""A study: a set-up, the bands and figures wanted, and the axes to sweep; made into a list of cases."""

import itertools
import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any

from pydantic import AfterValidator

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.studies.study import units
from tautwire.studies.study.cells import in_words
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.guard import check_name, check_question
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.quantities import CUSTOMARY, customary, written
from tautwire.studies.study.raw import FEET, Raw, changed, kind_of, lengths_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import FOOT, Number, values

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
