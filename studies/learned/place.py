"""The next outing at a place of the logbook: what all outings say of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tautwire.model.operating.bands import Band
from tautwire.model.remember import Remember
from tautwire.studies.learned.ahead import Step, next_steps
from tautwire.studies.learned.carried import carried
from tautwire.studies.learned.outing import Outing
from tautwire.studies.learned.posterior import Log, Posterior, Predicted, learned, predict
from tautwire.studies.learned.replay import all_entries, log_of
from tautwire.studies.learned.track import Tracked, record_words, track, widening
from tautwire.studies.learned.words import learned_words, step_words
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.spread.want import SpreadSpec

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
