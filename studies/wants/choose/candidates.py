"""One candidate solved exactly, kept in few numbers; and what those numbers say about it through any feed."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy
from pydantic import field_validator

from tautwire.model.basics import Complex, Real, impedance, swr
from tautwire.model.errors import InputError, did_you_mean
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.far_field import Pattern
from tautwire.model.fields.power_balance import power_balance
from tautwire.model.fields.terrain import Terrain
from tautwire.model.operating.bands import BandSegment, segment_named
from tautwire.model.solve.response import REFERENCE, respond
from tautwire.model.solve.solver import Arrays, Remember, Solver
from tautwire.studies.study.findings import written_as
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.raw import Raw, changed, kind_of
from tautwire.studies.study.setup import RadioSpec, Setup
from tautwire.studies.study.study import Case, Study, in_words
from tautwire.studies.study.units import CUSTOMARY, Kind, Length, Number, Power, customary, length, values, written

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result


# --- What may vary and what is wanted, read from [choose] and made into numbers that a search can move.


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
    places: the value of each text on a smooth scale (SI), None for words. ends: low and high as they were typed.
    """

    path: str
    label: str
    kind: Kind | None
    low: float
    high: float
    texts: tuple[Any, ...] = ()
    places: tuple[float, ...] | None = None
    ends: tuple[str, ...] = ()

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

    def range_words(self) -> str:
        """What it may be, as it was typed: "wire 19 m to 21 m"."""
        if self.listed:
            return f"{self.label} {', '.join(str(self.shown(i)) for i in range(len(self.texts)))}".strip()
        return f"{self.label} {' to '.join(self.ends)}"

    @property
    def column(self) -> str:
        """Its column in tables."""
        name = self.path.replace(".", "_").removeprefix("antenna_")
        return name + ("" if self.kind is None or self.is_words else CUSTOMARY[self.kind].suffix)


def _typed(value: Any) -> str:
    return str(value).replace(" deg", "\u00b0")


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
        return Knob(path, label, kind, low, high, ends=tuple(_typed(given[end]) for end in ("from", "to")))
    stepped = isinstance(given, Mapping) and {"step", "count"} & set(given)
    if not (stepped or isinstance(given, list | tuple)):
        raise InputError(field, repr(given), "a range {from = ..., to = ...} or a list of values")
    si = sorted(values(given, kind, field))
    return Knob(path, label, kind, 0, len(si) - 1, tuple(written(customary(v, kind), kind) for v in si), tuple(si))


# --- One candidate solved exactly, kept in few numbers.


POINTS = 41  # frequencies at which a segment's SWR is read
GRID = 240  # electrical lengths at which a segment's reflection is kept
TOLERANCE = 3e-4  # of the reflection coefficient
MOST_SAMPLES = 24
LOW_ANGLES = np.radians([10.0, 15.0, 20.0, 25.0, 30.0])
ALL_ROUND = np.radians(np.arange(0.0, 360.0, 10.0))
WIDEN = 0.05  # beyond a segment's edges, relative, for shifts of the curve


@dataclass(frozen=True)
class Solved:
    """What is kept of a candidate's wires.

    length: m of wire. highest: m. gamma (segments, GRID): reflection coefficient at REFERENCE ohm on the problem's grid
    of electrical lengths. gain (segments,): dBi at the segment's centre, relative to the power into the wire.
    shield (segments,): greatest current on the coax's shield, A for 1 W into the wire.
    """

    length: float
    highest: float
    gamma: Complex
    gain: Real
    shield: Real

    def arrays(self) -> Arrays:
        sizes = np.array([self.length, self.highest])
        return {"sizes": sizes, "gamma": self.gamma, "gain": self.gain, "shield": self.shield}

    @classmethod
    def of(cls, arrays: Arrays) -> Solved:
        length, highest = map(float, arrays["sizes"])
        return cls(length, highest, arrays["gamma"], arrays["gain"], arrays["shield"])


def electrical_grid(problem: Problem, shortest: float, longest: float) -> list[Real]:
    """For each segment the values of frequency times wire length (Hz m) at which reflection is kept."""
    return [
        np.linspace(s.lower * (1 - WIDEN) * shortest, s.upper * (1 + WIDEN) * longest, GRID) for s in problem.segments
    ]


def solve_candidate(problem: Problem, x: tuple[float, ...], cell: tuple[float, float], remember: Remember) -> Solved:
    """The candidate at x, solved exactly or read from where it is kept. cell: shortest and longest wire, m, of the
    candidates that it is compared with. Raises InputError or SolveError.
    """
    raw = {k: v for k, v in problem.candidate(x).items() if k not in ("transformer", "radio", "reel")}
    asked = [[s.lower, s.upper] for s in problem.segments]
    wanted = [problem.spec.toward, problem.study.options["target"].model_dump_json()] if _gains(problem) else []
    text = json.dumps([raw, asked, cell, wanted, _shields(problem)], sort_keys=True, default=str)
    key = f"choose-{hashlib.sha256(text.encode()).hexdigest()}"
    return Solved.of(remember(key, lambda: _solve(problem, x, cell, remember).arrays()))


def _gains(problem: Problem) -> bool:
    return "gain" in problem.spec.aims


def _shields(problem: Problem) -> bool:
    return "shield" in problem.spec.aims


def _solve(problem: Problem, x: tuple[float, ...], cell: tuple[float, float], remember: Remember) -> Solved:
    built = Setup.read(problem.candidate(x)).build()
    solver, length = built.solver(remember), built.layout.length
    gamma, gain, shield = [], [], []
    for segment, grid in zip(problem.segments, electrical_grid(problem, *cell), strict=True):
        f = grid / length
        response = respond(solver.port_of_one_mesh(segment.centre), f[0], f[-1], TOLERANCE, most=MOST_SAMPLES)
        gamma.append(response.reflection(f))
        if _gains(problem) or _shields(problem):
            more = _currents(problem, solver, segment.centre, built.terrain)
            gain.append(more[0])
            shield.append(more[1])
    highest = max(p[2] for p in built.layout.points)
    return Solved(length, highest, np.array(gamma), np.array(gain), np.array(shield))


def _currents(problem: Problem, solver: Solver, f_hz: float, terrain: Terrain) -> tuple[float, float]:
    """Gain (dBi, relative to the power into the wire) towards what is aimed at, and the greatest shield current (A) for
    1 W into the wire."""
    solution = solver.solve(f_hz)
    on_coax = [solver.structure.conductors[i].role == "coax" for i in solution.mesh.conductor]
    watts = solution.admittance.real  # for 1 V, effective value
    shield = float(np.abs(solution.current[on_coax]).max(initial=0.0) / math.sqrt(watts))
    if not _gains(problem):
        return math.nan, shield
    pattern = Pattern(solution, power_balance(solution, solver.structure).accounted, terrain)
    if problem.spec.toward == "low":
        return _mean(pattern.dbi(LOW_ANGLES[:, None], ALL_ROUND[None, :])), shield
    target, gains = problem.study.options["target"], []
    for region in (r.region() for r in target.region):
        for hops in sorted(target.hops):
            elevations = region.elevations(target.height, hops)
            if len(elevations):
                gains.append(_mean(pattern.dbi(elevations[:, None], region.bearings[None, :])))
                break
    if not gains:
        raise InputError("target.region", "no region", "a region that the hops of [target] reach")
    return float(np.mean(gains)), shield


def _mean(dbi: Any) -> float:
    return float(10 * np.log10((10 ** (np.asarray(dbi) / 10)).mean()))


@dataclass(frozen=True)
class Measures:
    """What counts about a candidate.

    swr (segments,): highest across each segment. sure_swr: the SWR that the wanted chance stays below (the highest of
    `swr` if no chance is wanted). aims: name of an aim -> what is to be small (a gain with its sign turned). highest,
    wire: m. heat: W in the core; nan if nobody asks.
    """

    swr: Real
    sure_swr: float
    aims: dict[str, float]
    highest: float
    wire: float
    heat: float


def shifts(problem: Problem, spread: Real) -> Real:
    """Relative shifts of frequency (count, segments), equally likely, that stand for all that is not known.

    spread (segments,): standard deviation of each segment's dip, relative. The shifts go together.
    """
    if problem.spec.certainty is None:
        return np.zeros((1, len(problem.segments)))
    steps = scipy.special.ndtri((np.arange(21) + 0.5) / 21)
    values: Real = np.clip(steps[:, None] * spread[None, :], -WIDEN, WIDEN)
    return values


def measures(
    problem: Problem, solved: list[Solved], grid: list[Real], feed: FeedSystem, radio: RadioSpec, moves: Real
) -> list[Measures]:
    """What counts, from solved (or blended) candidates that share their feed and radio. moves: from `shifts`."""
    n, count = len(solved), len(problem.segments)
    length = np.array([s.length for s in solved])
    f = np.array([segment.frequencies(POINTS) for segment in problem.segments])
    at = f * (1 - moves[:, :, None])  # a curve shifted up by a part is read that part lower
    z = np.empty((n, len(moves), count, POINTS), dtype=complex)
    for i, u in enumerate(grid):
        gamma = np.array([s.gamma[i] for s in solved])
        places = (at[:, i] * length[:, None, None]).reshape(n, -1)
        z[:, :, i] = _ohm(_between(places, u, gamma)).reshape(n, len(moves), POINTS)
    seen = swr(feed.impedances(z, f).radio, feed.reference).max(axis=-1)  # (n, shifts, segments)
    middle = len(moves) // 2  # no shift
    worst, sure = seen[:, middle].T, seen.transpose(2, 0, 1)
    nothing = np.zeros((count, n))
    loss: Real = nothing
    heat: Real = nothing
    efficiency: Real = nothing
    watts: Real = nothing
    if problem.needs_power:
        split = feed.power_split(z[:, middle], f)
        loss = (split.coax_db + split.transformer_db).max(axis=-1).T
        heat = split.core.max(axis=-1).T * radio.power * radio.duty
        efficiency = split.wire[..., POINTS // 2].T
        watts = efficiency * radio.power
    together = np.sort(sure.max(axis=0), axis=-1)  # (n, shifts)
    chance = problem.spec.certainty
    sure_swr = worst.max(axis=0)
    if chance is not None:
        k = np.arange(together.shape[-1])
        sure_swr = np.array([np.interp(chance * len(k) - 0.5, k, row) for row in together])
    measured = []
    for j, s in enumerate(solved):
        every = {
            "swr": float(sure_swr[j]),
            "gain": -float(np.mean(s.gain + 10 * np.log10(np.maximum(efficiency[:, j], 1e-9)))) if len(s.gain) else 0.0,
            "loss": float(loss[:, j].max()),
            "heat": float(heat[:, j].max()),
            "shield": float((s.shield * np.sqrt(np.maximum(watts[:, j], 0))).max()) if len(s.shield) else 0.0,
        }
        aims = {name: every[name] for name in problem.spec.aims if name in every}
        measured.append(Measures(worst[:, j], float(sure_swr[j]), aims, s.highest, s.length, every["heat"]))
    return measured


def _between(x: Real, grid: Real, values: Complex) -> Complex:
    """Values (n, GRID) on an even grid, read at x (n, m) by a cubic through four neighbours."""
    t = (x - grid[0]) / (grid[1] - grid[0])
    k = np.clip(np.floor(t).astype(int), 1, len(grid) - 3)
    s = t - k
    rows = np.arange(len(values))[:, None]
    a, b, c, d = (values[rows, k + j] for j in (-1, 0, 1, 2))
    out: Complex = (
        -s * (s - 1) * (s - 2) / 6 * a
        + (s + 1) * (s - 1) * (s - 2) / 2 * b
        - (s + 1) * s * (s - 2) / 2 * c
        + (s + 1) * s * (s - 1) / 6 * d
    )
    return out


def _ohm(gamma: Complex) -> Complex:
    """Impedance, ohm; a blended reflection a hair beyond 1 is taken back to 1."""
    size = np.abs(gamma)
    gamma = np.where(size > 0.999999, gamma / np.maximum(size, 1e-9) * 0.999999, gamma)
    return impedance(gamma, REFERENCE)
