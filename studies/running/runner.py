"""Cases to answers: each in a worker process, stored as soon as it is done, a crash or a hang costing one case.

A case already in the store is read, not computed, so a study that was stopped goes on where it was.
"""

import multiprocessing
import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import TimeoutError as FutureTimeout
from concurrent.futures import as_completed
from dataclasses import replace
from typing import Any

from pebble import ProcessExpired, ProcessPool

from tautwire import __version__
from tautwire.model.errors import InputError, SolveError
from tautwire.model.solve.engine import engine_name
from tautwire.studies.running.quality import quality_rows
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.result import Result, gather
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.registry import want_named
from tautwire.studies.wants.want import Frames

TIMEOUT = 300.0  # seconds for one case
CONNECT = 5.0  # seconds to find a scheduler
Progress = Callable[[int, int], None]
"""progress(done, total)"""
Done = tuple[int, Frames | None, str]
"""case index, its rows or None, and why not"""


def case_key(case: Case, study: Study) -> str:
    """The key of a case's answer in the store: everything that the answer depends on."""
    spec = study.spec
    options = {name: part.model_dump_json() for name, part in study.options.items()}
    bands = [(b.name, b.lower, b.upper) for b in study.bands]
    axes = [a.column for a in study.axes] if "turns" in spec.want else []  # its rows lack what is swept
    asked = (spec.want, bands, spec.region, spec.swr_threshold, options, axes)
    return digest("case", __version__, engine_name(), case.raw, *asked)


def solve_case(case: Case, study: Study, store: Store) -> Frames:
    """All wanted rows of one case; stored under its key. Raises InputError or SolveError."""
    setup = case.setup()
    solver = setup.build().solver(store)
    frames: Frames = {}
    for name in study.spec.want:
        frames.update(want_named(name).compute(setup, solver, study))
    frames["quality"] = quality_rows(solver, study)
    store.put_json(case_key(case, study), frames)
    return frames


def _answer(case: Case, study: Study, store: Store) -> Done:
    try:
        return case.index, solve_case(case, study, store), ""
    except (InputError, SolveError) as error:
        return case.index, None, str(error)


def in_processes(cases: Sequence[Case], study: Study, store: Store, workers: int, timeout: float) -> Iterator[Done]:
    """Answers as they come, from worker processes on this machine."""
    from tautwire.model.solve import solver  # noqa: F401  loaded once, before the workers are forked

    method = "fork" if "fork" in multiprocessing.get_all_start_methods() and os.name == "posix" else "spawn"
    pool = ProcessPool(max_workers=workers, context=multiprocessing.get_context(method))
    try:
        futures: dict[Any, Case] = {pool.schedule(_answer, args=(c, study, store), timeout=timeout): c for c in cases}
        for future in as_completed(futures):
            index = futures[future].index
            try:
                yield future.result()
            except FutureTimeout:
                yield index, None, f"no answer within {timeout:g} s"
            except ProcessExpired as error:
                yield index, None, f"the worker process ended (exit code {error.exitcode})"
            except Exception as error:  # noqa: BLE001  a fault of ours in one case must not lose the others
                yield index, None, f"{type(error).__name__}: {error}"
        pool.close()
    finally:
        pool.stop()
        pool.join()


def on_cluster(cases: Sequence[Case], study: Study, store: Store, address: str, timeout: float) -> Iterator[Done]:
    """Answers as they come, from a Dask cluster; workers keep stores of their own.

    A case whose worker dies is tried on another, as often as the scheduler allows (allowed-failures, 3 by default).
    When nothing comes back for `timeout` seconds, the cases still out are given up.
    """
    try:
        import distributed
    except ImportError:
        raise InputError("scheduler", address, "the cluster extra installed: pip install 'tautwire[cluster]'") from None
    try:
        client = distributed.Client(address, timeout=CONNECT)
    except (OSError, ValueError) as error:
        raise InputError("scheduler", address, f"the address of a running Dask scheduler ({error})") from None
    with client:
        out = {client.submit(_answer, c, study, store, pure=False): c for c in cases}
        while out:
            try:
                done = distributed.wait(list(out), timeout=timeout, return_when="FIRST_COMPLETED").done
            except (TimeoutError, distributed.TimeoutError):
                client.cancel(list(out))
                for case in out.values():
                    yield case.index, None, f"no answer from the cluster within {timeout:g} s"
                return
            for future in done:
                yield _fetched(future, out.pop(future), study, store)


def _fetched(future: Any, case: Case, study: Study, store: Store) -> Done:
    try:
        answer: Done = future.result()
    except Exception as error:  # noqa: BLE001  a lost worker or scheduler must not lose the other cases
        return case.index, None, f"{type(error).__name__}: {' '.join(str(error).split())}"
    if answer[1] is not None:
        store.put_json(case_key(case, study), answer[1])
    return answer


WIRES = ("antenna", "wire", "counterpoise", "coax", "nearby", "mesh")  # tables that decide the engine's matrices


def _wires_apart(cases: Sequence[Case]) -> list[Case]:
    """First one case of each set of wires, then the rest: cases that share matrices find them stored, instead of two
    processes computing the same ones at once."""
    first: dict[str, Case] = {}
    for case in cases:
        first.setdefault(digest("wires", {k: v for k, v in case.raw.items() if k in WIRES}), case)
    begun = {case.index for case in first.values()}
    return [*first.values(), *(case for case in cases if case.index not in begun)]


def run(
    study: Study,
    store: Store | None = None,
    workers: int | None = None,
    timeout: float = TIMEOUT,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> Result:
    """Compute a study: every case gives rows or a named failure, and what is computed is stored for the next time.

    Parameters
    ----------
    study : Study
        As `read_study` or `load_study` give it.
    store : Store, optional
        Where finished cases are kept and looked up; by default a folder in the user's cache, or $TAUTWIRE_CACHE.
    workers : int, optional
        Processes; by default one for each core. 0 computes in this process. A script that uses more must keep its
        calls under `if __name__ == "__main__":` where processes cannot be forked (Windows, macOS).
    timeout : float
        Seconds for a case; one that takes longer fails.
    scheduler : str, optional
        Address of a Dask scheduler whose workers compute the cases.
    progress : callable, optional
        Called as progress(done, total) when it begins and after each case.

    Returns
    -------
    Result
        frames: table name -> pandas frame in case order, with a column for each swept axis. failed: the cases without
        an answer, and why.

    Raises
    ------
    InputError
        Where the store or the scheduler cannot be used. A fault of one case is kept in `failed` instead.

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
    >>> bool((dips["dip_mhz"].sub(14.5).abs() < 0.1).all())
    True
    """
    began = time.perf_counter()
    store = store or Store()
    cases = study.cases()
    answers: dict[int, Any] = {}
    failed: dict[int, str] = {}
    todo = []
    for case in cases:
        known = store.get_json(case_key(case, study))
        if known is None:
            todo.append(case)
        else:
            answers[case.index] = known
    cached, todo = len(answers), _wires_apart(todo)
    if progress:
        progress(cached, len(cases))
    count = min(len(todo), os.cpu_count() or 1 if workers is None else workers)
    source: Iterator[Done]
    if scheduler:
        source = on_cluster(todo, study, store, scheduler, timeout)
    elif count == 0:
        source = (_answer(case, study, store) for case in todo)
    else:
        source = in_processes(todo, study, store, count, timeout)
    for index, frames, reason in source:
        if frames is None:
            failed[index] = reason
        else:
            answers[index] = frames
        if progress:
            progress(len(answers) + len(failed), len(cases))
    result = gather(study, answers, failed)
    for name in study.spec.want:
        want_named(name).finish(result)
    return replace(result, seconds=time.perf_counter() - began, cached=cached)
