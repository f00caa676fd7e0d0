"""A counterpoise: a wire on the other side of the feed."""

import math
from dataclasses import dataclass, field

from tautwire.model.errors import InputError
from tautwire.model.wires.choke import Choke
from tautwire.model.wires.layout import Point
from tautwire.model.wires.return_route import DROP_OFFSET, check_length, check_reach, drop_and_run, end_of_run
from tautwire.model.wires.structure import Conductor
from tautwire.model.wires.wire import WireType


@dataclass(frozen=True)
class Counterpoise:
    """A wire of `length` (m) from the feed towards `bearing` (rad; None is opposite to the wire).

    height: it slants down (or up) to that height (m) at 45 degrees and runs level; end_height: it slopes straight to
    an end at that height; neither: it runs level at the feed's height. A steep drop beside the coax's would make a
    joint of three limbs that the engine gets wrong by up to 10 % of the power; 45 degrees leave up to 4 %.
    """

    length: float
    bearing: float | None = None
    height: float | None = None
    end_height: float | None = None
    wire: WireType = field(default_factory=WireType)
    chokes: tuple[Choke, ...] = ()

    def __post_init__(self) -> None:
        check_length("counterpoise", self.length, self.height, self.chokes)
        check_length("counterpoise", self.length, self.end_height, ())
        if self.height is not None and self.end_height is not None:
            raise InputError("counterpoise.end_height", f"{self.end_height} m", "height or end_height, not both")

    def conductor(self, feed: Point, wire_bearing: float) -> Conductor:
        """Its route from feed (m) for a wire towards wire_bearing (rad). Raises InputError if it cannot reach."""
        bearing = wire_bearing + math.pi if self.bearing is None else self.bearing
        if self.height is not None:
            lean = max(DROP_OFFSET, abs(self.height - feed[2]))
            check_reach("counterpoise", feed, self.height, self.length)
            return Conductor(drop_and_run(feed, bearing, self.height, self.length, lean), self.wire, "counterpoise")
        end = feed[2] if self.end_height is None else self.end_height
        fall = end - feed[2]
        if abs(fall) > self.length:
            allowed = f"within {self.length:.6g} m of the feed's height of {feed[2]:.6g} m"
            raise InputError("counterpoise.end_height", f"{end:.6g} m", allowed)
        run = math.sqrt(self.length**2 - fall**2)
        return Conductor((feed, end_of_run(feed, bearing, run, end)), self.wire, "counterpoise")
