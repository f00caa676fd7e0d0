"""Wire on a hand reel, and which of its settings ("stops") to use.

Wire on a hand reel: how much is out after so many turns, and the rough electrical effect of the rest.

The wire is wound from the core outwards, so the outermost turns, which are the longest, come off first.

Which reel settings ("stops") to use: the best for each segment, and the fewest that serve them all.

Everywhere, swr has shape (stops, segments): the worst SWR across a segment at a stop, 1 or more, inf if hopeless.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from tautwire.model.basics import EPS0, Complex, Real
from tautwire.model.errors import InputError, SolveError

# --- Wire on a hand reel.


INCH = 0.0254
STRAYS = ("none", "series", "shunt")


@dataclass(frozen=True)
class Reel:
    """A reel with `wire_length` metres of wire on it when fully wound.

    Either turn_length, the measured length of one turn (m), or the geometry: core_diameter (m), wire_diameter over
    the jacket (m) and width between the flanges (m), from which layers build up. A measured turn wins if both are
    given. stacking: radial pitch of the layers over the wire diameter; 1 for turns on top of each other,
    sqrt(3)/2 for turns lying in the grooves below, more than 1 for loose hand winding.
    shrink: how much shorter (m) each turn is than the one before it, with a measured turn, which is then the outermost.
    Raises InputError for sizes that are missing or out of range.
    """

    wire_length: float
    turn_length: float = 0.0
    core_diameter: float = 0.0
    wire_diameter: float = 0.0
    width: float = 0.0
    stacking: float = 1.0
    shrink: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.wire_length <= 1000:
            raise InputError("reel.wire_length", f"{self.wire_length} m", "above 0 and up to 1000 m")
        if not self.turn_length and not (self.core_diameter and self.wire_diameter and self.width):
            raise InputError(
                "reel.turn_length",
                f"{self.turn_length} m",
                "a measured length of one turn, or core_diameter, wire_diameter and width",
            )
        if not (self.turn_length == 0 or 0.01 <= self.turn_length <= 10):
            raise InputError("reel.turn_length", f"{self.turn_length} m", "from 1 cm to 10 m")
        if not (self.shrink >= 0 and 2 * self.shrink * self.wire_length < self.turn_length**2 or self.shrink == 0):
            raise InputError("reel.shrink", f"{self.shrink} m", "0 or more, with turns left to hold all the wire")
        if not 0.5 <= self.stacking <= 5:
            raise InputError("reel.stacking", self.stacking, "a ratio from 0.5 to 5")
        if not (self.core_diameter == 0 or 5e-3 <= self.core_diameter <= 2):
            raise InputError("reel.core_diameter", f"{self.core_diameter} m", "from 5 mm to 2 m")
        if not (self.wire_diameter == 0 or 1e-4 <= self.wire_diameter <= 0.02):
            raise InputError("reel.wire_diameter", f"{self.wire_diameter} m", "from 0.1 mm to 20 mm")
        if not (self.width == 0 or self.wire_diameter <= self.width <= 1):
            raise InputError("reel.width", f"{self.width} m", "at least one wire diameter, up to 1 m")

    @classmethod
    def of_counts(cls, wire_length: float, turns: ArrayLike, lengths: ArrayLike, **sizes: float) -> "Reel":
        """A reel of which was measured how much wire (lengths, m) so many first turns (turns) hold, (n,) each.

        One count gives a mean turn; several give the outermost turn and how much shorter each is than the one before,
        by least squares. sizes: as for Reel. Raises InputError for counts that do not rise together.

        >>> reel = Reel.of_counts(20, [8, 40], [3.3, 15.4])
        >>> round(reel.turn_length, 4), round(reel.shrink * 1e3, 2)
        (0.4194, 1.72)
        """
        n, out = np.asarray(turns, dtype=float), np.asarray(lengths, dtype=float)
        order = np.argsort(n)
        n, out = n[order], out[order]
        if not (len(n) and np.all(n > 0) and np.all(np.diff(n) > 0) and np.all(np.diff(out) > 0) and out[0] > 0):
            raise InputError("reel.counted", f"{len(n)} counts", "more wire for more turns, each number once")
        if out[-1] > wire_length:
            raise InputError("reel.counted", f"{out[-1]:g} m", f"up to reel.wire_length, {wire_length:g} m")
        if len(n) == 1:
            return cls(wire_length, turn_length=float(out[0] / n[0]), **sizes)
        (turn, shrink), *_ = np.linalg.lstsq(np.stack([n, -(n**2) / 2], axis=1), out, rcond=None)
        if shrink <= 0:  # turns that grow inwards are errors of counting
            turn, shrink = float(out @ n / (n @ n)), 0.0
        return cls(wire_length, turn_length=float(turn), shrink=float(shrink), **sizes)

    @property
    def turns_per_layer(self) -> int:
        """Whole turns that fit side by side between the flanges."""
        self._geometry_needed()
        return math.floor(self.width / self.wire_diameter * (1 + 1e-9))

    def layer_diameter(self, layer: ArrayLike) -> Real:
        """Diameter (m) of the wire's axis in layer 1, 2, ...: core + d + 2 (layer - 1) stacking d."""
        self._geometry_needed()
        n = np.asarray(layer, dtype=float)
        return self.core_diameter + self.wire_diameter * (1 + 2 * (n - 1) * self.stacking)

    @property
    def core_turns(self) -> tuple[float, float]:
        """Shortest and longest turn (m) that the core allows; 0 and infinity where it is not known.

        >>> Reel(22, turn_length=0.30, core_diameter=0.12).core_turns[0]
        0.37699111843077515
        """
        shortest = math.pi * (self.core_diameter + self.wire_diameter) if self.core_diameter else 0.0
        if not (shortest and self.wire_diameter and self.width):
            return shortest, math.inf
        layers = replace(self, turn_length=0.0, shrink=0.0)._breakpoints()[0].size - 1
        return shortest, float(math.pi * self.layer_diameter(layers))

    @property
    def turns(self) -> float:
        """Turns on the fully wound reel."""
        turns, length = self._breakpoints()
        return float(np.interp(self.wire_length, length, turns))

    def length_wound(self, turns_wound: ArrayLike) -> Real:
        """Metres of wire in the innermost turns_wound turns (any shape, 0 to `turns`)."""
        wound = _within("turns", turns_wound, self.turns, "turns")
        return np.asarray(np.interp(wound, *self._breakpoints()))

    def length_out(self, turns_out: ArrayLike) -> Real:
        """Metres of wire paid out after turns_out turns (any shape, 0 to `turns`)."""
        turns = _within("turns", turns_out, self.turns, "turns")
        return self.wire_length - self.length_wound(self.turns - turns)

    def turns_out(self, length_out: ArrayLike) -> Real:
        """Turns to pay out for that many metres (any shape, 0 to wire_length); inverse of length_out."""
        metres = _within("length", length_out, self.wire_length, "m")
        turns, length = self._breakpoints()
        return self.turns - np.asarray(np.interp(self.wire_length - metres, length, turns))

    def length_per_turn(self, turns_out: ArrayLike) -> Real:
        """Metres in the turn that lies outermost once turns_out turns are out (the next one to pay out)."""
        wound = self.turns - _within("turns", turns_out, self.turns, "turns")
        if self.turn_length:
            return self.turn_length - self.shrink * np.asarray(turns_out, dtype=float)
        return np.pi * self.layer_diameter(np.maximum(np.ceil(wound / self.turns_per_layer - 1e-9), 1))

    def _breakpoints(self) -> tuple[Real, Real]:
        """Turns and metres wound at the end of each full layer, from the empty reel to past the full one."""
        if self.turn_length and not self.shrink:
            length = np.array([0.0, self.wire_length])
            return length / self.turn_length, length
        if self.turn_length:  # length_out = turn_length n - shrink n^2/2
            root = math.sqrt(self.turn_length**2 - 2 * self.shrink * self.wire_length)
            full = (self.turn_length - root) / self.shrink
            turns_out = np.linspace(full, 0, math.ceil(full) * 8 + 1)
            return full - turns_out, self.wire_length - (self.turn_length - self.shrink * turns_out / 2) * turns_out
        count = self.turns_per_layer
        most = math.ceil(self.wire_length / (count * math.pi * (self.core_diameter + self.wire_diameter)))
        layers = np.arange(1, most + 1)
        length = np.concatenate([[0.0], np.cumsum(count * np.pi * self.layer_diameter(layers))])
        return np.arange(most + 1) * float(count), length

    def _geometry_needed(self) -> None:
        if not (self.core_diameter and self.wire_diameter and self.width):
            raise InputError("reel", "turn_length only", "core_diameter, wire_diameter and width for this result")

    def _coil(self, turns_wound: float) -> tuple[float, float, float]:
        """Mean radius, length along the axis and radial depth (m) of the coil still on the reel."""
        turns = float(_within("turns", turns_wound, self.turns, "turns"))
        layers = max(math.ceil(turns / self.turns_per_layer - 1e-9), 1)
        axial = self.wire_diameter * max(min(turns, self.turns_per_layer), 1)
        depth = self.wire_diameter * (1 + (layers - 1) * self.stacking)
        return (self.core_diameter + depth) / 2, axial, depth

    def stray_inductance(self, turns_wound: float) -> float:
        """Rough inductance (H) of the coil still wound, if it is in series with the antenna.

        Wheeler (1928), multilayer coil, from memory: L/uH = 0.8 a^2 n^2 / (6 a + 9 b + 10 c), a mean radius, b length,
        c depth in inches. Within 5 % of Maxwell's sum over loops for 5 to 50 turns on a 12 cm core, 13 % for one turn.
        """
        a, b, c = (x / INCH for x in self._coil(turns_wound))
        return 1e-6 * 0.8 * a**2 * turns_wound**2 / (6 * a + 9 * b + 10 * c)

    def stray_capacitance(self, turns_wound: float) -> float:
        """Rough capacitance (F) across the coil still wound, one end earthed; 0 with nothing wound.

        Medhurst (1947) as a fit, from memory: C/pF = 0.1126 l + 0.08 D + 0.27 sqrt(D^3/l), l and D in cm. Made for
        one layer in air: jackets and more layers can double it.
        """
        a, b, c = self._coil(turns_wound)
        length, diameter = b * 100, (2 * a + c) * 100
        if turns_wound == 0:
            return 0.0
        return 1e-12 * (0.1126 * length + 0.08 * diameter + 0.27 * math.sqrt(diameter**3 / length))

    def lump_capacitance(self, turns_wound: float) -> float:
        """Rough capacitance (F) of the wound wire to its surroundings, as a lump hung on the feed; 0 if none.

        A solid cylinder of radius a and length 2 b in free space, Smythe (1962), from memory:
        C = eps0 a (8 + 6.95 (b/a)^0.76). Ground or a hand nearby raises it.
        """
        a, b, c = self._coil(turns_wound)
        if turns_wound == 0:
            return 0.0
        radius = a + c / 2
        return EPS0 * radius * (8 + 6.95 * (b / 2 / radius) ** 0.76)

    def with_stray(self, z_wire: ArrayLike, f_hz: ArrayLike, turns_wound: float, stray: str) -> Complex:
        """Impedance (ohm) of the paid-out wire z_wire (ohm) together with what is still wound, shape of f_hz (Hz).

        stray: "none"; "series", the wire leaves the coil's outside and its inside is fed: the coil's inductance and
        capacitance in parallel, in series with the wire; "shunt", the wire is fed where it leaves the reel: the wound
        lump's capacitance hangs on the feed. Rough: see the methods used. Raises InputError.
        """
        z = np.asarray(z_wire, dtype=complex)
        if stray not in STRAYS:
            raise InputError("turns.stray", repr(stray), f"one of {', '.join(STRAYS)}")
        if stray == "none" or turns_wound == 0:
            return z
        jw = 2j * np.pi * np.asarray(f_hz, dtype=float)
        if stray == "shunt":
            return z / (1 + jw * self.lump_capacitance(turns_wound) * z)
        inductance, capacitance = self.stray_inductance(turns_wound), self.stray_capacitance(turns_wound)
        return z + jw * inductance / (1 + jw**2 * inductance * capacitance)


def _within(field: str, value: ArrayLike, most: float, unit: str) -> Real:
    got = np.asarray(value, dtype=float)
    slack = 1e-9 * most
    if not np.all((got >= -slack) & (got <= most + slack)):
        raise InputError(f"reel.{field}", f"{value!r} {unit}", f"from 0 to {most:.6g} {unit}, what the reel holds")
    return np.clip(got, 0, most)


# --- Which reel settings ("stops") to use.


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
