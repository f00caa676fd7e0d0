"""Writing into a drawing: each text takes the first of its wanted places that is clear of lines and other texts."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from numpy.typing import ArrayLike

from tautwire.model.arrays import Real
from tautwire.studies.drawing.labels import apart, corners


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
