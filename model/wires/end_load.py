"""Something at the wire's open end that is no wire: leaves that touch it, say, as a small capacitance with loss."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.constants import C0
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import Point
from tautwire.model.wires.structure import MIN_LEG, Load, Structure

MOST = 20e-12  # F; more is no small thing at the end any more


@dataclass(frozen=True)
class Resistance:
    """A resistor. ohms: ohm."""

    ohms: float

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        return np.full(np.shape(f_hz), complex(self.ohms))


def with_end(wires: Structure, capacitance: float, resistance: float = 0.0) -> Structure:
    """The wires with a capacitance (F) and a resistance (ohm) in series with it from the wire's open end to ground.

    They become as much more wire as has that capacitance, straight on, behind a resistor. Metre by metre a thin wire
    of length L and radius a has 1/(c Z), Z = 60 (ln(2 L/a) - 1) ohm, the mean characteristic impedance of a wire
    (Schelkunoff 1941, from memory). A capacitance too small to be 2 cm of wire changes nothing.

    Raises InputError for values below 0 or above 20 pF.
    """
    if not 0 <= capacitance <= MOST:
        raise InputError("antenna.end_capacitance", f"{capacitance * 1e12:g} pF", f"from 0 to {MOST * 1e12:g} pF")
    if not 0 <= resistance < math.inf:
        raise InputError("antenna.end_resistance", f"{resistance:g} ohm", "0 ohm or more")
    wire, *rest = wires.conductors
    impedance = 60 * (math.log(2 * wire.length / wire.wire.radius) - 1)
    more = capacitance * C0 * impedance
    if more < max(MIN_LEG, 4 * wire.wire.radius):
        return wires
    before, end = np.array(wire.points[-2]), np.array(wire.points[-1])
    beyond = end + more * (end - before) / np.linalg.norm(end - before)
    tip: Point = (float(beyond[0]), float(beyond[1]), float(beyond[2]))
    longer = replace(wire, points=(*wire.points, tip))
    loss = Load(0, wire.length + more / 100, Resistance(resistance))
    return replace(wires, conductors=(longer, *rest), loads=(*wires.loads, *([loss] if resistance else [])))
