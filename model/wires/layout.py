"""How the wire hangs: straight legs completed from what is given, named layouts of them, and sag.

Heights, lengths and slopes of straight legs: completed from any subset that settles them, or refused.

A leg is four names: start height, length, slope and end height, with end = start + sign length sin(slope). Values are
in metres and radians in one dictionary by name, without a prefix; refusals call them layout.<name>.

How the wire hangs: named layouts that turn a few lengths, heights and slopes into points in space.

Heights, lengths and slopes over-determine each other: give any consistent subset and the rest follows. Heights are
above the soil surface; slopes are from the horizontal. Too many values are accepted when they agree to 1 cm in height
or 0.2 degrees in slope; the far end then follows from length, slope and starting height. A feed height that is neither
given nor implied is 1 m. To add a layout, write one function and add it to LAYOUTS.
"""

import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from numbers import Real

import numpy as np

from tautwire.model.basics import Real as RealNumber
from tautwire.model.errors import InputError, did_you_mean

# --- Heights, lengths and slopes of straight legs.


Leg = tuple[str, str, str, str]

LOWEST = 5e-4  # m, least height of any wire's axis above soil; a wire that lies on it is at its outer radius
FEED_HEIGHT = 1.0  # m, where the transformer hangs unless told otherwise
HEIGHT_TOLERANCE = 0.01  # m
SLOPE_TOLERANCE = math.radians(0.2)
LIMITS = {"length": (0.05, 2000.0), "height": (LOWEST, 500.0), "slope": (-math.pi / 2, math.pi / 2)}


def degrees(angle: float) -> str:
    """An angle in rad as people read it."""
    return f"{math.degrees(angle):.4g} degrees"


def given(**values: float | None) -> dict[str, float]:
    """The values that were given, each checked for range (InputError)."""
    found: dict[str, float] = {}
    for name, x in values.items():
        if x is None:
            continue
        kind = next((k for k in ("height", "slope") if k in name), "length")
        low, high = LIMITS[kind]
        if not isinstance(x, Real) or not low - 1e-12 <= x <= high + 1e-12:
            if kind == "slope":
                raise InputError(f"layout.{name}", f"{x} rad", "from -90 to 90 degrees")
            allowed = "m above the soil surface" if kind == "height" else "m"
            raise InputError(f"layout.{name}", f"{x} m", f"from {low} to {high:g} {allowed}")
        found[name] = float(x)
    return found


def needed(kind: str, **values: float | None) -> dict[str, float]:
    """All of the values, each checked for range (InputError), none missing."""
    for name, x in values.items():
        if x is None:
            raise InputError(f"layout.{name}", "missing", f"give {name}: {kind} needs {' and '.join(values)}")
    return given(**values)


def complete(v: dict[str, float], legs: dict[Leg, int], sum_of: tuple[str, str, str] | None = None) -> None:
    """Complete v in place: every leg has end = start + sign length sin(slope), and two lengths add up to a third.

    Whatever follows from the given values is derived first. Only when nothing follows do the defaults step in: a feed
    height of FEED_HEIGHT, then an apex half way. Raises InputError for missing, contradictory or impossible values.
    """
    told_values = ", ".join(v) or "none"
    while True:
        while any([_fill(v, leg, sign) for leg, sign in legs.items()] + [sum_of and _fill_sum(v, *sum_of)]):
            pass
        if sum_of and _fill_apex(v, *legs):
            continue
        unknown = [[n for n in leg if n not in v] for leg in legs]
        if not any(unknown):
            break
        if "feed_height" not in v:
            v["feed_height"] = FEED_HEIGHT
        elif sum_of and "length" in v and "apex_at" not in v:
            v["apex_at"] = v["length"] / 2
        else:
            need = ["length" if n.startswith("length") else n for n in next(u for u in unknown if u)]
            many = {2: "", 3: "two of "}.get(len(need), "all but one of ")
            allowed = f"give {many}{', '.join(need[:-1])} {'and' if many else 'or'} {need[-1]}"
            raise InputError("layout", f"too few values: {told_values}", allowed)
    for leg, sign in legs.items():
        _check(v, leg, sign)


def _fill(v: dict[str, float], leg: Leg, sign: int) -> bool:
    """Derive the one unknown of a leg; False when there is nothing to do."""
    unknown = [n for n in leg if n not in v]
    if len(unknown) != 1:
        return False
    start, length, slope, end = leg
    if unknown[0] == end:
        v[end] = v[start] + sign * v[length] * math.sin(v[slope])
    elif unknown[0] == start:
        v[start] = v[end] - sign * v[length] * math.sin(v[slope])
    elif unknown[0] == length:
        sine, rise = sign * math.sin(v[slope]), v[end] - v[start]
        if sine * rise <= 0 or abs(rise) > abs(sine) * LIMITS["length"][1]:
            allowed = f"a wire at {degrees(sign * v[slope])} from {_place(v, start)} never gets to {v[end]:.6g} m up"
            raise InputError(f"layout.{end}", f"{v[end]:.6g} m", allowed)
        v[length] = rise / sine
    else:
        sine = sign * (v[end] - v[start]) / v[length]
        if abs(sine) > 1 + HEIGHT_TOLERANCE / v[length] or (sine < 0 and "_" in slope):
            reach = f"at most {v[start] + v[length]:.6g} m and at least {v[start] - v[length]:.6g} m"
            allowed = f"{'at least' if sign > 0 else 'at most'} the {v[start]:.6g} m of that leg's other end"
            if abs(sine) > 1:
                allowed = f"a {v[length]:.6g} m wire cannot get there from {_place(v, start)}: {reach}"
            raise InputError(f"layout.{end}", f"{v[end]:.6g} m", allowed)
        v[slope] = math.asin(max(-1.0, min(1.0, sine)))
    return True


def _fill_sum(v: dict[str, float], first: str, second: str, total: str) -> bool:
    if total in v and first in v and v[first] >= v[total]:
        raise InputError(f"layout.{first}", f"{v[first]:.6g} m", f"less than the wire's length of {v[total]:.6g} m")
    unknown = [n for n in (first, second, total) if n not in v]
    if len(unknown) == 1:
        v[unknown[0]] = v[first] + v[second] if unknown[0] == total else v[total] - v[first if first in v else second]
        return True
    if not unknown and abs(v[first] + v[second] - v[total]) > HEIGHT_TOLERANCE:
        allowed = f"{v[first]:.6g} m up to the apex and {v[second]:.6g} m after it, as the heights and slopes say"
        raise InputError(f"layout.{total}", f"{v[total]:.6g} m", allowed)
    return False


def _fill_apex(v: dict[str, float], up: Leg, down: Leg) -> bool:
    """Find the apex from both slopes, both end heights and the whole length: two equations solved together."""
    known = ("length", "slope_up", "slope_down", "feed_height", "end_height")
    if "apex_at" in v or "apex_height" in v or any(n not in v for n in known):
        return False
    rise, fall = math.sin(v["slope_up"]), math.sin(v["slope_down"])
    at = (v["end_height"] - v["feed_height"] + v["length"] * fall) / (rise + fall) if rise + fall else -1.0
    if not 0 < at < v["length"]:
        angles = f"{math.degrees(v['slope_up']):.4g} degrees up and {math.degrees(v['slope_down']):.4g} degrees down"
        allowed = f"a {v['length']:.6g} m wire going {angles} from a feed at {v['feed_height']:.6g} m cannot end there"
        raise InputError("layout.end_height", f"{v['end_height']:.6g} m", allowed)
    v["apex_at"] = at
    return True


def _place(v: dict[str, float], start: str) -> str:
    return f"{'a feed' if start == 'feed_height' else 'an apex'} at {v[start]:.6g} m"


def _check(v: dict[str, float], leg: Leg, sign: int) -> None:
    """Refuse a leg whose four values contradict each other, or whose end is in the ground."""
    start, length, slope, end = leg
    at = v[start] + sign * v[length] * math.sin(v[slope])
    off = abs(at - v[end])
    sine = sign * (v[end] - v[start]) / v[length]
    near = abs(sine) <= 1 and abs(math.asin(sine) - v[slope]) <= SLOPE_TOLERANCE
    found = f"{at:.1f}" if off > 0.2 else f"{at:.3f}"
    thing = f"a {v[length]:.6g} m wire"
    if off > HEIGHT_TOLERANCE and not near:
        allowed = f"{thing} cannot reach {v[end]:.6g} m up at {degrees(sign * v[slope])} from {_place(v, start)}"
        raise InputError(f"layout.{end}", f"{v[end]:.6g} m", f"{allowed}: that end is at {found} m")
    low, name = min((at, end), (v[start], start))
    if low < LOWEST - 1e-9:
        allowed = (
            f"{thing} at {degrees(sign * v[slope])} from {v[start]:.4g} m to {at:.4g} m up goes through the ground"
        )
        raise InputError(f"layout.{name}", f"{low:.4g} m", f"{allowed}: keep it {LOWEST} m or more above soil")


# --- How the wire hangs.


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


# --- A wire that hangs through: straight legs as parabolas of the same wire length.


PIECES = 6  # straight pieces a leg is drawn with
MOST = 0.2  # deepest sag over the leg's length; beyond it the parabola is no longer a good catenary
NEWTON = 20  # steps at most; some five do


def sagged(layout: Layout, depth: float, pieces: int = PIECES) -> Layout:
    """The layout with its longest leg hanging `depth` (m) below its chord in the middle; 0 changes nothing.

    One pull along the wire: other legs sag as the square of their horizontal span. Wire length, slopes of the chords
    and the feed stay, so every end comes a little nearer. A catenary with little sag is a parabola (any statics text).
    Raises InputError for a negative depth or one above a fifth of the leg.
    """
    spans = [math.hypot(q[0] - p[0], q[1] - p[1]) for p, q in zip(layout.points, layout.points[1:], strict=False)]
    widest = max(spans)
    if not 0 <= depth <= MOST * widest:
        raise InputError("antenna.sag", f"{depth:g} m", f"from 0 to {MOST * widest:.3g} m for this wire")
    if depth == 0:
        return layout
    points: list[Point] = [layout.points[0]]
    for p, q, span in zip(layout.points, layout.points[1:], spans, strict=False):
        leg = _hanging(np.subtract(q, p), depth * (span / widest) ** 2, pieces)
        start = np.array(points[-1])
        points += [(float(x), float(y), float(z)) for x, y, z in start + leg]
    return replace(layout, points=tuple(points))


def _hanging(chord: RealNumber, depth: float, pieces: int) -> RealNumber:
    """Offsets (pieces, 3), m, from the start of a leg along `chord` (3,) whose drawn length is the chord's."""
    t = np.linspace(0, 1, pieces + 1)[:, None]
    drop = 4 * depth * t * (1 - t) * np.array([0.0, 0.0, -1.0])
    length = float(np.linalg.norm(chord))
    scale = 1.0
    for _ in range(NEWTON if depth >= 1e-6 * length else 0):  # the length is convex in scale: it falls to the root
        piece = np.diff(scale * t * chord + drop, axis=0)
        size = np.linalg.norm(piece, axis=1)
        change = float((size.sum() - length) / (piece @ chord / size).sum() * pieces)
        scale -= change
        if abs(change) < 1e-12:
            break
    return np.asarray((scale * t * chord + drop)[1:])
