"""The set-up from above, north up, to scale, with bearings written in."""

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from tautwire.studies.drawing.clear import Clear, Place, around, fit
from tautwire.studies.drawing.style import INK, QUIET, ROLE_INKS, ROLE_MARKS, Look
from tautwire.studies.study.setup import Built
from tautwire.studies.study.units import FOOT, format_length

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
