"""The give or take of every dip: rows that come with each case of a study of dips or turns, whatever else is wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tautwire.studies.study.setup import AROUND, Setup
from tautwire.studies.wants.spread.want import tables
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.study import Study

FEW_SAMPLES = 128  # a case, in a study of many
ENOUGH = 24  # cases from which a study is one of many
FREE_OF = ("radio.power", "radio.duty", *AROUND)  # what a dip and an SWR do not depend on


def wanted(study: Study) -> bool:
    """Whether a study's answers carry their give or take."""
    return study.spec.spread and bool({"dips", "turns", "spread"} & set(study.spec.want))


def _samples(study: Study) -> int:
    asked: int = study.options["spread"].samples
    return asked if study.count < ENOUGH else min(asked, FEW_SAMPLES)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "spread" and "spread_parts" of a case, and its samples."""
    return tables(setup, solver, study, _samples(study))


def depends(study: Study) -> Any:
    want = study.spec.want
    return [study.options["spread"].model_dump(), _samples(study), study.spec.swr_threshold, "spread" in want,
            "turns" in want]  # fmt: skip


GIVE = Want("give", compute, depends=depends, free_of=FREE_OF)
