"""The way a counterpoise or a coax takes from the feed: down or up to its height, then level."""

import math

from tautwire.model.errors import InputError
from tautwire.model.wires.choke import Choke
from tautwire.model.wires.layout import Point
from tautwire.model.wires.leg_equations import LOWEST

DROP_OFFSET = 0.2  # m, how far out the coax's drop from the feed reaches its run
SHORT_RUN = 0.05  # m, a run shorter than this is taken up by leaning the drop


def check_length(name: str, length: float, height: float | None, chokes: tuple[Choke, ...]) -> None:
    """Raises InputError, named after the study file's table, for a length or height (m) or a choke that cannot be."""
    if not 0.05 <= length <= 1000:
        raise InputError(f"{name}.length", f"{length} m", "from 0.05 to 1000 m")
    if height is not None and not LOWEST <= height <= 500:
        raise InputError(f"{name}.height", f"{height} m", f"from {LOWEST} to 500 m above soil")
    for choke in chokes:
        if choke.position > length:
            raise InputError(f"{name}.choke.position", f"{choke.position} m", f"at most its length of {length} m")


def check_reach(name: str, feed: Point, height: float, length: float) -> None:
    """Raises InputError for a height (m) that a conductor of that length (m) cannot rise to."""
    if height - feed[2] > length:
        allowed = f"at most {feed[2] + length:.6g} m, {length:.6g} m above the feed"
        raise InputError(f"{name}.height", f"{height:.6g} m", allowed)


def end_of_run(feed: Point, bearing: float, run: float, height: float) -> Point:
    """The point `run` metres out from the feed towards `bearing` (rad) at `height` (m)."""
    return feed[0] + run * math.sin(bearing), feed[1] + run * math.cos(bearing), height


def drop_and_run(
    feed: Point, bearing: float, height: float, length: float, lean: float = DROP_OFFSET
) -> tuple[Point, ...]:
    """Slant to a corner `lean` out at height, then level; a single slant when nothing is left to run."""
    fall = height - feed[2]
    drop = math.hypot(fall, lean)
    if length >= drop + SHORT_RUN:
        corner = end_of_run(feed, bearing, lean, height)
        return feed, corner, end_of_run(feed, bearing, lean + length - drop, height)
    if length > drop:
        return feed, end_of_run(feed, bearing, math.sqrt(length**2 - fall**2), height)
    part = length / drop
    return feed, end_of_run(feed, bearing, lean * part, feed[2] + fall * part)
