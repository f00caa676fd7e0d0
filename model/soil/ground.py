"""What lies under the antenna: named soils, any soil constants, free space, a perfect conductor."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.constants import EPS0
from tautwire.model.errors import InputError, did_you_mean

P527 = "ITU-R P.527-3 (1992), figure 1, low-frequency values, from memory"
HANDBOOK = "common handbook soil classes, from memory"


@dataclass(frozen=True)
class Ground:
    """A flat homogeneous half space z < 0.

    er: relative permittivity (1 or more). sigma: conductivity, S/m (0 or more; inf is a perfect conductor).
    Raises InputError outside those ranges.
    """

    er: float
    sigma: float
    name: str = "custom soil"
    source: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.er) and 1 <= self.er <= 100):
            raise InputError("soil.er", self.er, "relative permittivity from 1 to 100")
        if not self.sigma >= 0:
            raise InputError("soil.sigma", self.sigma, "conductivity of 0 S/m or more")
        if self.er == 1 and 0 < self.sigma < math.inf:
            raise InputError("soil.er", self.er, "above 1 for a conducting soil")

    @property
    def is_free_space(self) -> bool:
        return self.er == 1 and self.sigma == 0

    @property
    def is_perfect(self) -> bool:
        return math.isinf(self.sigma)

    def n2(self, f_hz: ArrayLike) -> Complex:
        """Complex relative permittivity er - j sigma/(w eps0) at f_hz (Hz, any shape); ITU-R P.527 eq. (1)."""
        f = np.asarray(f_hz, dtype=float)
        return self.er - 1j * self.sigma / (2 * np.pi * f * EPS0)


FREE_SPACE = Ground(1.0, 0.0, "free space")
PERFECT = Ground(1.0, math.inf, "perfect ground")

GROUNDS: dict[str, Ground] = {
    g.name: g
    for g in (
        FREE_SPACE,
        PERFECT,
        Ground(70, 5.0, "sea water", P527),
        Ground(80, 3e-3, "fresh water", P527),
        Ground(30, 1e-2, "wet ground", P527),
        Ground(15, 1e-3, "medium dry ground", P527),
        Ground(3, 1e-4, "very dry ground", P527),
        Ground(20, 30.3e-3, "very good soil", HANDBOOK),
        Ground(13, 5e-3, "average soil", HANDBOOK),
        Ground(13, 2e-3, "poor soil", HANDBOOK),
        Ground(5, 1e-3, "very poor soil", HANDBOOK),
        Ground(10, 2e-3, "sandy soil", HANDBOOK),
    )
}


def ground_named(name: str) -> Ground:
    """The ground of that name (any case). Raises InputError with the nearest names."""
    key = " ".join(name.lower().replace("_", " ").replace("-", " ").split())
    if key in GROUNDS:
        return GROUNDS[key]
    raise InputError("soil", repr(name), f"one of {', '.join(GROUNDS)}{did_you_mean(key, GROUNDS)}")
