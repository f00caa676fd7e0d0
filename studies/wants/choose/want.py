"""Want "choose": of all that may vary, the few set-ups that serve best, each with its answers and what it gives up."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose.candidates import (
    ChooseSpec,
    Problem,
    Solved,
    check_ranges,
    read_problem,
    shifts,
    solve_candidate,
)
from tautwire.studies.wants.choose.search import Candidate, Place, Progress, Search, SolveMany, really_different
from tautwire.studies.wants.choose.words import (
    aim_value,
    columns_of_aims,
    findings,
    study_files,
    wins_and_losses,
)
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Remember, Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study
    from tautwire.studies.wants.spread.sampling import Spread

TRIED = 3  # times as many candidates as are shown have their chance computed where a certainty is wanted
Sureness = Callable[[list[Place]], list[tuple[float, list[float]]]]
"""places of candidates -> the chance of each, and half the width of each segment's 68 % interval"""
UNSURE = 0.01  # relative standard deviation of a dip, before that of a candidate is known


def raw_of(setup: Setup, study: Study) -> Raw:
    """The texts of a case's set-up."""
    return next((case.raw for case in study.cases() if case.setup() == setup), study.raw)


def one_by_one(problem: Problem, remember: Remember) -> SolveMany:
    """Candidates solved here, one after the other."""

    def solve_many(asked: list[tuple[Place, tuple[float, float]]]) -> Iterator[tuple[int, Solved | str]]:
        for i, (place, cell) in enumerate(asked):
            yield i, answer(problem, place, cell, remember)

    return solve_many


def answer(problem: Problem, place: Place, cell: tuple[float, float], remember: Remember) -> Solved | str:
    """A candidate solved, or why it cannot be."""
    try:
        return solve_candidate(problem, place, cell, remember)
    except (InputError, SolveError) as error:
        return str(error)


def search(problem: Problem, remember: Remember, many: SolveMany, progress: Progress | None = None) -> Search:
    """The search of a problem, not yet run."""
    spread = np.full(len(problem.segments), UNSURE)
    if problem.spec.certainty is not None:
        own = Setup.read(problem.raw)
        known = _spreads(problem, own, own.build().solver(remember))
        spread = np.array([s.half_width("dip") / (s.band.lower + s.band.upper) * 2 for s in known])
        spread = np.where(np.isfinite(spread) & (spread > 0), spread, UNSURE)
    return Search(problem, shifts(problem, spread), many, progress)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "choices" (a row a candidate shown), "choice_swr" (a row a candidate and segment), "tradeoff" (a row a
    candidate on the curve between two aims), "wishes" (a row a wish, where not all can be had)."""
    problem = read_problem(study, raw_of(setup, study))
    found = search(problem, solver.remember, one_by_one(problem, solver.remember))
    found.run()
    return frames_of(found, in_turn(problem, solver.remember))


def in_turn(problem: Problem, remember: Remember) -> Sureness:
    """How sure candidates are, computed here, one after the other."""
    return lambda places: [certainty(problem, place, remember) for place in places]


def frames_of(found: Search, sureness: Sureness, stopped: bool = False) -> Frames:
    """The tables of a search that was run, or stopped. Raises SolveError if it has solved nothing."""
    problem, ranked = found.problem, found.ranked()
    if not ranked:
        reasons = {r for b in found.branches for r in b.bad.values()}
        raise SolveError(f"no candidate could be solved ({'; '.join(sorted(reasons)[:3]) or 'stopped too early'})")
    wanted, show = problem.spec.certainty, problem.spec.show
    few = really_different(ranked, problem, show if wanted is None or stopped else TRIED * show)
    sure = dict(zip([c.place for c in few], sureness([c.place for c in few]), strict=True))
    if wanted is not None:
        few = sorted(few, key=lambda c: (bool(c.misses), sure[c.place][0] < wanted, c.cost))[:show]
    choices, by_segment = [], []
    for rank, c in enumerate(few, 1):
        chance, plus_minus = sure[c.place]
        choices.append({"choice": rank, **_row(problem, c), "chance_percent": 100 * chance})
        for segment, worst, swing in zip(problem.segments, c.measures.swr, plus_minus, strict=True):
            by_segment.append(
                {"choice": rank, "segment": segment.name, "swr_worst": float(worst), "swr_worst_pm": swing}
            )
    wins_and_losses(problem, choices)
    frames: Frames = {"choices": choices, "choice_swr": by_segment}
    if curve := found.curve() if len(problem.spec.aims) == 2 else []:
        shown = {c.place: rank for rank, c in enumerate(few, 1)}
        frames["tradeoff"] = [{"choice": shown.get(c.place, math.nan), **_row(problem, c)} for c in curve]
    if few[0].misses:
        frames["wishes"] = [_wish(found, wish, few[0]) for wish in few[0].misses]
    effort = {"solved": found.count, "tried": len(found.candidates), "allowed": problem.spec.solves, "stopped": stopped}
    frames["choices_solved"] = [effort]
    return frames


def _row(problem: Problem, c: Candidate) -> dict[str, Any]:
    knobs = {k.column: k.shown(x) for k, x in zip(problem.knobs, c.place, strict=True)}
    aims = {columns_of_aims[name]: aim_value(name, value) for name, value in c.measures.aims.items() if name != "swr"}
    own = {"swr_highest": float(c.measures.swr.max()), "wire_m": c.measures.wire, "highest_m": c.measures.highest}
    return {**knobs, **own, **aims, "misses": ", ".join(c.misses)}


def _wish(found: Search, wish: str, best: Candidate) -> dict[str, Any]:
    """What dropping a wish would allow."""
    other = found.without(wish)
    rest = other is not None and not (set(other.misses) - {wish})
    return {
        "wish": wish,
        "missed_by": best.misses[wish],
        "rest_holds_without": rest,
        "swr_highest": math.nan if other is None else float(other.measures.swr.max()),
    }


def certainty(problem: Problem, place: Place, remember: Remember) -> tuple[float, list[float]]:
    """Chance that a candidate stays at or under the SWR wanted in all segments, and half the width of each segment's
    68 % interval of the highest SWR."""
    setup = Setup.read(problem.candidate(place))
    spreads = _spreads(problem, setup, setup.build().solver(remember))
    together: Real = np.max([s.samples.worst for s in spreads], axis=0)
    return float(np.mean(together <= problem.swr)), [s.half_width("worst") for s in spreads]


def _spreads(problem: Problem, setup: Setup, solver: Solver) -> list[Spread]:
    from tautwire.studies.wants.spread.sampling import spread_of

    joint = problem.study.options["spread"].joint(setup)
    spreads = []
    for s in problem.segments:
        band = Band(s.name, s.lower, s.upper, s.source)
        spreads.append(spread_of(setup, solver, band, joint))
    return spreads


def check(setup: Setup, study: Study) -> None:
    """Raises InputError for a [choose] that cannot be searched."""
    check_ranges(read_problem(study, raw_of(setup, study)))


def depends(study: Study) -> list[Any]:
    """What of the study the rows depend on besides the set-up."""
    spec, options = study.spec, (study.options[name].model_dump() for name in ("choose", "target", "spread"))
    return [*options, list(spec.bands), spec.region, spec.swr_threshold]


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.choose.figures import choose_figures

    return {**choose_figures(result, size)}


WANT = Want(
    "choose",
    compute,
    ChooseSpec,
    findings=findings,
    plots=plots,
    sized=True,
    check=check,
    files=study_files,
    by_band=False,
    depends=depends,
)
