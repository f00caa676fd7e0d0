"""SWR over each band: the band's edges, the stretches each mode uses, and where every curve dips.

Under each curve a plumb line hangs from its dip to a shelf with the curve's name. In the shelf three lanes show the
mode segments of the band. The tinted box is what one hopes for: inside the band and below 2:1.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ..model.bands import Band, segments
from .figure_axes import Colours, band_title, groups, lines, mhz_text, panel_shape, running, value_text, view_of
from .figure_labels import spread, text_size
from .style import INK, MODE_COLOURS, QUIET, SOIL, TARGET, Look, Sheet, style
from .study import Axis

TICKS = (1, 1.5, 2, 3, 5, 10, 20)
LIMITS = (5.0, 10.0, 20.0)
MOST_PANELS = 12
LANE, LABEL = 0.17, 1.55  # lane height, middle of the row of names, in type heights below SWR 1
NAMED, BARE = 2.3, 1.0  # height of a shelf with and without names


def swr_figure(
    sweeps: pd.DataFrame,
    dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    *,
    region: object = 1,
    threshold: float = 3.0,
    title: str = "",
    caption: str = "",
    size: str | Look = "print",
) -> Sheet:
    """SWR at the radio against frequency (MHz), a panel a band and group of cases.

    sweeps, dips: frames of want_dips. region: of the band plan. threshold: the user's SWR. Curves are cut at 5, 10 or
    20, as told beside the axis. Raises InputError for an unknown size or region.
    """
    axis = running(axes)
    colours = Colours(axis)
    panels = [(b, name, rows[rows["band"] == b.name]) for name, rows in groups(sweeps, axes) for b in bands]
    names = dict(groups(dips, axes))
    shown = panels[:MOST_PANELS]
    if len(shown) < len(panels):
        caption += f" (the first {len(shown)} of {len(panels)} panels)"
    with style(size) as look:
        rows, columns = panel_shape(len(shown), look)
        sheet = Sheet(look, None if look.name != "print" else max(look.height, 1.4 + 2.5 * rows))
        sheet.header(title, caption)
        grid: Any = sheet.subplots(rows, columns, squeeze=False)
        flat = list(grid.flat)
        for k, ax in enumerate(flat):
            ax.set_visible(k < len(shown))
            ax.set_xlabel("frequency (MHz)" if k >= len(shown) - columns else "")
        views = [view_of(b, part, list(_of(names[name], b)["dip_mhz"])) for b, name, part in shown]
        limit = _limit([p for _, _, p in shown], views, threshold)
        for ax, (band, name, part), view in zip(flat, shown, views, strict=False):
            _ground(ax, band, threshold, limit, view, look)
            ax.set_title(", ".join([band_title(band), *([name] if name else [])]))
            for value, curve in lines(part, axis):
                y = np.clip(np.nan_to_num(curve["swr"], nan=limit * 9, posinf=limit * 9), 1, limit * 9)
                ax.plot(curve["f_mhz"], y, **colours.mark(value).line, zorder=3)
        sheet.supylabel(f"SWR at the radio (up to {limit:g})", size=look.type)
        handles = [Patch(color=MODE_COLOURS[m], label=m) for m in MODE_COLOURS]
        handles.append(Patch(facecolor=TARGET, edgecolor=QUIET, label="in the band, SWR below 2"))
        visible = flat[: len(shown)]
        sheet.canvas.draw()  # type: ignore[attr-defined]  # panel sizes are known from here on
        placed = [_places(sheet, ax, _of(names[n], b), axis, colours.ramped) for ax, (b, n, _) in zip(flat, shown)]  # noqa: B905
        named = all(p is not None for p in placed)
        colours.key(sheet, visible, handles, named=not named)
        sheet.canvas.draw()  # type: ignore[attr-defined]
        for ax, (band, name, _) in zip(visible, shown, strict=True):
            shelf = _Shelf(ax, limit, look.type, ax.get_window_extent().height / sheet.dpi, NAMED if named else BARE)
            shelf.lanes(band, region)
            mine = _of(names[name], band)
            places = _places(sheet, ax, mine, axis, colours.ramped) if named else None
            shelf.plumbs(mine, axis, colours, places)
        return sheet


def _of(dips: pd.DataFrame, band: Band) -> pd.DataFrame:
    return dips[(dips["band"] == band.name) & dips["dip_mhz"].notna()]


def _limit(parts: Sequence[pd.DataFrame], views: Sequence[tuple[float, float]], threshold: float) -> float:
    """The least of LIMITS above most of what is in view and the threshold."""
    seen = [p.loc[p["f_mhz"].between(*v), "swr"] for p, v in zip(parts, views, strict=True)]
    most = max([float(np.nanquantile(s, 0.97)) for s in seen if s.notna().any()] + [threshold * 1.2])
    return next((x for x in LIMITS if x >= most), LIMITS[-1])


def _ground(
    ax: Axes, band: Band, threshold: float, limit: float, view: tuple[float, float], look: Look
) -> None:  # fmt: skip
    """Scales, band edges, thresholds and the box hoped for."""
    ax.set_yscale("log")
    ax.set_ylim(1, limit)
    ax.set_xlim(*view)
    ticks = [t for t in TICKS if t <= limit]
    ax.set_yticks(ticks, [f"{t:g}" for t in ticks])
    ax.set_yticks([], minor=True)
    ax.xaxis.set_major_locator(MaxNLocator(4, min_n_ticks=3))
    ax.xaxis.set_major_formatter(FuncFormatter(mhz_text))
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.add_patch(Rectangle((low, 1), high - low, 1, facecolor=TARGET, zorder=0.5))
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


def _places(
    sheet: Sheet, ax: Axes, dips: pd.DataFrame, axis: Axis | None, ends: bool
) -> list[tuple[int, str, float]] | None:  # fmt: skip
    """Where the names of the dips go in the shelf: (row of dips, name, MHz); None if they crowd each other."""
    rows = sorted({0, len(dips) - 1}) if ends and len(dips) else list(range(len(dips)))
    low, high = ax.get_xlim()
    scale = (high - low) / (ax.get_window_extent().width / sheet.dpi)  # MHz an inch
    at = [float(dips["dip_mhz"].iloc[i]) for i in rows]
    words = [f"{at[k]:.3f}" if axis is None else value_text(axis, dips[axis.column].iloc[i]) for k, i in enumerate(rows)]
    widths = [text_size(sheet, w, sheet.look.small)[0] * scale for w in words]
    places = spread(at, widths, low, high, 0.6 * sheet.look.small / 72 * scale)
    far = 4 * sheet.look.small / 72 * scale
    if places is None or any(abs(p - a) > far for p, a in zip(places, at, strict=True)):
        return None
    return list(zip(rows, words, places, strict=True))


class _Shelf:
    """The space below SWR 1 of one panel. unit: type height, points; height: of the panel, inches; shelf: type heights."""

    def __init__(self, ax: Axes, limit: float, unit: float, height: float, shelf: float) -> None:
        self.ax, self.limit = ax, limit
        self._step = unit / 72 / (height - shelf * unit / 72)  # a type height, as a part of the height above SWR 1
        bottom = self.down(shelf)
        ax.set_ylim(bottom, limit)
        ax.add_patch(
            Rectangle((0, bottom), 1, 1 - bottom, transform=ax.get_yaxis_transform(), facecolor="white", zorder=2)
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
            self.ax.add_patch(Rectangle((low, y0), high - low, y1 - y0, facecolor=SOIL, zorder=2.6))
            for s in segments(region):
                if s.band == band.name and s.name.endswith(" " + mode):
                    box = Rectangle((s.lower / 1e6, y0), s.width / 1e6, y1 - y0, facecolor=MODE_COLOURS[mode])
                    box.set_zorder(2.7)
                    self.ax.add_patch(box)

    def plumbs(
        self, dips: pd.DataFrame, axis: Axis | None, colours: Colours, places: list[tuple[int, str, float]] | None
    ) -> None:
        """A marker at each dip; a line down to its name where places tells one."""
        thin = self.ax.spines["left"].get_linewidth()
        told = {i: (text, place) for i, text, place in places or []}
        for i in range(len(dips)):
            if colours.ramped and i not in told:
                continue
            f, drop = float(dips["dip_mhz"].iloc[i]), min(max(float(dips["dip_swr"].iloc[i]), 1.0), self.limit)
            mark = colours.mark("" if axis is None else dips[axis.column].iloc[i])
            if i in told:
                text, place = told[i]
                y = [drop, self.down(0.9), self.down(LABEL - 0.55)]
                self.ax.plot([f, f, place], y, color=mark.colour, lw=thin, zorder=2.8)
                self.ax.text(place, self.down(LABEL), text, ha="center", va="center", size=self.unit * 0.86, zorder=3)
            self.ax.plot([f], [drop], linestyle="", marker=mark.marker, color=mark.colour, mec="white", mew=0.6, zorder=4)
