"""Shifts of a case from those of its likes: along an axis whose matrices are blended, shifts are blended too.

Each shift changes smoothly along the axis as long as the dip does. So a polynomial through the shifts at the solved
places, each read at its own dip, gives those of the others, unless the dips jump to another mode between, or leaving
out the second nearest place changes the shifts too much: then they are read from the case's own currents.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.remember import Arrays, key_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.spread.sampling import Shifts, dip_or_middle, wire_shifts

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.wants.spread.values import Uncertain

SHARE = 0.35  # of the change without the second nearest place: the greatest error met with all of them
WORST = 0.02  # estimated error, of all shifts together, with which they are blended; it was 0.01 at the most
JUMP = 3e-4  # of the frequency: a dip that is farther from the blended ones is of another mode


@dataclass(frozen=True, eq=False)
class Likes:
    """What a case on a blended axis knows of the solved ones. place, places: on the axis.

    at(k): set-up and solver of the k-th. key: of what their answers depend on besides their set-up.
    """

    place: float
    places: tuple[float, ...]
    at: Callable[[int], tuple[Setup, Solver]]
    key: str


@dataclass(frozen=True, eq=False)
class Asked:
    """What is taken as uncertain. values(setup): of a set-up; key: of what these depend on besides the set-up."""

    values: Callable[[Setup], Sequence[Uncertain]]
    key: str


def shifts_in(band: Band, setup: Setup, solver: Solver, values: tuple[Uncertain, ...], asked: Asked | None) -> Shifts:
    """The shifts of a case in a band, blended where that is good enough. solver: of the same set-up. asked: what gave
    the values; without it, nothing is blended."""
    likes: Likes | None = solver.likes
    if likes is None or asked is None:
        return _own(setup, solver, band, values)
    if likes.place in likes.places:
        return _shifts(values, _kept(likes, likes.places.index(likes.place), band, asked))
    nodes = [_kept(likes, k, band, asked) for k in range(len(likes.places))]
    f_hz = dip_or_middle(setup, solver.response(*window(band)), band)
    blended = _blended(likes, nodes, f_hz, [v.path for v in values])
    return wire_shifts(setup, values, solver, f_hz) if blended is None else _shifts(values, blended)


def _own(setup: Setup, solver: Solver, band: Band, values: Sequence[Uncertain]) -> Shifts:
    return wire_shifts(setup, values, solver, dip_or_middle(setup, solver.response(*window(band)), band))


def _shifts(values: tuple[Uncertain, ...], known: Arrays) -> Shifts:
    return Shifts(values, known["line"], known["bend"])


def _kept(likes: Likes, k: int, band: Band, asked: Asked) -> Arrays:
    """Shifts, frequency (Hz) and the paths of the values at the k-th solved place, from the store if they are there."""
    setup, solver = likes.at(k)

    def compute() -> Arrays:
        values = tuple(asked.values(setup))
        f_hz = dip_or_middle(setup, solver.response(*window(band)), band)
        shifts, paths = wire_shifts(setup, values, solver, f_hz), np.array([v.path for v in values])
        return {"line": shifts.line, "bend": shifts.bend, "f_hz": np.array(f_hz), "paths": paths}

    return solver.remember(key_of("shifts", likes.key, k, band.name, band.lower, band.upper, asked.key), compute)


def _blended(likes: Likes, nodes: Sequence[Arrays], f_hz: float, paths: list[str]) -> Arrays | None:
    """What `_kept` gives, between the nodes; None if it is not good enough."""
    from tautwire.model.solve.smooth_matrices import lagrange  # with the solver, which stored answers spare

    if any(n["paths"].tolist() != paths for n in nodes):
        return None
    places = np.array(likes.places)
    second = int(np.argsort(np.abs(places - likes.place))[1])
    fewer: Real = np.zeros(len(places))
    kept = np.arange(len(places)) != second
    fewer[kept] = lagrange(tuple(places[kept]), likes.place)[0]
    weights = np.stack([lagrange(likes.places, likes.place)[0], fewer])
    f = weights @ np.array([float(n["f_hz"]) for n in nodes])
    both: Complex = np.stack([np.concatenate([n["line"], n["bend"]]) for n in nodes])
    known, less = weights @ both
    size = float(np.linalg.norm(known))
    if abs(f[0] - f_hz) > JUMP * f_hz or SHARE * float(np.linalg.norm(known - less)) > WORST * size:
        return None
    return {"line": known[: len(paths)], "bend": known[len(paths) :]}
