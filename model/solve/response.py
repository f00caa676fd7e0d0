"""A band's impedance as one smooth rational function of frequency, from a handful of solves.

The reflection coefficient at the wire's feed is rational in frequency (poles and zeros are the wire's resonances). A
solve gives its value and, for little more, its slope, so n solves fix a rational function of degree n - 1: the
barycentric form whose weights are the null vector of the Loewner matrix, with slopes on the diagonal (Antoulas and
Anderson 1986, IMA J. Math. Control Inf. 3; Nakatsukasa, Sete, Trefethen 2018, SIAM J. Sci. Comput. 40(3), AAA, which
takes values only). Samples are added where two successive fits disagree most.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex, Real
from tautwire.model.reflection import impedance, reflection

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
