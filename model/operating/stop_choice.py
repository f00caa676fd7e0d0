"""Which reel settings ("stops") to use: the best for each segment, and the fewest that serve them all.

Everywhere, swr has shape (stops, segments): the worst SWR across a segment at a stop, 1 or more, inf if hopeless.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError, SolveError


@dataclass(frozen=True)
class Stops:
    """A choice of stops. chosen: stop indices, rising. serving: for each segment the chosen stop with the lowest
    SWR, or None if unserved. swr: that SWR, or for an unserved segment the best of any stop at all. unserved:
    segments that no stop brings under the threshold, so a tuner or another wire is needed.
    """

    chosen: tuple[int, ...]
    serving: tuple[int | None, ...]
    swr: tuple[float, ...]
    unserved: tuple[int, ...]


def _matrix(swr: ArrayLike) -> Real:
    matrix = np.asarray(swr, dtype=float)
    if matrix.ndim != 2 or 0 in matrix.shape:
        raise InputError("swr", f"shape {matrix.shape}", "at least one stop and one segment")
    if not np.all(matrix >= 1):
        raise InputError("swr", float(matrix[~(matrix >= 1)][0]), "1 or more everywhere (inf if hopeless)")
    return matrix


def best_stop_each(swr: ArrayLike) -> tuple[NDArray[np.intp], Real]:
    """For each segment the stop with the lowest SWR (the first of equals) and that SWR; both shape (segments,)."""
    matrix = _matrix(swr)
    best = matrix.argmin(axis=0)
    return best, matrix.min(axis=0)


def neighbour_swr(swr: ArrayLike, stops: ArrayLike, offset: int = 1) -> Real:
    """SWR in segment i when stops[i] is missed by `offset` stops, the worse way; shape (segments,).

    At the end of the reel only the way that exists counts. Raises InputError if neither way exists.
    """
    matrix = _matrix(swr)
    at = np.asarray(stops, dtype=int)
    if offset < 1 or len(matrix) <= offset:
        raise InputError("offset", offset, f"1 or more, and fewer than the {len(matrix)} stops")
    if at.shape != matrix.shape[1:] or np.any((at < 0) | (at >= len(matrix))):
        raise InputError("stops", list(at.flat), f"one stop from 0 to {len(matrix) - 1} for each segment")
    worst = np.zeros(len(at))
    for side in (at - offset, at + offset):
        exists = (side >= 0) & (side < len(matrix))
        here = matrix[np.clip(side, 0, len(matrix) - 1), np.arange(len(at))]
        worst = np.where(exists, np.maximum(worst, here), worst)
    if np.any(worst == 0):
        raise InputError("offset", offset, "a neighbour on at least one side of each stop")
    return worst


def fewest_stops(swr: ArrayLike, threshold: float) -> Stops:
    """The fewest stops that bring every segment that can be served to SWR <= threshold: an exact set cover.

    Among covers of that size, the one with the lowest worst SWR, and of those the lowest sum of SWR. Mixed-integer
    programming (HiGHS through scipy.optimize.milp). Raises InputError for bad SWR or a threshold not above 1.
    """
    matrix = _matrix(swr)
    if not 1 < threshold < np.inf:
        raise InputError("threshold", threshold, "a finite SWR above 1")
    can = (matrix <= threshold).any(axis=0)
    wanted = matrix[:, can]
    chosen = np.empty(0, dtype=int)
    if can.any():
        size = len(_cover(wanted <= threshold))
        # The smallest threshold that the same number of stops still meets, by bisection over the SWR that occur.
        levels = np.unique(wanted[wanted <= threshold])
        levels = levels[levels >= wanted.min(axis=0).max()]
        low, high = 0, len(levels) - 1
        while low < high:
            middle = (low + high) // 2
            if len(_cover(wanted <= levels[middle])) <= size:
                high = middle
            else:
                low = middle + 1
        chosen = _least_sum(wanted, float(levels[high]), size)
    serving: list[int | None] = [None] * matrix.shape[1]
    lowest = matrix.min(axis=0)
    for j in np.flatnonzero(can):
        serving[j] = int(chosen[matrix[chosen, j].argmin()])
        lowest[j] = matrix[serving[j], j]
    unserved = tuple(int(j) for j in np.flatnonzero(~can))
    return Stops(tuple(int(i) for i in chosen), tuple(serving), tuple(float(x) for x in lowest), unserved)


def _solved(cost: Real, constraints: list[Any]) -> Real:
    whole = np.ones(len(cost))
    result = scipy.optimize.milp(
        cost, integrality=whole, bounds=scipy.optimize.Bounds(0, 1), constraints=constraints, options={"mip_rel_gap": 0}
    )
    if not result.success:
        raise SolveError(f"set cover: {result.message}")
    return np.asarray(result.x)


def _cover(serves: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Indices of the fewest rows that between them hold a True in every column."""
    every = scipy.optimize.LinearConstraint(serves.T.astype(float), 1, np.inf)
    return np.flatnonzero(_solved(np.ones(len(serves)), [every]) > 0.5)


def _least_sum(swr: Real, level: float, size: int) -> NDArray[np.intp]:
    """Of all `size` rows that serve every column at `level`, those with the least sum of SWR.

    Binary x[i] (row used), then y[k] for each pair (row, column) within the level; each column takes one pair, and
    only of a used row.
    """
    rows, columns = np.nonzero(swr <= level)
    stops, pairs = len(swr), len(rows)
    cost = np.concatenate([np.zeros(stops), swr[rows, columns] - 1])
    k, ones = np.arange(pairs), np.ones(pairs)
    shape = (swr.shape[1], stops + pairs)
    one_each = scipy.sparse.coo_matrix((ones, (columns, stops + k)), shape=shape)
    used = scipy.sparse.coo_matrix(
        (np.concatenate([ones, -ones]), (np.concatenate([k, k]), np.concatenate([stops + k, rows]))),
        shape=(pairs, stops + pairs),
    )
    total = np.concatenate([np.ones(stops), np.zeros(pairs)])[None, :]
    x = _solved(
        cost,
        [
            scipy.optimize.LinearConstraint(one_each.tocsr(), 1, 1),
            scipy.optimize.LinearConstraint(used.tocsr(), -np.inf, 0),
            scipy.optimize.LinearConstraint(total, 0, size),
        ],
    )
    return np.unique(rows[x[stops:] > 0.5])
