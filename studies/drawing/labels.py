"""Text in figures: clear of other text, of lines and of what is drawn."""

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from numpy.typing import ArrayLike

from tautwire.model.basics import Real

# --- Text that keeps clear of other text: measuring, spreading along a line, finding overlaps.


def text_size(figure: Figure, words: str, points: float, **font: Any) -> tuple[float, float]:
    """Width and height of a text in inches."""
    probe = figure.text(0, 0, words, size=points, **font)
    box = probe.get_window_extent(figure.canvas.get_renderer())  # type: ignore[attr-defined]
    probe.remove()
    return box.width / figure.dpi, box.height / figure.dpi


def spread(wanted: Sequence[float], widths: Sequence[float], low: float, high: float, gap: float) -> list[float] | None:
    """Centres near the wanted ones so that boxes of these widths lie between low and high with gaps, in their order.

    All in one unit. None if they do not fit.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    size = [widths[i] for i in order]
    if not order or sum(size) + gap * (len(size) - 1) > high - low:
        return None if order else []
    at = [wanted[i] for i in order]
    floor = low
    for k, w in enumerate(size):  # push right, then back left from the far edge
        at[k] = max(at[k], floor + w / 2)
        floor = at[k] + w / 2 + gap
    ceiling = high
    for k in reversed(range(len(size))):
        at[k] = min(at[k], ceiling - size[k] / 2)
        ceiling = at[k] - size[k] / 2 - gap
    places = [0.0] * len(order)
    for k, i in enumerate(order):
        places[i] = at[k]
    return places


def corners(text: Text, shrink: float = 0.0) -> Real:
    """Corners (4, 2) of a drawn text's box in pixels, turned with the text; shrunk by `shrink` pixels a side."""
    if hasattr(text, "get_position_3d"):
        return _seen_from_here(text, shrink)
    renderer = text.get_figure(root=True).canvas.get_renderer()  # type: ignore[union-attr]
    turn = text.get_rotation() if text.get_rotation_mode() == "anchor" else 0.0
    if not turn:
        b = text.get_window_extent(renderer)
        return _box(b.x0, b.y0, b.x1, b.y1, shrink)
    text.set_rotation(0)
    b = text.get_window_extent(renderer)
    text.set_rotation(turn)
    pivot = text.get_transform().transform(text.get_unitless_position())  # settled by the measuring
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return (_box(b.x0, b.y0, b.x1, b.y1, shrink) - pivot) @ np.array([[c, s], [-s, c]]) + pivot


def _seen_from_here(text: Any, shrink: float) -> Real:
    """`corners` of a text in space, which has its place in the picture only while it is drawn."""
    from mpl_toolkits.mplot3d.proj3d import proj_transform

    x, y, _ = proj_transform(*text.get_position_3d(), text.axes.M)
    flat = Text(x, y, text.get_text())
    flat.set_figure(text.get_figure())
    flat.update_from(text)
    flat.set_transform(text.axes.transData)
    return corners(flat, shrink)


def _box(x0: float, y0: float, x1: float, y1: float, shrink: float) -> Real:
    x0, y0, x1, y1 = x0 + shrink, y0 + shrink, x1 - shrink, y1 - shrink
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def apart(p: Real, q: Real) -> bool:
    """Whether two convex shapes, corners (n, 2) in order, have no point in common (separating axis)."""
    for shape in (p, q):
        if len(shape) < 2:
            continue
        for a, b in zip(shape, np.roll(shape, -1, axis=0), strict=True):
            normal = np.array([b[1] - a[1], a[0] - b[0]])
            if not normal.any():
                continue
            one, two = p @ normal, q @ normal
            if one.max() < two.min() or two.max() < one.min():
                return True
    return False


def overlaps(figure: Figure, shrink: float = 1.0) -> list[tuple[str, str]]:
    """Pairs of visible texts that lie over each other, after drawing the figure; [] is what is wanted."""
    figure.canvas.draw()  # type: ignore[attr-defined]
    texts = _drawn(figure)
    shapes = [corners(t, shrink) for t in texts]
    pairs = itertools.combinations(range(len(texts)), 2)
    return [(texts[i].get_text(), texts[j].get_text()) for i, j in pairs if not apart(shapes[i], shapes[j])]


def outside(figure: Figure, slack: float = 1.0) -> list[str]:
    """Visible texts that reach beyond the figure's edges, after drawing it; [] is what is wanted."""
    figure.canvas.draw()  # type: ignore[attr-defined]
    edge = figure.bbox
    lines = []
    for text in _drawn(figure):
        shape = corners(text)
        low, high = shape.min(axis=0), shape.max(axis=0)
        if (low < -slack).any() or high[0] > edge.width + slack or high[1] > edge.height + slack:
            lines.append(text.get_text())
    return lines


def struck(figure: Figure, shrink: float = 2.0) -> list[str]:
    """Visible texts that a line, a ring, the edge of a bar or a frame runs through, once drawn; [] is what is wanted.

    A text on a backing of its own, or with a halo, breaks the line and is not struck. Grids and ticks do not count.
    """
    figure.canvas.draw()  # type: ignore[attr-defined]
    texts = [t for t in _drawn(figure) if not _backed(t)]
    shapes = [corners(t, shrink) for t in texts]
    found: dict[int, None] = {}
    for axes in figure.axes:
        if not axes.get_visible():
            continue
        box = axes.bbox
        for points, clipped in _strokes(axes):
            at = _dense(points)
            if clipped:
                at = at[(at[:, 0] >= box.x0) & (at[:, 0] <= box.x1) & (at[:, 1] >= box.y0) & (at[:, 1] <= box.y1)]
            if not len(at):
                continue
            low, high = at.min(axis=0), at.max(axis=0)
            for i, shape in enumerate(shapes):
                if i in found or (shape.max(axis=0) < low).any() or (shape.min(axis=0) > high).any():
                    continue
                if _inside(shape, at):
                    found[i] = None
    return [texts[i].get_text() for i in found]


def _backed(text: Text) -> bool:
    patch = text.get_bbox_patch()
    backing = patch is not None and to_rgba(patch.get_facecolor())[3] >= 0.7
    return backing or bool(text.get_path_effects())


def _strokes(axes: Any) -> Iterator[tuple[Real, bool]]:
    """Points (n, 2) in pixels of each line and outline that is drawn in axes, and whether it is cut at their edges."""
    for line in axes.lines:
        seen = line.get_visible() and line.get_linestyle() not in ("None", "none", "", " ") and line.get_linewidth() > 0
        seen = seen and _dark(to_rgba(line.get_color(), line.get_alpha() if line.get_alpha() is not None else 1.0))
        if seen and len(line.get_xdata()):
            yield line.get_transform().transform(np.column_stack(line.get_data())), line.get_clip_on()
    for patch in axes.patches:
        edged = patch.get_linewidth() > 0 and patch.get_edgecolor()[3] > 0
        if patch.get_visible() and (edged or patch.get_fill() and _dark(patch.get_facecolor())):
            path = patch.get_transform().transform_path(patch.get_path())
            for points in path.to_polygons(closed_only=False):
                yield points, patch.get_clip_on()


def _dark(colour: Any) -> bool:
    """Whether a fill stands out from white paper: its end is seen as a line."""
    red, green, blue, alpha = colour
    return bool(alpha * (1 - 0.3 * red - 0.6 * green - 0.1 * blue) > 0.3)


def _dense(points: Real) -> Real:
    """Points along a line, about a pixel apart; gaps stay gaps."""
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) < 2:
        return points
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0, along[-1], int(min(along[-1], 20000)) + 2)
    return np.column_stack([np.interp(wanted, along, points[:, k]) for k in (0, 1)])


def _inside(shape: Real, at: Real) -> bool:
    """Whether any of the points lies in a rectangle, corners (4, 2) in order."""
    one, two = shape[1] - shape[0], shape[3] - shape[0]
    x, y = (at - shape[0]) @ one / max(one @ one, 1e-9), (at - shape[0]) @ two / max(two @ two, 1e-9)
    return bool(((x > 0) & (x < 1) & (y > 0) & (y < 1)).any())


def _drawn(figure: Figure) -> list[Text]:
    """Texts that are really drawn: tick labels beyond their axis exist, but are not."""
    hidden: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            reach = 1e-6 * (high - low)
            for tick in [*axis.majorTicks, *axis.minorTicks]:
                shown = axes.get_visible() and axes.axison and axis.get_visible()
                if not (shown and low - reach <= tick.get_loc() <= high + reach):
                    hidden |= {id(tick.label1), id(tick.label2)}
    texts = []
    for text in figure.findobj(Text):
        within = text.axes is None or text.axes.get_visible()
        if text.get_text().strip() and text.get_visible() and within and id(text) not in hidden:
            texts.append(text)
    return texts


# --- Writing into a drawing: each text takes the first of its wanted places that is clear of lines and other texts.


@dataclass(frozen=True)
class Place:
    """A place for a text. x, y: data; dx, dy: points from there; turn: degrees."""

    x: float
    y: float
    dx: float = 0.0
    dy: float = 0.0
    ha: str = "center"
    va: str = "center"
    turn: float = 0.0


def around(x: float, y: float, points: float, rings: Sequence[float] = (1.0, 1.8, 2.8, 4.0, 6.0)) -> list[Place]:
    """Places in eight directions about a point, `points` away and further in rings; right and left come first."""
    places = []
    for ring in rings:
        for e, n in ((1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1), (0, -1)):
            ha = ("right", "center", "left")[e + 1]
            va = ("top", "center", "bottom")[n + 1]
            places.append(Place(x, y, e * points * ring, n * points * ring, ha, va))
    return places


@dataclass
class Clear:
    """The texts and lines of one Axes whose limits and size are settled."""

    ax: Axes
    taken: list[Real] = field(default_factory=list)
    """shapes in pixels: lines (2, 2) and boxes (4, 2)"""

    def line(self, points: Any) -> None:
        """Keep texts off a line through data points (n, 2)."""
        at = self.ax.transData.transform(np.asarray(points, dtype=float))
        self.taken += [np.array(pair) for pair in zip(at, at[1:], strict=False)]

    def box(self, low: Sequence[float], high: Sequence[float]) -> None:
        """Keep texts off a rectangle between data points."""
        (x0, y0), (x1, y1) = self.ax.transData.transform([tuple(low), tuple(high)])
        self.taken.append(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))

    def write(self, words: str, places: Iterable[Place], leader: float = 0.0, must: bool = True, **font: Any) -> bool:
        """Write words at the first clear place inside the axes, else the least crowded one; whether it was clear.

        leader: with a place further than this (points) from its point, a thin line joins them. must: False leaves the
        words out if no place is clear.
        """
        best: tuple[int, Place] | None = None
        for place in places:
            text = self._annotate(words, place, font)
            shape = corners(text, -0.35 * float(text.get_fontsize()))
            text.remove()
            # a text in the way counts more than a line, the edge more than a ring
            hits = sum(len(x) - 1 for x in self.taken if not apart(shape, x)) + 12 * self._beyond(shape)
            if best is None or hits < best[0]:
                best = hits, place
            if hits == 0:
                break
        assert best is not None, "a text needs at least one place"
        hits, place = best
        if hits and not must:
            return False
        text = self._annotate(words, place, font)
        self.taken.append(corners(text))
        if leader and np.hypot(place.dx, place.dy) > leader:
            self.ax.annotate(
                "", (place.x, place.y), (place.dx, place.dy), textcoords="offset points", zorder=2,
                arrowprops={"arrowstyle": "-", "lw": 0.6, "color": font.get("color", "k"), "shrinkA": 1, "shrinkB": 2},
            )  # fmt: skip
        return hits == 0

    def _annotate(self, words: str, place: Place, font: dict[str, Any]) -> Annotation:
        return self.ax.annotate(
            words, (place.x, place.y), (place.dx, place.dy), textcoords="offset points", ha=place.ha, va=place.va,
            rotation=place.turn, rotation_mode="anchor", zorder=5, annotation_clip=False, **font,
        )  # fmt: skip

    def _beyond(self, shape: Real) -> bool:
        box = self.ax.bbox
        low, high = shape.min(axis=0), shape.max(axis=0)
        return bool(low[0] < box.x0 or low[1] < box.y0 or high[0] > box.x1 or high[1] > box.y1)


def fit(ax: Axes, low: Sequence[float], high: Sequence[float], pads: ArrayLike, least: float = 1e-6) -> float:
    """Equal scales that show low to high (x, y; data) with room of left, right, bottom, top inches; data per inch, at
    least `least`."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    box = ax.get_position()
    width, height = box.width * figure.get_figwidth(), box.height * figure.get_figheight()
    left, right, bottom, top = map(float, np.asarray(pads, dtype=float))
    scale = max((high[0] - low[0]) / (width - left - right), (high[1] - low[1]) / (height - bottom - top), least)
    spare = width - left - right - (high[0] - low[0]) / scale
    x0 = low[0] - (left + spare / 2) * scale
    y0 = low[1] - (bottom + 0.3 * (height - bottom - top - (high[1] - low[1]) / scale)) * scale
    ax.set_xlim(x0, x0 + width * scale)
    ax.set_ylim(y0, y0 + height * scale)
    ax.set_axis_off()
    return scale
