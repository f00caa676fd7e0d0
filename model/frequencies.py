"""Frequencies checked, and as wave numbers."""

from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Real
from tautwire.model.constants import C0
from tautwire.model.errors import InputError


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
