"""What all of the model starts from: array types, constants, frequencies, impedance and reflection, quadrature, memory.

Impedance, reflection coefficient and SWR: what each says in terms of the others.

With a reference z0:  gamma = (z - z0)/(z + z0)    z = z0 (1 + gamma)/(1 - gamma)    SWR = (1 + |gamma|)/(1 - |gamma|)
(Pozar, Microwave Engineering, sect. 2.3, from memory).
"""

import hashlib
import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tautwire.model.errors import InputError

# --- Names for the array types used in signatures.


Real = NDArray[np.floating[Any]]
Complex = NDArray[np.complexfloating[Any, Any]]


# --- Physical constants in SI units (CODATA 2022; tests/test_against_codata.py compares them with scipy's).


C0 = 299_792_458.0  # m/s
MU0 = 1.25663706127e-6  # H/m
EPS0 = 8.8541878188e-12  # F/m
ETA0 = math.sqrt(MU0 / EPS0)  # ohm


# --- Frequencies checked, and as wave numbers.


def as_frequencies(f_hz: ArrayLike) -> Real:
    """f_hz as a float array, Hz, same shape. Raises InputError unless every value is finite and above 0."""
    f = np.asarray(f_hz, dtype=float)
    bad = ~(np.isfinite(f) & (f > 0))
    if bad.any():
        raise InputError("frequency", f"{f[bad].flat[0]} Hz", "finite and above 0 Hz")
    return f


F = TypeVar("F", float, Real)


def wave_number(f_hz: F) -> F:
    """k = 2 pi f/c in air, 1/m, of frequencies in Hz; shape of f_hz.

    >>> round(wave_number(14.2e6) * 21.11, 2)  # a wavelength of 21.11 m is 2 pi
    6.28
    """
    return 2 * np.pi * f_hz / C0


# --- Impedance, reflection coefficient and SWR.


def reflection(z: ArrayLike, z0: float = 50.0) -> Complex:
    """Reflection coefficient of impedances z (ohm) against z0 (ohm), shape of z; infinite z is an open, NaN stays NaN.

    >>> reflection([25.0, 50.0, float("inf")]).real.round(3).tolist()
    [-0.333, 0.0, 1.0]
    """
    zz = np.asarray(z, dtype=complex)
    with np.errstate(divide="ignore", invalid="ignore"):
        gamma = (zz - z0) / (zz + z0)
    return np.where(np.isinf(zz), 1.0 + 0j, gamma)


def impedance(gamma: ArrayLike, z0: float = 50.0) -> Complex:
    """Impedance (ohm) of reflection coefficients against z0 (ohm), shape of gamma; infinite where gamma is 1.

    >>> impedance([-1 / 3, 0.0, 1.0]).real.round(3).tolist()
    [25.0, 50.0, inf]
    """
    g = np.asarray(gamma, dtype=complex)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(g == 1, np.inf, z0 * (1 + g) / (1 - g))


def swr_of(gamma: ArrayLike) -> Real:
    """SWR of reflection coefficients or their sizes, 1 or more, shape of gamma; infinite from |gamma| = 1 on.

    >>> round(float(swr_of(-1 / 3)), 9), float(swr_of(1.0))
    (2.0, inf)
    """
    size = np.abs(gamma)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(size >= 1 - 1e-15, np.inf, (1 + size) / np.abs(1 - size))


def swr(z: ArrayLike, z0: float = 50.0) -> Real:
    """Standing wave ratio of impedances z (ohm) on z0 (ohm), 1 or more, shape of z; NaN stays NaN.

    >>> round(float(swr(25.0)), 9), float(swr(0.0))
    (2.0, inf)
    """
    return swr_of(reflection(z, z0))


def size_of(swr: ArrayLike) -> Real:
    """|gamma| of an SWR (1 or more), shape of swr.

    >>> float(size_of(3.0)), float(size_of(float("inf")))
    (0.5, 1.0)
    """
    return 1 - 2 / (np.asarray(swr, dtype=float) + 1)


# --- Points and weights to integrate with: Gauss's rules, on one interval or panel by panel.


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


# --- What lets a computed array be kept and found again: keys, and the memory that keeps nothing.


Arrays = dict[str, np.ndarray]
Remember = Callable[[str, Callable[[], Arrays]], Arrays]
"""remember(key, compute): the arrays stored under key, else those of compute()."""


def compute_always(key: str, compute: Callable[[], Arrays]) -> Arrays:
    """The memory that remembers nothing."""
    return compute()


def key_of(kind: str, *parts: object) -> str:
    """A key: the kind, and the hash of everything that the arrays are computed from."""
    return f"{kind}-{hashlib.sha256(repr(parts).encode()).hexdigest()}"
