"""What the solver says at one setting, in the few numbers from which a page can draw every band."""

import math
import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import as_completed
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from pebble import ProcessPool

from tautwire import __version__
from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band
from tautwire.model.reflection import reflection
from tautwire.model.solve.engine import engine_name
from tautwire.model.solve.response import REFERENCE, Port, respond
from tautwire.model.solve.solver import Arrays, Remember, Solver
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

TOLERANCE = 5e-4  # of the reflection coefficient at a node
MOST_SAMPLES = 12
FEED_TABLES = ("transformer", "radio", "reel")

Node = dict[str, Any]
"""length: m of wire. shape: [[name, role, [[x, y, z], ...]], ...], m. bands: [[support], [re], [im], [re w], [im w]]"""
Progress = Callable[[int, int], None]
"""progress(done, total)"""


def wire_part(raw: Raw) -> Raw:
    """The part of a set-up that the currents depend on."""
    kept = {k: v for k, v in raw.items() if k not in FEED_TABLES}
    if isinstance(kept.get("coax"), dict):
        kept["coax"] = {k: v for k, v in kept["coax"].items() if k != "loss_scale"}
    return kept


def nearby_port(solver: Solver, middle: float) -> Port:
    """Impedance (ohm) and its slope from the one span that holds `middle` (Hz), also a little beyond its edges.

    A node's curve is read up to a few steps of wire length outside the band's window, where the solver itself would
    change to another mesh.
    """
    parts = solver.parts(middle)
    feed = parts.mesh.feed.astype(complex)

    def port(f_hz: float) -> tuple[complex, complex]:
        z, slope = parts.with_slope(f_hz)
        current, adjoint = np.linalg.solve(np.stack([z, z.T]), feed[:, None])[..., 0]
        y = complex(feed @ current)
        if not (math.isfinite(abs(y)) and y.real > 0):
            raise SolveError(f"feed resistance is not positive at {f_hz / 1e6:.6g} MHz")
        return 1 / y, complex(adjoint @ slope @ current) / y**2

    return port


def shape_of(setup: Setup) -> tuple[float, list[Any]]:
    """Wire length, m, and the conductors: name, role, corner points rounded to a millimetre."""
    built = setup.build()
    conductors = built.structure.conductors
    names = [name for name, _ in built.structure.to_points()]
    shape = [
        [name, c.role, [[round(x, 3) for x in p] for p in c.points]] for name, c in zip(names, conductors, strict=True)
    ]
    return built.layout.length, shape


def _rounded(values: Any) -> list[float]:
    return [float(f"{x:.7g}") for x in values]


class Answer(Protocol):
    """Something computed for one set-up that can be kept as JSON."""

    def key(self, raw: Raw) -> str: ...

    def compute(self, raw: Raw, remember: Remember) -> Any: ...


@dataclass(frozen=True)
class Curves:
    """The Node of a set-up: each band's window, widened by the factor `margin` on both sides."""

    bands: tuple[Band, ...]
    margin: float

    def key(self, raw: Raw) -> str:
        return _key("curves", raw, self.bands, self.margin, TOLERANCE, MOST_SAMPLES)

    def compute(self, raw: Raw, remember: Remember) -> Node:
        setup = Setup.read(raw)
        length, shape = shape_of(setup)
        solver = setup.build().solver(remember)
        curves = []
        for band in self.bands:
            low, high = window(band)
            port = nearby_port(solver, (band.lower + band.upper) / 2)
            fit = respond(port, low / self.margin, high * self.margin, TOLERANCE, most=MOST_SAMPLES)
            weight = fit.weight / np.abs(fit.weight).max()
            columns = (fit.support / 1e6, fit.value.real, fit.value.imag, weight.real, weight.imag)
            curves.append([_rounded(column) for column in columns])
        return {"length": round(length, 6), "shape": shape, "bands": curves}


@dataclass(frozen=True)
class Exact:
    """The solver's own reflection coefficient at `points` frequencies of each band's window: [[re], [im]] a band."""

    bands: tuple[Band, ...]
    points: int

    def key(self, raw: Raw) -> str:
        return _key("exact", raw, self.bands, self.points)

    def compute(self, raw: Raw, remember: Remember) -> list[list[list[float]]]:
        solver = Setup.read(raw).build().solver(remember)
        out = []
        for band in self.bands:
            z = np.array([solver.impedance(float(f)) for f in np.linspace(*window(band), self.points)])
            gamma = reflection(z, REFERENCE)
            out.append([gamma.real.tolist(), gamma.imag.tolist()])
        return out


def _key(kind: str, raw: Raw, bands: tuple[Band, ...], *parts: object) -> str:
    edges = [(b.lower, b.upper) for b in bands]
    return digest(kind, __version__, engine_name(), wire_part(raw), edges, *parts)


def _solve(raws: list[Raw], answer: Answer, store: Store) -> str:
    """Store the answers of set-ups that share their wires, so that the engine's matrices are made once."""
    kept: dict[str, Arrays] = {}

    def remember(key: str, compute: Callable[[], Arrays]) -> Arrays:
        if key.startswith("soil"):  # wanted by every setting
            return store(key, compute)
        if key not in kept:
            kept[key] = compute()
        return kept[key]

    try:
        for raw in raws:
            if store.get_json(answer.key(raw)) is None:
                store.put_json(answer.key(raw), answer.compute(raw, remember))
    except (InputError, SolveError) as error:
        return str(error)
    return ""


def answers(
    groups: list[list[Raw]],
    answer: Answer,
    store: Store,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[list[Any]]:
    """The answer for every set-up; a group is solved in one worker and should share its wires.

    workers: processes (default: all cores; 0 computes here). Raises SolveError if one cannot be solved.
    """
    todo = [g for g in groups if any(store.get_json(answer.key(raw)) is None for raw in g)]
    count = min(len(todo), os.cpu_count() or 1 if workers is None else workers)
    source = (_solve(g, answer, store) for g in todo) if count == 0 else _spread(todo, answer, store, count)
    for done, fault in enumerate(source, 1):
        if fault:
            raise SolveError(f"a setting of the sliders cannot be solved: {fault}")
        if progress:
            progress(done, len(todo))
    return [[store.get_json(answer.key(raw)) for raw in g] for g in groups]


def _spread(todo: list[list[Raw]], answer: Answer, store: Store, count: int) -> Iterator[str]:
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() and os.name == "posix" else "spawn"
    pool = ProcessPool(max_workers=count, context=multiprocessing.get_context(method))
    try:
        futures = [pool.schedule(_solve, args=(group, answer, store)) for group in todo]
        for future in as_completed(futures):
            yield future.result()
        pool.close()
    finally:
        pool.stop()
        pool.join()
