"""The give or take of every dip: rows that come with each case of a study of dips or turns, whatever else is wanted."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import AROUND, Setup
from tautwire.studies.wants.spread.want import Served, SpreadSpec, tables
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.study import Study

FEW_SAMPLES = 128  # a case, in a study of many
ENOUGH = 24  # cases from which a study is one of many
FREE_OF = ("radio.power", "radio.duty", "reel", *AROUND)  # what a dip and an SWR do not depend on
MOST_SERVED = 16
_SERVED: dict[str, Served] = {}  # set-ups that serve many cases, read once a process


def wanted(study: Study) -> bool:
    """Whether a study's answers carry their give or take."""
    return study.spec.spread and bool({"dips", "turns", "spread"} & set(study.spec.want))


def _served(like: Raw, spec: SpreadSpec) -> Served:
    """The set-up of these tables, with its uncertain values."""
    key = json.dumps([like, spec.model_dump()], sort_keys=True, default=str)
    if key not in _SERVED:
        if len(_SERVED) >= MOST_SERVED:
            _SERVED.clear()
        setup = Setup.read(like)
        _SERVED[key] = Served(setup, spec.joint(setup).values)
    return _SERVED[key]


def give(like: Raw | None) -> Want:
    """What computes the tables "spread" and "spread_parts" of a case. like: the set-up whose wire shifts serve it."""

    def samples(study: Study) -> int:
        asked: int = study.options["spread"].samples
        return asked if study.count < ENOUGH else min(asked, FEW_SAMPLES)

    def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
        served = None if like is None else _served(like, study.options["spread"])
        return tables(setup, served, solver, study, samples(study))

    def depends(study: Study) -> Any:
        more = "spread" in study.spec.want
        facts = (
            None if like is None else Setup.read(like).model_dump(exclude={"radio": {"power", "duty"}, "reel": True})
        )
        return [study.options["spread"].model_dump(), samples(study), study.spec.swr_threshold, facts, more]

    return Want("give", compute, depends=depends, free_of=FREE_OF)
