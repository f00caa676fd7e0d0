"""The next outing at a place: what is learned, how it is carried on, what to measure, and the track record.

The logbook as outings, and what is learned of them all: replayed whenever it is asked for, so nothing goes stale.

The only module here that knows how the logbook keeps its entries.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from tautwire.model.basics import Real, Remember
from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.learned.outing import READ_DIP, Dip, Outing, layer_of
from tautwire.studies.learned.posterior import DRAWS, Local, Log, Posterior, Predicted, drawn, learned, predict
from tautwire.studies.logbook.logbook import Entry, read_logbook
from tautwire.studies.study.measurement import Sweep, read_sweeps
from tautwire.studies.study.measurement import dips as dips_of_sweep
from tautwire.studies.study.raw import FACTOR, Raw, changed, kind_of, table_value, usual_of
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup, opened
from tautwire.studies.study.units import CUSTOMARY, written
from tautwire.studies.wants.spread.want import SpreadSpec

# --- What to read or measure next: what each would leave of the ± of the dips asked for, from draws of the posterior.


@dataclass(frozen=True)
class Step:
    """One thing to read or measure.

    what: in words. is_reading: of a dip. now, then: ± of each band's dip, Hz, before and expected after.
    """

    what: str
    now: dict[str, float]
    then: dict[str, float]
    is_reading: bool = False

    @property
    def gain(self) -> float:
        """Sum over bands of the logarithm of the sd's shrinking: information, nats."""
        return sum(math.log(self.now[b] / max(self.then[b], 1.0)) for b in self.now)


def next_steps(posterior: Posterior, outing: Outing, bands: Sequence[Band], wider: float = 1.0) -> list[Step]:
    """Dips that could be read and values that could be measured at an outing, the most telling first.

    wider: factor on every ±.

    A reading z with error e leaves var(dip) - cov(dip, z)^2/(var(z) + e^2), to first order. A dip that is read is known
    to its reading's error, so what it says is counted on the other bands.
    """
    local = Local.of(outing, posterior.log.bands, bands, posterior.log.remember)
    x = drawn(posterior, local, DRAWS)
    dips = {b.name: local.models[b.name].dips(*local.split(b, x))[0] for b in bands}
    good = np.all([np.isfinite(d) for d in dips.values()], axis=0)
    dips = {name: _tamed(d[good]) for name, d in dips.items()}
    shape = {name: wider * _middle_width(d) / float(np.std(d)) for name, d in dips.items()}  # draws have long tails
    now = {name: shape[name] * float(np.std(d)) for name, d in dips.items()}
    steps = []
    for name, d in dips.items():
        error = READ_DIP * float(np.mean(d))
        then = {other: shape[other] * _left(dips[other], d, error) for other in dips}
        steps.append(Step(f"read {name}", now, then, True))
    by_measure: dict[str, list[int]] = {}
    for i, one in enumerate(local.values):
        if one.measure and one.measured < one.sd:
            by_measure.setdefault(one.measure, []).append(i)
    for what, which in by_measure.items():
        errors = np.array([local.values[i].measured / local.values[i].sd for i in which])
        then = {name: shape[name] * _left(d, x[good][:, which], errors) for name, d in dips.items()}
        steps.append(Step(what, now, then))
    return sorted(steps, key=lambda step: -step.gain)


def _tamed(dips: Real) -> Real:
    """Dips without the few draws that fall into another mode far away."""
    low, middle, high = np.percentile(dips, [16, 50, 84])
    reach = 2 * (high - low)
    return np.asarray(np.clip(dips, middle - reach, middle + reach))


def _middle_width(dips: Real) -> float:
    """Half the width of the range that holds 68 %."""
    low, high = np.percentile(dips, [15.87, 84.13])
    return float(high - low) / 2


def _left(dip: Real, seen: Real, error: Real | float) -> float:
    """Standard deviation of a dip (m,) left once `seen` (m,) or (m, k) is known with an error."""
    z = np.reshape(seen, (len(dip), -1))
    z = z - z.mean(axis=0)
    d = dip - dip.mean()
    whole = z.T @ z / len(d) + np.diag(np.broadcast_to(np.square(error), (z.shape[1],)))
    across = z.T @ d / len(d)
    return math.sqrt(max(float(np.var(dip) - across @ np.linalg.solve(whole, across)), 0.0))


# --- What is learned as other questions can start from it: a set-up as people write it, with [spread], as after a
# fit.


CARRIED_DRAWS = 1024
DIGITS = 6


def carried(posterior: Posterior, outing: Outing, raw: Mapping[str, Any]) -> Raw:
    """The tables `raw` of an outing's set-up with the values learned of antenna and site, and how sure they are.

    How it hangs stays as typed, with its usual spread, as the next time it hangs anew; so do leaves and the cable's own
    constants, which [spread] has no rows for.
    """
    local = Local.of(outing, posterior.log.bands, (), posterior.log.remember)
    x = drawn(posterior, local, CARRIED_DRAWS)
    which = [i for i, v in enumerate(local.values) if layer_of(v.path) != "hang"]
    new: Raw = dict(raw)
    values: dict[str, Any] = {}
    for i in which:
        one = local.values[i]
        kind = kind_of(one.path)
        if kind is None or one.path.startswith("mesh."):
            continue
        there = one.at(x[:, i])
        middle = float(np.median(there))
        sd = middle * float(np.std(np.log(there))) if one.law == FACTOR else float(np.std(there))
        if one.path.startswith("site.soil."):
            new = changed(new, "site.soil", opened(table_value(new, "site.soil") or "average soil", one.path))
        factor = CUSTOMARY[kind].factor
        new = changed(new, one.path, written(middle * factor, kind, DIGITS))
        values[one.path] = {"sd": written(sd * factor, kind, 4)}
    paths = [local.values[i].path for i in which if local.values[i].path in values]
    columns = [i for i in which if local.values[i].path in values]
    together = np.atleast_2d(np.corrcoef(x[:, columns], rowvar=False))
    pairs = [[paths[a], paths[b], round(float(together[a, b]), 5)] for a in range(len(paths)) for b in range(a)]
    return {**new, "spread": {"values": values, "correlation": pairs}}


def with_learned(result: Result, found: Sequence[Predicted]) -> None:
    """Puts the dips as predicted from all outings, and their ±, into the tables of a result of the same set-up."""
    learned = {one.band.name: one for one in found if np.isfinite(one.middle)}
    for name, column in (("dips", "dip_mhz"), ("all_dips", "f_mhz"), ("spread", "dip_mhz")):
        rows = result.rows(name)
        for row in rows:
            one = learned.get(row["band"])
            if one is None or not row.get("chosen", True) or not np.isfinite(row[column]):
                continue
            row[column] = one.middle / 1e6
            if name == "spread":
                low, high = one.interval(95)
                row |= {"dip_give_khz": one.sd / 1e3, "dip_low_mhz": low / 1e6, "dip_high_mhz": high / 1e6}
                row["measure"] = ""  # what to measure next is said from all outings: see place.py
        if rows:
            result.frames[name] = rows


# --- The logbook as outings, and what is learned of them all.


SAME_HANG = ("antenna", "coax", "counterpoise")  # tables that say how it hangs
LET_OUT = {"length"}  # what changes of them without hanging it anew: wire let out or taken in


def all_entries() -> list[Entry]:
    """Every entry of every place that can be read, oldest first."""
    return read_logbook().entries


def hang_of(tables: Mapping[str, Any], day: str) -> str:
    """What tells one hanging from another at a place: the day, and how it was typed to hang.

    >>> hang_of({"antenna": {"length": "20 m", "slope": "30 deg"}}, "2026-05-31")
    '2026-05-31 [{"slope": "30 deg"}, null, null]'
    """
    antenna = tables.get("antenna")
    hung = {k: v for k, v in antenna.items() if k not in LET_OUT} if isinstance(antenna, Mapping) else antenna
    rest = [tables.get(name) for name in SAME_HANG[1:]]
    return f"{day} {json.dumps([hung, *rest], sort_keys=True, default=str)}"


def outing_of(entry: Entry) -> tuple[Outing, dict[tuple[str, str], float]]:
    """An entry as an outing, and which of its values a fit found to be off together. Raises InputError."""
    setup = Setup.read(entry.setup)
    said = SpreadSpec.model_validate(entry.tables.get("spread", {}))
    sweeps = [s for kept in entry.log.sweeps for s in _radio_sweeps(entry, kept.file, setup)]
    swept = [(s.f_hz[0], s.f_hz[-1]) for s in sweeps]
    swr = {dip.band: dip.swr for dip in entry.log.dips}
    dips = tuple(
        Dip(band_named(band), f, swr.get(band)) for band, f in entry.dips_hz.items()
        if not any(low <= f <= high for low, high in swept)
    )  # fmt: skip
    hang = hang_of(entry.tables, entry.log.date)
    known = said.values or None
    return Outing(entry.log.place, hang, setup, dips, tuple(sweeps), known), {(a, b): r for a, b, r in said.correlation}


def _radio_sweeps(entry: Entry, name: str, setup: Setup) -> list[Sweep]:
    """Sweeps of a file of an entry that were taken at the radio; none if the file is gone, nor a dummy load's."""
    path = entry.path.parent / name
    if not path.exists():
        return []
    return [s for s in read_sweeps(path) if not s.dummy and s.plane == "radio" and s.z0 == setup.radio.impedance]


def log_of(found: Iterable[Entry], bands: Sequence[Band], remember: Remember) -> Log:
    """Entries made ready for replay. bands: those to be predicted besides the ones read.

    Raises InputError for an entry whose set-up cannot be read, naming its file.
    """
    outings, pairs = [], {}
    for entry in found:
        try:
            outing, off = outing_of(entry)
        except InputError as error:
            raise InputError("log", entry.path, f"an entry that can be read: {error}") from None
        outings.append(outing)
        pairs.update(off)
    read = {d.band.name: d.band for o in outings for d in o.dips}
    every = {**read, **{b.name: b for b in bands}}
    return Log(outings, tuple(sorted(every.values(), key=lambda b: b.lower)), remember, pairs)


# --- The track record: each outing as it would have been predicted from those before it, beside what was then read.


TRUST = 6.0  # readings that what is stated beforehand counts as much as
TRACK_DRAWS = 512


@dataclass(frozen=True)
class Tracked:
    """One dip read and as predicted before, Hz. sd: of the prediction, without the reading's own error."""

    number: int
    band: str
    read_hz: float
    predicted_hz: float
    sd_hz: float

    @property
    def off(self) -> float:
        """How far off in standard deviations, the reading's error among them."""
        return (self.read_hz - self.predicted_hz) / math.hypot(self.sd_hz, READ_DIP * self.read_hz)


def read_at(outing: Outing) -> dict[str, float]:
    """Band -> the dip read, Hz, by eye or in a sweep."""
    return {d.band.name: d.f_hz for d in outing.dips}


def track(log: Log) -> list[Tracked]:
    """Every dip of a log as predicted from the outings before it. Raises InputError or SolveError.

    What was predicted once is kept in the log's store.
    """
    found: list[Tracked] = []
    for i, outing in enumerate(log.outings):
        read = {b: f for b, f in _read_of(log, outing).items()}
        bands = [b for b in log.bands if b.name in read]
        if not bands:
            continue
        before = list(log.outings[:i])
        key = hashlib.sha256(repr([*map(_facts, before), _facts(outing), log.bands]).encode()).hexdigest()

        def compute(before: list[Outing] = before, outing: Outing = outing, bands: list = bands) -> dict[str, Real]:  # type: ignore[type-arg]
            known = learned(Log(before, log.bands, log.remember, log.pairs))
            ahead = predict(known, replace(outing, dips=(), sweeps=()), bands, TRACK_DRAWS)
            return {"dips": np.array([[p.middle, p.sd] for p in ahead])}

        kept = log.remember(f"track-{key}", compute)["dips"]
        found += [
            Tracked(i, band.name, read[band.name], float(middle), float(sd))
            for band, (middle, sd) in zip(bands, kept, strict=True) if math.isfinite(middle)
        ]  # fmt: skip
    return found


def _read_of(log: Log, outing: Outing) -> dict[str, float]:
    """Band -> dip as read, Hz; of a sweep the deepest in the band."""
    read = read_at(outing)
    for sweep in outing.sweeps:
        for band in log.bands:
            inside = [(low, f) for f, low in dips_of_sweep(sweep) if band.holds(f)]
            if inside and band.name not in read:
                read[band.name] = min(inside)[1]
    return read


def _facts(outing: Outing) -> tuple[object, ...]:
    sweeps = [(s.f_hz.tobytes(), s.swr.tobytes()) for s in outing.sweeps]
    return outing.place, outing.hang, repr(outing.setup), outing.dips, sweeps, repr(outing.known)


def widening(record: Sequence[Tracked]) -> float:
    """Factor on a stated ± from how well earlier ones held: sqrt((6 + sum of squares)/(6 + n)).

    >>> widening([]), round(widening([Tracked(0, "20 m", 14.2e6, 14.1e6, 2e4)] * 6), 2)
    (1.0, 2.52)
    """
    squares = [one.off**2 for one in record]
    return math.sqrt((TRUST + sum(squares)) / (TRUST + len(squares)))


def record_words(record: Sequence[Tracked], last: int = 12) -> str:
    """One line: of the last readings, how many lay within the ± stated before; empty if there are none."""
    some = record[-last:]
    if not some:
        return ""
    inside = sum(abs(one.off) <= 1 for one in some)
    return f"Track record: {inside} of the last {len(some)} dips lay within the ± stated before (68 % should)."


# --- What is learned, in words.


MOST_SUSPECTS = 3
WORTH, NARROWER = 0.05, 0.95  # least gain (nats) of a step worth saying; of a band's ± in it


def name_of(path: str) -> str:
    """A value's name for people.

    >>> name_of("coax.length"), name_of("wire.jacket")
    ('length of the coax', 'jacket thickness')
    """
    usual = usual_of(path)
    return path if usual is None else usual.name


def learned_words(posterior: Posterior, found: Sequence[Predicted], before: Sequence[Predicted]) -> list[str]:
    """How the dips' ± came down, and a warning where the readings do not fit what was typed."""
    outings = posterior.log.outings
    sites = len({o.place for o in outings})
    read = sum(len(o.dips) + len(o.sweeps) for o in outings)
    shrunk = ", ".join(
        f"{now.band.name} from ±{was.sd / 1e3:.0f} to ±{now.sd / 1e3:.0f} kHz"
        for now, was in zip(found, before, strict=True) if now.sd == now.sd and was.sd == was.sd
    )  # fmt: skip
    lines = [
        f"Learned from {_count(len(outings), 'outing')} at {_count(sites, 'place')} "
        f"({_count(read, 'reading')}): {shrunk}."
    ]
    if not posterior.fits:
        likely = ", ".join(name_of(path) for path, _ in posterior.suspects()[:MOST_SUSPECTS])
        lines.insert(0, (
            f"The readings do not fit what was typed (chance {posterior.chance:.1g}). Check what was typed, first: "
            f"{likely}; also what touches the wire's end, and how the coax lay."
        ))  # fmt: skip
    return lines


def step_words(steps: Sequence[Step]) -> str:
    """The most telling dip to read next, and the most telling thing to measure; empty if none is worth it."""
    said = []
    for reading in (True, False):
        best = next((s for s in steps if s.is_reading == reading and s.gain > WORTH), None)
        gains = [] if best is None else [(b, best.now[b], best.then[b]) for b in best.now]
        told = ", ".join(
            f"{b} from ±{now / 1e3:.0f} to ±{then / 1e3:.0f} kHz" for b, now, then in gains if then < NARROWER * now
        )
        said += [f"{best.what} ({told})"] if best is not None and told else []
    return f"Most telling next: {'; '.join(said)}." if said else ""


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


# --- The next outing at a place of the logbook: what all outings say of it.


NEXT = "next"  # the hanging that is to come


@dataclass(frozen=True, eq=False)
class Learned:
    """What is known of the next outing. raw: its tables with what is learned written in. found, before: its dips from
    all outings, and from none. record: how earlier predictions held."""

    raw: Raw
    posterior: Posterior
    found: tuple[Predicted, ...]
    before: tuple[Predicted, ...]
    steps: tuple[Step, ...]
    record: tuple[Tracked, ...]

    def sentences(self) -> list[str]:
        lines = learned_words(self.posterior, self.found, self.before)
        return [*lines, *filter(None, [record_words(self.record), step_words(self.steps)])]


def next_outing(place: str, raw: Mapping[str, Any]) -> Outing:
    """The set-up `raw` hung next at a place, and what is known of it: a fit's [spread]. Raises InputError."""
    spec = SpreadSpec.model_validate(raw.get("spread", {}))
    setup = Setup.read({k: v for k, v in raw.items() if k in Setup.model_fields})
    return Outing(place, NEXT, setup, known=spec.values or None)


def at_place(place: str, raw: Mapping[str, Any], bands: Sequence[Band], remember: Remember) -> Learned | None:
    """What the logbook says of the set-up `raw` hung next at a place; None if nothing was read yet.

    Raises InputError for an entry that cannot be read, SolveError for one that cannot be solved.
    """
    log = log_of(all_entries(), bands, remember)
    if not any(o.dips or o.sweeps for o in log.outings):
        return None
    outing = next_outing(place, raw)
    known = learned(log)
    record = track(log)
    wider = widening(record)
    found = tuple(stretched(one, wider) for one in predict(known, outing, bands))
    before = tuple(predict(learned(Log([], log.bands, remember)), replace(outing, known=None), bands))
    hung = {k: v for k, v in raw.items() if k != "spread"}
    return Learned(carried(known, outing, hung), known, found, before, tuple(next_steps(known, outing, bands, wider)),
                   tuple(record))  # fmt: skip


def stretched(one: Predicted, factor: float) -> Predicted:
    """A prediction whose draws lie so many times as far from their middle."""
    return replace(one, dip=one.middle + factor * (one.dip - one.middle))


# --- What is learned of the next outing at a place, as a file that a command can start --from: see
# wants/fit/fitted.py.


FOLDER = "learned"  # beside what is stored: a cache, as the logbook is the truth


def learned_file(place: str) -> Path | None:
    """A file with the place's last set-up, its values as all outings say, and its [spread]; None if nothing was read.

    Raises InputError for a place or an entry that cannot be read, SolveError for one that cannot be solved.
    """
    from tautwire.studies.logbook.logbook import LOG, entries
    from tautwire.studies.running.store import Store, default_folder
    from tautwire.studies.study.files import make_folder, put_new

    log = log_of(all_entries(), [], Store())
    if not any(outing.dips or outing.sweeps for outing in log.outings):
        return None
    last = entries(place)[-1]
    raw = carried(learned(log), next_outing(place, last.tables), last.setup)
    head = f"# Learned from {len(log.outings)} outings of the logbook; written anew whenever it is asked for.\n\n"
    text = head + tomli_w.dumps({**raw, LOG: {"place": place, "date": last.log.date}})
    path = default_folder() / FOLDER / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.toml"
    if not path.exists():
        make_folder(path.parent)
        put_new(path, text.encode())
    return path
