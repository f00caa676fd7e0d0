"""A band's impedance as one smooth rational function of frequency, from a handful of solves.

The reflection coefficient at the wire's feed is rational in frequency (poles and zeros are the wire's resonances),
so the AAA algorithm (Nakatsukasa, Sete, Trefethen 2018, SIAM J. Sci. Comput. 40(3); scipy.interpolate.AAA)
reproduces a whole band from a few samples. Samples are added where two successive fits disagree most.
"""

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import AAA

from .arrays import Complex, Real

REFERENCE = 2450.0  # ohm; the level at which the fit is made, 49 times 50 ohm
GRID = 201  # points on which two fits are compared
START, MOST = 4, 8  # samples to begin with, samples at the most


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
        """Reflection coefficient at the wire's feed, at `reference` ohm; shape of f_hz (Hz)."""
        f = np.asarray(f_hz, dtype=float)
        gap = f[..., None] - self.support
        exact = gap == 0
        gap = np.where(exact, 1.0, gap)
        c = self.weight / gap
        out = (c * self.value).sum(-1) / c.sum(-1)
        hit = exact.any(-1)
        return np.where(hit, self.value[exact.argmax(-1)], out)

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Impedance at the wire's feed, ohm; shape of f_hz (Hz)."""
        g = self.reflection(f_hz)
        return self.reference * (1 + g) / (1 - g)


def _fit(f: Real, gamma: Complex) -> AAA:
    with warnings.catch_warnings():  # fewer terms than samples by design, so AAA says it did not converge
        warnings.simplefilter("ignore", RuntimeWarning)
        return AAA(f, gamma, rtol=1e-9, max_terms=(len(f) + 1) // 2, clean_up=False)


def chebyshev(lower: float, upper: float, count: int) -> Real:
    """Chebyshev points of the first kind, ascending, on [lower, upper]."""
    x = np.cos((np.arange(count) + 0.5) * np.pi / count)[::-1]
    return (lower + upper) / 2 + (upper - lower) / 2 * x


def respond(
    impedance: Callable[[float], complex],
    lower: float,
    upper: float,
    tolerance: float = 1e-3,
    reference: float = REFERENCE,
    most: int = MOST,
) -> Response:
    """Response of a port over [lower, upper] Hz from at most `most` calls of impedance(f_hz) -> ohm.

    tolerance: wanted greatest error of the reflection coefficient (at `reference` ohm).
    """
    grid = np.linspace(lower, upper, GRID)

    def ask(f: float) -> complex:
        z = impedance(f)
        return (z - reference) / (z + reference)

    f = chebyshev(lower, upper, START)
    gamma = np.array([ask(x) for x in f])
    before = _fit(f[:-1], gamma[:-1])(grid)
    while True:
        fit = _fit(f, gamma)
        now = fit(grid)
        change = np.abs(now - before)
        error = float(change.max())
        if error < tolerance or len(f) >= most:
            break
        # ask where the fits disagree most, but not on top of a sample
        change[np.abs(grid[:, None] - f).min(-1) < (upper - lower) / (4 * most)] = 0
        new = grid[int(change.argmax())]
        f, gamma, before = np.append(f, new), np.append(gamma, ask(float(new))), now
    order = np.argsort(f)
    return Response(
        lower, upper, f[order], gamma[order],
        fit.support_points.real, fit.support_values, fit.weights, error, reference,
    )  # fmt: skip
