"""The give or take of every dip: rows that come with each case of a study of dips or turns, whatever else is wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.spread.want import tables
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.study import Study

FEW_SAMPLES = 128  # a case, in a study of many
ENOUGH = 24  # cases from which a study is one of many
FREE_OF = ("radio.power", "radio.duty", "reel")  # what a dip and an SWR do not depend on


def wanted(study: Study) -> bool:
    """Whether a study's answers carry their give or take."""
    return study.spec.spread and bool({"dips", "turns", "spread"} & set(study.spec.want))


def give(like: Raw | None) -> Want:
    """What computes the tables "spread" and "spread_parts" of a case. like: the set-up whose wire shifts serve it."""

    def samples(study: Study) -> int:
        asked: int = study.options["spread"].samples
        return asked if study.count < ENOUGH else min(asked, FEW_SAMPLES)

    def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
        return tables(setup, setup if like is None else Setup.read(like), solver, study, samples(study))

    def depends(study: Study) -> Any:
        more = "spread" in study.spec.want
        facts = (
            None if like is None else Setup.read(like).model_dump(exclude={"radio": {"power", "duty"}, "reel": True})
        )
        return [study.options["spread"].model_dump(), samples(study), study.spec.swr_threshold, facts, more]

    return Want("give", compute, depends=depends, free_of=FREE_OF)
