"""Wires that several tests solve: straight dipoles, and a portable end-fed wire with a coax that lies on the ground."""

import math

import numpy as np

from tautwire.model.basics import C0
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.solver import Remember, Solver, compute_always
from tautwire.model.wires.attachments import CoaxShield, Counterpoise
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.structure import Conductor, Structure, WireType, structure

F = 14e6
WAVE = C0 / F
LEVEL, UPRIGHT = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def dipole(length, radius, height=10.0, way=LEVEL, nearby=(), conductivity=math.inf):
    """Fed in its middle, at (0, 0, height); lengths in m."""
    wire = WireType(2 * radius, conductivity=conductivity)
    half = np.array(way) * length / 2
    middle = np.array([0.0, 0.0, height])
    arms = [tuple(float(x) for x in middle + s * half) for s in (1, -1)]
    feed = tuple(float(x) for x in middle)
    pair = (Conductor((feed, arms[0]), wire, "wire"), Conductor((feed, arms[1]), wire, "counterpoise"))
    return Structure((*pair, *nearby))


def element(length, radius, middle, way=LEVEL):
    """A lossless straight wire standing near, by its middle (m)."""
    half, middle = np.array(way) * length / 2, np.array(middle, dtype=float)
    ends = [tuple(float(x) for x in middle + s * half) for s in (-1, 1)]
    return Conductor((ends[0], ends[1]), WireType(2 * radius, conductivity=math.inf), "nearby")


def even(length, count):
    """Rules that cut a dipole of that length into `count` equal segments."""
    return MeshRules(
        feed_segment=length / count, max_segment=length / count * 1.0001, segments_per_wavelength=8, min_segments=1
    )


def portable(coax_height=0.02, counterpoise=2.0, coax=5.0, slope=30.0, length=20.1, bare=False, thick=3.6e-3):
    """An end-fed sloper from a feed at 1.2 m, with a counterpoise at 10 cm and a coax shield along the ground.

    bare: no jackets and no loss. thick: diameter of the shield, m.
    """
    loss = {"conductivity": math.inf} if bare else {}
    shield = WireType(thick, jacket=0 if bare else 6.75e-4, jacket_er=3.0, **loss)
    returns = [Counterpoise(counterpoise, height=0.1, wire=WireType(**loss))] if counterpoise else []
    if coax:
        returns.append(CoaxShield(coax, height=coax_height, wire=shield))
    layout = sloper(length=length, slope=math.radians(slope), feed_height=1.2)
    return structure(layout, WireType(8e-4, jacket=0 if bare else 4e-4, **loss), returns)


def impedance(
    wires: Structure, ground: Ground, rules: MeshRules | None = None, f=F, remember: Remember = compute_always
):
    return Solver(wires, ground, rules or MeshRules(), remember).impedance(f)
