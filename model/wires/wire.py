"""The wire itself: conductor, jacket, and what they add to each metre of a bare perfect wire."""

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.constants import MU0
from tautwire.model.errors import InputError

COPPER = 5.8e7  # S/m, IACS annealed copper


def awg_diameter(gauge: float) -> float:
    """Conductor diameter in metres of an American wire gauge number (0 to 40); ASTM B258."""
    if not 0 <= gauge <= 40:
        raise InputError("wire.awg", gauge, "a gauge number from 0 to 40")
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


@dataclass(frozen=True)
class WireType:
    """A round wire. diameter: conductor, m. jacket: thickness of the insulation, m (0 = bare).

    jacket_er: relative permittivity of the jacket. conductivity: S/m (inf = no loss).
    """

    diameter: float = 1e-3
    jacket: float = 0.0
    jacket_er: float = 2.3
    conductivity: float = COPPER

    def __post_init__(self) -> None:
        if not 1e-5 <= self.diameter <= 0.1:
            raise InputError("wire.diameter", f"{self.diameter} m", "from 0.01 mm to 100 mm")
        if not 0 <= self.jacket <= 0.05:
            raise InputError("wire.jacket", f"{self.jacket} m", "a thickness from 0 to 50 mm")
        if not 1 <= self.jacket_er <= 100:
            raise InputError("wire.jacket_er", self.jacket_er, "relative permittivity from 1 to 100")
        if not self.conductivity > 0:
            raise InputError("wire.conductivity", self.conductivity, "above 0 S/m")

    @property
    def radius(self) -> float:
        return self.diameter / 2

    def impedance_per_metre(self, f_hz: ArrayLike) -> Complex:
        """Series impedance, ohm/m, that skin effect and jacket add to a bare perfect wire; f_hz in Hz.

        Skin effect: Z = g/(2 pi a sigma) I0(g a)/I1(g a), g = sqrt(j w mu0 sigma) (Stratton 1941,
        sect. 9.17, from memory). Jacket: L' = mu0/(2 pi) (1 - 1/er) ln(b/a), b = a + jacket.
        """
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        a = self.radius
        inductance = MU0 / (2 * math.pi) * (1 - 1 / self.jacket_er) * math.log(1 + self.jacket / a)
        z = 1j * w * inductance
        if math.isfinite(self.conductivity):
            g = np.sqrt(1j * w * MU0 * self.conductivity)
            z = z + g / (2 * math.pi * a * self.conductivity) * scipy.special.ive(0, g * a) / scipy.special.ive(
                1, g * a
            )
        return z
