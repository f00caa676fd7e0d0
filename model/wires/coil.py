"""A coil in the wire: a loading coil, a compensation coil near the feed, or with more capacitance a trap."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.errors import InputError
from tautwire.model.wires.structure import Load, Structure

MOST_H, MOST_F = 10e-3, 1e-9  # H and F; more is no coil in an antenna wire
ROOM = 0.05  # m of wire that are left on either side


@dataclass(frozen=True)
class Coil:
    """inductance: H. q: reactance over series resistance, the same at every frequency. capacitance: across it, F: its
    own, or with what was put in parallel for a trap.

    >>> Coil(110e-6, 200, 2e-12).resonance / 1e6
    10.7302...
    """

    inductance: float
    q: float = 200.0
    capacitance: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.inductance <= MOST_H:
            raise InputError("coil.inductance", f"{self.inductance * 1e6:g} uH", f"above 0, up to {MOST_H * 1e6:g} uH")
        if not 1 <= self.q <= 2000:
            raise InputError("coil.q", f"{self.q:g}", "from 1 to 2000")
        if not 0 <= self.capacitance <= MOST_F:
            raise InputError("coil.capacitance", f"{self.capacitance * 1e12:g} pF", f"0 to {MOST_F * 1e12:g} pF")

    @property
    def resonance(self) -> float:
        """Hz, where it blocks: its inductance with its capacitance; infinite without."""
        lc = self.inductance * self.capacitance
        return 1 / (2 * math.pi * math.sqrt(lc)) if lc else math.inf

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape: (1/q + j) w L, with the capacitance across it."""
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        z: Complex = (1 / self.q + 1j) * w * self.inductance
        return z / (1 + 1j * w * self.capacitance * z)


def with_coil(wires: Structure, at: float, coil: Coil) -> Structure:
    """The wires with a coil `at` metres along the radiating wire. Raises InputError within 5 cm of an end."""
    length = wires.conductors[0].length
    if not ROOM <= at <= length - ROOM:
        raise InputError(
            "coil.at", f"{at:.6g} m", f"from {ROOM} to {length - ROOM:.6g} m along the {length:.6g} m wire"
        )
    return replace(wires, loads=(*wires.loads, Load(0, at, coil)))
