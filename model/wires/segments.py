"""Straight segments, the current on them, and how many half-waves of it stand on the wire.

Straight segments and the current on them: continuous, a quadratic on each through its start, centre and end.

Values at the centres are the unknowns; the current is zero at a free end and obeys Kirchhoff's law where segments meet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import C0, Real
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import Point

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solution


# --- Straight segments and the current on them.


MIRROR = np.array([1.0, 1.0, -1.0])
"""What turns a point above the surface z = 0 into its mirror below."""


@dataclass(frozen=True, eq=False)
class Segments:
    """N straight segments. centre (N, 3), vector (N, 3): from start to end, both m.

    current (N, 3, N): current at the start, centre and end of each segment for unit current in each segment's centre.
    """

    centre: Real
    vector: Real
    current: Real

    @property
    def length(self) -> Real:
        """(N,) m."""
        return np.linalg.norm(self.vector, axis=1)

    @property
    def start(self) -> Real:
        """(N, 3) m."""
        return self.centre - self.vector / 2

    @property
    def end(self) -> Real:
        """(N, 3) m."""
        return self.centre + self.vector / 2

    @property
    def mirrored(self) -> Segments:
        """Their mirror below the surface z = 0, currents as they are."""
        return Segments(self.centre * MIRROR, self.vector * MIRROR, self.current)

    def image_distance(self, points: Real) -> Real:
        """(M, N) from points (M, 3) to the mirrored centres, m."""
        return np.asarray(np.linalg.norm(points[:, None] - self.centre * MIRROR, axis=-1))


def shape(x: ArrayLike) -> Real:
    """(3, ...): shares of start, centre and end current in the current at x, -1 (start) to 1 (end) of a segment."""
    x = np.asarray(x, dtype=float)
    return np.stack([x * (x - 1) / 2, 1 - x * x, x * (x + 1) / 2])


def shape_slope(x: ArrayLike) -> Real:
    """d shape/dx, (3, ...); dI/ds is 2/length of it."""
    x = np.asarray(x, dtype=float)
    return np.stack([x - 0.5, -2 * x, x + 0.5])


def joined_segments(starts: Real, ends: Real, tol: float = 1e-6) -> Segments:
    """Segments from their ends, each (N, 3), m; ends closer than tol (m) are joined.

    At a joint the current of every limb is its centre value, moved by as little as makes the sum of what flows out
    zero: least sum of squares, each weighted by 1/length, which for two limbs is linear interpolation.
    Raises InputError for a segment no longer than tol.
    """
    starts, ends = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    vector = ends - starts
    length = np.linalg.norm(vector, axis=1)
    if not (length > tol).all():
        raise InputError("segment length", f"{length.min():.3g} m", f"more than {tol:.3g} m")
    n = len(starts)
    current = np.zeros((n, 3, n))
    current[np.arange(n), 1, np.arange(n)] = 1
    joint = _joints(np.concatenate([starts, ends]), tol)
    limb, outward = np.tile(np.arange(n), 2), np.repeat([1.0, -1.0], n)
    order = np.argsort(joint, kind="stable")
    _, first, limbs = np.unique(joint[order], return_index=True, return_counts=True)
    for count in np.unique(limbs[limbs > 1]):  # 1: a free end
        at = order[first[limbs == count][:, None] + np.arange(count)]
        s, w = limb[at], outward[at]
        share = (w * length[s])[:, :, None] * w[:, None, :] / length[s].sum(axis=1)[:, None, None]
        current[s[:, :, None], np.where(w > 0, 0, 2)[:, :, None], s[:, None, :]] += np.eye(count) - share
    return Segments((starts + ends) / 2, vector, current)


def leg_segments(legs: Sequence[tuple[Point, Point, int, float]]) -> Segments:
    """The segments of straight runs of equal ones: start (m), end (m), number, radius (m; not used)."""
    stops = [np.linspace(start, end, count + 1) for start, end, count, _ in legs]
    return joined_segments(np.concatenate([s[:-1] for s in stops]), np.concatenate([s[1:] for s in stops]))


def _joints(points: Real, tol: float) -> np.ndarray:
    """A number for each point, the same for points closer than tol."""
    close = np.ones((len(points), len(points)), dtype=bool)
    for x in points.T:  # one coordinate after the other: five times as quick as all at once
        close &= np.abs(x[:, None] - x) < tol
    return close.argmax(axis=1)  # the first point that is so close


# --- How many half-waves of current stand on the wire: what tells one dip of an end-fed wire from another.


LEAST, MOST, STEPS = 0.6, 1.8, 961  # wave number tried, over that of free space: a jacket slows the wave


def half_waves(solution: Solution) -> float:
    """Half-waves of current between the feed and the open end of the wire, a real number; round it for the mode.

    The current of a wire with an open end is nearly sin(b (L - s)), s metres from the feed (any text on wire antennas).
    The b that takes up most of the solved current, weighted by segment length, gives b L/pi. Where much of the power
    is radiated on the way to the end (wires of many waves) the sine fits less well, and the figure is rougher.

    >>> from tautwire.model.soil.ground import ground_named
    >>> from tautwire.model.solve.solver import Solver
    >>> from tautwire.model.wires.layout import sloper
    >>> from tautwire.model.wires.attachments import CoaxShield
    >>> from tautwire.model.wires.structure import structure
    >>> from tautwire.model.wires.structure import WireType
    >>> wires = structure(sloper(length=20, slope=0.4), WireType(1e-3), [CoaxShield(5.0)], over_soil=False)
    >>> round(half_waves(Solver(wires, ground_named("free space")).solve(14.2e6)), 1)
    1.9
    """
    mesh = solution.mesh
    wire = np.flatnonzero(mesh.conductor == 0)
    size, current = mesh.length[wire], solution.current[wire]
    end = float(size.sum())
    left = end - mesh.along[wire]
    k = 2 * math.pi * solution.f_hz / C0
    b = k * np.linspace(LEAST, MOST, STEPS)
    wave = np.sin(b[:, None] * left)
    taken = np.abs(wave @ (size * current)) ** 2 / (wave**2 @ size)
    return float(b[int(taken.argmax())]) * end / math.pi
