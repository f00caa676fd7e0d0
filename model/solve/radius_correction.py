"""Conductors of different radius that meet, without a step of radius in the engine; and jackets.

At a step of radius the engine's junction rule is wrong: with a thin wire on a thick coax its radiated and delivered
power differ by several per cent, worse with frequency. So every joined conductor goes into the engine with the
radiating wire's radius r. What a conductor of radius a adds is local, as the kernels of radius a and r differ only
within a few radii: to the inductance and the inverse capacitance of each metre,

    dL = mu0/(2 pi) ln(r/a),        d(1/C) = 1/(2 pi eps0) ln(r/a)

(the difference of two thin-wire kernels integrated along the wire; e.g. King, Theory of Linear Antennas, 1956, ch. II,
from memory).
"""

import math

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import EPS0, MU0
from tautwire.model.frequencies import wave_number
from tautwire.model.solve.contact import charge_cells
from tautwire.model.solve.engine import Leg
from tautwire.model.wires.mesh import Mesh
from tautwire.model.wires.segments import Segments
from tautwire.model.wires.structure import Structure


def engine_legs(mesh: Mesh, structure: Structure) -> tuple[Leg, ...]:
    """The mesh's legs with one radius for all joined conductors; conductors standing apart keep theirs."""
    first = np.searchsorted(mesh.leg, np.arange(len(mesh.legs)))
    return tuple(
        (start, end, n, structure.engine_radius(int(mesh.conductor[i])))
        for i, (start, end, n, _) in zip(first, mesh.legs, strict=True)
    )


def radius_logs(structure: Structure) -> Real:
    """ln(r/a) of each conductor, r the radius with which the engine takes it."""
    thin = structure.conductors[0].wire.radius
    return np.array([0.0 if c.role == "nearby" else math.log(thin / c.wire.radius) for c in structure.conductors])


class RadiusTerm:
    """What the true radii and the jackets add to the engine's matrix:

        Z(f) = j w inductance + (elastance + f^2 bend)/(j w)

    inductance (N,), H; elastance (N, N), 1/F, symmetric: from the energy of the charges in the cells between segment
    centres, q = -(dI/ds)/(j w), with the current at junctions and free ends as in `Segments`. Over a cell of length d
    the mean slope of a sine is its middle one times 1 - (k d)^2/24: bend, 1/(F Hz^2), puts the energy right.

    A jacket from a to b changes the field of the charge alone: d(1/C) = -(1 - 1/er) ln(b/a)/(2 pi eps0), with loss if
    er has (Richmond and Newman, Dielectric coated wire antennas, Radio Science 11, 1976, from memory). Where the
    current is a sine of the wave number of air that is, to first order, the usual series inductance
    mu0/(2 pi) (1 - 1/er) ln(b/a). Towards free ends charge crowds, and near soil the wave is slower: there the
    inductance is too little, by 20 kHz of a 40 m dip in an 0.3 mm jacket.
    """

    def __init__(self, mesh: Mesh, segments: Segments, structure: Structure) -> None:
        logs = radius_logs(structure)
        self.inductance: Real = MU0 / (2 * math.pi) * logs[mesh.conductor] * mesh.length
        self.elastance: Complex = np.zeros((len(mesh.length),) * 2, dtype=complex)
        self.bend: Complex = np.zeros_like(self.elastance)
        for number, conductor in enumerate(structure.conductors):
            if share := logs[number] - conductor.wire.jacket_log:
                change, cells, _ = charge_cells(mesh, segments, number)
                self.elastance += share / (2 * math.pi * EPS0) * (change.T / cells) @ change
                self.bend += share / (2 * math.pi * EPS0) * wave_number(1.0) ** 2 / 12 * (change.T * cells) @ change

    def at(self, f_hz: float) -> Complex:
        """Z (N, N), ohm."""
        w = 2 * math.pi * f_hz
        return np.diag(1j * w * self.inductance) + (self.elastance + f_hz**2 * self.bend) / (1j * w)

    def slope(self, f_hz: float) -> Complex:
        """dZ/df (N, N), ohm/Hz."""
        w = 2 * math.pi * f_hz
        return np.diag(2j * math.pi * self.inductance) + (f_hz**2 * self.bend - self.elastance) / (1j * w * f_hz)
