"""How far small changes of wires and soil move the feed, from the currents of one solve: no further solve at all.

With Z I = V and the port's admittance Y = V' I, a change dZ gives, to first order, dY = -I' dZ I. The currents solve
the wires' integral equation, so Y is stationary in them, and dZ may be taken by any fair discretisation: here by the
mixed-potential reaction integral (Harrington, Field Computation by Moment Methods, 1968, ch. 4, from memory) of the
same currents on the moved wires, on longer segments than the solver's. Near a dip the changed wires do at f what the
known ones do at f (1 - s), s = (I' dZ I)/(f dY/df).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property, lru_cache, partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import EPS0, MU0
from tautwire.model.frequencies import wave_number
from tautwire.model.soil.remainder import Pairs, pairs_of, remainder_reaction, table_range
from tautwire.model.soil.soil_table import SoilTable, soil_table
from tautwire.model.solve.contact import FELT, charge_cells, crowding, heights
from tautwire.model.solve.radius_correction import radius_logs
from tautwire.model.solve.solver import Solver, loads
from tautwire.model.wires.mesh import Mesh, mesh
from tautwire.model.wires.segments import MIRROR, Segments, joined_segments, shape
from tautwire.model.wires.structure import Conductor, Structure

if TYPE_CHECKING:
    from tautwire.model.soil.ground import Ground

FEW = 8, 6  # nodes of a soil table
STEP = 0.01  # of the frequency, in which soil tables are shared: what they hold is a change of a change
NEARBY = "nearby"
KEPT = 64  # soil tables of a process
CLOSE = 3.0  # lengths, up to which a pair is close
OBSERVED = (-1 / math.sqrt(3), 1 / math.sqrt(3))  # Gauss points on half a segment


class Sensitivity:
    """What changes of a solved structure do at f_hz (Hz). Raises SolveError as the solver does."""

    def __init__(self, solver: Solver, f_hz: float) -> None:
        self.f_hz, self.structure = f_hz, solver.structure
        parts = solver.parts(f_hz)
        z, slope = parts.with_slope(f_hz)
        fine = np.linalg.solve(z, parts.mesh.feed.astype(complex))
        self._rise = f_hz * complex(fine @ slope @ fine)
        rules = replace(solver.rules, segments_per_wavelength=18.0, max_segment=1.25, growth=1.5)
        self.mesh = mesh(solver.structure, f_hz, rules)
        self._joined = joined_segments(self.mesh.start, self.mesh.end).current
        self._current = _carried(parts.mesh, parts.segments, fine, self.mesh)
        self._values: Complex = self._joined @ self._current
        self._halves = _Halves(self.mesh, self._values)
        self._places = self.mesh.load_segments(solver.structure)
        self._known: dict[tuple[str, object], Any] = {}

    def shift(self, structure: Structure, ground: Ground, known: Ground) -> complex:
        """s of a changed structure over a changed ground. known: the ground as it was, written the same way.

        Its conductors and loads must be those of the known one, moved, made of another wire or a little longer.
        """
        change = self._reaction(structure, ground) - self._reaction(self.structure, known)
        return change / -self._rise

    def gap_shift(self, change: float) -> complex:
        """s where the feed's segments, over which its voltage lies, are longer by change (m).

        Along the gap of 2 d the potential rises evenly, so the charge next to it is less than at an abrupt one by
        V d/3 times the wire's capacitance per metre nearby.
        """
        wire = self.structure.conductors[0].wire
        per_metre = 2 * math.pi * EPS0 / math.log(2 * self.mesh.length[0] / wire.radius)
        return -2j * math.pi * self.f_hz * per_metre * change / 3 / self._rise

    def _reaction(self, structure: Structure, ground: Ground) -> complex:
        """I' Z I of the known currents on these wires, siemens."""
        f, current = self.f_hz, self._current
        route = tuple(c.points for c in structure.conductors)
        grid = self._kept("mesh", route, lambda: moved_mesh(self.mesh, self.structure, structure))
        radius = structure.conductors[0].wire.radius, *(c.wire.radius for c in structure.conductors if c.role == NEARBY)

        def halves(mirrored: bool) -> complex:
            return self._halves.reaction(f, grid, _engine_radius(grid, structure), mirrored)

        total: complex = self._kept("free", (route, radius), lambda: halves(mirrored=False))
        total += self._of_radii(structure, grid) + complex(self._loads(structure, grid) @ current**2)
        if ground.is_free_space:
            return total
        kappa = ground.kappa(f)
        total += kappa * self._kept("image", (route, radius), lambda: halves(mirrored=True))
        total += self._of_contact(structure, grid, kappa)
        return (
            total
            if ground.is_perfect
            else total + self._kept("rest", (route, ground), lambda: self._rest(grid, ground))
        )

    def _rest(self, grid: Mesh, ground: Ground) -> complex:
        parts = Segments(grid.centre, grid.end - grid.start, self._joined)
        table = _table(math.exp(round(math.log(self.f_hz) / STEP) * STEP), ground, *table_range(parts))
        return remainder_reaction(table, parts, self._values, self._pairs)

    @cached_property
    def _pairs(self) -> Pairs:
        return pairs_of(Segments(self.mesh.centre, self.mesh.end - self.mesh.start, self._joined))

    def _kept(self, name: str, key: object, compute: Callable[[], Any]) -> Any:
        """compute(), once for each key."""
        if (name, key) not in self._known:
            self._known[name, key] = compute()
        return self._known[name, key]

    @cached_property
    def _cells(self) -> list[tuple[Complex, np.ndarray]]:
        """What leaves each cell of a conductor's charge, squared (C,), A^2, and its segments: the same wherever they
        lie."""
        parts = Segments(self.mesh.centre, self.mesh.end - self.mesh.start, self._joined)
        found: list[tuple[Complex, np.ndarray]] = []
        for number in range(len(self.structure.conductors)):
            change, _, _ = charge_cells(self.mesh, parts, number)
            found.append(((change @ self._current) ** 2, np.flatnonzero(self.mesh.conductor == number)))
        return found

    def _of_radii(self, structure: Structure, grid: Mesh) -> complex:
        """Of the true radii and the jackets; see RadiusTerm."""
        w, total = 2 * math.pi * self.f_hz, 0j
        for number, (c, log) in enumerate(zip(structure.conductors, radius_logs(structure), strict=True)):
            inductance, elastance = self._kept("sums", (number, c.points), partial(self._sums, grid, number))
            share = (log - c.wire.jacket_log) / (2 * math.pi * EPS0)
            total += 1j * w * MU0 / (2 * math.pi) * log * inductance + share / (1j * w) * elastance
        return complex(total)

    def _sums(self, grid: Mesh, number: int) -> tuple[complex, complex]:
        """Of a conductor: squared current times length, squared charge over length."""
        charge, own = self._cells[number]
        size = grid.length[own]
        cells, bend = _cell_lengths(size), wave_number(self.f_hz) ** 2 / 12
        return complex(size @ self._current[own] ** 2), complex(charge @ (1 / cells + bend * cells))

    def _of_contact(self, structure: Structure, grid: Mesh, kappa: complex) -> complex:
        """Of charge that crowds to the underside; see ContactTerm."""
        w, total = 2 * math.pi * self.f_hz, 0j
        for number, c in enumerate(structure.conductors):
            radius = c.wire.radius if c.role == NEARBY else structure.conductors[0].wire.radius
            key = number, c.points, c.outer_radius, radius
            low = partial(self._low, grid, number, c.outer_radius, radius)
            for h, elastance, inductance in self._kept("low", key, low):
                beyond = 0.5 * math.log1p((radius / (2 * h)) ** 2)
                more = (crowding(kappa, h, c.wire) - kappa * beyond) / (2 * math.pi * EPS0)
                total += more / (1j * w) * elastance - 1j * w * kappa * beyond * MU0 / (2 * math.pi) * inductance
        return total

    def _low(self, grid: Mesh, number: int, outer: float, radius: float) -> list[tuple[float, complex, complex]]:
        """Each height (m) at which a conductor is near the soil, with its squared charges over length and its squared
        currents times length there."""
        charge, own = self._cells[number]
        size, every = grid.length[own], np.append(grid.start[own, 2], grid.end[own[-1], 2])
        height, middle = heights(every, outer), heights(grid.centre[own, 2], outer)
        shares, along = charge / _cell_lengths(size), size * self._current[own] ** 2
        low = np.unique(height[height < FELT * max(outer, radius)])
        return [(float(h), complex(shares[height == h].sum()), complex(along[middle == h].sum())) for h in low]

    def _loads(self, structure: Structure, grid: Mesh) -> Complex:
        z = loads(replace(structure, loads=()), grid, self.f_hz)
        for (index, _), load in zip(self._places, structure.loads, strict=False):
            z[index] += load.impedance(self.f_hz)
        return z


@lru_cache(maxsize=KEPT)
def _table(f_hz: float, ground: Ground, nearest: float, farthest: float) -> SoilTable:
    return soil_table(f_hz, ground, nearest, farthest, FEW)


def _engine_radius(grid: Mesh, structure: Structure) -> Real:
    """The radius (N,), m, with which the engine takes each segment: the wire's for all that is joined to it."""
    nearby = np.array([c.role == NEARBY for c in structure.conductors])[grid.conductor]
    return np.where(nearby, grid.radius, structure.conductors[0].wire.radius)


def _cell_lengths(size: Real) -> Real:
    """Lengths (C,) of the cells between the centres of a conductor's segments of these lengths (N,), m."""
    half = size / 2
    return np.concatenate([half[:1], half[1:] + half[:-1], half[-1:]])


class _Halves:
    """The halves of a mesh's segments, on each a current of known mean (H,) and what leaves it as charge (H,).

    values (N, 3): current at start, centre and end of each segment, A. Pairs are taken once, close ones with the static
    potential integrated over one of both.
    """

    def __init__(self, grid: Mesh, values: Complex) -> None:
        before, middle, after = values.T
        mean = np.concatenate([5 * before + 8 * middle - after, 5 * after + 8 * middle - before]) / 12
        charge = np.concatenate([middle - before, after - middle])
        at, vector = _halved(grid)
        length = _sizes(vector)
        i, j = np.triu_indices(len(mean))
        twice = np.where(i == j, 1.0, 2.0)
        moment, charges = twice * mean[i] * mean[j], twice * charge[i] * charge[j]
        self._pairs: dict[bool, list[tuple[np.ndarray, ...]]] = {}
        for mirrored in (False, True):
            apart = _sizes(at[:, i] - _turned(at, mirrored)[:, j])
            close = apart < CLOSE * np.maximum(length[i], length[j])
            self._pairs[mirrored] = [
                (i[w], j[w], (i * len(mean) + j)[w], moment[w], charges[w]) for w in (~close, close)
            ]

    def reaction(self, f_hz: float, grid: Mesh, radius: Real, mirrored: bool) -> complex:
        """Of the halves of a moved mesh with each other, or with their mirror, where current and charge are the other
        way round. radius (N,): m."""
        k = wave_number(f_hz)
        at, vector = _halved(grid)
        there, turned = _turned(at, mirrored), _turned(vector, mirrored)
        along = (vector.T @ turned).ravel()
        (i, j, both, moment, charge), near = self._pairs[mirrored]
        away = np.sqrt((at[0][i] - there[0][j]) ** 2 + (at[1][i] - there[1][j]) ** 2 + (at[2][i] - there[2][j]) ** 2)
        total = (along[both] * moment - charge / k**2) @ (_wave(k * away) / away)
        i, j, both, moment, charge = near
        potential = _potential(at, vector, there, turned, np.tile(radius**2, 2), i, j, k)
        total += (along[both] * moment - charge / k**2) @ potential
        return complex((-1 if mirrored else 1) * 1j * 2 * math.pi * f_hz * MU0 / (4 * math.pi) * total)


def _halved(grid: Mesh) -> tuple[Real, Real]:
    """Centres of the halves of all segments and vectors along them (3, 2 N), m: first halves, then second ones."""
    start, end = grid.start.T, grid.end.T
    vector = (end - start) / 2
    return np.hstack([start + vector / 2, end - vector / 2]), np.hstack([vector, vector])


def _turned(vectors: Real, mirrored: bool) -> Real:
    """Vectors (3, M), or their mirrors."""
    return vectors * MIRROR[:, None] if mirrored else vectors


def _sizes(vectors: Real) -> Real:
    """Lengths (M,) of vectors (3, M)."""
    return np.sqrt(vectors[0] ** 2 + vectors[1] ** 2 + vectors[2] ** 2)


def _wave(phase: Real) -> Complex:
    """exp(-j phase)."""
    values = np.empty(phase.shape, dtype=complex)
    values.real, values.imag = np.cos(phase), -np.sin(phase)
    return values


def _potential(
    at: Real, vector: Real, there: Real, turned: Real, square: Real, i: np.ndarray, j: np.ndarray, k: float
) -> Complex:
    """Mean of exp(-jkR)/R over halves i and j (P,), 1/m, the latter where `there` and `turned` say (3, H). square: of
    the radius, m^2."""
    length = _sizes(turned)[j]
    gap, step, half, square = at[:, i] - there[:, j], vector[:, i], turned[:, j] / 2, square[j]
    total: Complex = np.zeros(len(i), dtype=complex)
    for x in OBSERVED:
        centre = gap + x / 2 * step
        first, last, away = (np.sqrt((d**2).sum(0) + square) for d in (centre + half, centre - half, centre))
        both = first + last
        total += np.log((both + length) / (both - length)) / length + (_wave(k * away) - 1) / away
    return np.asarray(total / len(OBSERVED))


def _carried(fine: Mesh, segments: Segments, current: Complex, grid: Mesh) -> Complex:
    """Currents at the centres of another mesh of the same conductors (M,), A."""
    values = segments.current @ current
    found = np.zeros(len(grid.along), dtype=complex)
    x = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    for number in np.unique(grid.conductor):
        own, mine = np.flatnonzero(fine.conductor == number), grid.conductor == number
        places = (fine.along[own][:, None] + fine.length[own][:, None] / 2 * x).ravel()
        there = (values[own] @ shape(x)).ravel()
        found[mine] = np.interp(grid.along[mine], places, there)
    return found


def moved_mesh(grid: Mesh, its: Structure, structure: Structure) -> Mesh:
    """The segments of `grid`, a mesh of `its`, carried along to `structure`, whose conductors correspond.

    Corners stay corners, and loads their place, where both structures have them; a straight leg may become bent.
    """
    start, end = np.empty_like(grid.start), np.empty_like(grid.end)
    half = grid.length / 2
    for number, (old, new) in enumerate(zip(its.conductors, structure.conductors, strict=True)):
        own = np.flatnonzero(grid.conductor == number)
        if old.points == new.points:
            start[own], end[own] = grid.start[own], grid.end[own]
            continue
        before, after = _correspond(old, new)
        pairs = [(a.at, b.at) for a, b in zip(its.loads, structure.loads, strict=False) if a.conductor == number]
        for place, there in pairs:
            if np.abs(before - place).min() > 1e-3:
                before, after = np.append(before, place), np.append(after, there)
        order = np.argsort(before)
        before, after = before[order], after[order]
        if not (np.diff(after) > 0).all():
            before, after = before[[0, -1]], after[[0, -1]]
        stops = np.append(grid.along[own] - half[own], grid.along[own[-1]] + half[own[-1]])
        at = np.interp(stops, before, after)
        points, along = np.array(new.points), _along(new)
        nodes = np.stack([np.interp(at, along, x) for x in points.T], axis=1)
        start[own], end[own] = nodes[:-1], nodes[1:]
    radius = np.array([structure.conductors[i].wire.radius for i in grid.conductor])
    return replace(grid, start=start, end=end, radius=radius)


def _along(c: Conductor) -> Real:
    """Places of a conductor's points along it, m."""
    return np.concatenate([[0.0], np.cumsum([math.dist(p, q) for p, q in c.legs])])


def _correspond(old: Conductor, new: Conductor) -> tuple[Real, Real]:
    """Places along both, rising, that are the same: corners where there are as many, or some times as many."""
    before, after = _along(old), _along(new)
    times, over = divmod(len(after) - 1, len(before) - 1)
    if not over:
        return before, after[::times]
    if new.points[: len(before) - 1] == old.points[:-1]:  # more at its end
        return before, np.append(after[: len(before) - 1], after[-1])
    return before[[0, -1]], after[[0, -1]]
