"""Impedance and impedance matrices as smooth functions of frequency, from a handful of solves.

A band's impedance as one smooth rational function of frequency, from a handful of solves.

The reflection coefficient at the wire's feed is rational in frequency (poles and zeros are the wire's resonances). A
solve gives its value and, for little more, its slope, so n solves fix a rational function of degree n - 1: the
barycentric form whose weights are the null vector of the Loewner matrix, with slopes on the diagonal (Antoulas and
Anderson 1986, IMA J. Math. Control Inf. 3; Nakatsukasa, Sete, Trefethen 2018, SIAM J. Sci. Comput. 40(3), AAA, which
takes values only). Samples are added where two successive fits disagree most.

Impedance matrices as smooth functions of frequency.

The HF range is cut into fixed spans. One mesh, sized for a span's top, serves the whole span, and every matrix is
computed at a few nodes of the span only. Between them a polynomial follows g(f) = f Z(f) exp(+jkR): the travel phase is
taken out, and what is left is written so that few nodes do.

* Wires: Z(-f) is the conjugate of Z(f), so Im g is even in f and Re g is odd. A polynomial in f^2 through K nodes then
  is one of degree 2 K - 1 in f.
* Soil: skin depth goes with the root of f, so g/f is followed in sqrt(f); solver.py takes 1/n2 out of it beforehand.

Spans and nodes are fixed, so results do not depend on which other bands a study asks for, and one stored matrix serves
every band. tests/test_spans.py and tests/benchmarks/span_error.py say what it costs in the reflection coefficient.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Complex, Real, impedance, reflection, wave_number
from tautwire.model.errors import InputError

# --- A band's impedance as one smooth rational function of frequency.


REFERENCE = 2450.0  # ohm; the level at which the fit is made, 49 times 50 ohm
GRID = 201  # points on which two fits are compared
START, MOST = 4, 80  # samples at first and at the most; a wire of 20 wavelengths takes some 20
NOISE = 1e-9  # of the largest singular value: smaller ones are taken for rounding; chosen by hand
STEP = 1e-5  # of the range: for slopes by difference

Port = Callable[[float], complex | tuple[complex, complex]]
"""port(f_hz): impedance, ohm, or impedance and its slope, ohm/Hz"""


@dataclass(frozen=True)
class Response:
    """Impedance at the wire's feed over [lower, upper] Hz.

    samples (S,) Hz and gamma (S,): where the solver was asked and the reflection coefficient it gave, at `reference`
    ohm. support (K,), value (K,), weight (K,): the barycentric rational form. error: estimated greatest error of
    the reflection coefficient over the range.
    """

    lower: float
    upper: float
    samples: Real
    gamma: Complex
    support: Real
    value: Complex
    weight: Complex
    error: float
    reference: float = REFERENCE

    def reflection(self, f_hz: ArrayLike) -> Complex:
        """Reflection coefficient at the wire's feed, at `reference` ohm; shape of f_hz (Hz, complex close by too)."""
        return _barycentric(np.asarray(f_hz), self.support, self.value, self.weight)

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Impedance at the wire's feed, ohm; shape of f_hz (Hz)."""
        return impedance(self.reflection(f_hz), self.reference)

    def numbers(self) -> dict[str, Any]:
        """All of it as JSON values; `of_numbers` turns it back."""
        complex_ones = {"value": self.value, "weight": self.weight}
        return {
            "range": [self.lower, self.upper, self.error, self.reference],
            "support": self.support.tolist(),
            **{name: [x.real.tolist(), x.imag.tolist()] for name, x in complex_ones.items()},
        }

    @classmethod
    def of_numbers(cls, numbers: Mapping[str, Any]) -> "Response":
        """The response of which `numbers` made these."""
        lower, upper, error, reference = numbers["range"]
        support = np.array(numbers["support"])
        value, weight = (np.array(re) + 1j * np.array(im) for re, im in (numbers["value"], numbers["weight"]))
        return cls(lower, upper, support, value, support, value, weight, error, reference)


def _barycentric(x: Real | Complex, support: Real, value: Complex, weight: Complex) -> Complex:
    above, below = np.zeros(x.shape, complex), np.zeros(x.shape, complex)
    met = []
    for at, v, w in zip(support, value, weight, strict=True):  # point by point: less memory to walk through
        gap = x - at
        if (exact := gap == 0).any():
            met.append((exact, v))
            gap = np.where(exact, 1.0, gap)
        c = w / gap
        above += c * v
        below += c
    values: Complex = np.asarray(above / below)
    for exact, v in met:
        values[exact] = v
    return values


def _barycentric_weights(x: Real, value: Complex, slope: Complex) -> Complex:
    """Barycentric weights (n,) of the rational function that takes the values at x and, of all such functions, has the
    slopes there with the least sum of squared errors (least singular vector of the Loewner matrix).

    Where several have the slopes equally well, as for a function simpler than n samples allow, they span a space of
    weights; of these the one nearest to the interpolating polynomial's is taken, since a polynomial has no poles.
    """
    gap = x[:, None] - x
    np.fill_diagonal(gap, 1.0)
    loewner = (value[:, None] - value) / gap
    np.fill_diagonal(loewner, slope)
    _, size, basis = np.linalg.svd(loewner)
    null = basis[max(1, min(len(x) - 1, int((size > NOISE * size[0]).sum()))) :]
    polynomial = 1 / gap.prod(axis=1)
    weight: Complex = null.conj().T @ (null @ polynomial)
    return weight / np.abs(weight).max()


def chebyshev(lower: float, upper: float, count: int) -> Real:
    """Chebyshev points of the first kind, ascending, on [lower, upper]."""
    x = np.cos((np.arange(count) + 0.5) * np.pi / count)[::-1]
    return (lower + upper) / 2 + (upper - lower) / 2 * x


def respond(
    port: Port,
    lower: float,
    upper: float,
    tolerance: float = 1e-3,
    reference: float = REFERENCE,
    most: int = MOST,
) -> Response:
    """Response of a port over [lower, upper] Hz from at most `most` samples.

    port: f_hz -> ohm, or (ohm, ohm/Hz); without the slope, each sample takes two calls more.
    tolerance: wanted greatest error of the reflection coefficient (at `reference` ohm).
    """
    middle, half = (lower + upper) / 2, (upper - lower) / 2

    def ask(t: float) -> tuple[complex, complex]:
        """Reflection coefficient at t in (-1, 1) and its slope over t."""
        z, slope = _with_slope(port, float(middle + half * t), STEP * half)
        return complex(reflection(z, reference)), 2 * reference / (z + reference) ** 2 * slope * half

    grid = np.linspace(-1, 1, GRID)
    t = chebyshev(-1, 1, START)
    g, slope = np.array([ask(x) for x in t]).T
    fewer = np.arange(START) != START // 2
    before = _barycentric(grid, t[fewer], g[fewer], _barycentric_weights(t[fewer], g[fewer], slope[fewer]))
    while True:
        weight = _barycentric_weights(t, g, slope)
        now = _barycentric(grid, t, g, weight)
        change = np.abs(now - before)
        error = float(change.max())
        if error < tolerance or len(t) >= most:
            break
        # ask where the fits disagree most, but not on top of a sample
        change[np.abs(grid[:, None] - t).min(-1) < 1 / (2 * most)] = 0
        new = float(grid[change.argmax()])
        (value, rise), before = ask(new), now
        t, g, slope = np.append(t, new), np.append(g, value), np.append(slope, rise)
    order = np.argsort(t)
    f, g = middle + half * t[order], g[order]
    return Response(lower, upper, f, g, f, g, weight[order], error, reference)


def _with_slope(port: Port, f_hz: float, step: float) -> tuple[complex, complex]:
    answer = port(f_hz)
    if isinstance(answer, tuple):
        return answer
    above, below = port(f_hz + step), port(f_hz - step)
    assert not isinstance(above, tuple) and not isinstance(below, tuple)
    return answer, (above - below) / (2 * step)


# --- Impedance matrices as smooth functions of frequency.


IMAGE_NODES = 2  # for the wires' image, a smaller and smoother part than the wires alone
SOIL_NODES, LAYER_NODES = 3, 4  # what layers reflect changes faster with frequency


@dataclass(frozen=True)
class Span:
    """A range of frequency served by one mesh, Hz; wire_nodes: at how many frequencies the wires are solved."""

    lower: float
    upper: float
    wire_nodes: int = 3

    @property
    def nodes(self) -> Real:
        """For the wires in free space."""
        return self._squares(self.wire_nodes)

    @property
    def image_nodes(self) -> Real:
        return self._squares(IMAGE_NODES)

    def soil_nodes(self, layers: bool) -> Real:
        return chebyshev(np.sqrt(self.lower), np.sqrt(self.upper), LAYER_NODES if layers else SOIL_NODES) ** 2

    def _squares(self, count: int) -> Real:
        return np.asarray(np.sqrt(chebyshev(self.lower**2, self.upper**2, count)))


SPANS = (Span(1.6e6, 4.6e6, 2), Span(4.6e6, 15.9e6), Span(15.9e6, 31.5e6), Span(31.5e6, 60e6))


def span_of(f_hz: float) -> Span:
    """The span holding f_hz. Raises InputError outside 1.6 to 60 MHz."""
    for span in SPANS:
        if span.lower <= f_hz <= span.upper:
            return span
    raise InputError("frequency", f"{f_hz / 1e6:g} MHz", "from 1.6 to 60 MHz")


@dataclass(frozen=True)
class Smooth(ABC):
    """A matrix function of frequency, from its values at K nodes.

    nodes (K,): Hz. scaled (K, N, N): g = f Z exp(+jkR) at each node, as the kind writes it; distance (N, N): R, m.
    """

    nodes: Real
    scaled: Complex
    distance: Real

    @classmethod
    def through(cls, nodes: Real, matrices: Complex, distance: Real) -> Self:
        f = nodes[:, None, None]
        return cls(nodes, cls._written(f, f * matrices * np.exp(1j * wave_number(f) * distance)), distance)

    def at(self, f_hz: float) -> Complex:
        """Z (N, N), ohm, at f_hz between the nodes or little beyond."""
        z: Complex = self._value(f_hz, self._blend(self._weights(f_hz)[0])) * self._travel(f_hz)
        return z

    def with_slope(self, f_hz: float) -> tuple[Complex, Complex]:
        """Z and dZ/df, ohm and ohm/Hz, (N, N) each."""
        return self.travelled(f_hz, *self.blended(f_hz))

    def blended(self, f_hz: float) -> tuple[Complex, Complex]:
        """g at f_hz and its slope: parts of the same distance may be added before they travel."""
        weights, slopes = self._weights(f_hz)
        written, slope = self._blend(weights), self._blend(slopes)
        return self._value(f_hz, written), self._rise(f_hz, written, slope)

    def travelled(self, f_hz: float, blend: Complex, slope: Complex) -> tuple[Complex, Complex]:
        """Z and dZ/df of what `blended` gives."""
        travel = self._travel(f_hz)
        z = blend * travel
        return z, slope * travel - (1 + 1j * wave_number(f_hz) * self.distance) / f_hz * z

    def _weights(self, f_hz: float) -> tuple[Real, Real]:
        """Weights (K,) of the nodes at f_hz, and their slopes over f."""
        weights, slopes = lagrange(tuple(self._x(self.nodes)), self._x(f_hz))
        return weights, slopes * self._x_rise(f_hz)

    def _blend(self, weights: Real) -> Complex:
        k, n, _ = self.scaled.shape
        real = self.scaled.reshape(k, n * n).view(float)  # real weights: half the work
        values: Complex = (weights @ real).view(complex).reshape(n, n)
        return values

    def _travel(self, f_hz: float) -> Complex:
        phase = wave_number(f_hz) * self.distance
        return _complex(np.cos(phase) / f_hz, np.sin(phase) / -f_hz)

    @staticmethod
    @abstractmethod
    def _x(f: Any) -> Any:
        """What the polynomial is one in, of a frequency or several."""

    @staticmethod
    @abstractmethod
    def _x_rise(f: float) -> float:
        """Slope of `_x`."""

    @staticmethod
    @abstractmethod
    def _written(f: Real, g: Complex) -> Complex:
        """What the polynomial follows."""

    @staticmethod
    @abstractmethod
    def _value(f: float, written: Complex) -> Complex:
        """g from what is written."""

    @staticmethod
    @abstractmethod
    def _rise(f: float, written: Complex, slope: Complex) -> Complex:
        """dg/df from what is written and its slope."""


class WireMatrices(Smooth):
    """Of wires in free space or their image: Re g/f + j Im g over f^2."""

    @staticmethod
    def _x(f: Any) -> Any:
        return f * f

    @staticmethod
    def _x_rise(f: float) -> float:
        return 2 * f

    @staticmethod
    def _written(f: Real, g: Complex) -> Complex:
        return _complex(g.real / f, g.imag)

    @staticmethod
    def _value(f: float, written: Complex) -> Complex:
        return _complex(f * written.real, written.imag)

    @staticmethod
    def _rise(f: float, written: Complex, slope: Complex) -> Complex:
        return _complex(written.real + f * slope.real, slope.imag)


class SoilMatrices(Smooth):
    """Of the soil: g/f over sqrt(f)."""

    @staticmethod
    def _x(f: Any) -> Any:
        return f**0.5

    @staticmethod
    def _x_rise(f: float) -> float:
        return 0.5 / f**0.5

    @staticmethod
    def _written(f: Real, g: Complex) -> Complex:
        return g / f

    @staticmethod
    def _value(f: float, written: Complex) -> Complex:
        return f * written

    @staticmethod
    def _rise(f: float, written: Complex, slope: Complex) -> Complex:
        return written + f * slope


def _complex(real: Real, imag: Real) -> Complex:
    values = np.empty(real.shape, dtype=complex)
    values.real, values.imag = real, imag
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
