"""Worker processes on this machine: each task in one of them, a crash or a hang costing one task."""

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
import types
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import TimeoutError as FutureTimeout
from concurrent.futures import as_completed
from multiprocessing.context import BaseContext, SpawnProcess
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.wants.want import AskMany

WATCH = 1.0  # seconds between looks at whether the parent is alive
_HIDING = threading.Lock()


def cores() -> int:
    """Processor cores that this process may use (taskset, containers and batch systems give fewer than there are)."""
    if hasattr(os, "sched_getaffinity"):
        return max(len(os.sched_getaffinity(0)), 1)
    return os.cpu_count() or 1


def asked(workers: int | None) -> int:
    """How many worker processes are meant: None for one a core, 0 for none. Raises InputError for fewer."""
    if workers is not None and workers < 0:
        raise InputError("workers", workers, "0, to compute in this process, or more")
    return cores() if workers is None else workers


def start_method() -> str:
    """How worker processes start: as the caller set it, else by fork on Linux, which is quick, and spawn elsewhere."""
    return multiprocessing.get_start_method(allow_none=True) or ("fork" if sys.platform == "linux" else "spawn")


@contextlib.contextmanager
def _script_hidden() -> Iterator[None]:
    """While a worker starts: it does not run the caller's script again, as a spawned process by itself would. So a
    script of ten lines needs no `if __name__ == "__main__"`.
    """
    with _HIDING:
        script = sys.modules["__main__"]
        sys.modules["__main__"] = types.ModuleType("__main__")
        try:
            yield
        finally:
            sys.modules["__main__"] = script


class _Spawned(SpawnProcess):
    @staticmethod
    def _Popen(process_obj: Any) -> Any:
        with _script_hidden():
            return SpawnProcess._Popen(process_obj)  # type: ignore[attr-defined]


if sys.platform != "win32":
    from multiprocessing.context import ForkServerProcess

    class _Served(ForkServerProcess):
        @staticmethod
        def _Popen(process_obj: Any) -> Any:
            with _script_hidden():
                return ForkServerProcess._Popen(process_obj)  # type: ignore[attr-defined]

else:
    _Served = None


def context() -> BaseContext:
    """Where worker processes come from."""
    method = start_method()
    plain = multiprocessing.get_context(method)
    kind = {"spawn": _Spawned, "forkserver": _Served}.get(method)
    return plain if kind is None else type("Context", (type(plain),), {"Process": kind})()  # type: ignore[no-any-return]


Ask = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]], float | None], Iterator[tuple[int, Any, str]]]
"""ask(function, tasks, timeout): (index, function(*task), "") of each task as they end; (index, None, why) for one that
gave nothing. Functions and arguments must be importable by other processes."""


@contextlib.contextmanager
def lasting(workers: int, meanwhile: Callable[[], object] | None = None) -> Iterator[Ask]:
    """Worker processes that take one lot of tasks after another.

    meanwhile: called once the first lot is out, such as what loads modules: by then all workers are there, and none has
    a half-loaded one.
    """
    from pebble import ProcessExpired, ProcessPool  # loads asyncio, which stored answers spare

    pool = ProcessPool(max_workers=workers, context=context())
    waiting = [] if meanwhile is None else [meanwhile]

    def ask(
        function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]], timeout: float | None = None
    ) -> Iterator[tuple[int, Any, str]]:
        futures: dict[Any, int] = {
            pool.schedule(function, args=task, timeout=timeout): i for i, task in enumerate(tasks)
        }
        while waiting:
            waiting.pop()()
        for future in as_completed(futures):
            try:
                yield futures[future], future.result(), ""
            except FutureTimeout:
                yield futures[future], None, f"no answer within {timeout:g} s"
            except ProcessExpired as error:
                yield futures[future], None, f"the worker process ended (exit code {error.exitcode})"
            except Exception as error:  # noqa: BLE001  a fault of ours in one task must not lose the others
                yield futures[future], None, f"{type(error).__name__}: {error}"

    try:
        yield ask
        pool.close()
    finally:
        pool.stop()
        pool.join()


def asking_all(ask: Ask, timeout: float | None = None) -> AskMany:
    """`ask` for those who want all answers at once. timeout: seconds for a task."""

    def ask_many(function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]]) -> list[Any]:
        done = {i: fault if answer is None else answer for i, answer, fault in ask(function, tasks, timeout)}
        return [done[i] for i in range(len(tasks))]

    return ask_many


def end_with(parent: int | None = None) -> None:
    """For the start of a worker: it leaves Ctrl-C to its parent, ends at SIGTERM, and when its parent is gone.

    parent: process id; by default that of the process it was started by.
    """
    parent = parent or os.getppid()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(WATCH)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
