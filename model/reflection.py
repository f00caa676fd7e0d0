"""Impedance, reflection coefficient and SWR: what each says in terms of the others.

With a reference z0:  gamma = (z - z0)/(z + z0)    z = z0 (1 + gamma)/(1 - gamma)    SWR = (1 + |gamma|)/(1 - |gamma|)
(Pozar, Microwave Engineering, sect. 2.3, from memory).
"""

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex, Real


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
