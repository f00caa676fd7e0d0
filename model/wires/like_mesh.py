"""The segments of one structure laid onto another of the same make-up: as many, in the same order.

So matrices of structures that differ by a number (a length, a slope) have the same rows, and each entry changes
smoothly with that number.
"""

import itertools
import math

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.wires.mesh import SHORTEST, Mesh, assembled
from tautwire.model.wires.structure import Conductor, Structure

CLOSE = 1e-6  # m, places along a conductor that count as one


class UnlikeError(Exception):
    """Two structures that cannot have the same segments."""


def like_mesh(model: Mesh, its: Structure, structure: Structure) -> Mesh:
    """A mesh of `structure` with the segments of `model`, the mesh of `its`: stretched leg by leg.

    Segments at the feed and around loads keep their length, as their length is part of the model.
    Raises UnlikeError where conductors, corners or loads do not correspond, or a segment would get too short.
    """
    if [(len(c.points), c.role) for c in its.conductors] != [(len(c.points), c.role) for c in structure.conductors]:
        raise UnlikeError("conductors or corners do not correspond")
    if [x.conductor for x in its.loads] != [x.conductor for x in structure.loads]:
        raise UnlikeError("loads do not correspond")
    parts = [_sizes(model, its, structure, i) for i in range(len(structure.conductors))]
    for i, sizes in enumerate(parts):
        if min(map(min, sizes)) < SHORTEST * structure.engine_radius(i) * (1 - 1e-9):
            raise UnlikeError("a segment would be too short for its radius")
    return assembled(structure, parts)


def _sizes(model: Mesh, its: Structure, structure: Structure, number: int) -> list[list[float]]:
    """Segment lengths of each leg of conductor `number` of structure, m."""
    own = np.flatnonzero(model.conductor == number)
    stops = np.concatenate([[0.0], np.cumsum(model.length[own])])
    old, new = its.conductors[number], structure.conductors[number]
    pairs = list(zip(_corners(old), _corners(new), strict=True))
    if new.role != "nearby":
        if 2 * stops[1] > math.dist(*new.legs[0]) + CLOSE:
            raise UnlikeError("the first leg is too short for the feed's segment")
        pairs.append((float(stops[1]), float(stops[1])))
    for (index, load), moved in zip(model.load_segments(its), structure.loads, strict=True):
        if load.conductor == number and (index != own[0] or new.role == "nearby"):
            k = index - int(own[0])
            pairs += [(float(edge), float(edge) - load.at + moved.at) for edge in stops[k : k + 2]]
    at = np.interp(stops, *_distinct(sorted(pairs)))
    edges = np.searchsorted(stops, np.array(_corners(old)) - CLOSE)
    if np.abs(stops[edges] - _corners(old)).max() > CLOSE:
        raise UnlikeError("a corner is inside a segment")
    return [np.diff(at[a : b + 1]).tolist() for a, b in itertools.pairwise(edges)]


def _corners(c: Conductor) -> list[float]:
    """Places of a conductor's points along it, m."""
    return [0.0, *itertools.accumulate(math.dist(p, q) for p, q in c.legs)]


def _distinct(pairs: list[tuple[float, float]]) -> tuple[Real, Real]:
    """Rising places that correspond, those that coincide once. Raises UnlikeError if their order differs."""
    kept = [pairs[0]]
    for old, new in pairs[1:]:
        apart = old - kept[-1][0] > CLOSE, new - kept[-1][1] > CLOSE
        if apart[0] != apart[1]:
            raise UnlikeError("corners, loads and feed follow each other differently")
        if apart[0]:
            kept.append((old, new))
    before, after = np.array(kept).T
    return before, after
