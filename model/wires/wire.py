"""The wire itself: conductor, jacket, and what they add to each metre of a bare perfect wire."""

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.constants import MU0
from tautwire.model.errors import InputError

WATER_ER = 80.0
COPPER = 5.8e7  # S/m, IACS annealed copper


def awg_diameter(gauge: float) -> float:
    """Conductor diameter in metres of an American wire gauge number (0 to 40); ASTM B258."""
    if not 0 <= gauge <= 40:
        raise InputError("wire.awg", gauge, "a gauge number from 0 to 40")
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


@dataclass(frozen=True)
class WireType:
    """A round wire. diameter: conductor, m. jacket: thickness of the insulation, m (0 = bare).

    jacket_er: relative permittivity of the jacket. conductivity: S/m (inf = no loss). jacket_loss: loss tangent of the
    jacket (polyethylene 0.0002, PVC 0.02 to 0.06 at HF, from memory).

    Examples
    --------
    Half a millimetre of copper at 14 MHz, ohm per metre:

    >>> round(float(WireType(diameter=0.5e-3).impedance_per_metre(14e6).real), 2)
    0.64
    """

    diameter: float = 1e-3
    jacket: float = 0.0
    jacket_er: float = 2.3
    conductivity: float = COPPER
    jacket_loss: float = 0.0

    def __post_init__(self) -> None:
        if not 1e-5 <= self.diameter <= 0.1:
            raise InputError("wire.diameter", f"{self.diameter} m", "from 0.01 mm to 100 mm")
        if not 0 <= self.jacket <= 0.05:
            raise InputError("wire.jacket", f"{self.jacket} m", "a thickness from 0 to 50 mm")
        if not 1 <= self.jacket_er <= 100:
            raise InputError("wire.jacket_er", self.jacket_er, "relative permittivity from 1 to 100")
        if not self.conductivity > 0:
            raise InputError("wire.conductivity", self.conductivity, "above 0 S/m")
        if not 0 <= self.jacket_loss <= 1:
            raise InputError("wire.jacket_loss", self.jacket_loss, "a loss tangent from 0 to 1")

    @property
    def radius(self) -> float:
        return self.diameter / 2

    @property
    def jacket_permittivity(self) -> complex:
        """Complex relative permittivity of the jacket."""
        return self.jacket_er * (1 - 1j * self.jacket_loss)

    @property
    def jacket_log(self) -> complex:
        """(1 - 1/er) ln(b/a), b the outer radius of the jacket: what it takes off 2 pi eps0/C of the bare wire."""
        return (1 - 1 / self.jacket_permittivity) * math.log(1 + self.jacket / self.radius)

    def impedance_per_metre(self, f_hz: ArrayLike) -> Complex:
        """Series impedance, ohm/m, that skin effect adds to a perfect wire; f_hz in Hz.

        Z = g/(2 pi a sigma) I0(g a)/I1(g a), g = sqrt(j w mu0 sigma) (Stratton 1941, sect. 9.17, from memory).
        """
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        a = self.radius
        if not math.isfinite(self.conductivity):
            return np.zeros(w.shape, dtype=complex)
        g = np.sqrt(1j * w * MU0 * self.conductivity)
        z: Complex = (
            g / (2 * math.pi * a * self.conductivity) * scipy.special.ive(0, g * a) / scipy.special.ive(1, g * a)
        )
        return z


def wet_wire(wire: WireType, film: float) -> WireType:
    """The wire in a film of water (m) round its jacket: a thicker jacket with the same (1 - 1/er) ln(b/a) in all.

    >>> wet = wet_wire(WireType(0.8e-3, 0.3e-3), 20e-6)
    >>> round(wet.jacket * 1e3, 2), round(wet.jacket_er, 2)
    (0.32, 2.41)
    """
    if film <= 0:
        return wire
    outer = wire.radius + wire.jacket
    more = (1 - 1 / WATER_ER) * math.log1p(film / outer)
    inside = (1 - 1 / wire.jacket_er) * math.log(outer / wire.radius) + more
    share = inside / math.log((outer + film) / wire.radius)
    return replace(wire, jacket=wire.jacket + film, jacket_er=1 / (1 - share))
