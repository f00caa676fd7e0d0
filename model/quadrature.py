"""Points and weights to integrate with: Gauss's rules, on one interval or panel by panel."""

from functools import lru_cache

import numpy as np

from tautwire.model.arrays import Real


def _fixed(points: Real, weights: Real) -> tuple[Real, Real]:
    for array in (points, weights):
        array.flags.writeable = False  # shared by all who ask
    return points, weights


@lru_cache
def legendre(points: int) -> tuple[Real, Real]:
    """Gauss-Legendre points and weights on (-1, 1): exact for polynomials of degree up to 2 points - 1.

    (Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.29.)

    >>> x, w = legendre(3)
    >>> round(float(w @ x**4), 12)  # the integral of x^4 from -1 to 1 is 2/5
    0.4
    """
    return _fixed(*np.polynomial.legendre.leggauss(points))


@lru_cache
def laguerre(points: int) -> tuple[Real, Real]:
    """Gauss-Laguerre points t and weights times exp(t): the integral from 0 of a function that falls as exp(-t).

    (Abramowitz and Stegun, 25.4.45.)

    >>> t, w = laguerre(12)
    >>> round(float(w @ (t * np.exp(-t))), 9)  # the integral of t exp(-t) from 0 is 1
    1.0
    """
    t, w = np.polynomial.laguerre.laggauss(points)
    return _fixed(t, w * np.exp(t))


def on_panels(edges: Real, points: int) -> tuple[Real, Real]:
    """Gauss-Legendre points and weights on every panel between edges (P + 1,), rising; (P points,) each.

    >>> s, ds = on_panels(np.array([0.0, 1.0, 4.0]), 2)
    >>> round(float(ds @ s**3), 9)  # the integral of s^3 from 0 to 4 is 64
    64.0
    """
    x, w = legendre(points)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half * (1 + x)).ravel(), (half * w).ravel()
