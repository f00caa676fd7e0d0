"""What a study can be asked for. Each want computes tidy rows for a case, and may add tables, words and plots.

To add one: write its module with a `Want`, and list it in WANTS.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..model.errors import InputError
from .setup import Part, Setup

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..model.solver import Solver
    from .result import Result
    from .study import Study

Rows = list[dict[str, Any]]
Frames = dict[str, Rows]


def _no_more(result: Result) -> None:
    return None


def _no_words(result: Result) -> list[str]:
    return []


def _no_plots(result: Result) -> dict[str, Figure]:
    return {}


@dataclass(frozen=True)
class Want:
    """A kind of answer.

    name: as in [study] want, and the name of its options table. compute(setup, solver, study): table name -> rows
    for one case, run in a worker. options: the Part that checks its options table. finish(result): adds tables made
    from all cases to result.frames. sentences(result): the answer in words. plots(result): file stem -> figure.
    """

    name: str
    compute: Callable[[Setup, Solver, Study], Frames]
    options: type[Part] = Part
    finish: Callable[[Result], None] = _no_more
    sentences: Callable[[Result], list[str]] = _no_words
    plots: Callable[[Result], dict[str, Figure]] = _no_plots


def wants() -> dict[str, Want]:
    """Every want by name."""
    from . import (
        want_dips,
        want_exposure,
        want_fit,
        want_pattern,
        want_shield,
        want_stress,
        want_target,
        want_turns,
        want_why,
    )

    modules: tuple[Any, ...] = (
        want_dips,
        want_exposure,
        want_fit,
        want_pattern,
        want_shield,
        want_stress,
        want_target,
        want_turns,
        want_why,
    )
    return {module.WANT.name: module.WANT for module in modules}


def want_named(name: str) -> Want:
    """The want of that name. Raises InputError with the nearest name."""
    known = wants()
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        raise InputError("study.want", repr(name), f"one of {', '.join(known)}{hint}")
    return known[name]
