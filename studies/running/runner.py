"""Cases to answers: each in a worker process, stored as soon as it is done, a crash or a hang costing one case.

An answer is kept by question and band, under what it depends on: the set-up in SI units, and the code that makes it.
What is in the store is read, not computed: a study that was stopped goes on where it was, and one that asks for a band
more computes that band.
"""

import contextlib
import json
import logging
import os
import random
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from tautwire import __version__
from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import span_of
from tautwire.studies.running.families import WIRES, beside, solver_for
from tautwire.studies.running.pool import Ask, asked, cores, lasting
from tautwire.studies.running.quality import QUALITY
from tautwire.studies.running.store import ANSWERS, Store, code_digest, digest, libraries
from tautwire.studies.study.parts import as_written
from tautwire.studies.study.result import Result, gather
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.spread.sampling import compare, withhold
from tautwire.studies.wants.spread.want import GIVE, wanted
from tautwire.studies.wants.want import Frames, Want, want_named

if TYPE_CHECKING:
    from tautwire.studies.wants.own import Function

TIMEOUT = 300.0  # seconds for one case
CONNECT = 5.0  # seconds to find a scheduler
Progress = Callable[[int, int], None]
"""progress(done, total)"""
Done = tuple[int, list[Frames] | None, str]
"""case index, the rows of each of its pieces or None, and why not"""


@dataclass(frozen=True)
class Piece:
    """A part of a case's answer that is stored by itself: a want's rows for one band, or for all.

    study: asks for no other band. key: of its rows in the store.
    """

    want: Want
    study: Study
    key: str

    def compute(self, setup: Setup, solver: Any) -> Frames:
        return self.want.compute(setup, solver, self.study)


def pieces(case: Case, study: Study) -> list[Piece]:
    """All pieces of a case's answer, each with a key of everything that its rows depend on."""
    setup, stands, parts = case.setup(), beside(case, study), []
    blended = [] if stands is None else stands.facts
    for want in _wants(study):
        made_by = code_digest(want.compute.__module__), _majors()
        facts = [want.name, *made_by, _without(setup, want.free_of), want.asked(study)]
        for bands in [(b,) for b in study.bands] if want.by_band else [study.bands]:
            edges = [(b.name, b.lower, b.upper) for b in bands] if want.by_band else []
            kind = want.name if want.name in ANSWERS else "case"
            parts.append(Piece(want, replace(study, bands=bands), digest(kind, *facts, edges, *blended)))
    return parts


def _wants(study: Study) -> list[Want]:
    """What is wanted of a case, and what comes with every case."""
    own = [table.want for table in study.own]
    return [*map(want_named, study.spec.want), *own, *([GIVE] if wanted(study) else []), QUALITY]


def _majors() -> list[str]:
    """The engine with its whole version, other libraries with the first number of theirs."""
    (engine, version), *rest = libraries().items()
    return [f"{engine} {version}", *(f"{name} {v.partition('.')[0]}" for name, v in rest)]


def _without(setup: Setup, keys: tuple[str, ...]) -> dict[str, Any]:
    """The set-up in SI values, without what is at these dotted keys."""
    values: dict[str, Any] = setup.model_dump()
    for key in keys:
        *tables, last = key.split(".")
        place: Any = values
        for table in tables:
            place = (place or {}).get(table)
        if isinstance(place, dict):
            place.pop(last, None)
    return values


def joined(study: Study, case: Case, parts: list[Frames]) -> Frames:
    """The tables of a case from the rows of its pieces; rows that name no band are the same in each, and come once."""
    frames: Frames = {}
    seen: set[str] = set()
    for piece, part in zip(pieces(case, study), parts, strict=False):
        again = piece.want.by_band and piece.want.name in seen
        seen.add(piece.want.name)
        for name, rows in part.items():
            frames.setdefault(name, []).extend(row for row in rows if not again or "band" in row)
    return frames


def solve_case(case: Case, study: Study, store: Store, only: Sequence[Band] = ()) -> list[Frames]:
    """The rows of each piece of a case: read where the store has them, else computed and stored.

    only: of these bands, leaving out what is computed for all bands at once. Raises InputError or SolveError.
    """
    setup, solver, found = case.setup(), None, []
    for piece in pieces(case, study):
        if only and not (piece.want.by_band and set(piece.study.bands) <= set(only)):
            continue
        rows = store.get_json(piece.key)
        if rows is None:
            solver = solver or solver_for(case, beside(case, study), store)
            rows = piece.compute(setup, solver)
            store.put_json(piece.key, rows)
        found.append(rows)
    return found


def known(case: Case, study: Study, store: Store) -> list[Frames] | None:
    """The rows of each piece of a case if the store has them all."""
    found = []
    for piece in pieces(case, study):
        found.append(store.get_json(piece.key))
    return None if any(rows is None for rows in found) else found


def ahead(
    study: Study,
    name: str,
    store: Store,
    tables: Callable[[Setup, Ask], Frames],
    meanwhile: Callable[[], object] | None = None,
    workers: int | None = None,
) -> None:
    """What a want says of a study's only case, computed side by side and stored, unless it is there; `run` reads it.

    tables(setup, ask): its tables, with worker processes to ask. meanwhile, workers: as in `run`; with 0 workers it is
    `run` that computes. A fault is left for `run` to tell.
    """
    case, count = study.cases()[0], cores() if workers is None else workers
    key = next(piece.key for piece in pieces(case, study) if piece.want.name == name)
    if count and store.get_json(key) is None:
        with lasting(count, meanwhile) as ask, contextlib.suppress(InputError, SolveError), as_written(case.raw):
            store.put_json(key, tables(case.setup(), ask))


def _answer(case: Case, study: Study, store: Store, *only: Sequence[Band]) -> Done:
    try:
        with as_written(case.raw):
            return case.index, solve_case(case, study, store, *only), ""
    except (InputError, SolveError) as error:
        return case.index, None, str(error)


def in_processes(
    cases: Sequence[Case],
    study: Study,
    store: Store,
    workers: int,
    timeout: float,
    meanwhile: Callable[[], object] | None = None,
) -> Iterator[Done]:
    """Answers as they come, from worker processes on this machine."""
    from tautwire.model.solve import neighbours as sensitivity  # noqa: F401  loaded once, before the workers are forked

    with lasting(min(workers, max(len(cases), len(_by_span(study)))), meanwhile) as ask:
        lost: dict[int, str] = {}
        if len(cases) < workers and store.can_write():  # span by span
            ahead = [(case, study, store, bands) for case in cases for bands in _by_span(study)]
            for i, done, fault in ask(_answer, ahead, timeout):
                if done is None:
                    lost[ahead[i][0].index] = fault
        tasks = [(case, study, store) for case in cases if case.index not in lost]
        yield from ((index, None, fault) for index, fault in lost.items())
        for i, done, fault in ask(_answer, tasks, timeout):
            yield (tasks[i][0].index, None, fault) if done is None else done


def _by_span(study: Study) -> list[list[Band]]:
    """The bands that share matrices together, most first: what workers can compute side by side of one case."""
    spans: dict[Any, list[Band]] = {}
    for band in study.bands:
        spans.setdefault(span_of(band.lower), []).append(band)
    return sorted(spans.values(), key=len, reverse=True)


def identity(study: Study) -> str:
    """What the answers of a study depend on besides the study: versions and code, in words."""
    code = code_digest(*(want.compute.__module__ for want in _wants(study)))
    return ", ".join([f"tautwire {__version__} (code {code})", *map(" ".join, libraries().items())])


NO_ANSWER = "no answer from the cluster within"
OTHER_CODE = "a cluster worker has other code: "


def _on_worker(answer: Callable[..., Done], case: Case, study: Study, store: Store, expected: str) -> Done:
    if (own := identity(study)) != expected:
        return case.index, None, f"{OTHER_CODE}{own}, not {expected} as here"
    return answer(case, study, store)


def _accepted(client: Any, study: Study, expected: str) -> list[str]:
    """Addresses of the workers that have the code we have here, asked again, as workers come and go."""
    found = client.run(identity, study, on_error="return")
    return [address for address, own in found.items() if own == expected]


def on_cluster(cases: Sequence[Case], study: Study, store: Store, address: str, timeout: float) -> Iterator[Done]:
    """Answers as they come, from a Dask cluster; workers keep stores of their own.

    A case whose worker dies is tried on another, as often as the scheduler allows (allowed-failures, 3 by default).
    One that is given up is tried alone when nothing else runs, twice at most, as another may have killed its
    workers: only what fails alone has failed. A worker that joins later with other code sends back what reaches it,
    and it goes to those with the code we have here.
    When nothing comes back for `timeout` seconds, the cases still out are given up. Raises InputError for a scheduler
    that is not there or workers with other code, SolveError if the scheduler stops.
    """
    try:
        import distributed
    except ImportError:
        raise InputError("scheduler", address, "the cluster extra installed: pip install 'tautwire[cluster]'") from None
    for name in ("distributed", "distributed.client"):  # each has its level; a lost scheduler is one line
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        client = distributed.Client(address, timeout=CONNECT)
    except (OSError, ValueError) as error:
        raise InputError("scheduler", address, f"the address of a running Dask scheduler ({error})") from None
    with contextlib.closing(client):
        expected = identity(study)
        _refuse_others(client, study, expected, address)

        def submit(case: Case, workers: list[str] | None = None) -> Any:
            return client.submit(_on_worker, _answer, case, study, store, expected, pure=False, workers=workers)

        def submitted_alone(case: Case, workers: list[str] | None = None) -> Done:
            future = submit(case, workers)
            try:
                distributed.wait([future], timeout=timeout)
            except (TimeoutError, distributed.TimeoutError):
                client.cancel([future])
                return case.index, None, f"{NO_ANSWER} {timeout:g} s"
            fetched = _fetched(future, case, study, store)
            if workers is None and fetched[2].startswith(OTHER_CODE) and (ours := _accepted(client, study, expected)):
                return submitted_alone(case, ours)  # only then: a worker that is started anew has another address
            return fetched

        again: list[Case] = []
        try:
            futures = {submit(c): c for c in cases}
            while futures:
                try:
                    done = distributed.wait(list(futures), timeout=timeout, return_when="FIRST_COMPLETED").done
                except (TimeoutError, distributed.TimeoutError):
                    client.cancel(list(futures))
                    for case in futures.values():
                        yield case.index, None, f"{NO_ANSWER} {timeout:g} s"
                    return
                for future in done:
                    if future.status == "cancelled":
                        raise CancelledError
                    case, lost = futures.pop(future), future.status == "error"
                    fetched = _fetched(future, case, study, store)
                    if fetched[2].startswith(OTHER_CODE) and (accepted := _accepted(client, study, expected)):
                        futures[submit(case, accepted)] = case
                    elif lost:
                        again.append(case)
                    else:
                        yield fetched
            for case in again:
                fetched = submitted_alone(case)
                if fetched[1] is None and not fetched[2].startswith(NO_ANSWER):  # perhaps a worker was still dying
                    fetched = submitted_alone(case)
                yield fetched
        except (OSError, CancelledError, distributed.client.FutureCancelledError):
            allowed = f"the scheduler at {address} stopped with {len(futures)} of {len(cases)} cases not yet answered"
            raise SolveError(f"{allowed}; the others are kept, so the same command goes on from here") from None


def _refuse_others(client: Any, study: Study, expected: str, address: str) -> None:
    try:
        found = client.run(identity, study)
    except Exception as error:  # noqa: BLE001  code too different to be asked
        allowed = f"workers with {expected} as here; they cannot say what they have ({type(error).__name__})"
        raise InputError("scheduler", address, allowed) from None
    for worker, own in found.items():
        if own != expected:
            raise InputError("scheduler", address, f"workers with {expected} as here; {worker} has {own}")


def _fetched(future: Any, case: Case, study: Study, store: Store) -> Done:
    try:
        answer: Done = future.result()
    except Exception as error:  # noqa: BLE001  a lost worker must not lose the other cases
        return case.index, None, f"{type(error).__name__}: {' '.join(str(error).split())}"
    for piece, rows in zip(pieces(case, study), answer[1] or [], strict=False):
        store.put_json(piece.key, rows)
    return answer


def _by_wires(cases: Sequence[Case]) -> list[list[Case]]:
    """Cases that share their wires, and so the engine's matrices, together."""
    groups: dict[str, list[Case]] = {}
    for case in cases:
        wires = json.dumps({k: v for k, v in case.raw.items() if k in WIRES}, sort_keys=True, default=str)
        groups.setdefault(wires, []).append(case)
    return list(groups.values())


def share(cases: Sequence[Case], part: tuple[int, int] | None) -> list[Case]:
    """The cases of part (number, of how many), as even as can be, those with the same wires side by side."""
    number, of = part or (1, 1)
    if not 1 <= number <= of:
        raise InputError("part", f"{number}/{of}", "a number and how many parts there are, such as 3/20")
    row = [case for group in _by_wires(cases) for case in group]
    return row[len(row) * (number - 1) // of : len(row) * number // of]


def _in_order(cases: list[Case], study: Study, mixed: bool) -> list[Case]:
    """First one case of each set of wires, then the rest: cases that share matrices find them stored, instead of two
    processes computing the same ones at once. mixed: beyond that each run has an order of its own; as it looks into the
    store before each case, runs of the same study at the same time share the work.

    Cases that others are blended from come before those, which then come family by family, those with the same wires
    side by side.
    """
    stands = {case.index: beside(case, study) for case in cases}
    alone = [case for case in cases if (at := stands[case.index]) is None or at.is_solved]
    groups = _by_wires(alone)
    first, rest = [group[0] for group in groups], [case for group in groups for case in group[1:]]
    families: dict[str, list[Case]] = {}
    for case in cases:
        if (at := stands[case.index]) is not None and not at.is_solved:
            families.setdefault(at.key, []).append(case)
    blended = [_by_wires(family) for family in families.values()]
    if mixed:
        chance = random.Random(os.urandom(8))
        orders: list[list[Any]] = [first, rest, *blended, blended]
        for order in orders:
            chance.shuffle(order)
    return first + rest + [case for family in blended for group in family for case in group]


def run(
    study: Study,
    store: Store | None = None,
    workers: int | None = None,
    timeout: float = TIMEOUT,
    scheduler: str | None = None,
    progress: Progress | None = None,
    part: tuple[int, int] | None = None,
    meanwhile: Callable[[], object] | None = None,
    own: "Sequence[Function]" = (),
) -> Result:
    """Compute a study: every case gives rows or a named failure, and what is computed is stored for the next time.

    Parameters
    ----------
    study : Study
        As `read_study` or `load_study` give it.
    store : Store, optional
        Where finished cases are kept and looked up; by default a folder in the user's cache, or $TAUTWIRE_CACHE.
    workers : int, optional
        Processes; by default one for each core that may be used. 0 computes in this process.
    timeout : float
        Seconds for a case; one that takes longer fails.
    scheduler : str, optional
        Address of a Dask scheduler whose workers compute the cases.
    progress : callable, optional
        Called as progress(done, total) when it begins and after each case.
    part : (int, int), optional
        (3, 20) computes the third of twenty shares only, into the store, from which a run without it gathers them all.
    meanwhile : callable, optional
        Called once while worker processes compute, such as what loads modules that are needed afterwards.
    own : sequence of callable
        Functions of your own, function(band, solve) -> mapping of column names to numbers, texts or booleans; each
        gives a table of its name, a row per case and band. band: name, lower and upper edge in Hz; solve(f_hz): the
        case as `Solved`. Their code is part of the key in the store, so a changed function is computed again. Workers
        import them: define them at the top of a module or script.

    Returns
    -------
    Result
        frames: table name -> pandas frame in case order, with a column for each swept axis. failed: the cases without
        an answer, and why.

    Raises
    ------
    InputError
        For a negative number of workers, or where the scheduler cannot be used or has workers with other code.
    SolveError
        If no case at all gave an answer, or the scheduler stopped. A fault of one case is kept in `failed` instead.

    Examples
    --------
    >>> import tautwire
    >>> study = tautwire.read_study({
    ...     "study": {"bands": ["20 m"]},
    ...     "antenna": {"layout": "sloper", "length": "19.8 m", "slope": "25 deg"},
    ...     "coax": {"length": "5 m"},
    ...     "sweep": {"site.soil": ["sea water", "average soil"]},
    ... })
    >>> dips = tautwire.run(study, workers=0).frames["dips"]
    >>> dips[["soil", "band"]]
               soil  band
    0     sea water  20 m
    1  average soil  20 m
    >>> bool((dips["dip_mhz"].sub(14.2).abs() < 0.1).all())
    True
    """
    if own:
        from tautwire.studies.wants.own import OwnTable  # with the fields, which other runs spare

        study = replace(study, own=tuple(map(OwnTable, own)))
    began = time.perf_counter()
    count = asked(workers)
    store = store or Store()
    cases = share(study.cases(), part)
    answers: dict[int, list[Frames]] = {}
    failed: dict[int, str] = {}
    todo = []
    for case in cases:
        found = known(case, study, store)
        if found is None:
            todo.append(case)
        else:
            answers[case.index] = found
    cached, todo = len(answers), _in_order(todo, study, mixed=not scheduler)
    if progress:
        progress(cached, len(cases))
    if todo:
        store.can_write()
    source: Iterator[Done]
    if scheduler:
        source = on_cluster(todo, study, store, scheduler, timeout)
    elif not todo or not count:
        source = (_answer(case, study, store) for case in todo)
    else:
        source = in_processes(todo, study, store, count, timeout, meanwhile)
    for index, found, reason in source:
        if found is None:
            failed[index] = reason
        else:
            answers[index] = found
        if progress:
            progress(len(answers) + len(failed), len(cases))
    if failed and not answers:
        reasons = list(dict.fromkeys(failed.values()))
        more = f" (and {len(reasons) - 1} other reasons)" if len(reasons) > 1 else ""
        raise SolveError(f"none of {len(failed)} cases could be solved: {reasons[0]}{more}")
    if todo and not scheduler and any(known(c, study, store) is None for c in todo[-1:] if c.index in answers):
        store.tell("what was computed is not there any more")
    by_index = {case.index: case for case in cases}
    tables = {i: joined(study, by_index[i], found) for i, found in answers.items()}
    result = gather(study, tables, failed)
    withhold(result)
    for name in study.spec.want:
        want_named(name).finish(result)
    withhold(result)
    compare(result)
    return replace(result, seconds=time.perf_counter() - began, cached=cached)
