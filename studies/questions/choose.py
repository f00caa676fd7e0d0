"""Which of many possible set-ups serves best: the search, its candidates solved by worker processes."""

from collections.abc import Callable, Iterator

from tautwire.studies.questions.shared import Asked, tables_of
from tautwire.studies.running.pool import Ask, asking_all, lasting
from tautwire.studies.running.pool import asked as asked_workers
from tautwire.studies.running.runner import Progress, known, pieces, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study, without_cases
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.result import Result, gather
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.choose.candidates import Problem, Solved, read_problem
from tautwire.studies.wants.choose.search import Place
from tautwire.studies.wants.choose.want import answer, certainty, frames_of, in_turn, one_by_one, search
from tautwire.studies.wants.want import Frames


def side_by_side(
    problem: Problem, ask: Ask, store: Store, asked: list[tuple[Place, tuple[float, float]]]
) -> Iterator[tuple[int, Solved | str]]:
    """Candidates solved in worker processes, as they come."""
    tasks = [(problem, place, cell, store) for place, cell in asked]
    for i, done, fault in ask(answer, tasks, None):
        yield i, fault if done is None else done


def sure_side_by_side(problem: Problem, ask: Ask, store: Store, places: list[Place]) -> list[tuple[float, list[float]]]:
    """How sure candidates are, computed in worker processes."""
    nothing = float("nan"), [float("nan")] * len(problem.segments)
    found = asking_all(ask)(certainty, [(problem, place, store) for place in places])
    return [nothing if isinstance(sureness, str) else sureness for sureness in found]


def choose_case(
    case: Case,
    study: Study,
    store: Store,
    workers: int,
    progress: Progress | None = None,
    meanwhile: Callable[[], object] | None = None,
) -> tuple[Frames, bool]:
    """The tables of a case, and whether Ctrl-C ended the search early."""
    problem, stopped = read_problem(study, case.raw), False
    with lasting(max(workers, 1), meanwhile) as ask:
        alone = workers == 0
        many = one_by_one(problem, store) if alone else lambda asked: side_by_side(problem, ask, store, asked)
        found = search(problem, store, many, progress)
        try:
            found.run()
        except KeyboardInterrupt:
            if not found.candidates:
                raise
            stopped = True
        sure = in_turn(problem, store) if alone else lambda places: sure_side_by_side(problem, ask, store, places)
        return frames_of(found, sure, stopped), stopped


def chosen(
    study: Study,
    store: Store,
    workers: int,
    progress: Progress | None = None,
    meanwhile: Callable[[], object] | None = None,
) -> Result:
    """All cases of a study that wants "choose"; after Ctrl-C the best so far of the case then searched."""
    for case in study.cases():
        if known(case, study, store) is not None:
            continue
        frames, stopped = choose_case(case, study, store, workers, progress, meanwhile)
        if stopped:
            return gather(study, {case.index: frames}, {})
        store.put_json(next(p.key for p in pieces(case, study) if p.want.name == "choose"), frames)
    return run(study, store, workers)


def choose(
    study: Asked,
    workers: int | None = None,
    store: Store | None = None,
    progress: Progress | None = None,
    meanwhile: Callable[[], object] | None = None,
) -> Result:
    """Of all set-ups that the "choose" table allows, the few that serve best.

    Parameters
    ----------
    study : mapping or Study
        Tables of a study file; "choose" says what may vary ("vary") and what is wanted (swr, aims, wishes).
    workers : int, optional
        Processes; by default one for each core that may be used. 0 computes in this process.
    store : Store, optional
        Where finished answers are kept and looked up.
    progress : callable, optional
        Called as progress(solved, allowed).
    meanwhile : callable, optional
        As in `run`.

    Returns
    -------
    Result
        frames["choices"]: a row per choice, the best first, with what it gives and gives up; "choice_swr",
        "choices_solved", and where two aims compete "tradeoff", where not all wishes can be had "wishes".
        After Ctrl-C the best so far: choices_solved says stopped.

    Raises
    ------
    InputError
        For a "choose" table that cannot be searched.
    SolveError
        If no candidate could be solved.

    Examples
    --------
    >>> import tautwire
    >>> tables = {
    ...     "study": {"bands": ["20 m"]},
    ...     "antenna": {"layout": "vertical", "length": "10.3 m"},
    ...     "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    ...     "choose": {"vary": {"antenna.length": {"from": "9.5 m", "to": "10.6 m"}}, "solves": 8},
    ... }
    >>> best = tautwire.choose(tables, workers=0).rows("choices")[0]
    >>> best["choice"], bool(best["swr_highest"] < 3)
    (1, True)
    """
    raw = without_cases(tables_of(study), "choose")
    asked = read_study({**raw, "study": {**table_at(raw, "study"), "want": ["choose"]}}, "choose")
    return chosen(asked, store or Store(), asked_workers(workers), progress, meanwhile)
