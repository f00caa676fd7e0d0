"""Impedance matrices as smooth functions of frequency.

The HF range is cut into fixed spans. One mesh, sized for a span's top, serves the whole span, and every matrix is
computed at a few Chebyshev nodes of the span only: with the travel phase exp(-jkR) taken out, f Z(f) is so smooth that
polynomial interpolation between the nodes keeps the reflection coefficient to about 1e-4 (tests/test_spans.py). Spans
and nodes are fixed, so results do not depend on which other bands a study asks for, and one stored matrix serves every
band.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.frequencies import wave_number
from tautwire.model.solve.response import chebyshev

NODES = 4  # for the wires in free space and for the soil
IMAGE_NODES = 3  # for the wires' image, a smaller and smoother part


@dataclass(frozen=True)
class Span:
    """A range of frequency served by one mesh, Hz."""

    lower: float
    upper: float

    @property
    def nodes(self) -> Real:
        return chebyshev(self.lower, self.upper, NODES)

    @property
    def image_nodes(self) -> Real:
        return chebyshev(self.lower, self.upper, IMAGE_NODES)


SPANS = (Span(1.6e6, 4.6e6), Span(4.6e6, 15.9e6), Span(15.9e6, 31.5e6), Span(31.5e6, 60e6))


def span_of(f_hz: float) -> Span:
    """The span holding f_hz. Raises InputError outside 1.6 to 60 MHz."""
    for span in SPANS:
        if span.lower <= f_hz <= span.upper:
            return span
    raise InputError("frequency", f"{f_hz / 1e6:g} MHz", "from 1.6 to 60 MHz")


@dataclass(frozen=True)
class Smooth:
    """A matrix function of frequency, from its values at K nodes.

    nodes (K,): Hz. scaled (K, N, N): f Z exp(+jkR) at each node; distance (N, N): R, m.
    """

    nodes: Real
    scaled: Complex
    distance: Real

    @classmethod
    def through(cls, nodes: Real, matrices: Complex, distance: Real) -> "Smooth":
        f = nodes[:, None, None]
        return cls(nodes, f * matrices * np.exp(1j * wave_number(f) * distance), distance)

    def at(self, f_hz: float) -> Complex:
        """Z (N, N), ohm, at f_hz between the nodes or little beyond."""
        z: Complex = self._blend(lagrange(tuple(self.nodes), f_hz)[0]) * self._travel(f_hz)
        return z

    def with_slope(self, f_hz: float) -> tuple[Complex, Complex]:
        """Z and dZ/df, ohm and ohm/Hz, (N, N) each."""
        return self.travelled(f_hz, *self.blended(f_hz))

    def blended(self, f_hz: float) -> tuple[Complex, Complex]:
        """f Z exp(+jkR) at f_hz and its slope: parts of the same distance may be added before they travel."""
        weights, slopes = lagrange(tuple(self.nodes), f_hz)
        return self._blend(weights), self._blend(slopes)

    def travelled(self, f_hz: float, blend: Complex, slope: Complex) -> tuple[Complex, Complex]:
        """Z and dZ/df of what `blended` gives."""
        travel = self._travel(f_hz)
        z = blend * travel
        return z, slope * travel - (1 + 1j * wave_number(f_hz) * self.distance) / f_hz * z

    def _blend(self, weights: Real) -> Complex:
        k, n, _ = self.scaled.shape
        real = self.scaled.reshape(k, n * n).view(float)  # real weights: half the work
        values: Complex = (weights @ real).view(complex).reshape(n, n)
        return values

    def _travel(self, f_hz: float) -> Complex:
        phase = wave_number(f_hz) * self.distance
        values = np.empty(phase.shape, dtype=complex)
        values.real, values.imag = np.cos(phase) / f_hz, np.sin(phase) / -f_hz
        return values


@lru_cache(maxsize=64)
def _powers(nodes: tuple[float, ...]) -> tuple[float, float, Real]:
    """Middle, half width, and the matrix from powers of the scaled frequency to Lagrange weights."""
    middle, half = (nodes[0] + nodes[-1]) / 2, (nodes[-1] - nodes[0]) / 2
    return middle, half, np.linalg.inv(np.vander((np.array(nodes) - middle) / half, increasing=True)).T


def lagrange(nodes: tuple[float, ...], x: float) -> tuple[Real, Real]:
    """Values and slopes at x of the Lagrange polynomials through the nodes (K,)."""
    middle, half, to_weights = _powers(nodes)
    t = (x - middle) / half
    powers = t ** np.arange(len(nodes))
    slopes = np.arange(len(nodes)) * np.concatenate([[0.0], powers[:-1]])
    return to_weights @ powers, to_weights @ slopes / half
