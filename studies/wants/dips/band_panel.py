"""The ground of one band's SWR panel: scales, band edges, thresholds, the box hoped for, and the shelf below SWR 1."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch, Rectangle

from tautwire.model.operating.bands import Band, band_segments
from tautwire.studies.drawing.axes import Colours, band_ticks
from tautwire.studies.drawing.style import INK, MODE_COLOURS, QUIET, SOIL, TARGET, Look
from tautwire.studies.study.study import Axis

TICKS = (1, 1.2, 1.5, 2, 3, 5, 10, 20)
LIMITS = (2.2, 3.3, 5.0, 10.0, 20.0)
LANE, LABEL = 0.17, 1.55  # lane height, middle of the row of names, in type heights below SWR 1
NAMED, BARE = 2.3, 1.0  # height of a shelf with and without names


def key_handles() -> list[Patch]:
    """What the lanes and the box mean, for a legend."""
    return [
        *(Patch(color=colour, label=mode) for mode, colour in MODE_COLOURS.items()),
        Patch(facecolor=TARGET, edgecolor=QUIET, label="in the band, SWR below 2"),
    ]


def swr_limit(part: pd.DataFrame, view: tuple[float, float], threshold: float) -> float:
    """The least of LIMITS above most of what is in view; the threshold is shown where it is not far above."""
    seen = part.loc[part["f_mhz"].between(*view), "swr"]
    most = max(float(np.nanquantile(seen, 0.97)), 1.5) if seen.notna().any() else 1.5
    if most > threshold * 0.75:
        most = max(most, threshold * 1.05)
    return next((x for x in LIMITS if x >= most), LIMITS[-1])


def band_ground(
    ax: Axes, band: Band, threshold: float, limit: float, view: tuple[float, float], look: Look, gap: float
) -> None:  # fmt: skip
    """Scales, band edges, thresholds and the box hoped for. gap: between ticks, a share of the width."""
    ax.set_yscale("log")
    ax.set_ylim(1, limit)
    ax.set_xlim(*view)
    ticks = [t for t in TICKS if t <= limit]
    ax.set_yticks(ticks, [f"{t:g}" for t in ticks])
    ax.set_yticks([], minor=True)
    band_ticks(ax.xaxis, band, gap)
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.add_patch(Rectangle((low, 1), high - low, 1, facecolor=TARGET, lw=0, zorder=0.5))
    for edge in (low, high):
        ax.axvline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
    if threshold != 2 and threshold < limit:
        ax.axhline(threshold, color=INK, lw=look.line * 0.5, dashes=(5, 3), zorder=1.5)
        if not any(abs(np.log(threshold / t)) < 0.03 for t in ticks):
            ax.annotate(
                f"{threshold:g}", (0, threshold), (0.3 * look.small, 0.2 * look.small), textcoords="offset points",
                xycoords=ax.get_yaxis_transform(), va="bottom", size=look.small,
            )  # fmt: skip
    ax.axhline(2, color=INK, lw=look.line * 0.5, zorder=1.5)


def thin_ticks(ax: Axes, look: Look) -> None:
    """Fewer SWR ticks where the panel, whose place is settled, is too low for all: 1, then every one that has room."""
    figure, limit = ax.get_figure(root=True), ax.get_ylim()[1]
    assert figure is not None
    high = ax.get_position().height * figure.get_figheight() * 72 - 2.3 * look.type  # above the shelf, points
    kept: list[float] = []
    for tick in ax.get_yticks():
        if not kept or np.log(tick / kept[-1]) / np.log(limit) * high > 1.15 * look.type:
            kept.append(float(tick))
    ax.set_yticks(kept, [f"{t:g}" for t in kept])


class Shelf:
    """The space below SWR 1 of one panel.

    unit: type height, points; height: of the panel, inches; shelf: of the shelf, type heights.
    """

    def __init__(self, ax: Axes, limit: float, unit: float, height: float, shelf: float) -> None:
        self.ax, self.limit = ax, limit
        self._step = unit / 72 / (height - shelf * unit / 72)  # a type height, as a part of the height above SWR 1
        bottom = self.down(shelf)
        ax.set_ylim(bottom, limit)
        ax.add_patch(
            Rectangle((0, bottom), 1, 1 - bottom, transform=ax.get_yaxis_transform(), facecolor="white", lw=0, zorder=2)
        )
        ax.axhline(1, color=QUIET, lw=ax.spines["left"].get_linewidth(), zorder=2.5)
        self.unit = unit

    def down(self, type_heights: float) -> float:
        """The SWR coordinate so far below SWR 1."""
        return float(self.limit ** (-type_heights * self._step))

    def lanes(self, band: Band, region: object) -> None:
        low, high = band.lower / 1e6, band.upper / 1e6
        for k, mode in enumerate(MODE_COLOURS):
            y1, y0 = self.down(0.15 + 1.2 * k * LANE), self.down(0.15 + (1.2 * k + 1) * LANE)
            self.ax.add_patch(Rectangle((low, y0), high - low, y1 - y0, facecolor=SOIL, lw=0, zorder=2.6))
            for s in band_segments(region):
                if s.band == band.name and s.name.endswith(" " + mode):
                    box = Rectangle((s.lower / 1e6, y0), s.width / 1e6, y1 - y0, facecolor=MODE_COLOURS[mode], lw=0)
                    box.set_zorder(2.7)
                    self.ax.add_patch(box)

    def plumbs(
        self, dips: pd.DataFrame, axis: Axis | None, colours: Colours, places: list[tuple[int, str, float]] | None
    ) -> None:
        """A marker at each dip; a line down to its name where places tells one."""
        thin = self.ax.spines["left"].get_linewidth()
        labels = {i: (text, place) for i, text, place in places or []}
        for i in range(len(dips)):
            if colours.ramped and i not in labels:
                continue
            f, drop = float(dips["dip_mhz"].iloc[i]), min(max(float(dips["dip_swr"].iloc[i]), 1.0), self.limit)
            mark = colours.mark("" if axis is None else dips[axis.column].iloc[i])
            if i in labels:
                text, place = labels[i]
                y = [drop, self.down(0.9), self.down(LABEL - 0.55)]
                self.ax.plot([f, f, place], y, color=mark.colour, lw=thin, zorder=2.8)
                self.ax.text(place, self.down(LABEL), text, ha="center", va="center", size=self.unit * 0.86, zorder=3,
                             bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6})  # fmt: skip
            dot: dict[str, Any] = {"marker": mark.marker, "color": mark.colour, "mec": "white", "mew": 0.6}
            self.ax.plot([f], [drop], linestyle="", zorder=4, **dot)
