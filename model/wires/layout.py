"""How the wire hangs: named layouts that turn a few lengths, heights and slopes into points in space.

Heights, lengths and slopes over-determine each other: give any consistent subset and the rest follows. Heights are
above the soil surface; slopes are from the horizontal. Too many values are accepted when they agree to 1 cm in height
or 0.2 degrees in slope; the far end then follows from length, slope and starting height. A feed height that is neither
given nor implied is 1 m. To add a layout, write one function and add it to LAYOUTS.
"""

import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass

from tautwire.model.errors import InputError, did_you_mean
from tautwire.model.wires.leg_equations import FEED_HEIGHT, HEIGHT_TOLERANCE, complete, degrees, given, needed

Point = tuple[float, float, float]


@dataclass(frozen=True)
class Layout:
    """A wire as drawn. points: corners in metres (east, north, up), the first is the feed at (0, 0, feed height).

    bearing: of the first leg, rad clockwise from north.
    """

    kind: str
    points: tuple[Point, ...]
    bearing: float = 0.0

    @property
    def legs(self) -> tuple[float, ...]:
        """Length of each straight leg, m."""
        return tuple(math.dist(p, q) for p, q in zip(self.points, self.points[1:], strict=False))

    @property
    def length(self) -> float:
        return sum(self.legs)

    @property
    def slopes(self) -> tuple[float, ...]:
        """Slope of each leg away from the feed, rad, positive when it rises."""
        pairs = zip(self.points, self.points[1:], strict=False)
        return tuple(math.atan2(q[2] - p[2], math.hypot(q[0] - p[0], q[1] - p[1])) for p, q in pairs)

    @property
    def feed_height(self) -> float:
        return self.points[0][2]

    @property
    def apex_height(self) -> float:
        """Height of the highest point, m."""
        return max(p[2] for p in self.points)

    @property
    def end_height(self) -> float:
        return self.points[-1][2]


def sloper(
    length: float | None = None,
    slope: float | None = None,
    feed_height: float | None = None,
    end_height: float | None = None,
    apex_height: float | None = None,
    bearing: float = 0.0,
) -> Layout:
    """A straight wire; slope is positive when it rises from the feed. apex_height (m) is the height of its higher end.

    Give two of length (m), slope (rad) and a height; end_height - feed_height = length sin(slope).
    Raises InputError when values are missing, contradict each other, or put the wire in the ground.
    """
    v = given(length=length, slope=slope, feed_height=feed_height, end_height=end_height, apex_height=apex_height)
    top = v.pop("apex_height", None)
    if top is not None:
        falls = v["slope"] < 0 if "slope" in v else v.get("end_height", top) < top - HEIGHT_TOLERANCE
        end = "feed_height" if falls else "end_height"
        if abs(v.setdefault(end, top) - top) > HEIGHT_TOLERANCE:
            raise InputError("layout.apex_height", f"{top:.6g} m", f"the same as {end}, {v[end]:.6g} m, or left out")
    leg = ("feed_height", "length", "slope", "end_height")
    complete(v, {leg: 1})
    return _layout("sloper", v["feed_height"], [(v["length"], v["slope"], bearing)])


def inverted_v(
    length: float | None = None,
    apex_height: float | None = None,
    apex_at: float | None = None,
    slope_up: float | None = None,
    slope_down: float | None = None,
    feed_height: float | None = None,
    end_height: float | None = None,
    bearing: float = 0.0,
    turn: float = 0.0,
) -> Layout:
    """A wire over a branch: up to the apex, then down. apex_at: metres of wire from feed to apex.

    Slopes are positive angles (rad) of each leg below the apex; turn (rad, clockwise) is the change of bearing there.
    An apex_at that is neither given nor implied is half the length; feed height is settled first.
    Raises InputError when values are missing, contradict each other, or put the wire in the ground.
    """
    v = given(
        length=length,
        apex_height=apex_height,
        apex_at=apex_at,
        slope_up=slope_up,
        slope_down=slope_down,
        feed_height=feed_height,
        end_height=end_height,
    )
    for name in ("slope_up", "slope_down"):
        if v.get(name, 0.0) < 0:
            raise InputError(f"layout.{name}", degrees(v[name]), "0 to 90 degrees, measured down from the apex")
    up = ("feed_height", "apex_at", "slope_up", "apex_height")
    down = ("apex_height", "length after the apex", "slope_down", "end_height")
    complete(v, {up: 1, down: -1}, ("apex_at", "length after the apex", "length"))
    legs = [(v["apex_at"], v["slope_up"], bearing), (v[down[1]], -v["slope_down"], bearing + turn)]
    return _layout("inverted_v", v["feed_height"], legs)


def horizontal(length: float | None = None, height: float | None = None, bearing: float = 0.0) -> Layout:
    """A level wire of that length at that height (m). Raises InputError when one is missing or out of range."""
    v = needed("horizontal", length=length, height=height)
    return _layout("horizontal", v["height"], [(v["length"], 0.0, bearing)])


def vertical(length: float | None = None, feed_height: float | None = None) -> Layout:
    """A wire straight up from the feed (m). Raises InputError when length is missing or out of range."""
    v = needed("vertical", length=length, feed_height=FEED_HEIGHT if feed_height is None else feed_height)
    return _layout("vertical", v["feed_height"], [(v["length"], math.pi / 2, 0.0)])


def inverted_l(
    length: float | None = None,
    height: float | None = None,
    feed_height: float | None = None,
    bearing: float = 0.0,
) -> Layout:
    """A wire straight up from the feed to height (m), the rest of its length level along bearing (rad).

    Raises InputError when a value is missing, or nothing is left for the level part.
    """
    feed = FEED_HEIGHT if feed_height is None else feed_height
    v = needed("inverted_l", length=length, height=height, feed_height=feed)
    rise = v["height"] - v["feed_height"]
    if not 0 < rise < v["length"]:
        allowed = f"between the feed at {v['feed_height']:.6g} m and {v['length']:.6g} m of wire above it"
        raise InputError("layout.height", f"{v['height']:.6g} m", allowed)
    legs = [(rise, math.pi / 2, bearing), (v["length"] - rise, 0.0, bearing)]
    return _layout("inverted_l", v["feed_height"], legs)


LAYOUTS: dict[str, Callable[..., Layout]] = {
    "sloper": sloper,
    "inverted_v": inverted_v,
    "horizontal": horizontal,
    "vertical": vertical,
    "inverted_l": inverted_l,
}


def build_layout(kind: str, **params: float | None) -> Layout:
    """The layout of that name from its parameters (m, rad); None counts as not given.

    Raises InputError for an unknown layout or parameter, naming the nearest one, and what the layout itself refuses.
    """
    key = str(kind).strip().lower().replace(" ", "_").replace("-", "_")
    if key not in LAYOUTS:
        raise InputError("layout.kind", repr(kind), _choices(key, LAYOUTS))
    names = inspect.signature(LAYOUTS[key]).parameters
    for name, value in params.items():
        if name not in names:
            raise InputError(f"layout.{name}", value, f"not a parameter of {key}: {_choices(name, names)}")
    return LAYOUTS[key](**{k: x for k, x in params.items() if x is not None})


def _choices(word: str, names: object) -> str:
    known = list(names)  # type: ignore[call-overload]
    return f"one of {', '.join(known)}{did_you_mean(word, known)}"


def _layout(kind: str, feed_height: float, legs: list[tuple[float, float, float]]) -> Layout:
    """Lay legs (length, slope, bearing) end to end from the feed."""
    points = [(0.0, 0.0, feed_height)]
    for length, slope, bearing in legs:
        if not math.isfinite(bearing):
            raise InputError("layout.bearing", bearing, "a finite angle")
        x, y, z = points[-1]
        run = length * math.cos(slope)
        points.append((x + run * math.sin(bearing), y + run * math.cos(bearing), z + length * math.sin(slope)))
    return Layout(kind, tuple(points), legs[0][2])
