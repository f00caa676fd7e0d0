"""Impedance matrices as smooth functions of frequency.

The HF range is cut into fixed spans. One mesh, sized for a span's top, serves the whole span, and every matrix is
computed at the span's Chebyshev nodes only: with the travel phase exp(-jkR) taken out, f Z(f) is so smooth that
polynomial interpolation between the nodes keeps the port admittance to about 1e-4. Spans and nodes are fixed, so
results do not depend on which other bands a study asks for, and one stored matrix serves every band.
"""

from dataclasses import dataclass

import numpy as np

from .arrays import Complex, Real
from .constants import C0
from .errors import InputError
from .response import chebyshev

NODES = 5


@dataclass(frozen=True)
class Span:
    """A range of frequency served by one mesh, Hz."""

    lower: float
    upper: float

    @property
    def nodes(self) -> Real:
        return chebyshev(self.lower, self.upper, NODES)


SPANS = (Span(1.6e6, 4.6e6), Span(4.6e6, 15.9e6), Span(15.9e6, 31.5e6), Span(31.5e6, 60e6))


def span_of(f_hz: float) -> Span:
    """The span holding f_hz. Raises InputError outside 1.6 to 60 MHz."""
    for span in SPANS:
        if span.lower <= f_hz <= span.upper:
            return span
    raise InputError("frequency", f"{f_hz / 1e6:g} MHz", "from 1.6 to 60 MHz")


@dataclass(frozen=True)
class Smooth:
    """A matrix function of frequency, from its values at the nodes of a span.

    scaled (K, N, N): f Z exp(+jkR) at each node; distance (N, N): R, m.
    """

    span: Span
    scaled: Complex
    distance: Real

    @classmethod
    def through(cls, span: Span, matrices: Complex, distance: Real) -> "Smooth":
        f = span.nodes[:, None, None]
        return cls(span, f * matrices * np.exp(2j * np.pi * f / C0 * distance), distance)

    def at(self, f_hz: float) -> Complex:
        """Z (N, N), ohm, at f_hz inside the span."""
        weights = lagrange(self.span.nodes, f_hz)
        blend = np.tensordot(weights, self.scaled, 1)
        return blend * np.exp(-2j * np.pi * f_hz / C0 * self.distance) / f_hz


def lagrange(nodes: Real, x: float) -> Real:
    """Values at x of the Lagrange polynomials through the nodes (K,)."""
    gap = nodes[:, None] - nodes
    np.fill_diagonal(gap, 1.0)
    ratio = (x - nodes) / gap
    np.fill_diagonal(ratio, 1.0)
    return ratio.prod(axis=1)
