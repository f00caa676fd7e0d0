"""The set-up in space: a parallel projection over a gridded patch of ground, with plumb lines and the wire's shadow."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from tautwire.model.arrays import Real
from tautwire.studies.drawing.clear import Clear, Place, around, fit
from tautwire.studies.drawing.plan import bar_length
from tautwire.studies.drawing.side import corners_of
from tautwire.studies.drawing.style import INK, QUIET, ROLE_MARKS, SOIL, Look
from tautwire.studies.study.setup import Built
from tautwire.studies.study.units import format_length

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
