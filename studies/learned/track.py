"""The track record: each outing as it would have been predicted from those before it, beside what was then read."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tautwire.model.arrays import Real
from tautwire.studies.learned.errors import READ_DIP
from tautwire.studies.learned.outing import Outing
from tautwire.studies.learned.posterior import Log, learned, predict
from tautwire.studies.study.measurement import dips as dips_of_sweep

TRUST = 6.0  # readings that what is stated beforehand counts as much as
DRAWS = 512


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
            ahead = predict(known, replace(outing, dips=(), sweeps=()), bands, DRAWS)
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
