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
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import EPS0, MU0
from tautwire.model.frequencies import wave_number
from tautwire.model.soil.remainder import remainder_matrix, table_range
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
        self._halves = _Halves(self.mesh, self._joined @ self._current)
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
        return complex(self._current @ remainder_matrix(table, parts, far_points=1, near_points=4) @ self._current)

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
        size = grid.length
        logs = radius_logs(structure)
        for conductor, log, (charge, own) in zip(structure.conductors, logs, self._cells, strict=True):
            cells = _cell_lengths(size[own])
            share = (log - conductor.wire.jacket_log) / (2 * math.pi * EPS0)
            bend = wave_number(self.f_hz) ** 2 / 12
            total += 1j * w * MU0 / (2 * math.pi) * log * complex(size[own] @ self._current[own] ** 2)
            total += share * complex(charge @ (1 / cells + bend * cells)) / (1j * w)
        return total

    def _of_contact(self, structure: Structure, grid: Mesh, kappa: complex) -> complex:
        """Of charge that crowds to the underside; see ContactTerm."""
        w, total = 2 * math.pi * self.f_hz, 0j
        for conductor, (charge, own) in zip(structure.conductors, self._cells, strict=True):
            radius = conductor.wire.radius if conductor.role == NEARBY else structure.conductors[0].wire.radius
            outer = conductor.outer_radius
            cells = _cell_lengths(grid.length[own])
            height = heights(np.append(grid.start[own, 2], grid.end[own[-1], 2]), outer)
            middle = heights(grid.centre[own, 2], outer)
            for h in np.unique(height[height < FELT * max(outer, radius)]):
                beyond = 0.5 * math.log1p((radius / (2 * h)) ** 2)
                more = (crowding(kappa, float(h), conductor.wire) - kappa * beyond) / (2 * math.pi * EPS0)
                total += more / (1j * w) * complex(np.sum((charge / cells)[height == h]))
                along = np.sum((grid.length[own] * self._current[own] ** 2)[middle == h])
                total += -1j * w * kappa * beyond * MU0 / (2 * math.pi) * complex(along)
        return total

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
        self.mean = np.concatenate([5 * before + 8 * middle - after, 5 * after + 8 * middle - before]) / 12
        self.charge = np.concatenate([middle - before, after - middle])
        start, end = _halved(grid)
        self._pairs = {}
        for mirrored in (False, True):
            other = (start + end) / 2 * (MIRROR if mirrored else 1.0)
            apart = np.linalg.norm(((start + end) / 2)[:, None] - other, axis=-1)
            length = np.linalg.norm(end - start, axis=1)
            i, j = np.triu_indices(len(start))
            close = apart[i, j] < CLOSE * np.maximum(length[i], length[j])
            self._pairs[mirrored] = (i[~close], j[~close]), (i[close], j[close])

    def reaction(self, f_hz: float, grid: Mesh, radius: Real, mirrored: bool) -> complex:
        """Of the halves of a moved mesh with each other, or with their mirror, where current and charge are the other
        way round. radius (N,): m."""
        k = wave_number(f_hz)
        start, end = _halved(grid)
        turn = MIRROR if mirrored else np.ones(3)
        vector, middle, square = end - start, (start + end) / 2, np.tile(radius**2, 2)
        far, near = self._pairs[mirrored]
        total = 0j
        for (i, j), close in ((far, False), (near, True)):
            along = ((vector[i] * turn) * vector[j]).sum(1) * self.mean[i] * self.mean[j]
            weight = along - self.charge[i] * self.charge[j] / k**2
            weight[i != j] *= 2
            if close:
                potential = _potential(middle, vector, start * turn, end * turn, square, i, j, k)
            else:
                away = np.linalg.norm(middle[i] - middle[j] * turn, axis=1)
                potential = np.exp(-1j * k * away) / away
            total += weight @ potential
        return complex((-1 if mirrored else 1) * 1j * 2 * math.pi * f_hz * MU0 / (4 * math.pi) * total)


def _halved(grid: Mesh) -> tuple[Real, Real]:
    """Starts and ends (2 N, 3) of the halves of all segments, m: first halves, then second ones."""
    centre = grid.centre
    return np.concatenate([grid.start, centre]), np.concatenate([centre, grid.end])


def _potential(
    middle: Real, vector: Real, start: Real, end: Real, square: Real, i: np.ndarray, j: np.ndarray, k: float
) -> Complex:
    """Mean of exp(-jkR)/R over halves i and j (P,), 1/m; the latter from start to end. square: of the radius, m^2."""
    length = np.linalg.norm(end - start, axis=1)[j]
    centre = ((start + end) / 2)[j]
    total: Complex = np.zeros(len(i), dtype=complex)
    for x in OBSERVED:
        at = middle[i] + x / 2 * vector[i]
        first, last, away = (np.sqrt(((at - p) ** 2).sum(1) + square[j]) for p in (start[j], end[j], centre))
        both = first + last
        total += np.log((both + length) / (both - length)) / length + np.expm1(-1j * k * away) / away
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
