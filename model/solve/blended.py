"""Structures that differ by one number: some solved, the matrices of the others blended between them.

All have the same segments (like_mesh.py), and each entry of f Z exp(+jkR), the form in which matrices are kept over
frequency, changes smoothly with the number too. So a polynomial through a few solved members gives every other one, and
from there all is computed as ever: currents, feed impedance, fields. What the blend is worth is asked for each member
and span: without the second nearest node the reflection coefficient must hardly change, else the member is solved
itself. tests/benchmarks/blend_error.py measures what is left against solved members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import SolveError
from tautwire.model.reflection import reflection
from tautwire.model.remember import Remember
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.calibration import voltage_scale
from tautwire.model.solve.response import REFERENCE
from tautwire.model.solve.smooth_matrices import SoilMatrices, Span, WireMatrices, lagrange, span_of
from tautwire.model.solve.solver import Solver, SpanParts
from tautwire.model.wires.like_mesh import UnlikeError, like_mesh
from tautwire.model.wires.mesh import Mesh, MeshRules, mesh
from tautwire.model.wires.segments import MIRROR
from tautwire.model.wires.structure import Structure

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
        """The factors (N,) of calibration, as calibration.py has them from Y."""
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
