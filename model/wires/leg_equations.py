"""Heights, lengths and slopes of straight legs: completed from any subset that settles them, or refused.

A leg is four names: start height, length, slope and end height, with end = start + sign length sin(slope). Values are
in metres and radians in one dictionary by name, without a prefix; refusals call them layout.<name>.
"""

import math
from numbers import Real

from tautwire.model.errors import InputError

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
