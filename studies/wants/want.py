"""What a want is: a kind of answer that computes tidy rows for a case, and may add tables, words and plots."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tautwire.model.errors import InputError, did_you_mean
from tautwire.studies.study.findings import Finding
from tautwire.studies.study.parts import Part
from tautwire.studies.study.result import Result, Rows
from tautwire.studies.study.setup import Setup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.study import Study


# --- How wants have several things done: one after the other here, or side by side by what the caller hands in.


AskMany = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], Sequence[Any]]
"""a function and the arguments of each call -> what each call gives, or words (str) why it gives nothing"""


def in_turn(function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]]) -> list[Any]:
    """Tasks done here, one after the other."""
    return [function(*task) for task in tasks]


# --- What a want is.


Frames = dict[str, Rows]


def _no_more(result: Result) -> None:
    return None


def _no_findings(result: Result) -> list[Finding]:
    return []


def _no_check(setup: Setup, study: Study) -> None:
    return None


def _no_plots(result: Result) -> Plots:
    return {}


def _no_files(result: Result) -> dict[str, str]:
    return {}


Plots = Mapping[str, "Figure"] | Iterator[tuple[str, "Figure"]]


@dataclass(frozen=True)
class Want:
    """A kind of answer.

    name: as in [study] want, and the name of its options table. compute(setup, solver, study): table name -> rows
    for one case, run in a worker. options: the Part that checks its options table. finish(result): adds tables made
    from all cases to result.frames. findings(result): what it found, the verdict first. plots(result): file
    stem -> figure, or pairs of both as they are built; sized: whether it also takes `size`, a name of style.LOOKS.
    check(setup, study): raises InputError for what compute would refuse, as far as that is known at once; called for
    every case before any is computed. files(result): further files, name -> text.

    Rows are stored, so a want says what they depend on besides the set-up. by_band: the rows of a band do not depend on
    which other bands are asked for; compute is then called for one band at a time. depends(study): what else of the
    study they depend on, as JSON values (default: all of its options). free_of: dotted keys of the set-up that they do
    not depend on.
    """

    name: str
    compute: Callable[[Setup, Solver, Study], Frames]
    options: type[Part] = Part
    finish: Callable[[Result], None] = _no_more
    plots: Callable[..., Plots] = _no_plots
    sized: bool = False
    check: Callable[[Setup, Study], None] = _no_check
    files: Callable[[Result], dict[str, str]] = _no_files
    by_band: bool = True
    depends: Callable[[Study], Any] | None = None
    free_of: tuple[str, ...] = ()
    findings: Callable[[Result], list[Finding]] = _no_findings

    def asked(self, study: Study) -> Any:
        """What of the study, besides bands, its rows depend on, as JSON values."""
        return self.depends(study) if self.depends else study.options[self.name].model_dump()


# --- What a study can be asked for, by name. To add a want: write wants/<name>/want.py with a `Want` called WANT, and
# list the name here.


WANTS = ("choose", "dips", "exposure", "fit", "pattern", "shield", "spread", "stress", "target", "turns", "why")
"""Names of all wants; the module of each is loaded when asked for."""


def want_named(name: str) -> Want:
    """The want of that name. Raises InputError with the nearest name."""
    if name not in WANTS:
        raise InputError("study.want", repr(name), f"one of {', '.join(WANTS)}{did_you_mean(name, WANTS)}")
    want = importlib.import_module(f"tautwire.studies.wants.{name}.want").WANT
    assert isinstance(want, Want)
    return want
