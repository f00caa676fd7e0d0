"""Wires that differ little from one that is solved: segments laid alike, one frequency, blended matrices, first-order
shifts.

The segments of one structure laid onto another of the same make-up: as many, in the same order.

So matrices of structures that differ by a number (a length, a slope) have the same rows, and each entry changes
smoothly with that number.

Feed impedance at one frequency from a mesh made for it: for many set-ups that differ little from each other.

solver.py prepares a whole span, which pays when a band is read; here each matrix is computed once at f, on a coarse
mesh. What a coarse mesh gets wrong it gets wrong alike for two set-ups, so their difference is right to a few per cent.

Structures that differ by one number: some solved, the matrices of the others blended between them.

All have the same segments (neighbours.py), and each entry of f Z exp(+jkR), the form in which matrices are kept over
frequency, changes smoothly with the number too. So a polynomial through a few solved members gives every other one, and
from there all is computed as ever: currents, feed impedance, fields. What the blend is worth is asked for each member
and span: without the second nearest node the reflection coefficient must hardly change, else the member is solved
itself. tests/benchmarks/blend_error.py measures what is left against solved members.

How far small changes of wires and soil move the feed, from the currents of one solve: no further solve at all.

With Z I = V and the port's admittance Y = V' I, a change dZ gives, to first order, dY = -I' dZ I. The currents solve
the wires' integral equation, so Y is stationary in them, and dZ may be taken by any fair discretisation: here by the
mixed-potential reaction integral (Harrington, Field Computation by Moment Methods, 1968, ch. 4, from memory) of the
same currents on the moved wires, on longer segments than the solver's. Near a dip the changed wires do at f what the
known ones do at f (1 - s), s = (I' dZ I)/(f dY/df).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache, partial
from typing import Any

import numpy as np

from tautwire.model.basics import EPS0, MU0, Complex, Real, Remember, reflection, wave_number
from tautwire.model.errors import SolveError
from tautwire.model.soil.ground import Ground, Stack
from tautwire.model.soil.soil_table import (
    Pairs,
    SoilTable,
    needed,
    pairs_of,
    remainder_matrix,
    remainder_reaction,
    soil_table,
    table_range,
    with_images,
)
from tautwire.model.solve.corrections import (
    FELT,
    ContactTerm,
    RadiusTerm,
    charge_cells,
    crowding,
    engine_legs,
    heights,
    radius_logs,
    voltage_scale,
)
from tautwire.model.solve.engine import admittance, canonical, raised
from tautwire.model.solve.response import REFERENCE, SoilMatrices, Span, WireMatrices, lagrange, span_of
from tautwire.model.solve.solver import Solver, SpanParts, loads, symmetric_inverse
from tautwire.model.wires.mesh import SHORTEST, Mesh, MeshRules, assembled, mesh
from tautwire.model.wires.segments import MIRROR, Segments, joined_segments, shape
from tautwire.model.wires.structure import Conductor, Structure

# --- The segments of one structure laid onto another of the same make-up.


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


# --- Feed impedance at one frequency from a mesh made for it.


FEW = 8, 6  # nodes of a soil table: a shift moves by 1e-3 of all shifts together at most, by 4e-5 usually


class OneFrequency:
    """Feed impedances at f_hz (Hz) of set-ups that share matrices and soil tables where they can."""

    def __init__(self, f_hz: float) -> None:
        self.f_hz = f_hz
        self._wires: dict[object, tuple[np.ndarray, np.ndarray]] = {}
        self._images: dict[object, np.ndarray] = {}
        self._tables: dict[object, SoilTable] = {}
        self._rests: dict[object, np.ndarray] = {}

    def impedance(self, structure: Structure, ground: Ground, rules: MeshRules) -> complex:
        """Feed impedance, ohm. Raises SolveError if it is not passive, InputError for wires that cannot be cut."""
        f = self.f_hz
        grid = mesh(structure, f, rules)
        parts = joined_segments(grid.start, grid.end)
        legs = engine_legs(grid, structure)
        free = canonical(legs, keep_height=False)
        if free not in self._wires:
            y = admittance(free, f, False)[None]
            scale = voltage_scale(y, parts, np.array([f]))
            self._wires[free] = symmetric_inverse(y / scale)[0], scale
        z_free, scale = self._wires[free]
        z = z_free + RadiusTerm(grid, parts, structure).at(f)
        if not ground.is_free_space:
            z = z + ContactTerm(grid, parts, structure).at(f, ground)
            high = canonical(legs, keep_height=True)

            def image(by: float = 0.0) -> Complex:
                wires = raised(high, by)
                if wires not in self._images:
                    self._images[wires] = symmetric_inverse(admittance(wires, f, True)[None] / scale)[0] - z_free
                return self._images[wires]

            if ground.is_perfect:
                z = z + image()
            else:
                bare = ground.stack(f)
                stack = with_images(bare, needed([bare], float(min(grid.start[:, 2].min(), grid.end[:, 2].min()))))
                under = high, stack
                if under not in self._rests:
                    self._rests[under] = remainder_matrix(self._table(ground, stack, parts), parts)
                z = z + ground.kappa(f) * image() + self._rests[under]
                z = sum((c * image(by) for by, c in stack.images), z)
        current = np.linalg.solve(z + np.diag(loads(structure, grid, f)), grid.feed.astype(complex))
        y_feed = complex(grid.feed @ current)
        if not (np.isfinite(y_feed) and y_feed.real > 0):
            raise SolveError(f"feed resistance is not positive at {f / 1e6:.6g} MHz")
        return 1 / y_feed

    def _table(self, ground: Ground, stack: Stack, parts: Segments) -> SoilTable:
        key = stack, *table_range(parts)
        if key not in self._tables:
            self._tables[key] = soil_table(self.f_hz, ground, *key[1:], FEW, tuple(by for by, _ in stack.images))
        return self._tables[key]


# --- Structures that differ by one number.


SHARE = 0.35  # of the change without the second nearest node: the greatest error met with all of them
WORST = 6e-4  # estimated error of the reflection coefficient with which a member is blended
MOST_NODES, MOST_BLENDS = 200, 16  # solved members (a span and a ground each) and places that a family keeps
MOST_GROUNDS = 32  # and grounds, a span each


@dataclass(frozen=True, eq=False)
class Member:
    """A structure over a ground, at one place on the axis."""

    place: float
    structure: Structure
    ground: Ground


class Nodes:
    """The solved members over one ground, and their matrices as blended: each entry times the lengths of its two
    segments, which leaves no inverse powers of what changes lengths.

    wires: where those matrices are kept that the ground does not touch.
    """

    def __init__(self, parts: Sequence[SpanParts], wires: dict[str, Real]) -> None:
        self.parts, self._wires, self._own = parts, wires, dict[str, Real]()

    def of(self, name: str, weights: Real, length: Real, by: float | None = None) -> Complex:
        """f Z exp(+jkR) (K, N, N) of the matrices `name`, from those of the nodes weighted (P,), for segments of these
        lengths (N,), m; by: how far the wires of an image are raised, m."""
        kept, key = self._own if name == "rest" else self._wires, f"{name} {by}"
        if key not in kept:
            found = [getattr(p, name) if by is None else getattr(p, name)(by) for p in self.parts]
            pairs = zip(found, self.parts, strict=True)
            kept[key] = np.stack([(matrices.scaled * _areas(p.mesh.length)).ravel() for matrices, p in pairs])
        n = len(length)
        total: Complex = (weights @ kept[key].view(float)).view(complex).reshape(-1, n, n)
        return total / _areas(length)


def _areas(length: Real) -> Real:
    return np.outer(length, length)


class BlendedParts(SpanParts):
    """The matrices of a member from those of the nodes, weighted (P,).

    The engine's own Z is blended, and calibrated afterwards: the factors of calibration hang on small currents and are
    less smooth. scale (N,): the factors of calibration, if known.
    """

    def __init__(self, base: SpanParts, nodes: Nodes, weights: Real, scale: Real | None = None) -> None:
        self.__dict__.update(base.__dict__)
        self._nodes, self._weights, self._scale = nodes, weights, scale
        self._raised = {}

    def over_nodes(self, ground: Ground, nodes: Nodes) -> BlendedParts:
        """The same wires over the ground of these nodes, of the same places."""
        other = self.over(ground, *(["free"] if ground.is_free_space else ["free", "image"]))
        other._nodes = nodes
        return other

    def _blend(self, name: str, by: float | None = None) -> Complex:
        return self._nodes.of(name, self._weights, self.mesh.length, by)

    def _calibrated(self, scaled: Complex) -> Complex:
        """f Z exp(+jkR) (K, N, N) with the voltages that really act, made symmetric."""
        z = self.scale[:, None] * scaled
        return (z + z.transpose(0, 2, 1)) / 2

    @cached_property
    def _free(self) -> Complex:
        return self._blend("raw_free")

    @cached_property
    def scale(self) -> Real:
        """The factors (N,) of calibration, as corrections.py has them from Y."""
        if self._scale is not None:
            return self._scale
        nodes = self.span.nodes
        free = WireMatrices(nodes, self._free, self._apart)
        raw = np.array([free.at(float(f)) for f in nodes])
        return voltage_scale(np.linalg.inv(raw), self.segments, nodes)

    @cached_property
    def free(self) -> WireMatrices:
        return WireMatrices(self.span.nodes, self._calibrated(self._free), self._apart)

    @cached_property
    def image(self) -> WireMatrices:
        scaled = self._calibrated(self._blend("raw_image"))
        return WireMatrices(self._nodes.parts[0].raw_image.nodes, scaled, self._image_apart)

    def _new_image_raised(self, by: float) -> WireMatrices:
        scaled = self._calibrated(self._blend("raw_image_raised", by))
        return WireMatrices(self.span.image_nodes, scaled, self._image_distance(by))

    @cached_property
    def rest(self) -> SoilMatrices:
        return SoilMatrices(self._nodes.parts[0].rest.nodes, self._blend("rest"), self._image_apart)

    @cached_property
    def asymmetry(self) -> float:
        return max(n.asymmetry for n in self._nodes.parts)


class Family:
    """Members at rising places, which are solved as they are asked for; others are blended between them.

    Members may stand over any ground of the kind that the nodes have (free space, perfect, soil): what depends on the
    wires alone is computed once for all of them.
    """

    def __init__(self, nodes: Sequence[Member], rules: MeshRules, remember: Remember) -> None:
        self.nodes, self.rules, self.remember = nodes, rules, remember
        self._places = [n.place for n in nodes]
        self._lowest = min(p[2] for n in nodes for c in n.structure.conductors for p in c.points)
        self._farthest = max(_farthest(n.structure) for n in nodes) + rules.max_segment
        self._shared = ["raw_free"] if nodes[0].ground.is_free_space else ["raw_free", "raw_image"]
        self._models: dict[Span, tuple[Mesh, Structure]] = {}
        self._wires: dict[tuple[Span, int], SpanParts] = {}
        self._kept: dict[Span, dict[str, Real]] = {}
        self._node = lru_cache(MOST_NODES)(self._new_node)
        self._nodes = lru_cache(MOST_GROUNDS)(self._new_nodes)
        self._blends = lru_cache(MOST_BLENDS)(self._new_blends)

    def _model(self, span: Span) -> tuple[Mesh, Structure]:
        """The mesh with the most segments of all nodes: the others are cut at least as finely."""
        if span not in self._models:
            cut = [(mesh(n.structure, span.upper, self.rules), n.structure) for n in self.nodes]
            self._models[span] = max(cut, key=lambda c: len(c[0].start))
        return self._models[span]

    def _base(self, span: Span, member: Member) -> SpanParts:
        grid = like_mesh(*self._model(span), member.structure)
        parts = SpanParts(member.structure, member.ground, span, self.rules, self.remember, grid)
        parts.lowest, parts.others = self._lowest, self._farthest  # so that all need the same images and soil tables
        return parts

    def _new_node(self, span: Span, k: int, ground: Ground) -> SpanParts:
        if (span, k) not in self._wires:
            self._wires[span, k] = self._base(span, self.nodes[k])
        return self._wires[span, k].over(ground, *self._shared)

    def _new_nodes(self, span: Span, ground: Ground) -> Nodes:
        return Nodes([self._node(span, k, ground) for k in range(len(self.nodes))], self._kept.setdefault(span, {}))

    def _new_blends(self, span: Span, place: float, structure: Structure) -> tuple[BlendedParts, BlendedParts]:
        """The matrices at a place over the nodes' ground, from all nodes and without the second nearest."""
        ground = self.nodes[0].ground
        nodes, base = self._nodes(span, ground), self._base(span, Member(place, structure, ground))
        whole = BlendedParts(base, nodes, lagrange(tuple(self._places), place)[0])
        second = int(np.argsort(np.abs(np.array(self._places) - place))[1])
        kept = [k for k in range(len(self.nodes)) if k != second]
        weights = np.zeros(len(self.nodes))
        weights[kept] = lagrange(tuple(self._places[k] for k in kept), place)[0]
        return whole, BlendedParts(base, nodes, weights, whole.scale)

    def parts(self, span: Span, member: Member) -> tuple[SpanParts, float]:
        """The member's matrices, and the estimated error of its reflection coefficient (0: solved).

        A member that cannot be blended well enough, or has other segments, is solved.
        """
        ground = member.ground
        try:
            if member.place in self._places:
                return self._node(span, self._places.index(member.place), ground), 0.0
            nodes = self._nodes(span, ground)
            blends = self._blends(span, member.place, member.structure)
            whole, fewer = (one.over_nodes(ground, nodes) for one in blends)
            error = SHARE * _change(whole, fewer)
            if error < WORST:
                return whole, error
        except (UnlikeError, SolveError):
            pass
        return SpanParts(member.structure, ground, span, self.rules, self.remember), 0.0


def _farthest(structure: Structure) -> float:
    """The greatest distance from a point of the wires to an image of one, m."""
    points = np.array([p for c in structure.conductors for p in c.points])
    return float(np.linalg.norm(points[:, None] - points * MIRROR, axis=-1).max())


def _change(a: SpanParts, b: SpanParts) -> float:
    """Greatest difference of the reflection coefficient at the feed, at the span's nodes."""
    gamma = []
    for parts in (a, b):
        feed = parts.mesh.feed.astype(complex)
        z = np.array([parts.matrix(float(f)) + np.diag(parts.load(float(f))) for f in a.span.nodes])
        y = np.linalg.solve(z, feed[:, None])[..., 0] @ feed
        gamma.append(reflection(1 / y, REFERENCE))
    change: Real = np.abs(gamma[0] - gamma[1])
    return float(change.max())


class BlendedSolver(Solver):
    """A member's solver. errors: span -> what `Family.parts` says of it."""

    by_itself = False

    def __init__(self, family: Family, member: Member) -> None:
        super().__init__(member.structure, member.ground, family.rules, family.remember)
        self.family, self.member = family, member
        self.errors: dict[Span, float] = {}

    def parts(self, f_hz: float) -> SpanParts:
        span = span_of(f_hz)
        if span not in self._parts:
            self._parts[span], self.errors[span] = self.family.parts(span, self.member)
        return self._parts[span]

    def blend_error(self, f_hz: float) -> float:
        """Estimated error of the reflection coefficient in the span of f_hz from blending; 0 where it was solved."""
        self.parts(f_hz)
        return self.errors[span_of(f_hz)]


# --- How far small changes of wires and soil move the feed, from the currents of one solve.


STEP = 0.01  # of the frequency, in which soil tables are shared: what they hold is a change of a change
NEARBY = "nearby"
KEPT = 64  # soil tables of a process
SENSITIVITY_CLOSE = 3.0  # lengths, up to which a pair is close
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
        self._others = parts.others
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
        f_hz = math.exp(round(math.log(self.f_hz) / STEP) * STEP)
        table = _table(f_hz, _Over(ground.stack(f_hz), ground), *table_range(parts, self._others))
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


@dataclass(frozen=True)
class _Over:
    """A ground, the same as another if it is at a frequency."""

    stack: Stack
    ground: Ground = field(compare=False)


@lru_cache(maxsize=KEPT)
def _table(f_hz: float, over: _Over, nearest: float, farthest: float) -> SoilTable:
    return soil_table(f_hz, over.ground, nearest, farthest, FEW)


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
        length = _sensitivity_sizes(vector)
        i, j = np.triu_indices(len(mean))
        twice = np.where(i == j, 1.0, 2.0)
        moment, charges = twice * mean[i] * mean[j], twice * charge[i] * charge[j]
        self._pairs: dict[bool, list[tuple[np.ndarray, ...]]] = {}
        for mirrored in (False, True):
            apart = _sensitivity_sizes(at[:, i] - _turned(at, mirrored)[:, j])
            close = apart < SENSITIVITY_CLOSE * np.maximum(length[i], length[j])
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


def _sensitivity_sizes(vectors: Real) -> Real:
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
    length = _sensitivity_sizes(turned)[j]
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
