"""How the outside of the coax becomes a wire on the other side of the feed."""

import math
from dataclasses import dataclass

from tautwire.model.wires.choke import Choke
from tautwire.model.wires.layout import Point
from tautwire.model.wires.return_route import check_length, check_reach, drop_and_run
from tautwire.model.wires.structure import Conductor
from tautwire.model.wires.wire import WireType

RG58_OUTSIDE = WireType(diameter=3.55e-3, jacket=0.7e-3, jacket_er=3.5)
"""The shield of RG-58 and its PVC jacket: typical catalogue values, from memory."""


@dataclass(frozen=True)
class CoaxShield:
    """The outside of the coax: `length` (m) from the transformer down to `height` (m) and along `bearing`.

    bearing: rad; None is a quarter turn clockwise from the wire, which leaves a counterpoise its own side.
    wire: shield diameter as its conductor, and the jacket. A coax shorter than the drop just hangs.
    """

    length: float
    bearing: float | None = None
    height: float = 0.02
    wire: WireType = RG58_OUTSIDE
    chokes: tuple[Choke, ...] = ()

    def __post_init__(self) -> None:
        check_length("coax", self.length, self.height, self.chokes)

    def conductor(self, feed: Point, wire_bearing: float) -> Conductor:
        """Its route from feed (m) for a wire towards wire_bearing (rad)."""
        bearing = wire_bearing + math.pi / 2 if self.bearing is None else self.bearing
        check_reach("coax", feed, self.height, self.length)
        return Conductor(drop_and_run(feed, bearing, self.height, self.length), self.wire, "coax")
