"""Capacitance at a transformer's high-impedance terminal, from its winding, post and lead.

A wire's end is some 3 kohm and steep, so that each pF there moves every dip down by 0.85 %, as 17 cm of wire do.
Nothing else about a transformer matters as much, and no data sheet gives it: fit it to a sweep (`tautwire fit`), or
take the estimate made here.
"""

import math
from dataclasses import dataclass

from tautwire.model.constants import EPS0
from tautwire.model.errors import InputError
from tautwire.model.feed.ferrite import Toroid

NICKEL_ZINC_ER = 12.0  # relative permittivity of nickel-zinc ferrite at HF (catalogue values 10 to 15, from memory)


def rod_capacitance(length: float, diameter: float) -> float:
    """Capacitance (F) of a straight thin rod in free space to far away. length, diameter: m, above 0.

    C = 2 pi eps0 l / (ln(l/a) - 0.307), a the radius: Maxwell's charge along a thin wire (from memory; within 3 % for
    l above 10 a). Raises InputError for a rod that is no longer than it is thick.

    >>> round(rod_capacitance(0.03, 4e-3) * 1e12, 2)
    0.7
    """
    if not 0 < diameter < length:
        raise InputError("rod.length", f"{length} m", f"above its diameter of {diameter} m")
    return 2 * math.pi * EPS0 * length / (math.log(2 * length / diameter) - 0.307)


def winding_capacitance(shape: Toroid, er: float = NICKEL_ZINC_ER) -> tuple[float, float]:
    """Least and greatest capacitance (F) of a one-layer winding all round a ring, one end earthed.

    The ring is stretched into a straight coil as long as its mean circumference, with the ring's girth as
    circumference, whose capacitance is Medhurst's (1947) as a fit, from memory: C/pF = 0.1126 l + 0.08 D +
    0.27 sqrt(D^3/l), l and D in cm. Least: as in air. Greatest: half of the field in the core, times (1 + er)/2.

    >>> from tautwire.model.feed.ferrite import TOROIDS
    >>> low, high = winding_capacitance(TOROIDS["36 mm"])
    >>> round(low * 1e12, 1), round(high * 1e12, 1)
    (1.3, 8.1)
    """
    length = math.pi * (shape.outer + shape.inner) / 2 * 100
    diameter = 2 * (shape.height * shape.stack + (shape.outer - shape.inner) / 2) / math.pi * 100
    air = 1e-12 * (0.1126 * length + 0.08 * diameter + 0.27 * math.sqrt(diameter**3 / length))
    return air, air * (1 + er) / 2


@dataclass(frozen=True)
class Box:
    """What stands between the winding's hot end and the wire. lengths and diameters, m: the terminal's post and the
    lead to it."""

    post: float = 25e-3
    post_diameter: float = 4e-3
    lead: float = 30e-3
    lead_diameter: float = 1e-3


def terminal_capacitance(shape: Toroid, box: Box = Box(), er: float = NICKEL_ZINC_ER) -> tuple[float, float, float]:
    """Least, likely and greatest capacitance (F) at the high-impedance terminal.

    Post and lead as rods, plus the winding's; likely: the geometric mean of its least and greatest.

    >>> from tautwire.model.feed.ferrite import TOROIDS
    >>> [round(c * 1e12, 1) for c in terminal_capacitance(TOROIDS["36 mm"])]
    [2.3, 4.3, 9.2]
    """
    rods = rod_capacitance(box.post, box.post_diameter) + rod_capacitance(box.lead, box.lead_diameter)
    low, high = winding_capacitance(shape, er)
    return rods + low, rods + math.sqrt(low * high), rods + high
