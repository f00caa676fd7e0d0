"""One check for every function that takes frequencies."""

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError


def as_frequencies(f_hz: ArrayLike) -> Real:
    """f_hz as a float array, Hz, same shape. Raises InputError unless every value is finite and above 0."""
    f = np.asarray(f_hz, dtype=float)
    bad = ~(np.isfinite(f) & (f > 0))
    if bad.any():
        raise InputError("frequency", f"{f[bad].flat[0]} Hz", "finite and above 0 Hz")
    return f
