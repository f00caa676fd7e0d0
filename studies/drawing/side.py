"""The set-up from the side, to scale, in the plane of the wire: lengths, slopes and heights written in."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, Rectangle

from tautwire.model.soil.ground import Ground, LayeredGround
from tautwire.model.wires.layout import Layout
from tautwire.model.wires.sag import PIECES
from tautwire.studies.drawing.clear import Clear, Place, around, fit
from tautwire.studies.drawing.style import INK, QUIET, ROLE_INKS, ROLE_MARKS, SOIL, WATER, Look
from tautwire.studies.study.setup import Built
from tautwire.studies.study.units import format_angle, format_length

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
