"""Structures that differ by one number: some solved, the matrices of the others blended between them.

All have the same segments (like_mesh.py), and each entry of f Z exp(+jkR), the form in which matrices are kept over
frequency, changes smoothly with the number too. So a polynomial through a few solved members gives every other one, and
from there all is computed as ever: currents, feed impedance, fields. What the blend is worth is asked for each member
and span: without the second nearest node the reflection coefficient must hardly change, else the member is solved
itself. tests/benchmarks/blend_error.py measures what is left against solved members.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import SolveError
from tautwire.model.reflection import reflection
from tautwire.model.remember import Remember
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.calibration import voltage_scale
from tautwire.model.solve.response import REFERENCE
from tautwire.model.solve.smooth_matrices import Smooth, Span, lagrange, span_of
from tautwire.model.solve.solver import Solver, SpanParts
from tautwire.model.wires.like_mesh import UnlikeError, like_mesh
from tautwire.model.wires.mesh import Mesh, MeshRules, mesh
from tautwire.model.wires.structure import Structure

SHARE = 0.35  # of the change without the second nearest node: the greatest error met with all of them
WORST = 6e-4  # estimated error of the reflection coefficient with which a member is blended


@dataclass(frozen=True, eq=False)
class Member:
    """A structure over a ground, at one place on the axis."""

    place: float
    structure: Structure
    ground: Ground


class BlendedParts(SpanParts):
    """The matrices of a member from those of the nodes around it, weighted.

    The engine's own Z is blended, and calibrated afterwards: the factors of calibration hang on small currents and are
    less smooth. scale (N,): these factors, if known.
    """

    def __init__(self, base: SpanParts, nodes: Sequence[SpanParts], weights: Real, scale: Real | None = None) -> None:
        self.__dict__.update(base.__dict__)
        self._nodes, self._weights, self._scale = nodes, weights, scale

    def _blend(self, kept: Sequence[Smooth]) -> Complex:
        total: Complex = np.tensordot(self._weights.astype(complex), np.stack([one.scaled for one in kept]), 1)
        return total

    def _calibrated(self, scaled: Complex) -> Complex:
        """f Z exp(+jkR) (K, N, N) with the voltages that really act, made symmetric."""
        z = self.scale[:, None] * scaled
        return (z + z.transpose(0, 2, 1)) / 2

    @cached_property
    def _free(self) -> Complex:
        return self._blend([n.raw_free for n in self._nodes])

    @cached_property
    def scale(self) -> Real:
        """The factors (N,) of calibration, as calibration.py has them from Y."""
        if self._scale is not None:
            return self._scale
        nodes = self.span.nodes
        raw = np.array([Smooth(nodes, self._free, self._apart).at(float(f)) for f in nodes])
        return voltage_scale(np.linalg.inv(raw), self.segments, nodes)

    @cached_property
    def free(self) -> Smooth:
        return Smooth(self.span.nodes, self._calibrated(self._free), self._apart)

    @cached_property
    def image(self) -> Smooth:
        kept = [n.raw_image for n in self._nodes]
        return Smooth(kept[0].nodes, self._calibrated(self._blend(kept)), self._image_apart)

    @cached_property
    def rest(self) -> Smooth:
        return Smooth(self.span.nodes, self._blend([n.rest for n in self._nodes]), self._image_apart)

    @cached_property
    def asymmetry(self) -> float:
        return max(n.asymmetry for n in self._nodes)


class Family:
    """Members at rising places, which are solved as they are asked for; others are blended between them."""

    def __init__(self, nodes: Sequence[Member], rules: MeshRules, remember: Remember) -> None:
        self.nodes, self.rules, self.remember = nodes, rules, remember
        self._models: dict[Span, tuple[Mesh, Structure]] = {}
        self._parts: dict[tuple[Span, int], SpanParts] = {}

    def _model(self, span: Span) -> tuple[Mesh, Structure]:
        """The mesh with the most segments of all nodes: the others are cut at least as finely."""
        if span not in self._models:
            cut = [(mesh(n.structure, span.upper, self.rules), n.structure) for n in self.nodes]
            self._models[span] = max(cut, key=lambda c: len(c[0].start))
        return self._models[span]

    def _base(self, span: Span, member: Member) -> SpanParts:
        grid = like_mesh(*self._model(span), member.structure, self.rules)
        return SpanParts(member.structure, member.ground, span, self.rules, self.remember, grid)

    def _node(self, span: Span, k: int) -> SpanParts:
        if (span, k) not in self._parts:
            self._parts[span, k] = self._base(span, self.nodes[k])
        return self._parts[span, k]

    def parts(self, span: Span, member: Member) -> tuple[SpanParts, float]:
        """The member's matrices, and the estimated error of its reflection coefficient (0: solved).

        A member that cannot be blended well enough, or has other segments, is solved.
        """
        places = [n.place for n in self.nodes]
        try:
            if member.place in places:
                return self._node(span, places.index(member.place)), 0.0
            base, nodes = self._base(span, member), [self._node(span, k) for k in range(len(places))]
            whole = BlendedParts(base, nodes, lagrange(tuple(places), member.place)[0])
            second = int(np.argsort(np.abs(np.array(places) - member.place))[1])
            fewer = [k for k in range(len(places)) if k != second]
            weights = lagrange(tuple(places[k] for k in fewer), member.place)[0]
            error = SHARE * _change(whole, BlendedParts(base, [nodes[k] for k in fewer], weights, whole.scale))
            if error < WORST:
                return whole, error
        except (UnlikeError, SolveError):
            pass
        return SpanParts(member.structure, member.ground, span, self.rules, self.remember), 0.0


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
