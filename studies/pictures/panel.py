"""Panels of the one picture, and the sheet that holds them."""

from __future__ import annotations

import itertools
import math
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from tautwire.studies.drawing.labels import Clear, Place
from tautwire.studies.drawing.layout import PERSON, bar_length, ground_patches, person
from tautwire.studies.drawing.style import AHEAD, BACK, CYCLE, INK, LOBE, QUIET, WATER, Heading, Look, Sheet, style
from tautwire.studies.pictures.seen import Seen
from tautwire.studies.study.findings import Cell, Drawn
from tautwire.studies.study.units import FOOT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from tautwire.model.basics import Complex, Real


# --- One panel: the wire to scale with its current as a ribbon, the pattern behind it, soil, height, a person for
# size.


LOBE_EDGE = CYCLE[3].colour
DASHES: dict[str, Any] = {"wire": "-", "coax": (0, (1, 1)), "counterpoise": (0, (4, 1.5)), "nearby": (0, (6, 2))}
ABEAM = 0.15  # cosine between wire and shore below which its plane hardly meets the water
SPAN_DB = 30.0  # dB from the outer ring to the middle


@dataclass(frozen=True)
class Frame:
    """What all panels of a figure share. half, top, below: m from the pattern's middle to the sides, the top and down.

    reach: m of the outer ring. outer: dBi of it. amps: A as wide as `ribbon`, m to each side. lengths: "metric" or
    "imperial", as they are written.
    """

    half: float
    top: float
    below: float
    reach: float
    outer: float
    amps: float
    ribbon: float
    lengths: str = "metric"

    @property
    def aspect(self) -> float:
        """Height over width."""
        return (self.top + self.below) / (2 * self.half)

    def radius(self, dbi: Any) -> Any:
        """m from the middle of the pattern."""
        return self.reach * np.clip((np.asarray(dbi) - self.outer + SPAN_DB) / SPAN_DB, 0, None)


def middle(view: Seen) -> tuple[float, float]:
    """Where the pattern's middle is drawn, m: on the ground half way along the wire; in free space, on the wire."""
    x, y = view.paths[0][:, 0], view.paths[0][:, 1]
    return float(x.min() + x.max()) / 2, float(y.mean()) if view.built.ground.is_free_space else 0.0


def frame_of(views: Sequence[Seen], lengths: str = "metric") -> Frame:
    """One scale for all: metres, dB and amps alike in every panel."""
    spans = [float(np.ptp(v.paths[0][:, 0])) for v in views]
    high = max(float(p[:, 1].max()) for v in views for p in v.paths)
    reach = max(0.55 * max(spans), 0.85 * high, 3.0)
    outer = 5.0 * math.ceil(max(float(v.dbi.max()) for v in views) / 5)
    sides = [float(np.abs(p[:, 0] - middle(v)[0]).max()) for v in views for p in v.paths]
    free = any(v.built.ground.is_free_space for v in views)
    below = 1.04 * reach if free else 0.16 * reach
    amps = max(float(np.abs(a).max()) for v in views for a in v.amps)
    half, top = 1.04 * max(reach, *sides), max(1.06 * high, 1.04 * reach)
    return Frame(half, top, below, reach, outer, amps, 0.11 * reach, lengths)


def panel(ax: Axes, view: Seen, frame: Frame, look: Look, words: Sequence[str], ring: bool) -> None:
    """Draw into ax, whose place is settled. words: lines in an upper corner, the first bold. ring: name the rings,
    and draw the scale."""
    x, y = middle(view)
    ax.set_xlim(x - frame.half, x + frame.half)
    ax.set_ylim(y - frame.below, y + frame.top)
    ax.set_axis_off()
    ax.set_aspect("equal")
    clear = Clear(ax)
    soil(ax, view, frame)
    shore(ax, view, frame, look, clear)
    if ring:
        scale_bar(ax, look, frame, clear)
    _words(ax, words, look, view, clear)
    pattern(ax, view, frame, look)
    for path, amps in zip(view.paths, view.amps, strict=True):
        ribbon(ax, path, amps, frame)
        clear.line(path[::10])
    for i, path in enumerate(view.paths):
        role = view.built.structure.conductors[i].role
        colour = QUIET if role == "nearby" else INK
        ax.plot(*path.T, color=colour, ls=DASHES[role], lw=look.line * (1.0 if role == "wire" else 0.8), zorder=5)
    feed = view.paths[0][0]
    ax.plot(*feed, marker="s", ms=0.5 * look.type, color=INK, mec="white", mew=0.5, zorder=6)
    grounded = not view.built.ground.is_free_space
    if grounded:
        person(ax, _free_side(view, x, 0.95 * frame.half))
        top = _plumb(ax, view, look, clear)
    if ring:
        _ring_names(ax, view, frame, look, clear)
    if grounded and top is not None:
        _height(view, top, frame, look, clear)


def soil(ax: Axes, view: Seen, frame: Frame) -> None:
    if view.built.ground.is_free_space:
        return
    x0, x1 = ax.get_xlim()
    ground_patches(ax, view.built.ground, -frame.below)
    ax.plot([x0, x1], [0, 0], color=QUIET, lw=0.7, zorder=4)


def shore(ax: Axes, view: Seen, frame: Frame, look: Look, clear: Clear) -> None:
    """The water of a shore where the plane of the wire meets it; a strip at the side and how far, where it lies beyond
    the frame."""
    there, (x0, x1) = view.built.terrain.shore, ax.get_xlim()
    if there is None:
        return
    along = math.cos(there.bearing - view.built.layout.bearing)
    if abs(along) < ABEAM:
        return
    at = there.distance / along
    inside, side = x0 < at < x1, x1 if along > 0 else x0
    start = (
        at if inside else side - math.copysign(0.04 * (x1 - x0), along) if (at - side) * along >= 0 else x0 + x1 - side
    )
    left, wide = min(start, side), abs(side - start)
    ax.add_patch(Rectangle((left, -frame.below), wide, frame.below, facecolor=WATER, lw=0, zorder=0.3))
    unit, sign = (1.0, "m") if frame.lengths == "metric" else (FOOT, "ft")
    word = "water" if "water" in there.ground.name else "shore"
    told = f"{word}, {abs(at) / unit:.0f} {sign}"
    aside, to = math.copysign(0.3 * look.small, along), "right" if along > 0 else "left"
    places = [Place(start, y * frame.below, -aside, 0, to, "center") for y in (-0.5, -0.75)]
    clear.write(told, places, must=False, size=look.small * 0.85, color=INK)


def pattern(ax: Axes, view: Seen, frame: Frame, look: Look) -> None:
    """The lobe, and a ring at 0 dBi and every 10 dB below."""
    x, y = middle(view)
    r = frame.radius(view.dbi)
    ax.fill(
        x + r * np.cos(view.angle),
        y + r * np.sin(view.angle),
        facecolor=LOBE,
        edgecolor=LOBE_EDGE,
        lw=look.line * 0.6,
        zorder=1,
    )
    for dbi, circle in zip(rings(frame), _circles(view, frame), strict=True):
        ax.plot(
            *circle.T,
            color=QUIET,
            lw=look.line * (0.5 if dbi == 0 else 0.3),
            ls=(0, (3, 2)) if dbi == 0 else (0, (1, 2)),
            zorder=1.5,
        )


def rings(frame: Frame) -> list[float]:
    return [d for d in (0.0, -10.0) if 0.15 < frame.radius(d) / frame.reach <= 1.0]


def _circles(view: Seen, frame: Frame) -> list[Real]:
    """The rings as points (n, 2)."""
    turn = np.linspace(0, view.angle[-1], 120)
    round_one = np.column_stack([np.cos(turn), np.sin(turn)])
    return [np.array(middle(view)) + float(frame.radius(dbi)) * round_one for dbi in rings(frame)]


def ribbon(ax: Axes, path: Real, amps: Complex, frame: Frame) -> None:
    """A band along a conductor, as wide to each side as its current is strong; dark where it flows the other way."""
    step = np.gradient(path, axis=0)
    normal = np.column_stack([-step[:, 1], step[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    wide = (np.abs(amps) / frame.amps * frame.ribbon)[:, None] * normal
    ahead = np.real(amps) >= 0
    turns = [0, *(np.flatnonzero(np.diff(ahead)) + 1), len(path) - 1]
    for way, colour in ((True, AHEAD), (False, BACK)):
        pieces = [
            np.concatenate([(path + wide)[i : j + 1], (path - wide)[i : j + 1][::-1]])
            for i, j in itertools.pairwise(turns)
            if ahead[i] == way
        ]
        ax.add_collection(PolyCollection(pieces, facecolor=colour, edgecolor=colour, lw=0.15, zorder=3), autolim=False)


def _free_side(view: Seen, x: float, away: float) -> float:
    """Left or right of the middle, where conductors are further away."""
    low = np.concatenate([p[p[:, 1] < PERSON, 0] for p in view.paths] or [np.empty(0)])
    left, right = (float(np.abs(low - (x + side * away)).min(initial=away)) for side in (-1, 1))
    return x - away if left >= right - 0.5 else x + away


def _words(ax: Axes, words: Sequence[str], look: Look, view: Seen, clear: Clear) -> None:
    """Lines in the upper right corner, or the left where the wire is in the way."""
    (x0, x1), top = ax.get_xlim(), ax.get_ylim()[1]
    high = top - 1.3 * look.small * len(words) * _point(ax)
    points = np.vstack(view.paths)
    inside = points[points[:, 1] > high, 0]
    right = not (inside > (x0 + x1) / 2).any()
    for k, line in enumerate(words):
        place = Place(x1 if right else x0, top, 0, -1.25 * k * look.small, "right" if right else "left", "top")
        clear.write(
            line,
            [place],
            size=look.small,
            color=INK if k == 0 else QUIET,
            weight="bold" if k == 0 else "normal",
            bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
        )


def _point(ax: Axes) -> float:
    """Metres a point."""
    box, figure = ax.get_position(), ax.get_figure(root=True)
    assert figure is not None
    return float(np.ptp(ax.get_ylim())) / (box.height * figure.get_figheight() * 72)


def _plumb(ax: Axes, view: Seen, look: Look, clear: Clear) -> Real | None:
    """A line down from the highest point of the wire, if it is not on the ground; that point."""
    top = view.paths[0][int(np.argmax(view.paths[0][:, 1]))]
    if top[1] < 0.5:
        return None
    ax.plot([top[0], top[0]], [0, top[1]], color=QUIET, lw=look.line * 0.4, ls=(0, (2, 2)), zorder=2)
    clear.line([(top[0], 0), (top[0], top[1])])
    return np.asarray(top)


HALO = [withStroke(linewidth=2.2, foreground="white")]  # keeps words readable on a ring or a lobe


def _height(view: Seen, top: Real, frame: Frame, look: Look, clear: Clear) -> None:
    """The height of the wire's highest point, beside its plumb line."""
    held = np.array([p[2] for p in view.built.layout.points])
    places = [
        Place(top[0], top[1] * part, side * 0.4 * look.small, 0, "left" if side > 0 else "right")
        for part in (0.5, 0.3, 0.7, 0.15, 0.4, 0.6, 0.8, 0.22)
        for side in (1, -1)
    ]
    told = f"{held.max():.1f} m" if frame.lengths == "metric" else f"{held.max() / FOOT:.0f} ft"
    clear.write(told, places, size=look.small * 0.9, color=INK, path_effects=HALO)


def _ring_names(ax: Axes, view: Seen, frame: Frame, look: Look, clear: Clear) -> None:
    x, y = middle(view)
    for dbi in rings(frame):
        r = float(frame.radius(dbi))
        spots = [(x + r * math.cos(a), y + r * math.sin(a)) for a in np.radians([100, 80, 120, 60, 140, 40, 160, 20])]
        clear.write(
            f"{dbi:g} dBi".replace("-", "−"),
            [Place(*s, 0, 0.15 * look.small, "center", "bottom") for s in spots],
            must=False,
            size=look.small * 0.8,
            color=QUIET,
            path_effects=HALO,
        )


def scale_bar(ax: Axes, look: Look, frame: Frame, clear: Clear) -> None:
    """A bar of round length in the soil, on the right."""
    size, words = bar_length(0.35 * frame.half, frame.lengths)
    x, y = ax.get_xlim()[1] - 0.03 * frame.half, ax.get_ylim()[0] + 0.3 * frame.below
    ax.plot([x - size, x], [y, y], color=INK, lw=look.line * 1.1, solid_capstyle="butt", zorder=6)
    clear.line([(x - size, y), (x, y)])
    place = Place(x - size, y, -0.35 * look.small, 0, "right", "center")
    clear.write(words, [place], size=look.small * 0.85, color=INK)


# --- Panels of the one picture on a sheet: all of one size, to one scale, named, with a key.


NAME_LINES = 3
TALLEST = 2.6  # inches of a panel on a page
MOST_FULL = 2  # rows of a slide whose panels have room for all their numbers
MOST_ACROSS = 4  # panels side by side where their number is free


@dataclass(frozen=True)
class Grid:
    """Where the panels are: inches from the left and the top edge; strip: inches kept for words above each drawing."""

    across: int
    down: int
    left: float
    top: float
    wide: float
    drawn: float
    strip: float
    gap_x: float
    gap_y: float

    @property
    def high(self) -> float:
        return self.drawn + self.strip

    @property
    def body(self) -> float:
        return self.down * self.high + (self.down - 1) * self.gap_y

    def place(self, k: int) -> tuple[float, float]:
        """Left edge and top edge of a panel."""
        row, column = divmod(k, self.across)
        return self.left + column * (self.wide + self.gap_x), self.top + row * (self.high + self.gap_y)


def sheet_of(
    views: Sequence[Seen],
    names: Sequence[str],
    bands: Sequence[str],
    heading: Heading,
    words: Callable[[Seen], list[str]],
    frame: Frame,
    foot: float = 0.0,
    drawn: Iterable[Cell] = (),
) -> Sheet:
    """A sheet of panels.

    views: row by row. names: of columns; without bands, of panels. bands: names of rows. words: what stands above each
    drawing, the first line bold. frame: the scale. foot: inches left free above the key. drawn: the cells that words
    and drawings show.
    """
    cells = Drawn(drawn)
    with style(heading.size) as look:
        point = look.type / 72
        across, head, key = len(names) if bands else 0, _head(look, heading, cells), 2.2 * point + foot
        told = [words(v) for v in views]
        if look.name != "print" and len(bands) > MOST_FULL:
            told = [lines[:1] for lines in told]
        strip = 1.3 * look.small / 72 * max(map(len, told))
        wide = (look.width - 2 * point) / max(across, min(len(names), 3))
        for _ in range(3):  # names are wrapped to the panels, which are as wide as the names leave them high
            shown = [_wrapped(n, look, wide) for n in names]
            name_high = point * (1.25 * max(n.count("\n") + 1 for n in shown) + 0.4)
            room = None if look.name == "print" else look.height - head - key - name_high
            grid = _arranged(len(views), across, frame, look, room, name_high, strip)
            wide = grid.wide
        height = head + name_high + grid.body + key + 0.4 * point if look.name == "print" else look.height
        grid = replace(grid, top=head + name_high + max(0.0, (height - head - key - name_high - grid.body) / 2))
        sheet = Sheet(look, height, layout=None)
        sheet.drawn |= cells
        sheet.header(heading)
        for k, view in enumerate(views):
            _cell(sheet, grid, k, view, frame, told[k])
            if not bands or k < grid.across:
                _name(sheet, grid, k, shown[k])
            if bands and k % grid.across == 0:
                _band_name(sheet, grid, k, bands[k // grid.across])
        _key(sheet, views, look)
        return sheet


def _head(look: Look, heading: Heading, drawn: Drawn) -> float:
    """Inches that the header takes."""
    tall = Sheet(look, 20, layout=None)
    tall.drawn |= drawn
    tall.header(heading)
    return (1 - tall.top) * 20


def _wrapped(name: str, look: Look, inches: float) -> str:
    """A name in at most NAME_LINES lines of that width."""
    room = max(int(inches * 72 / (0.7 * look.type)), 8)
    lines = textwrap.wrap(name, room) or [""]
    if len(lines) > NAME_LINES:
        lines = [*lines[: NAME_LINES - 1], lines[NAME_LINES - 1][: room - 1].rstrip(" ,") + "\u2026"]
    return "\n".join(lines)


def _arranged(
    count: int, across: int, frame: Frame, look: Look, room: float | None, name_high: float, strip: float
) -> Grid:
    """Panels as large as the page's width allows, and on a slide the room under its header."""
    point = look.type / 72
    left, right, gap_x = (2.6 if across else 0.8) * point, 0.8 * point, 0.5 * point
    gap_y = 0.5 * point if across else name_high + 0.4 * point
    page = min(count, 3 if count != 4 else 2)
    choices = [across] if across else [page] if room is None else list(range(1, min(count, MOST_ACROSS) + 1))
    found = []
    for n in choices:
        down = -(-count // n)
        wide = (look.width - left - right - (n - 1) * gap_x) / n
        most = TALLEST if room is None else (room - (down - 1) * gap_y) / down - strip
        wide = min(wide, most / frame.aspect)
        start = left + (look.width - left - right - n * wide - (n - 1) * gap_x) / 2
        found.append(Grid(n, down, start, 0.0, wide, wide * frame.aspect, strip, gap_x, gap_y))
    return max(found, key=lambda grid: grid.wide)


def _cell(sheet: Sheet, grid: Grid, k: int, view: Seen, frame: Frame, words: Sequence[str]) -> None:
    (x, y), wide, high = grid.place(k), sheet.get_figwidth(), sheet.get_figheight()
    ax = sheet.add_axes((x / wide, 1 - (y + grid.high) / high, grid.wide / wide, grid.high / high))
    metres = grid.strip * 2 * frame.half / grid.wide
    panel(ax, view, replace(frame, top=frame.top + metres), sheet.look, words, ring=k == 0)


def _name(sheet: Sheet, grid: Grid, k: int, words: str) -> None:
    x, y = grid.place(k)
    at = (x + grid.wide / 2) / sheet.get_figwidth(), 1 - (y - 0.2 * sheet.look.type / 72) / sheet.get_figheight()
    font: dict[str, Any] = {"size": sheet.look.type, "weight": "bold", "color": INK, "linespacing": 1.15}
    sheet.text(*at, words, ha="center", va="bottom", **font)


def _band_name(sheet: Sheet, grid: Grid, k: int, words: str) -> None:
    look, y = sheet.look, grid.place(k)[1] + grid.strip + grid.drawn / 2
    x = grid.left - 1.1 * look.type / 72
    sheet.text(x / sheet.get_figwidth(), 1 - y / sheet.get_figheight(), words, size=look.type * 1.05, weight="bold",
               color=INK, ha="center", va="center", rotation=90)  # fmt: skip


def _key(sheet: Sheet, views: Sequence[Seen], look: Look) -> None:
    """What colours and dashes mean, in one row at the foot."""
    roles = {c.role for v in views for c in v.built.structure.conductors}
    rows: list[Any] = [
        Patch(facecolor=AHEAD, label="current"),
        Patch(facecolor=BACK, label="current the other way"),
        Patch(facecolor=LOBE, edgecolor=LOBE_EDGE, label="gain"),
        *(Line2D([], [], color=INK, lw=look.line, ls=DASHES[r], label=r) for r in DASHES if r in roles),
    ]
    sheet.legend(handles=rows, loc="lower left", ncols=len(rows), handlelength=1.6, columnspacing=1.2, frameon=False,
                 bbox_to_anchor=(0, 0), borderaxespad=0.2, labelcolor=QUIET)  # fmt: skip
