"""Cases that differ by one number only: a few of them are solved, the others blended between them.

Along an axis of many numbers that shapes the wire (its length, a height, the slope) a few of the cases, crowded
towards the ends as interpolation wants it, are solved; the matrices of the rest are blended between theirs
(model/solve/neighbours.py), unless that would be too inexact. The table "quality" says which were, and how well.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.studies.running.store import Store, code_digest
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.spread.sampling import Likes

if TYPE_CHECKING:
    from collections.abc import Callable

    from tautwire.model.solve.neighbours import Family
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.raw import Raw
    from tautwire.studies.study.study import Axis, Case, Study

NODES = 6  # cases that are solved, on an axis of LEAST numbers and more; below that each is
LEAST, MANY = 9, 18
MORE_NODES = 7  # on an axis of MANY
MOST_FAMILIES = 6  # kept by a process
MOST_SOLVED = 42  # and solvers of solved places
WIRES = ("antenna", "wire", "coil", "counterpoise", "coax", "nearby", "mesh")  # tables that decide the wires' matrices
TABLE = "antenna."  # what shapes the wire; low return conductors change too much with their length to be blended


@dataclass(frozen=True, eq=False)
class Beside:
    """Where a case stands: its place on the axis, the places of the cases solved there (see `evened`), and how to get
    those.

    texts: the solved places as written. base: the first of these cases, as texts. case_at: index -> that case.
    """

    column: str
    place: float
    places: tuple[float, ...]
    texts: tuple[Any, ...]
    base: Raw
    case_at: Callable[[int], Case]

    @property
    def is_solved(self) -> bool:
        return self.place in self.places

    @property
    def facts(self) -> list[Any]:
        """What a blended answer depends on besides its set-up."""
        return [self.base, self.column, self.texts, code_digest(__name__, "tautwire.model.solve.neighbours")]

    @property
    def solved_key(self) -> str:
        """The same for all cases that are blended from the same solved ones, and no others."""
        return json.dumps(self.facts, sort_keys=True, default=str)

    @property
    def key(self) -> str:
        """The same for all cases whose wires are blended from the same solved ones, and no others."""
        wires = {k: v for k, v in self.base.items() if k in WIRES}
        return json.dumps([wires, self.column, self.texts], sort_keys=True, default=str)


def blending_axis(study: Study) -> tuple[int, Axis] | None:
    """Number of the longest axis along which cases are blended, and the axis; None if all cases are solved."""
    fit = [
        (i, axis)
        for i, axis in enumerate(study.axes)
        if axis.numbers and axis.path.startswith(TABLE) and len(set(axis.numbers)) >= LEAST
    ]
    return max(fit, key=lambda pair: len(set(pair[1].numbers or ())), default=None)


@lru_cache
def evened(path: str, numbers: tuple[float, ...]) -> tuple[float, ...]:
    """The places of an axis's numbers: positive heights and slopes by their logarithms, as the soil's part of matrices
    holds inverse powers of heights; lengths as they are, as those powers are taken out of them (`Nodes`)."""
    as_they_are = path.endswith("length") or min(numbers) <= 0
    return numbers if as_they_are else tuple(map(math.log, numbers))


@lru_cache
def nodes_of(numbers: tuple[float, ...]) -> list[int]:
    """Indices of the places to be solved, the nearest to Chebyshev's extreme points between their ends, rising."""
    rising = sorted({x: i for i, x in reversed(list(enumerate(numbers)))}.items())
    low, high = rising[0][0], rising[-1][0]
    count = NODES if len(rising) < MANY else MORE_NODES
    chosen: list[tuple[float, int]] = []
    for k in range(count):
        wanted = (low + high) / 2 - (high - low) / 2 * math.cos(math.pi * k / (count - 1))
        chosen.append(min((x for x in rising if x not in chosen), key=lambda x: abs(x[0] - wanted)))
    return [i for _, i in sorted(chosen)]


def beside(case: Case, study: Study) -> Beside | None:
    """Where a case stands among its likes; None if it is solved as it is."""
    found = blending_axis(study)
    if found is None:
        return None
    number, axis = found
    numbers = evened(axis.path, axis.numbers or ())
    places = [int(i) for i in np.unravel_index(case.index, [len(a.texts) for a in study.axes])]
    nodes = nodes_of(numbers)

    def case_at(k: int) -> Case:
        return study.case_at((*places[:number], nodes[k], *places[number + 1 :]))

    return Beside(
        axis.column,
        numbers[places[number]],
        tuple(numbers[k] for k in nodes),
        tuple(axis.texts[k] for k in nodes),
        case_at(0).raw,
        case_at,
    )


def solver_for(case: Case, stands: Beside | None, store: Store) -> Solver:
    """The solver of a case. Raises InputError."""
    if stands is None:
        return case.setup().build().solver(store)
    if stands.is_solved:  # others of the family ask it too
        return _solved(stands.solved_key, stands.places.index(stands.place), _Held(stands), store)[1]
    return _blended(case.setup(), stands, store)


def _blended(setup: Setup, stands: Beside, store: Store) -> Solver:
    from tautwire.model.solve.neighbours import BlendedSolver, Member

    built = setup.build()
    kind = built.ground.is_free_space, built.ground.is_perfect
    family = _family(stands.key, kind, _Held(stands), store)
    solver = BlendedSolver(family, Member(stands.place, built.structure, built.ground))
    key = stands.solved_key
    solver.likes = Likes(stands.place, stands.places, lambda k: _solved(key, k, _Held(stands), store), key)
    return solver


class _Held:
    """What goes with a key of `_family` and `_solved`; all are equal, so that the key alone counts."""

    def __init__(self, stands: Beside) -> None:
        self.stands = stands

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held)

    def __hash__(self) -> int:
        return 0


@lru_cache(maxsize=MOST_FAMILIES)
def _family(key: str, kind: tuple[bool, bool], held: _Held, store: Store) -> Family:
    from tautwire.model.solve.neighbours import Family, Member

    members = []
    for k, place in enumerate(held.stands.places):
        built = Setup.read(held.stands.case_at(k).raw).build()
        members.append(Member(place, built.structure, built.ground))
    return Family(members, built.rules, store)


@lru_cache(maxsize=MOST_SOLVED)
def _solved(key: str, k: int, held: _Held, store: Store) -> tuple[Setup, Solver]:
    """Set-up and solver of the k-th solved place."""
    stands = replace(held.stands, place=held.stands.places[k])
    setup = stands.case_at(k).setup()
    return setup, _blended(setup, stands, store)
