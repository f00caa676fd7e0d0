"""What may vary and what is wanted, read from [choose] and made into numbers that a search can move."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import field_validator

from tautwire.model.errors import InputError, did_you_mean
from tautwire.model.operating.bands import BandSegment, segment_named
from tautwire.studies.study.findings import written_as
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.quantities import CUSTOMARY, customary, written
from tautwire.studies.study.raw import Raw, changed, kind_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study, in_words
from tautwire.studies.study.units import Kind, Length, Number, Power, length, values

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case

AIMS = ("swr", "gain", "loss", "heat", "shield")
FEED_ONLY = ("transformer.", "radio.", "coax.loss_scale")
"""paths that change what is between wire and radio, but no current on the wire"""
LABELS = {
    "antenna": "", "antenna.length": "wire", "counterpoise.length": "counterpoise", "coax.length": "coax",
    "coax.choke.at": "choke at",
}  # fmt: skip
"""what people call what is at a path, where that is not its key"""
MOST_KNOBS = 6
MOST_WORDS = 24


class LimitsSpec(Part):
    """[choose.limits]: what must hold besides the SWR."""

    highest: Length | None = entry("highest that the wire may reach", "8 m", "above 0")
    wire: Length | None = entry("wire owned: no candidate is longer", "25 m", "above 0")
    heat: Power | None = entry("most heat in the core, at the power and duty of the radio", "2 W", "above 0")


class ChooseSpec(Part):
    """[choose]: what may vary, what is wanted, what must hold."""

    vary: dict[str, Any] = entry(
        "what may vary: key to a range or a list",
        {"antenna.length": {"from": "15 m", "to": "25 m"}},
        "keys of the set-up",
        default={},
    )
    segments: tuple[str, ...] = entry(
        "stretches wanted; the study's bands if left out",
        ["20 m CW", "40 m"],
        "names of `tautwire list bands`, or ranges",
        default=(),
    )
    swr: Number | None = entry("SWR to stay below; the study's swr_threshold if left out", 2.5, "above 1")
    certainty: Number | None = entry("with which chance it must stay below", "80 %", "50 % to 99 %")
    aims: dict[str, Number] = entry(
        "what else is wanted, each with its weight",
        {"swr": 1, "gain": 2},
        "swr, gain, loss, heat, shield",
        default={"swr": 1.0},
    )
    toward: str = entry(
        "where gain is wanted: low all round, or to the regions of [target]",
        "targets",
        '"low" or "targets"',
        default="low",
    )
    limits: LimitsSpec = entry("what must hold besides the SWR", {"highest": "8 m"}, default=LimitsSpec())
    solves: int = entry("set-ups that may be solved exactly", 100, "8 to 2000", default=60, ge=8, le=2000)
    show: int = entry("how many that really differ are shown", 2, "1 to 8", default=3, ge=1, le=8)
    seed: int = entry("start of the search: the same seed gives the same answer", 7, "0 or more", default=1, ge=0)

    @field_validator("aims", mode="before")
    @classmethod
    def _listed(cls, given: Any) -> Any:
        if not isinstance(given, list | tuple):
            return given
        if bad := [name for name in given if not isinstance(name, str)]:
            raise InputError("choose.aims", repr(bad[0]), 'names such as ["swr", "gain"], or a table of weights')
        return dict.fromkeys(given, 1.0)

    @field_validator("toward")
    @classmethod
    def _direction(cls, toward: str) -> str:
        if toward not in ("low", "targets"):
            raise InputError("choose.toward", repr(toward), "'low' or 'targets'")
        return toward

    @field_validator("certainty")
    @classmethod
    def _chance(cls, certainty: float | None) -> float | None:
        if certainty is not None and not 0.5 <= certainty < 1:
            raise InputError("choose.certainty", f"{certainty:g}", "from 50 % to 99 %")
        return certainty


@dataclass(frozen=True)
class Knob:
    """One thing that may vary.

    path: dotted key. label: for people. kind: of its quantity, None for words. low, high: SI, of a continuous one;
    of a listed one the range of the index into texts. texts: listed values as the set-up has them, empty if continuous.
    places: the value of each text on a smooth scale (SI), None for words.
    """

    path: str
    label: str
    kind: Kind | None
    low: float
    high: float
    texts: tuple[Any, ...] = ()
    places: tuple[float, ...] | None = None

    @property
    def listed(self) -> bool:
        return bool(self.texts)

    @property
    def moves_wire(self) -> bool:
        return not self.path.startswith(FEED_ONLY)

    @property
    def is_words(self) -> bool:
        return self.listed and self.places is None

    def text(self, x: float) -> Any:
        """The value at x as the set-up has it."""
        if self.listed:
            return self.texts[round(x)]
        assert self.kind is not None
        return written(customary(x, self.kind), self.kind, 7)

    def place(self, x: float) -> float:
        """x on the smooth scale from 0 to 1; 0 for words."""
        if self.places is not None:
            low, high = min(self.places), max(self.places)
            return 0.0 if high == low else (self.places[round(x)] - low) / (high - low)
        return 0.0 if self.listed else (x - self.low) / (self.high - self.low)

    def shown(self, x: float) -> Any:
        """The value at x for tables: a number in its column's unit, or a word."""
        if self.is_words:
            return named(self.texts[round(x)])
        assert self.kind is not None
        si = self.places[round(x)] if self.places is not None else x
        return float(f"{customary(si, self.kind):.6g}")

    def placed(self, shown: Any) -> float:
        """The x of a value in a table: the inverse of `shown`."""
        if self.listed:
            return float([self.shown(i) for i in range(len(self.texts))].index(shown))
        assert self.kind is not None
        return min(max(float(shown) / CUSTOMARY[self.kind].factor, self.low), self.high)

    def words(self, value: Any, lengths: str = "metric") -> str:
        """A value as in tables, in words: "wire 20.13 m", "slope 25°", "soil wet ground"."""
        if self.is_words:
            return f"{self.label} {value}".strip()
        return f"{self.label} {written_as(value / self._factor, self.form, lengths)}".strip()

    @property
    def _factor(self) -> float:
        assert self.kind is not None
        return CUSTOMARY[self.kind].factor

    @property
    def form(self) -> str:
        """How findings write its numbers."""
        return {"m": "length", "rad": "angle"}.get(self.kind.unit if self.kind else "", "plain")

    def range_words(self, lengths: str = "metric") -> str:
        """What it may be, in words: "wire 19.00 m to 21.00 m"."""
        if self.listed:
            return f"{self.label} {', '.join(str(self.shown(i)) for i in range(len(self.texts)))}".strip()
        low, high = (self.words(self.shown(x), lengths).removeprefix(f"{self.label} ") for x in (self.low, self.high))
        return f"{self.label} {low} to {high}"

    @property
    def column(self) -> str:
        """Its column in tables."""
        name = self.path.replace(".", "_").removeprefix("antenna_")
        return name + ("" if self.kind is None or self.is_words else CUSTOMARY[self.kind].suffix)


def named(text: Any) -> str:
    """A listed value in words: a table's own name, if it has one."""
    return str(text["name"]) if isinstance(text, Mapping) and "name" in text else in_words(text)


@dataclass(frozen=True)
class Problem:
    """A study's [choose], checked. segments: wanted stretches. swr: limit. raw: the set-up all candidates share."""

    study: Study
    spec: ChooseSpec
    raw: Raw
    knobs: tuple[Knob, ...]
    segments: tuple[BandSegment, ...]
    swr: float

    @property
    def needs_power(self) -> bool:
        """Whether losses and heat are asked for."""
        return self.spec.limits.heat is not None or any(
            name in self.spec.aims for name in ("loss", "heat", "gain", "shield")
        )

    def place_of(self, row: Mapping[Any, Any]) -> tuple[float, ...]:
        """The place of a candidate in the table "choices"."""
        return tuple(knob.placed(row[knob.column]) for knob in self.knobs)

    def candidate(self, x: tuple[float, ...]) -> Raw:
        """The set-up as texts at a place x: a number a knob."""
        raw = self.raw
        for knob, v in sorted(zip(self.knobs, x, strict=True), key=lambda pair: not _is_table(pair[0])):
            text = knob.text(v)
            if isinstance(text, Mapping):
                text = {k: t for k, t in text.items() if k != "name"}
            raw = changed(raw, knob.path, text)
        return raw


def choices_of(result: Result, case: Case) -> list[tuple[str, Setup]]:
    """The choices of a case that wanted "choose", each with its name, "choice 1 (inverted L)" being the best."""
    problem = read_problem(result.study, case.raw)
    first, chosen = problem.knobs[0], []
    for row in result.of("choices", case).to_dict("records"):
        name = f"choice {row['choice']} ({first.words(row[first.column], result.study.lengths)})"
        chosen.append((name, Setup.read(problem.candidate(problem.place_of(row)))))
    return chosen


def _is_table(knob: Knob) -> bool:
    return bool(knob.texts) and isinstance(knob.texts[0], Mapping)


def read_problem(study: Study, raw: Raw) -> Problem:
    """The problem of a study and one of its set-ups (as texts). Raises InputError naming the key that is wrong."""
    spec: ChooseSpec = study.options["choose"]
    if not spec.vary:
        raise InputError("choose.vary", "nothing", 'what may vary, such as "antenna.length" = {from = ..., to = ...}')
    if len(spec.vary) > MOST_KNOBS:
        raise InputError("choose.vary", f"{len(spec.vary)} keys", f"at most {MOST_KNOBS}")
    knobs = tuple(_knob(path, given) for path, given in spec.vary.items())
    _check_aims(spec.aims)
    names = spec.segments or study.spec.bands
    swr = study.spec.swr_threshold if spec.swr is None else spec.swr
    if not 1 < swr <= 100:
        raise InputError("choose.swr", f"{swr:g}", "above 1, up to 100")
    if ("shield" in spec.aims) and "coax" not in raw and all(k.path.partition(".")[0] != "coax" for k in knobs):
        raise InputError("choose.aims.shield", "given", "with a [coax] table, whose shield carries the current")
    segments = tuple(segment_named(name, study.spec.region, "choose.segments") for name in names)
    return Problem(study, spec, raw, knobs, segments, swr)


WIRE = (1.0, 200.0)
"""m, the lengths of wire that are searched: a half wave is 2.8 m on 6 m and 83 m on 160 m"""


def check_ranges(problem: Problem) -> None:
    """Raises InputError for an end of a range, or a listed value, that the key it is for can never have."""
    for knob in problem.knobs:
        if knob.is_words:
            continue
        for x in dict.fromkeys((knob.low, knob.high)):
            text, field = knob.text(x), f"choose.vary.{knob.path}"
            if knob.path == "antenna.length" and not WIRE[0] <= length(text, field) <= WIRE[1]:
                raise InputError(field, text, f"from {WIRE[0]:g} to {WIRE[1]:g} m: wires for 6 m to 160 m are within")
            try:
                Setup.read(changed(problem.raw, knob.path, text)).build()
            except InputError as error:  # about another key: a matter of the candidate, left out as such
                if error.field == knob.path:
                    raise InputError(field, text, error.allowed) from None


def _check_aims(aims: Mapping[str, float]) -> None:
    if not aims:
        raise InputError("choose.aims", "none", f"at least one of {', '.join(AIMS)}")
    for name, weight in aims.items():
        if name not in AIMS:
            raise InputError(f"choose.aims.{name}", weight, f"one of {', '.join(AIMS)}{did_you_mean(name, AIMS)}")
        if not 0 < weight <= 1000:
            raise InputError(f"choose.aims.{name}", weight, "a weight above 0, up to 1000")


def _knob(path: str, given: Any) -> Knob:
    field = f"choose.vary.{path}"
    try:
        kind = kind_of(path)
    except InputError as error:
        raise InputError("choose.vary", repr(path), error.allowed) from None
    label = LABELS.get(path, path.removeprefix("antenna.").replace(".", " ").replace("_", " "))
    if kind is None:
        if not isinstance(given, list | tuple) or not given:
            raise InputError(field, repr(given), "a list of values to choose from")
        if len(given) > MOST_WORDS:
            raise InputError(field, f"{len(given)} values", f"at most {MOST_WORDS}")
        return Knob(path, label, None, 0, len(given) - 1, tuple(given))
    if isinstance(given, Mapping) and set(given) == {"from", "to"}:
        low, high = kind(given["from"], f"{field}.from"), kind(given["to"], f"{field}.to")
        if not low < high:
            raise InputError(field, f"{given['from']} to {given['to']}", "from below to")
        return Knob(path, label, kind, low, high)
    stepped = isinstance(given, Mapping) and {"step", "count"} & set(given)
    if not (stepped or isinstance(given, list | tuple)):
        raise InputError(field, repr(given), "a range {from = ..., to = ...} or a list of values")
    si = sorted(values(given, kind, field))
    return Knob(path, label, kind, 0, len(si) - 1, tuple(written(customary(v, kind), kind) for v in si), tuple(si))
