"""Curves against frequency: SWR over each band, also moving, impedance, and the Smith chart.

SWR over each band: the band's edges, the stretches each mode uses, and where every curve dips.

Under each curve a plumb line hangs from its dip to a shelf with the curve's name. In the shelf three lanes show the
mode segments of the band. The tinted box is what one hopes for: inside the band and below 2:1.

Impedance on a Smith chart of our own drawing: rings of resistance and arcs of reactance, labelled in ohms.

A disc in the middle holds every impedance with SWR below 2 at the chart's own resistance.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Patch, Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from tautwire.model.basics import Complex, Real, reflection
from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_segments
from tautwire.studies.drawing.axes import (
    GAPS,
    Colours,
    band_ticks,
    band_title,
    evenly,
    groups,
    lines,
    panel_shape,
    running,
    shared_words,
    view_of,
)
from tautwire.studies.drawing.labels import Clear, around, corners, spread, text_size
from tautwire.studies.drawing.style import (
    INK,
    MODE_COLOURS,
    QUIET,
    SOIL,
    TARGET,
    Heading,
    Look,
    Mark,
    Sheet,
    style,
    there_and_back,
)
from tautwire.studies.study.study import Axis

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


# --- The ground of one band's SWR panel: scales, band edges, thresholds, the box hoped for, and the shelf below SWR
# 1.


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


# --- SWR over each band.


MOST_PANELS = {"print": 12, "talk": 6, "slide": 6}
MOST_GROUPED = {"print": 12, "talk": 4, "slide": 4}  # panels whose titles name a group of cases too


def swr_figure(
    sweeps: pd.DataFrame,
    dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    heading: Heading = Heading(),
    *,
    region: object = 1,
    threshold: float = 3.0,
) -> Sheet:
    """SWR at the radio against frequency (MHz), a panel a band and group of cases.

    sweeps, dips: frames of want_dips. region: of the band plan. threshold: the user's SWR. Curves are cut at 5, 10 or
    20, each panel at its own. Raises InputError for an unknown size or region.
    """
    axis = running(axes)
    colours = Colours(axis)
    panels = [(b, name, rows[rows["band"] == b.name]) for name, rows in groups(sweeps, axes) for b in bands]
    names = dict(groups(dips, axes))
    with style(heading.size) as look:
        most = MOST_PANELS.get(look.name, 12) if len(bands) == len(panels) else MOST_GROUPED.get(look.name, 12)
        shown = [panels[i] for i in evenly(len(panels), most)]
        if len(shown) < len(panels):
            heading = heading.noting(f"{len(shown)} of {len(panels)} panels, evenly through the cases")
        rows, columns = panel_shape(len(shown), look)
        sheet = Sheet(look, None if look.name != "print" else max(look.height, 1.4 + 2.5 * rows))
        for band, name, _ in shown:
            sheet.draws("dips", names[name][names[name]["band"] == band.name].index, "swr_worst", "swr_best", "dip_mhz")
        sheet.header(heading)
        grid: Any = sheet.subplots(rows, columns, squeeze=False)
        flat = list(grid.flat)
        for k, ax in enumerate(flat):
            ax.set_visible(k < len(shown))
            ax.set_xlabel("frequency (MHz)" if len(shown) - columns <= k < len(shown) else "")
        views = [view_of(b, part, list(_of(names[name], b)["dip_mhz"])) for b, name, part in shown]
        limits = [swr_limit(part, view, threshold) for (_, _, part), view in zip(shown, views, strict=True)]
        gap = GAPS[min(columns, 4)]
        for ax, (band, name, part), view, limit in zip(flat, shown, views, limits, strict=False):
            band_ground(ax, band, threshold, limit, view, look, gap)
            ax.set_title(_title(band_title(band), name, look, columns))
            for value, curve in lines(part, axis):
                y = np.clip(np.nan_to_num(curve["swr"], nan=limit * 9, posinf=limit * 9), 1, limit * 9)
                ax.plot(curve["f_mhz"], y, **colours.mark(value).line, zorder=3)
        sheet.supylabel("SWR at the radio", size=look.type)
        visible = flat[: len(shown)]
        sheet.place()  # panel sizes are known from here on
        named = all(
            _places(sheet, ax, _of(names[n], b), axis, colours.ramped) is not None
            for ax, (b, n, _) in zip(visible, shown, strict=True)
        )
        colours.key(sheet, visible, key_handles(), named=not named)
        sheet.place()
        for ax, (band, name, _), limit in zip(visible, shown, limits, strict=True):
            thin_ticks(ax, look)
            shelf = Shelf(ax, limit, look.type, ax.get_window_extent().height / sheet.dpi, NAMED if named else BARE)
            shelf.lanes(band, region)
            mine = _of(names[name], band)
            places = _places(sheet, ax, mine, axis, colours.ramped) if named else None
            shelf.plumbs(mine, axis, colours, places)
        return sheet


def _title(band: str, name: str, look: Look, columns: int) -> str:
    """Band and group, in as many lines as a panel of so many in a row needs."""
    room = int(0.84 * look.width * 72 / columns / (0.66 * look.type * 1.08))
    return "\n".join(line for part in (band, name) if part for line in textwrap.wrap(part, max(room, 10)))


def _of(dips: pd.DataFrame, band: Band) -> pd.DataFrame:
    return dips[(dips["band"] == band.name) & dips["dip_mhz"].notna()]


def _places(
    sheet: Sheet, ax: Axes, dips: pd.DataFrame, axis: Axis | None, ends: bool
) -> list[tuple[int, str, float]] | None:  # fmt: skip
    """Where the names of the dips go in the shelf: (row of dips, name, MHz); None if they crowd each other."""
    rows = sorted({0, len(dips) - 1}) if ends and len(dips) else list(range(len(dips)))
    low, high = ax.get_xlim()
    scale = (high - low) / (ax.get_window_extent().width / sheet.dpi)  # MHz an inch
    at = [float(dips["dip_mhz"].iloc[i]) for i in rows]
    names = [] if axis is None else [axis.value_text(dips[axis.column].iloc[i]) for i in rows]
    words = names or [f"{f:.3f} MHz" for f in at]
    widths = [text_size(sheet, w, sheet.look.small)[0] * scale for w in words]
    places = spread(at, widths, low, high, 0.6 * sheet.look.small / 72 * scale)
    far = 4 * sheet.look.small / 72 * scale
    if places is None or any(abs(p - a) > far for p, a in zip(places, at, strict=True)):
        return None
    return list(zip(rows, words, places, strict=True))


# --- The dip walking across a band as one quantity is swept, as a GIF.


SIZE = Look("animation", 8.0, 4.5, 13.0, 2.4, 120)
MOST_FRAMES = 60


def animate(result: Result, band: str | None = None) -> bytes:
    """The GIF: one frame a case of the running axis (at most 60, evenly picked), there and back.

    band: its name, by default the study's first. Other axes stay at their first value. Raises InputError without a
    numeric axis of two values or more, or for a band not in the study.
    """
    return there_and_back(drawn(result, band))


def animated_axis(study: Study) -> Axis:
    """The axis along which the dip walks. Raises InputError without one of two numbers or more, or without dips."""
    axis = running(study.axes)
    if axis is None or axis.numbers is None or len(axis.numbers) < 2:
        raise InputError("--animate", study.name, "a study with an axis of two numbers or more in its [sweep]")
    if "dips" not in study.spec.want:
        raise InputError("--animate", f"want {', '.join(study.spec.want)}", 'a study with "dips" in study.want')
    return axis


def drawn(result: Result, band: str | None = None) -> list[np.ndarray]:
    """The frames there, (height, width, 3) bytes each; earlier curves stay behind, faint. Raises as animate."""
    study = result.study
    axis = animated_axis(study)
    names = {b.name: b for b in study.bands}
    if band is not None and band not in names:
        raise InputError("animation.band", repr(band), f"one of {', '.join(names)}")
    chosen = names[band] if band else study.bands[0]
    sweeps, dips = result.frames.get("sweeps", pd.DataFrame()), result.frames.get("dips", pd.DataFrame())
    if sweeps.empty or dips.empty:
        raise InputError("--animate", study.name, "a study of which cases were solved")
    name, rows = groups(sweeps[sweeps["band"] == chosen.name], study.axes)[0]
    low_points = dict(groups(dips[dips["band"] == chosen.name], study.axes))[name]
    curves = sorted(lines(rows, axis), key=lambda c: c[0])
    curves = [curves[i] for i in evenly(len(curves), MOST_FRAMES)]
    with style(SIZE) as look:
        sheet = Sheet(look)
        sheet.header(Heading(", ".join(filter(None, (band_title(chosen), name))), shared_words(study)))
        ax: Any = sheet.subplots()
        view = view_of(chosen, rows, list(low_points["dip_mhz"]))
        limit = swr_limit(rows, view, study.spec.swr_threshold)
        band_ground(ax, chosen, study.spec.swr_threshold, limit, view, look, GAPS[1])
        ax.set_xlabel("frequency (MHz)")
        ax.set_ylabel("SWR at the radio")
        sheet.legend(handles=key_handles(), loc="outside lower left", ncols=4)
        sheet.canvas.draw()  # type: ignore[attr-defined]
        shelf = Shelf(ax, limit, look.type, ax.get_window_extent().height / sheet.dpi, NAMED)
        shelf.lanes(chosen, study.spec.region)
        where = ax.text(
            0.99, 0.97, "", transform=ax.transAxes, ha="right", va="top", size=look.type * 1.5, weight="bold"
        )
        where.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 2})
        colours, frames = Colours(axis), []
        for value, curve in curves:
            colour = colours.mark(value).colour
            (line,) = ax.plot(curve["f_mhz"], np.clip(curve["swr"], 1, limit * 9), color=colour, zorder=3.5)
            where.set_text(f"{axis.name} {axis.value_text(value)}")
            hung = _hang(ax, shelf, low_points[low_points[axis.column] == value], colour)
            frames.append(sheet.pixels())
            line.set(alpha=0.28, linewidth=look.line * 0.7, zorder=3)
            for artist in hung:
                artist.remove()
        return frames


def _hang(ax: Any, shelf: Shelf, rows: pd.DataFrame, colour: str) -> list[Any]:
    """A dot at the dip, a line down, and its frequency; nothing without a dip."""
    artists: list[Any] = []
    for f, swr in zip(rows["dip_mhz"], rows["dip_swr"], strict=True):
        if np.isfinite(f):
            drop = min(max(swr, 1), shelf.limit)
            artists += ax.plot([f, f], [drop, shelf.down(0.85)], color=colour, zorder=3.6, lw=1.2)
            artists += ax.plot([f], [drop], "o", color=colour, mec="white", ms=9, zorder=4)
            artists.append(ax.text(f, shelf.down(1.55), f"{f:.3f} MHz", ha="center", va="center", color=INK, zorder=5))
    return artists


# --- Resistance and reactance against frequency, at the wire's end or at the radio.


PLANES = {"wire": ("feed", "at the wire's end"), "radio": ("radio", "at the radio")}
"""plane -> (prefix of its columns, words)"""
ACROSS = {"print": 4, "talk": 3, "slide": 3}


def plane_named(plane: str) -> tuple[str, str]:
    """Column prefix and words of a plane. Raises InputError."""
    if plane not in PLANES:
        raise InputError("plane", repr(plane), f"one of {', '.join(PLANES)}")
    return PLANES[plane]


def impedance_figure(
    sweeps: pd.DataFrame,
    dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    heading: Heading = Heading(),
    *,
    plane: str = "wire",
) -> Sheet:
    """R (upper panels) and X (lower panels) in ohm against MHz, a column a band; the first group of cases only.

    sweeps, dips: frames of want_dips. plane: "wire" or "radio". Raises InputError for an unknown plane or size.
    """
    prefix, words = plane_named(plane)
    axis = running(axes)
    colours = Colours(axis)
    parts = groups(sweeps, axes)
    name, part = parts[0]
    if len(parts) > 1:
        heading = heading.noting(f"only {name}, the first of {len(parts)} groups")
    with style(heading.size) as look:
        across = min(len(bands), ACROSS.get(look.name, 3))
        shown = bands[:across]
        if len(shown) < len(bands):
            heading = heading.noting(f"the first {across} of {len(bands)} bands")
        sheet = Sheet(look)
        first = groups(dips, axes)[0][1]
        mine = first[first["band"].isin([b.name for b in shown])]
        sheet.draws("dips", mine.index, "feed_r_ohm", "feed_x_ohm", "dip_mhz")
        sheet.header(heading.then(f"impedance {words}"))
        grid: Any = sheet.subplots(2, across, squeeze=False, sharex="col")
        for k, band in enumerate(shown):
            mine = part[part["band"] == band.name]
            view = view_of(band, mine, list(dips.loc[dips["band"] == band.name, "dip_mhz"]))
            for row, letter in enumerate("rx"):
                ax = grid[row, k]
                ax.axvspan(band.lower / 1e6, band.upper / 1e6, facecolor=TARGET, zorder=0.5)
                for edge in (band.lower / 1e6, band.upper / 1e6):
                    ax.axvline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
                for value, curve in lines(mine, axis):
                    seen = curve[curve["f_mhz"].between(*view)]
                    column = seen[f"{prefix}_{letter}_ohm"].replace([np.inf, -np.inf], np.nan)
                    ax.plot(seen["f_mhz"], column, **colours.mark(value).line, zorder=3)
                ax.set_xlim(*view)
                ax.yaxis.set_major_locator(MaxNLocator(5))
                band_ticks(ax.xaxis, band, GAPS[min(across, 4)])
            grid[0, k].set_ylim(bottom=0)
            grid[1, k].axhline(0, color=INK, lw=look.line * 0.5, zorder=1.5)
            small = across > 2 and look.name == "print"
            grid[0, k].set_title(band.name if across > 2 else band_title(band), size=look.type if small else None)
            grid[1, k].set_xlabel("frequency (MHz)" if across < 4 else "MHz")
        grid[0, 0].set_ylabel("resistance (Ω)")
        grid[1, 0].set_ylabel("reactance (Ω)")
        sheet.align_ylabels()
        colours.key(sheet, list(grid.flat))
        return sheet


# --- Impedance on a Smith chart of our own drawing.


RINGS = (0.2, 0.5, 1.0, 2.0, 5.0)
CENTRE = {"wire": 2450.0, "radio": 50.0}
"""plane -> ohm at the middle of the chart: 50 ohm, and 49 times that behind the transformer"""
SMITH_ACROSS = {"print": 2, "talk": 2, "slide": 2}
GRID = "#c3cfca"


def smith_figure(
    sweeps: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    heading: Heading = Heading(),
    *,
    plane: str = "wire",
    centre: float | None = None,
) -> Sheet:
    """A chart a band (the first four in print, the first two in talks).

    Thick where the curve is inside the band, with a dot at the lower edge and a square at the upper. sweeps: frame of
    want_dips. plane: "wire" or "radio"; centre: ohm in the middle, by default 2450 or 50. Raises InputError for an
    unknown plane or size.
    """
    prefix, words = plane_named(plane)
    z0 = centre or CENTRE[plane]
    axis = running(axes)
    colours = Colours(axis)
    name, part = groups(sweeps, axes)[0]
    with style(heading.size) as look:
        across = min(len(bands), SMITH_ACROSS.get(look.name, 2))
        shown = bands[: across * (2 if look.name == "print" else 1)]
        down = -(-len(shown) // across)
        notes = [
            heading.caption,
            name,
            f"impedance {words} in Ω, {z0:g} Ω in the middle; in the band thick from dot to square, their MHz beside",
        ]
        if len(shown) < len(bands):
            notes.append(f"the first {len(shown)} of {len(bands)} bands")
        sheet = Sheet(look, 1.3 + 3.3 * down if look.name == "print" else None)
        mine = part[part["band"].isin([b.name for b in shown])]
        sheet.draws("sweeps", mine.index, "swr" if plane == "radio" else "swr_transformer")
        sheet.header(replace(heading, caption="; ".join(filter(None, notes))))
        grid: Any = sheet.subplots(down, across, squeeze=False)
        for ax in list(grid.flat)[len(shown) :]:
            ax.set_visible(False)
        for ax, band in zip(grid.flat, shown, strict=False):
            chart(ax, z0, look)
            ax.set_title(band_title(band), size=look.type if across > 2 else None)
            curves = lines(part[part["band"] == band.name], axis)
            for i, (value, curve) in enumerate(curves):
                ends = not colours.ramped or i in (0, len(curves) - 1)
                _trace(ax, curve, prefix, z0, band, colours.mark(value), look, ends)
        colours.key(sheet, list(grid.flat)[: len(shown)])
        sheet.place()
        for ax, band in zip(grid.flat, shown, strict=False):
            curves = lines(part[part["band"] == band.name], axis)
            _frequencies(ax, [_reflections(curve, prefix, z0) for _, curve in curves], band, look)
        return sheet


def _frequencies(ax: Axes, curves: Sequence[tuple[Real, Complex]], band: Band, look: Look) -> None:
    """MHz beside the first curve at the band's edges, where they stand clear."""
    clear = Clear(ax)
    clear.taken += [corners(text, -0.2 * look.small) for text in ax.texts]
    for f, g in curves:
        clear.line(np.column_stack(_xy(g[(f >= band.lower / 1e6) & (f <= band.upper / 1e6)])))
    f, g = curves[0]
    for at in (band.lower / 1e6, band.upper / 1e6):
        x, y = (float(np.interp(at, f, part)) for part in _xy(g))
        clear.write(f"{at:.6g}", around(x, y, 0.6 * look.small), must=False, size=look.small * 0.86, color=INK,
                    path_effects=[withStroke(linewidth=2.2, foreground="white")])  # fmt: skip


def chart(ax: Axes, z0: float, look: Look) -> None:
    """The grid, with z0 ohm in the middle."""
    ax.set_axis_off()
    ax.set_aspect("equal")
    ax.set_xlim(-1.22, 1.22)
    ax.set_ylim(-1.16, 1.16)
    ax.add_patch(Circle((0, 0), 1, facecolor="white", edgecolor=QUIET, lw=look.line * 0.7, zorder=0.5))
    ax.add_patch(Circle((0, 0), 1 / 3, facecolor=TARGET, edgecolor="none", zorder=0.6))
    thin: dict[str, Any] = {"color": GRID, "lw": look.line * 0.5, "zorder": 0.8}
    endless = np.concatenate([[0.0], np.geomspace(1e-3, 1e3, 300), [1e9]])
    ax.plot([-1, 1], [0, 0], color=QUIET, lw=look.line * 0.4, zorder=0.9)
    for r in RINGS:
        for sign in (1, -1):
            ax.plot(*_xy(reflection(r + 1j * sign * endless, 1.0)), **thin)
            ax.plot(*_xy(reflection(endless + 1j * sign * r, 1.0)), **thin)
            edge = complex(reflection(1j * sign * r, 1.0))
            turn = np.degrees(np.angle(edge))
            across = abs(edge.real) > 0.5
            words = ("+" if sign > 0 else "−") + _ohms(r * z0)
            ax.text(
                1.03 * edge.real, 1.03 * edge.imag, words, size=look.small * 0.86,
                color=QUIET, ha=("left" if edge.real > 0 else "right") if across else "center",
                va="center" if across else "bottom" if turn > 0 else "top",
            )  # fmt: skip
        g = float(reflection(r, 1.0).real)
        ax.text(
            g, -0.015, _ohms(r * z0), size=look.small * 0.86, color=QUIET, ha="right", va="top", zorder=0.95,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.7},
        )  # fmt: skip


def _xy(g: Any) -> tuple[Real, Real]:
    return np.real(g), np.imag(g)


def _ohms(x: float) -> str:
    return f"{x / 1000:.3g}k" if x >= 1000 else f"{x:.3g}"


def _reflections(curve: pd.DataFrame, prefix: str, z0: float) -> tuple[Real, Complex]:
    """Frequencies (n,), MHz, and reflection coefficients against z0 (ohm) of a sweep."""
    z = curve[f"{prefix}_r_ohm"].to_numpy(float) + 1j * curve[f"{prefix}_x_ohm"].to_numpy(float)
    return curve["f_mhz"].to_numpy(float), np.asarray(reflection(z, z0))


def _trace(
    ax: Axes, curve: pd.DataFrame, prefix: str, z0: float, band: Band, mark: Mark, look: Look, ends: bool
) -> None:
    f, g = _reflections(curve, prefix, z0)
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.plot(*_xy(g), color=mark.colour, lw=look.line * 0.5, alpha=0.6, zorder=2)
    edges = [np.interp(e, f, g.real) + 1j * np.interp(e, f, g.imag) for e in (low, high)]
    inside = np.concatenate([edges[:1], g[(f > low) & (f < high)], edges[1:]])
    ax.plot(*_xy(inside), **mark.line, lw=look.line * 1.3, zorder=3)
    for edge, marker in zip(edges, "os", strict=True) if ends else ():
        ax.plot(edge.real, edge.imag, marker=marker, color=mark.colour, mec="white", mew=0.6, zorder=4)
