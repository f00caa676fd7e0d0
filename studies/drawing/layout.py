"""The set-up drawn to scale: from the side, from above, in space, and all on one sheet."""

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, Polygon, Rectangle

from tautwire.model.basics import Real
from tautwire.model.soil.ground import Ground, LayeredGround
from tautwire.model.wires.layout import PIECES, Layout
from tautwire.studies.drawing.labels import Clear, Place, around, fit
from tautwire.studies.drawing.style import (
    INK,
    QUIET,
    ROLE_INKS,
    ROLE_MARKS,
    SOIL,
    WATER,
    Heading,
    Look,
    Sheet,
    balanced,
    style,
)
from tautwire.studies.study.setup import Built
from tautwire.studies.study.units import FOOT, format_angle, format_length

# --- The set-up from the side, to scale, in the plane of the wire: lengths, slopes and heights written in.


Flat = list[tuple[float, float]]
PERSON = 1.75  # m
SPARE = 7.0, 3.0, 1.0, 1.7  # room left, right, below and above of a view with few words, in small type


def corners_of(layout: Layout) -> list[int]:
    """Indices of the points where the wire is held: its ends and corners, without those that only draw its sag."""
    count = len(layout.points) - 1
    return list(range(0, count + 1, PIECES if count % PIECES == 0 else 1))


def unfolded(built: Built) -> Flat:
    """The wire's points as (distance along its route over the ground, height), m; bends are straightened out."""
    points, along = built.layout.points, [0.0]
    for p, q in zip(points, points[1:], strict=False):
        along.append(along[-1] + math.hypot(q[0] - p[0], q[1] - p[1]))
    return [(s, p[2]) for s, p in zip(along, points, strict=True)]


def is_bent(built: Built) -> bool:
    """Whether the wire leaves the vertical plane of its first leg."""
    b = built.layout.bearing
    return any(abs(p[0] * math.cos(b) - p[1] * math.sin(b)) > 0.01 for p in built.layout.points)


def projected(built: Built, points: Sequence[Sequence[float]]) -> Flat:
    """Points (east, north, up) seen in the plane of the wire's first leg."""
    b = built.layout.bearing
    return [(p[0] * math.sin(b) + p[1] * math.cos(b), p[2]) for p in points]


def soil_words(ground: Ground) -> str:
    if ground.is_free_space:
        return "free space"
    if ground.is_perfect:
        return "perfect ground"
    return f"{ground.name}: {ground.words()}"


def span(built: Built) -> tuple[tuple[float, float], tuple[float, float]]:
    """Corner points (low, high) of everything drawn in the side view, m."""
    shown = unfolded(built)
    for c in built.structure.conductors[1:]:
        shown += projected(built, c.points)
    xy = np.array([*shown, (0.0, 0.0)])
    low, high = xy.min(axis=0), xy.max(axis=0)
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


@dataclass(frozen=True)
class Shared:
    """What side views beside each other share. scale: metres an inch. low, high: what of the height is shown, m.

    someone: whether this one has the person in it.
    """

    scale: float
    low: float
    high: float
    someone: bool = False


def side_view(
    ax: Axes, built: Built, look: Look, lengths: str = "metric", words: str = "full", shared: Shared | None = None
) -> float:
    """Draw into ax, whose position is settled; metres a point.

    lengths: "metric" or "imperial". words: "full"; "main", without the names of return conductors; or "spare", lengths,
    heights and slopes only. shared: with other views.
    """
    t = look.small
    wire = unfolded(built)
    low, high = span(built)
    if shared is not None:
        low, high = (low[0], shared.low), (high[0], shared.high)
    below = {"full": 2.3 + 1.15 * len(built.structure.conductors), "main": 4.4, "spare": SPARE[2]}[words]
    left, right = {"full": (9.0, 7.0), "main": (8.0, 4.0), "spare": SPARE[:2]}[words]
    scale = fit(ax, low, high, np.array([left, right, below, 1.7]) * t / 72, shared.scale if shared else 0.0)
    point = scale / 72
    clear = Clear(ax)
    if shared is not None and shared.someone:
        x = ax.get_xlim()[1] - t * point
        person(ax, x)
        clear.box((x - 0.3, 0.0), (x + 0.3, PERSON))
    if not built.ground.is_free_space:
        _soil(ax, built, look, clear, words == "spare", lengths, wire, point)
    for c in built.structure.conductors[1:]:
        seen, mark = np.array(projected(built, c.points)), ROLE_MARKS[c.role]
        ax.plot(*seen.T, **mark.line, lw=look.line, zorder=3)
        clear.line(seen)
    ax.plot(*np.array(wire).T, color=ROLE_MARKS["wire"].colour, lw=look.line * 1.4, zorder=4)
    clear.line(wire)
    ax.plot(*wire[0], marker="s", ms=0.75 * look.type, color=INK, mec="white", zorder=5)
    ax.plot(*wire[-1], marker="o", ms=0.4 * look.type, color=ROLE_MARKS["wire"].colour, mec="white", zorder=5)
    held = corners_of(built.layout)
    corners = [wire[k] for k in held]
    plumbs = [] if built.ground.is_free_space else _plumbs(ax, corners, look, clear)
    for p, q in zip(corners, corners[1:], strict=False):
        _slope(ax, p, q, look, clear, point)
    for j, k in zip(held, held[1:], strict=False):
        _leg(wire[j], wire[k], sum(built.layout.legs[j:k]), look, clear, lengths)
    for name, h, places in plumbs:
        clear.write(f"{name} {format_length(h, lengths)}", places, size=t, color=INK)
    if words == "full":
        _returns(built, look, clear, lengths)
    return point


def person(ax: Axes, x: float) -> None:
    """Somebody 1.75 m tall, for size."""
    ax.add_patch(Circle((x, PERSON - 0.14), 0.14, color=QUIET, lw=0, zorder=4))
    ax.fill(
        x + np.array([-0.24, 0.24, 0.18, 0.15, 0.02, -0.02, -0.15, -0.18]),
        [1.4, 1.4, 0.8, 0.0, 0.0, 0.0, 0.0, 0.8],
        color=QUIET,
        lw=0,
        zorder=4,
    )


def _colour(ground: Ground) -> str:
    """Its colour: water is blue, ice and snow are lighter, soil is the colour of soil."""
    for word, colour in (("water", WATER), ("ice", "#dbeaf2"), ("snow", "#edf3f7")):
        if word in getattr(ground, "name", ""):
            return colour
    return SOIL


def ground_patches(ax: Axes, ground: Ground, bottom: float) -> None:
    """What lies below the level 0 down to `bottom`, m, across the axes; layers to scale, but never too thin to see."""
    (x0, x1), least = ax.get_xlim(), 0.03 * (ax.get_ylim()[1] - ax.get_ylim()[0])
    top, last = 0.0, ground.bottom if isinstance(ground, LayeredGround) else ground
    for layer in ground.layers if isinstance(ground, LayeredGround) else ():
        low = max(top - max(layer.depth, least), bottom)
        ax.add_patch(Rectangle((x0, low), x1 - x0, top - low, facecolor=_colour(layer.soil), lw=0, zorder=0.3))
        ax.plot([x0, x1], [low, low], color=QUIET, lw=0.6, ls=(0, (4, 2)), zorder=0.4)
        top = low
    ax.add_patch(Rectangle((x0, bottom), x1 - x0, top - bottom, facecolor=_colour(last), lw=0, zorder=0.3))


def _soil(
    ax: Axes, built: Built, look: Look, clear: Clear, spare: bool, lengths: str, wire: Flat, point: float
) -> None:
    x0, x1 = ax.get_xlim()
    y0 = ax.get_ylim()[0]
    ground_patches(ax, built.ground, y0)
    ax.plot([x0, x1], [0, 0], color=QUIET, lw=look.line * 0.6, zorder=1)
    clear.line([(x0, 0), (x1, 0)])
    if spare:
        return
    clear.write(soil_words(built.ground), [Place(x1, y0, -0.5 * look.small, 0.5 * look.small, "right", "bottom")],
                size=look.small, color=QUIET)  # fmt: skip
    run = wire[-1][0]
    if run > 12 * look.small * point:
        y = -1.5 * look.small * point
        ax.annotate("", (0, y), (run, y), arrowprops={"arrowstyle": "|-|,widthA=0.25,widthB=0.25", "lw": 0.7,
                    "color": QUIET, "shrinkA": 0, "shrinkB": 0})  # fmt: skip
        clear.line([(0, y), (run, y)])
        reach = f"{format_length(run, lengths)} over the ground"
        clear.write(reach, [Place(run * 0.62, y, 0, -0.3 * look.small, "center", "top")], size=look.small, color=QUIET)


def _plumbs(ax: Axes, wire: Flat, look: Look, clear: Clear) -> list[tuple[str, float, list[Place]]]:
    """Draw a plumb line to the soil from every corner past the feed; name, height and places of each height's text."""
    names = {0: "feed", len(wire) - 1: "end"}
    for k in range(1, len(wire) - 1):
        names[k] = "apex" if wire[k][1] > max(wire[0][1], wire[-1][1]) else "corner"
    t, plumbs = look.small, []
    for k, name in names.items():
        x, h = wire[k]
        alone = all(abs(x - wire[j][0]) > 1e-3 or j == k for j in names)
        if k == 0 or not alone:
            side = -1 if k == 0 else 1
            places = [Place(x, h, side * t, 0, "right" if side < 0 else "left"), *around(x, h, t)]
        else:
            ax.plot([x, x], [0, h], color=QUIET, lw=look.line * 0.5, ls=(0, (2, 2)), zorder=2)
            clear.line([(x, 0), (x, h)])
            sides = (1, -1) if k == len(wire) - 1 else (-1, 1)
            places = [Place(x, h * part, side * 0.5 * t, 0, "left" if side > 0 else "right")
                      for part in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9) for side in sides]  # fmt: skip
            places += around(x, h, t)
        plumbs.append((name, h, places))
    return plumbs


def _slope(ax: Axes, p: tuple[float, float], q: tuple[float, float], look: Look, clear: Clear, point: float) -> None:
    """The angle of a leg at its lower end, if there is room to draw it."""
    slope = math.degrees(abs(math.atan2(q[1] - p[1], q[0] - p[0])))
    foot, away = (p, 1) if q[1] > p[1] else (q, -1)
    radius = min(0.3 * abs(q[0] - p[0]), 6.5 * look.small * point)
    if not 1 < slope < 89 or radius < 1.2 * look.small * point:
        return
    first, last = (0.0, slope) if away > 0 else (180 - slope, 180.0)
    flat = [foot, (foot[0] + away * radius * 1.25, foot[1])]
    ax.plot(*np.array(flat).T, color=QUIET, lw=look.line * 0.5, ls=(0, (2, 2)), zorder=2)
    ax.add_patch(
        Arc(foot, 2 * radius, 2 * radius, theta1=first, theta2=last, color=QUIET, lw=look.line * 0.6, zorder=2)
    )
    turns = np.radians(np.linspace(first, last, 9))
    clear.line(flat)
    clear.line(np.column_stack([foot[0] + radius * np.cos(turns), foot[1] + radius * np.sin(turns)]))
    x, y = math.cos(turns[4]), math.sin(turns[4])
    side = "left" if away > 0 else "right"
    places = [
        Place(foot[0] + r * radius * x, foot[1] + r * radius * y, 0, 0, side) for r in (1.08, 1.2, 0.6, 1.4, 1.7, 2.1)
    ]
    places += around(*foot, 1.5 * look.small)
    clear.write(format_angle(math.radians(slope)), places, size=look.small, color=INK)


def _leg(
    p: tuple[float, float], q: tuple[float, float], length: float, look: Look, clear: Clear, lengths: str
) -> None:  # fmt: skip
    """Write the length along a leg."""
    t = look.small
    slope = math.atan2(q[1] - p[1], q[0] - p[0])
    normal = -math.sin(slope), math.cos(slope)
    places = []
    for away in (0.75, -0.75, 1.6, -1.6):
        for part in (0.5, 0.6, 0.4, 0.7, 0.3):
            x, y = p[0] + part * (q[0] - p[0]), p[1] + part * (q[1] - p[1])
            places.append(
                Place(x, y, normal[0] * away * t, normal[1] * away * t, "center", "center", math.degrees(slope))
            )
    clear.write(format_length(length, lengths), places, size=t, color=ROLE_MARKS["wire"].colour, weight="bold")


def _returns(built: Built, look: Look, clear: Clear, lengths: str) -> None:
    """Names of the return conductors and of what stands nearby, below the soil line where there is room."""
    t = look.small
    for i, c in enumerate(built.structure.conductors):
        if i == 0:
            continue
        seen = projected(built, c.points)
        tip = seen[-1]
        label = f"{built.structure.name(i)} {format_length(c.length, lengths)}"
        flat = math.dist(c.points[0][:2], c.points[-1][:2])
        if c.role != "nearby" and flat > 0.3 and abs(tip[0] - seen[0][0]) < 0.3 * flat:
            label += ", across this view"
        middle = ((seen[0][0] + tip[0]) / 2, (seen[0][1] + tip[1]) / 2)
        foot = tip if c.role != "nearby" else middle
        below = [
            Place(foot[0], foot[1], dx * t, -drop * t, ha, "top")
            for drop in np.arange(0.8, 1.2 * len(built.structure.conductors) + 1.5, 0.6)
            for dx, ha in ((0, "right"), (0, "left"), (-2, "right"), (2, "left"))
        ]
        places = around(*foot, t) if c.role == "nearby" else [*below, *around(*foot, t)]
        clear.write(label, places, leader=1.5 * t, size=t, color=ROLE_INKS[c.role])


# --- The set-up from above, north up, to scale, with bearings written in.


STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)


def bearing_of(start: tuple[float, ...], end: tuple[float, ...]) -> float:
    """Degrees clockwise from north, 0 to 360."""
    return math.degrees(math.atan2(end[0] - start[0], end[1] - start[1])) % 360


def round_length(most: float) -> float:
    """The greatest of STEPS up to `most`, m."""
    return max([s for s in STEPS if s <= most], default=STEPS[0])


def bar_length(most: float, lengths: str) -> tuple[float, str]:
    """The greatest round length up to `most`, m, and its words in the unit of "metric" or "imperial".

    >>> bar_length(6.6, "metric"), bar_length(6.6, "imperial")[1]
    ((5.0, '5 m'), '20 ft')
    """
    unit, sign = (1.0, "m") if lengths == "metric" else (FOOT, "ft")
    number = round_length(most / unit)
    return number * unit, f"{number:g} {sign}"


def plan_view(ax: Axes, built: Built, look: Look, lengths: str = "metric") -> None:
    """Draw into ax, whose position is settled: conductors, bearings, a compass, a scale bar."""
    t = look.small
    every = np.array([p[:2] for c in built.structure.conductors for p in c.points])
    low, high = every.min(axis=0), every.max(axis=0)
    scale = fit(ax, list(low), list(high), np.array([3.0, 3.0, 2.6, 1.6]) * t / 72)
    clear = Clear(ax)
    _compass(ax, look, clear, scale)
    _bar(ax, look, clear, scale, lengths)
    for c in built.structure.conductors:
        seen, mark = np.array([p[:2] for p in c.points]), ROLE_MARKS[c.role]
        ax.plot(*seen.T, **mark.line, lw=look.line * (1.4 if c.role == "wire" else 1), zorder=3)
        clear.line(seen)
    ax.plot(0, 0, marker="s", ms=0.75 * look.type, color=INK, mec="white", zorder=5)
    for i, c in enumerate(built.structure.conductors):
        start, end = c.points[0], c.points[-1]
        flat = math.dist(start[:2], end[:2])
        words = [built.structure.name(i)]
        if flat > 0.05 and c.role != "nearby":
            size = f"{format_length(c.length, lengths)} " if len(built.structure.conductors) < 5 else ""
            words.append(f"{size}to {bearing_of(start, end):.0f}°")
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        places = [
            *around(*end[:2], 0.7 * t, (1.0, 1.6)),
            *around(*middle, 0.7 * t),
            *around(*end[:2], t, (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0)),
        ]
        font: dict[str, Any] = {"size": t, "color": ROLE_INKS[c.role]}
        if not clear.write(" ".join(words), places, 2.5 * t, must=False, **font):
            clear.write("\n".join(words), places, 2.5 * t, **font)
    if not any(c.points[-1][:2] == (0, 0) for c in built.structure.conductors):
        clear.write("feed", around(0, 0, 0.8 * t, (1.0, 1.5)), must=False, size=t, color=INK)


def _compass(ax: Axes, look: Look, clear: Clear, scale: float) -> None:
    """A ring with a needle to the north, in the upper right corner."""
    r = 1.1 * look.small / 72 * scale
    x, y = ax.get_xlim()[1] - 1.5 * r, ax.get_ylim()[1] - 2.8 * r
    ax.add_patch(Circle((x, y), r, fill=False, edgecolor=QUIET, lw=look.line * 0.5))
    ax.fill([x - 0.35 * r, x, x + 0.35 * r], [y - 0.5 * r, y + r, y - 0.5 * r], color=INK, lw=0)
    clear.box((x - r, y - r), (x + r, y + r))
    clear.write("N", [Place(x, y + r, 0, 0.6 * look.small, "center", "bottom")], size=look.small, color=INK)


def _bar(ax: Axes, look: Look, clear: Clear, scale: float, lengths: str) -> None:
    """A scale bar in the lower left corner."""
    x0, x1 = ax.get_xlim()
    size, label = bar_length(0.35 * (x1 - x0), lengths)
    x = x0 + 0.5 * look.small / 72 * scale
    y = ax.get_ylim()[0] + 0.6 * look.small / 72 * scale
    ax.plot([x, x + size], [y, y], color=INK, lw=look.line * 1.3, solid_capstyle="butt")
    clear.line([(x, y), (x + size, y)])
    clear.write(label, [Place(x, y, 0, 0.4 * look.small, "left", "bottom")], size=look.small, color=INK)


# --- The set-up in space: a parallel projection over a gridded patch of ground, with plumb lines and the wire's
# shadow.


TURN, LIFT = math.radians(32), math.radians(24)  # the eye: turned off the wire's plane, above the horizon


def projection(points: object, bearing: float) -> Real:
    """(n, 3) east, north, up -> (n, 2) on paper, m; verticals stay vertical. The wire runs right and back."""
    p = np.atleast_2d(np.asarray(points, dtype=float))
    along = p[:, 0] * math.sin(bearing) + p[:, 1] * math.cos(bearing)
    left = -p[:, 0] * math.cos(bearing) + p[:, 1] * math.sin(bearing)
    right = along * math.cos(TURN) - left * math.sin(TURN)
    back = along * math.sin(TURN) + left * math.cos(TURN)
    return np.column_stack([right, back * math.sin(LIFT) + p[:, 2] * math.cos(LIFT)])


def space_view(ax: Axes, built: Built, look: Look, lengths: str = "metric") -> None:
    """Draw into ax, whose position is settled."""
    t, b = look.small, built.layout.bearing
    points = np.array([p for c in built.structure.conductors for p in c.points])
    size = max(np.ptp(points[:, 0]), np.ptp(points[:, 1]), np.ptp(points[:, 2]), 1.0)
    step, square = bar_length(size / 3, lengths)
    to_wire = np.array([[math.sin(b), math.cos(b)], [-math.cos(b), math.sin(b)]])  # (east, north) -> (along, left)
    flat = points[:, :2] @ to_wire.T
    low = np.floor(flat.min(axis=0) / step - 0.3) * step
    high = np.ceil(flat.max(axis=0) / step + 0.3) * step

    def ground(along: float, left: float) -> list[float]:
        return [*(np.array([along, left]) @ to_wire), 0.0]

    edge = projection(
        [ground(*c) for c in ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]))], b
    )
    shown = np.vstack([edge, projection(points, b)])
    fit(ax, list(shown.min(axis=0)), list(shown.max(axis=0)), np.array([1.0, 4.5, 2.0, 1.8]) * t / 72)
    clear = Clear(ax)
    floating = built.ground.is_free_space
    if not floating:
        ax.add_patch(Polygon(edge, facecolor=SOIL, edgecolor=QUIET, lw=look.line * 0.4, zorder=0.3))
        clear.line([*edge, edge[0]])
        for k, (ends, other) in enumerate(
            (((low[0], high[0]), (low[1], high[1])), ((low[1], high[1]), (low[0], high[0])))
        ):
            for v in np.arange(ends[0], ends[1] + step / 2, step):
                pair = [(v, other[0]), (v, other[1])] if k == 0 else [(other[0], v), (other[1], v)]
                ax.plot(*projection([ground(*q) for q in pair], b).T, color="white", lw=look.line * 0.5, zorder=0.4)
    held = corners_of(built.layout)
    for i, c in enumerate(built.structure.conductors):
        mark, seen = ROLE_MARKS[c.role], projection(c.points, b)
        if not floating:
            shadow = projection([(p[0], p[1], 0.0) for p in c.points], b)
            ax.plot(*shadow.T, color=QUIET, lw=look.line * 0.6, alpha=0.6, zorder=1)
            for k in held if i == 0 else range(len(seen)):
                p, q = shadow[k], seen[k]
                ax.plot([p[0], q[0]], [p[1], q[1]], color=QUIET, lw=look.line * 0.4, ls=(0, (2, 2)), zorder=1)
                clear.line([p, q])
            clear.line(shadow)
        ax.plot(*seen.T, **mark.line, lw=look.line * (1.4 if c.role == "wire" else 1), zorder=3)
        clear.line(seen)
    wire = projection(built.layout.points, b)
    ax.plot(*wire[0], marker="s", ms=0.7 * look.type, color=INK, mec="white", zorder=5)
    if not floating:
        corner = ax.get_xlim()[1], ax.get_ylim()[0]
        x, y = edge[0]
        places = [Place(x, y, dx * t, -dy * t, "left", "top") for dy in (0.5, 1.0, 1.8) for dx in (0, 1.5, 3)]
        clear.write(
            f"squares of {square}", [*places, Place(corner[0], corner[1], 0, 0, "right", "bottom")], size=t, color=QUIET
        )
        _north(ax, look, clear, b, step, ground(low[0], low[1]))
    for k in held[1:]:
        height = built.layout.points[k][2]
        clear.write(format_length(height, lengths), around(wire[k][0], wire[k][1], 0.6 * t), size=t, color=INK)


def _north(ax: Axes, look: Look, clear: Clear, bearing: float, step: float, corner: list[float]) -> None:
    """An arrow to the north, lying on the ground outside the near corner."""
    start = np.array(corner)
    pair = projection([start, start + [0, step * 0.9, 0]], bearing)
    ax.annotate(
        "", pair[1], pair[0], zorder=2,
        arrowprops={"arrowstyle": "-|>", "lw": look.line * 0.7, "color": INK, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    clear.line(pair)
    way = (pair[1] - pair[0]) / np.linalg.norm(pair[1] - pair[0]) * look.small
    places = [Place(pair[1][0], pair[1][1], way[0] * far, way[1] * far) for far in (0.7, 1.0, 1.4)]
    places += around(float(pair[1][0]), float(pair[1][1]), 0.8 * look.small)
    clear.write("N", places, size=look.small, color=INK)


# --- How the set-up hangs, to scale: side, plan and space on one sheet; or the side views of several set-ups.


MOST, MOST_ON_SLIDE = 9, 6
LINES = 2  # of a panel's name
Box = tuple[float, float, float, float]


def layout_figure(built: Built, heading: Heading = Heading(), *, lengths: str = "metric") -> Sheet:
    """Side view, plan and 3-D view of one set-up, equal scales within each; lengths "metric" or "imperial"."""
    with style(heading.size) as look:
        low, high = span(built)
        flat = (high[1] - low[1]) / max(high[0] - low[0], 1e-6)
        tall = look.name == "print" and flat > 1.2
        side = min(max(7.0 * 0.75 * flat + 1.2, 2.2), 3.6)
        height = None if look.name != "print" else 5.2 if tall else 3.4 + side
        sheet = Sheet(look, height, layout=None)
        sheet.header(heading)
        inches = sheet.get_figheight() * sheet.top
        boxes: tuple[Box, Box, Box]
        if look.name == "print" and not tall:
            low_part = (inches - side) / inches
            boxes = (0, low_part, 1, 1 - low_part), (0, 0, 0.48, low_part), (0.5, 0, 0.5, low_part)
        else:
            part = 0.55 if look.name == "print" else 0.6
            boxes = (0, 0, part, 1), (part, 0.5, 1 - part, 0.5), (part, 0, 1 - part, 0.5)
        words = "from the side" + (", unfolded at the bend" if is_bent(built) else "")
        detail = "full" if look.name == "print" else "main"
        side_view(_panel(sheet, boxes[0], words), built, look, lengths, detail)
        plan_view(_panel(sheet, boxes[1], "from above"), built, look, lengths)
        space_view(_panel(sheet, boxes[2], "in space"), built, look, lengths)
        return sheet


def layout_grid(
    setups: Sequence[tuple[str, Built]],
    heading: Heading = Heading(),
    *,
    lengths: str = "metric",
) -> Sheet:
    """Side views of several set-ups (name, built), the first few, to one scale, with a bar and a person for size."""
    with style(heading.size) as look:
        shown = setups[: MOST if look.name == "print" else MOST_ON_SLIDE]
        if len(shown) < len(setups):
            heading = heading.noting(f"the first {len(shown)} of {len(setups)}")
        spans = [span(built) for _, built in shown]
        low, high = min(s[0][1] for s in spans), max(s[1][1] for s in spans)
        wide = max(s[1][0] - s[0][0] for s in spans)
        pads = np.array(SPARE) * look.small / 72

        head = (1.8 + 1.25 * LINES) * look.type / 72

        def by_width(across: int) -> float:
            return wide / (look.width / across - 1.8 * look.type / 72 - pads[0] - pads[1])

        def scale(across: int, inches: float) -> float:
            height = inches / -(-len(shown) // across) - head - pads[2] - pads[3]
            return float(max(by_width(across), (high - low) / max(height, 0.1)))

        across = min(len(shown), 2)
        row = min(max((high - low) / by_width(across) + pads[2] + pads[3] + head, 1.2), 2.6)
        sheet = Sheet(look, 0.9 + row * -(-len(shown) // across) if look.name == "print" else None, layout=None)
        sheet.header(heading)
        if look.name != "print":
            across = min(range(1, min(len(shown), 3) + 1), key=lambda n: scale(n, sheet.get_figheight() * sheet.top))
        down = -(-len(shown) // across)
        shared = Shared(scale(across, sheet.get_figheight() * sheet.top), low, high)
        fine = replace(look, type=look.type * (0.95 if look.name == "print" else 0.8 if across * down <= 4 else 0.68))
        for k, (name, built) in enumerate(shown):
            box = (k % across / across, 1 - (k // across + 1) / down, 1 / across, 1 / down)
            soil = "" if all(b.ground == built.ground for _, b in shown) else f" ({soil_words(built.ground)})"
            ax = _panel(sheet, box, name, fine, soil)
            point = side_view(ax, built, fine, lengths, "spare", replace(shared, someone=k == 0))
            if k == len(shown) - 1:
                _layout_bar(ax, fine, point, lengths)
        return sheet


def _layout_bar(ax: Axes, look: Look, point: float, lengths: str) -> None:
    """A scale bar in the lower right corner."""
    size, told = bar_length(0.25 * (ax.get_xlim()[1] - ax.get_xlim()[0]), lengths)
    x, y = ax.get_xlim()[1] - look.small * point, ax.get_ylim()[0] + 0.5 * look.small * point
    ax.plot([x - size, x], [y, y], color=INK, lw=look.line * 1.1, solid_capstyle="butt", zorder=6)
    ax.annotate(told, (x - size, y), (-0.4 * look.small, 0), textcoords="offset points",
                ha="right", va="center", size=look.small * 0.9, color=INK)  # fmt: skip


def _panel(sheet: Sheet, box: Box, words: str, look: Look | None = None, more: str = "") -> Axes:
    """Axes in a part of what the header leaves (left, bottom, width, height as fractions), named in its corner.

    more: words added where they are not cut.
    """
    look, top = look or sheet.look, sheet.top
    pad_x, pad_y = 0.9 * look.type / 72 / look.width, 0.6 * look.type / 72 / sheet.get_figheight()
    x, y, w, h = box[0], box[1] * top, box[2], box[3] * top
    wide = max(int((w - 2 * pad_x) * look.width * 72 / (0.75 * look.type)), 10)
    lines = balanced(words + more, wide)
    if len(lines) > LINES:
        lines = textwrap.wrap(words, wide, max_lines=LINES, placeholder=" \u2026")
    lines = lines or [""]
    head = (0.35 + 1.25 * len(lines)) * look.type / 72 / sheet.get_figheight()
    ax = sheet.add_axes((x + pad_x, y + pad_y, w - 2 * pad_x, max(h - 2 * pad_y - head, 0.02)))
    sheet.text(
        x + pad_x,
        y + h - pad_y,
        "\n".join(lines),
        size=look.type,
        weight="bold",
        color=INK if words else QUIET,
        va="top",
    )
    return ax
