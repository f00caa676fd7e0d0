"""How many half-waves of current stand on the wire: what tells one dip of an end-fed wire from another."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.constants import C0

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solution

LEAST, MOST, STEPS = 0.6, 1.8, 961  # wave number tried, over that of free space: a jacket slows the wave


def half_waves(solution: Solution) -> float:
    """Half-waves of current between the feed and the open end of the wire, a real number; round it for the mode.

    The current of a wire with an open end is nearly sin(b (L - s)), s metres from the feed (any text on wire antennas).
    The b that takes up most of the solved current, weighted by segment length, gives b L/pi. Where much of the power
    is radiated on the way to the end (wires of many waves) the sine fits less well, and the figure is rougher.

    >>> from tautwire.model.soil.ground import ground_named
    >>> from tautwire.model.solve.solver import Solver
    >>> from tautwire.model.wires.layout import sloper
    >>> from tautwire.model.wires.coax_shield import CoaxShield
    >>> from tautwire.model.wires.structure import structure
    >>> from tautwire.model.wires.wire import WireType
    >>> wires = structure(sloper(length=20, slope=0.4), WireType(1e-3), [CoaxShield(5.0)], over_soil=False)
    >>> round(half_waves(Solver(wires, ground_named("free space")).solve(14.2e6)), 1)
    1.9
    """
    mesh = solution.mesh
    wire = np.flatnonzero(mesh.conductor == 0)
    size, current = mesh.length[wire], solution.current[wire]
    end = float(size.sum())
    left = end - mesh.along[wire]
    k = 2 * math.pi * solution.f_hz / C0
    b = k * np.linspace(LEAST, MOST, STEPS)
    wave = np.sin(b[:, None] * left)
    taken = np.abs(wave @ (size * current)) ** 2 / (wave**2 @ size)
    return float(b[int(taken.argmax())]) * end / math.pi
