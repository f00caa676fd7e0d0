"""Reflection as one fitted formula, and the exact settings that it is measured against.

Reflection at the wire's feed as one fitted formula over frequency, length, slope, feed height and coax length.

    Gamma = (a + b u + c w + d u w) / (1 + e u + f w + g u w)

u and w are the round trips along coax and wire, exp(-2jk l s) with s how much slower than light; a to g are polynomials
(Chebyshev's, in frequency, length, slope, logarithm of height and exp(-coax/4 m)) whose coefficients are fitted to
exact solves by linear least squares, with the denominator as weight in turn (Sanathanan and Koerner 1963, from memory).
The page's script (explorer/core.js) repeats `Form.at` step by step.
"""

from __future__ import annotations

import base64
import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from tautwire.model.basics import C0, Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Arrays
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

# --- Exact reflection coefficients at the wire's feed, at random settings of a box.


POINTS = 61  # frequencies a band
TOLERANCE = 1e-4  # of the reflection coefficient between them


def random_places(seed: int, count: int, axes: int) -> Real:
    """Places (count, axes) in the unit box, scrambled Sobol: the first n of them are the same for every count."""
    whole = 2 ** math.ceil(math.log2(max(count, 2)))
    places: Real = scipy.stats.qmc.Sobol(axes, seed=seed).random(whole)[:count]
    return places


def exact(setup: Setup, bands: Sequence[Band], kept: dict[str, Arrays], points: int = POINTS) -> Complex:
    """Reflection coefficient (bands, points) over each band's window. kept: soil tables.

    Raises InputError or SolveError.
    """
    own: dict[str, Arrays] = {}

    def remember(key: str, compute: Callable[[], Arrays]) -> Arrays:
        store = kept if key.startswith("soil") else own
        if key not in store:
            store[key] = compute()
        return store[key]

    solver = setup.build().solver(remember)
    return np.array([
        solver.response(*window(b), TOLERANCE).reflection(np.linspace(*window(b), points)) for b in bands
    ])  # fmt: skip


# --- Reflection at the wire's feed as one fitted formula over frequency.


PATHS = ("antenna.length", "antenna.slope", "antenna.feed_height", "coax.length")
SPEEDS = (1.25, 1.04)  # how much slower than light a wave runs along lying coax, and along the wire
POLYNOMIALS = 7
ROUNDS = 3
RIDGE = 1e-10
LARGEST = 32767  # of a coefficient, as an integer of 16 bits


def powers(degrees: Sequence[float]) -> list[tuple[int, ...]]:
    """Powers of the five variables, frequency first, whose sum of power over degree is at most 1.

    >>> powers([1, 1, 0.5, 0.5, 0.5])
    [(0, 0, 0, 0, 0), (0, 1, 0, 0, 0), (1, 0, 0, 0, 0)]
    """
    every = itertools.product(*(range(int(d) + 1) for d in degrees))
    return [p for p in every if sum(n / d for n, d in zip(p, degrees, strict=True)) <= 1 + 1e-9]


def chebyshev(x: Real, most: int) -> Real:
    """(most + 1, n) Chebyshev's polynomials at x (n,)."""
    return np.asarray(np.polynomial.chebyshev.chebvander(x, most).T)


def variables(places: Real) -> Real:
    """(n, 4) of places (n, 4): length m, slope degrees, feed height m, coax m."""
    return np.stack([places[:, 0], places[:, 1], np.log(places[:, 2]), np.exp(-places[:, 3] / 4)], axis=1)


def round_trips(f_mhz: Real, places: Real, speeds: Sequence[float]) -> tuple[Complex, Complex]:
    """u and w (n, f) along coax and wire."""
    k = 4 * np.pi * f_mhz * 1e6 / C0
    coax, wire = (np.exp(-1j * k * s * places[:, i : i + 1]) for s, i in zip(speeds, (3, 0), strict=True))
    return coax, wire


@dataclass(frozen=True, eq=False)
class Form:
    """One band. low, high (4,): ends of the variables; band: of frequency, MHz. coefficients (7, terms)."""

    powers: tuple[tuple[int, ...], ...]
    low: Real
    high: Real
    band: tuple[float, float]
    coefficients: Complex
    speeds: tuple[float, float] = SPEEDS

    def _terms(self, places: Real) -> Real:
        """(terms, n) of all variables but frequency."""
        return _terms(self.powers, self.low, self.high, places)

    def at(self, f_mhz: Real, places: Real) -> Complex:
        """Reflection coefficient (n, f) at f_mhz (f,) and places (n, 4)."""
        in_f = chebyshev(2 * (f_mhz - self.band[0]) / (self.band[1] - self.band[0]) - 1, max(p[0] for p in self.powers))
        in_f = in_f[[p[0] for p in self.powers]]
        a, b, c, d, e, f, g = (
            np.einsum("tn,tf->nf", self._terms(places) * k[:, None], in_f) for k in self.coefficients
        )
        u, w = round_trips(f_mhz, places, self.speeds)
        return np.asarray((a + b * u + c * w + d * u * w) / (1 + e * u + f * w + g * u * w))

    def rounded(self) -> Form:
        """The same with its coefficients as the page has them, 16-bit integers times one scale a polynomial."""
        steps = np.abs(np.stack([self.coefficients.real, self.coefficients.imag])).max(axis=(0, 2)) / LARGEST
        whole: Complex = np.round(self.coefficients / steps[:, None]) * steps[:, None]
        return Form(self.powers, self.low, self.high, self.band, whole, self.speeds)

    def data(self) -> dict[str, Any]:
        """As the page has it."""
        parts = np.stack([self.coefficients.real, self.coefficients.imag], axis=-1)
        scales = np.abs(parts).max(axis=(1, 2)) / LARGEST
        whole = np.round(parts / scales[:, None, None]).astype("<i2")
        return {
            "powers": self.powers, "low": self.low.tolist(), "high": self.high.tolist(), "band": self.band,
            "scales": scales.tolist(), "data": base64.b64encode(whole.tobytes()).decode(), "speeds": self.speeds,
            "most": max(max(p[1:]) for p in self.powers), "most_f": max(p[0] for p in self.powers),
        }  # fmt: skip


def _terms(which: Sequence[tuple[int, ...]], low: Real, high: Real, places: Real) -> Real:
    x = 2 * (variables(places) - low) / (high - low) - 1
    most = max(max(p[1:]) for p in which)
    tables = [chebyshev(x[:, i], most) for i in range(4)]
    return np.asarray(np.stack([np.prod([tables[i][n] for i, n in enumerate(p[1:])], axis=0) for p in which]))


def form_of(
    coefficients: Complex, f_mhz: Real, ends: tuple[Real, Real], degrees: Sequence[float], speeds: tuple[float, float]
) -> Form:
    """The form of coefficients (7, terms) that were fitted with the same arguments."""
    low, high = (variables(e[None])[0] for e in ends)
    low, high = np.minimum(low, high), np.maximum(low, high)
    return Form(tuple(powers(degrees)), low, high, (float(f_mhz[0]), float(f_mhz[-1])), coefficients, speeds)


def fit(
    f_mhz: Real,
    places: Real,
    gamma: Complex,
    ends: tuple[Real, Real],
    degrees: Sequence[float],
    speeds: tuple[float, float] = SPEEDS,
    chunk: int = 100,
) -> Form:
    """The form nearest to gamma (n, f) at f_mhz (f,) and places (n, 4). ends: lowest and highest place."""
    low, high = (variables(e[None])[0] for e in ends)
    low, high = np.minimum(low, high), np.maximum(low, high)
    which, band = tuple(powers(degrees)), (float(f_mhz[0]), float(f_mhz[-1]))
    in_f = chebyshev(2 * (f_mhz - band[0]) / (band[1] - band[0]) - 1, max(p[0] for p in which))[[p[0] for p in which]]
    count, below = len(which), np.ones(gamma.shape)
    form = None
    for _ in range(ROUNDS):
        square = np.zeros((POLYNOMIALS * count,) * 2, dtype=complex)
        right = np.zeros(POLYNOMIALS * count, dtype=complex)
        for at in range(0, len(places), chunk):
            here = slice(at, at + chunk)
            u, w = round_trips(f_mhz, places[here], speeds)
            seen = gamma[here]
            heavy = 1 / below[here]
            factors = np.stack([np.ones_like(u), u, w, u * w, -seen * u, -seen * w, -seen * u * w]) * heavy
            basis = np.einsum("tn,tf->tnf", _terms(which, low, high, places[here]), in_f).reshape(count, -1)
            rows = (factors.reshape(POLYNOMIALS, 1, -1) * basis).reshape(POLYNOMIALS * count, -1)
            square += rows.conj() @ rows.T
            right += rows.conj() @ (seen * heavy).ravel()
        square[np.diag_indices_from(square)] += RIDGE * np.trace(square).real / len(square)
        coefficients = np.asarray(np.linalg.solve(square, right), dtype=complex).reshape(POLYNOMIALS, count)
        form = form_of(coefficients, f_mhz, ends, degrees, speeds)
        e, f, g = (
            np.einsum("tn,tf->nf", _terms(which, low, high, places) * k[:, None], in_f) for k in coefficients[4:]
        )
        u, w = round_trips(f_mhz, places, speeds)
        below = np.abs(1 + e * u + f * w + g * u * w)
    assert form is not None
    return form
