"""Pattern figures: elevation and azimuth cuts of all cases on one scale, and the sheets that go with them.

The radius is gain in dBi, even steps from FLOOR to the edge; rings carry their dBi. Azimuth is the compass: north up,
clockwise; the tick outside the edge is the wire's bearing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from tautwire.model.arrays import Real
from tautwire.studies.drawing.axes import Colours, groups, lines, running
from tautwire.studies.drawing.style import INK, QUIET, RULE, TARGET, Heading, Look, Sheet, style
from tautwire.studies.drawing.words import heading_of
from tautwire.studies.study.findings import of_role
from tautwire.studies.wants.pattern.findings import title_of_kind
from tautwire.studies.wants.pattern.gain import gain_figure
from tautwire.studies.wants.pattern.power import power_figure
from tautwire.studies.wants.pattern.shore import SHORE, shore_figure
from tautwire.studies.wants.pattern.solid import solid_figure
from tautwire.studies.wants.pattern.words import findings

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Axis, Study

FLOOR, RING = -20.0, 5.0  # dBi
ACROSS = 2
# of the table "pattern": what a cut's curve shows
DRAWN = {
    "elevation": ("plane_peak_radio_gain_dbi", "plane_peak_deg"),
    "azimuth": ("cut_peak_radio_gain_dbi", "cut_peak_bearing_deg", "cut_elevation_deg"),
}
LETTERS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def pattern_figures(result: Result, size: str | Look = "print") -> dict[str, Sheet]:
    """ "pattern_elevation", "pattern_azimuth", "pattern_power", with several cases "pattern_gain", with the sphere
    table "pattern_solid"; none without rows.
    """
    study = result.study
    table, cuts = result.frames.get("pattern"), result.frames.get("pattern_cuts")
    if table is None or cuts is None or table.empty:
        return {}
    bands = [b for b in study.bands if (table["band"] == b.name).any()]
    cuts = from_radio(cuts, table, result.axis_columns)

    def heading(kind: str) -> Heading:
        return heading_of(study, size, title_of_kind(result, kind))

    up, round_about = wanted(study)
    figures = {
        "pattern_elevation": cut_figure(cuts, table, bands, study.axes, "elevation", heading("elevation"), up),
        "pattern_azimuth": cut_figure(cuts, table, bands, study.axes, "azimuth", heading("azimuth"), round_about),
        "pattern_power": power_figure(table, bands, study.axes, heading("power")),
    }
    gains = result.frames.get("pattern_gains")
    axis = running(study.axes)
    if gains is not None and axis is not None and axis.numbers is not None and len(axis.numbers) > 1:
        figures["pattern_gain"] = gain_figure(gains, table, bands, study.axes, heading("gain"))
    if gains is not None and "around_db" in gains and any(a.path == SHORE for a in study.axes):
        figures["pattern_shore"] = shore_figure(gains, bands, study.axes, heading("shore"))
    sphere = result.frames.get("pattern_sphere")
    if sphere is not None and not sphere.empty:
        sphere = from_radio(sphere, table, result.axis_columns)
        shown, rows = _decided(result, table, sphere), _decided(result, table, table)
        wires = _end_wires(result, shown)
        figures["pattern_solid"] = solid_figure(shown, rows, bands, study.axes, heading("solid"), wires)
    return figures


def _decided(result: Result, table: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame's rows of the two cases that the verdict compares, the better first; all of them where it does not."""
    verdict = next(of_role(findings(result), "verdict"), None)
    compared = [n for n in verdict.words.numbers if n.function in ("difference", "decibels")] if verdict else []
    rows = [int(c.row) for n in compared[:1] for c in n.cells if c.table == "pattern"]
    places = list(dict.fromkeys(tuple(str(table.loc[i, k]) for k in result.axis_columns) for i in rows))
    if len(places) != 2:
        return frame
    keys = frame[result.axis_columns].astype(str).apply(tuple, axis=1)
    return pd.concat([frame[keys == place] for place in places])


def _end_wires(result: Result, frame: pd.DataFrame) -> list[Real]:
    """The wire of the first and the last case of a frame, (n, 3), m."""
    wires = []
    for row in (frame.iloc[0], frame.iloc[-1]):
        same = (c for c in result.study.cases() if all(str(c.labels[k]) == str(row[k]) for k in result.axis_columns))
        wires.append(np.array(next(same).setup().build().layout.points))
    return wires


Wedge = tuple[str, float, float]
"""a name, and the angles (rad) between which it lies"""


def wanted(study: Study) -> tuple[list[Wedge], list[Wedge]]:
    """Where the regions of a study that wants "target" are: over the horizon, by the fewest hops; and round about."""
    up: list[Wedge] = []
    round_about: list[Wedge] = []
    target = study.options["target"]
    for region in [r.region() for r in target.region] if "target" in study.spec.want else []:
        angles = next((a for n in sorted(target.hops) if len(a := region.elevations(target.height, n))), None)
        if angles is not None:
            up.append((region.name, float(min(angles)), float(max(angles))))
        if region.bearing is not None:
            half = max(region.spread, math.radians(4)) / 2
            round_about.append((region.name, region.bearing - half, region.bearing + half))
    return up, round_about


def from_radio(gains: pd.DataFrame, table: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """The frame of gains with gain_dbi as gain from the radio: what mismatch, coax and transformer take is off."""
    keys = ["band", *columns]
    off = dict(zip(_keys(table, keys), table["peak_radio_gain_dbi"] - table["peak_gain_dbi"], strict=True))
    return gains.assign(gain_dbi=gains["gain_dbi"] + [off[key] for key in _keys(gains, keys)])


def _keys(frame: pd.DataFrame, columns: Sequence[str]) -> list[tuple[str, ...]]:
    return list(zip(*(frame[c].map(str) for c in columns), strict=True))


def cut_figure(
    cuts: pd.DataFrame,
    table: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    cut: str,
    heading: Heading = Heading(),
    wedges: Sequence[Wedge] = (),
) -> Sheet:
    """A dial a band with a line a case. cuts, table: frames of want_pattern; cut: "elevation" or "azimuth"; wedges: the
    angles wanted, tinted."""
    colours = Colours(running(axes))
    mine = cuts[cuts["cut"] == cut]
    part = groups(mine, axes)
    if len(part) > 1:
        heading = heading.noting(f"{part[0][0]}, the first of {len(part)} groups")
        mine, table = part[0][1], groups(table, axes)[0][1]
    half = cut == "elevation" and mine["angle_deg"].max() <= 180
    top = _edge(mine["gain_dbi"])
    with style(heading.size) as look:
        across = min(len(bands), ACROSS if look.name == "print" else 4)
        rows = -(-len(bands) // across)
        tall = look.width / across * (0.58 if half else 1.0) * rows + 1.2
        sheet = Sheet(look, min(tall, 9.2) if look.name == "print" else None)
        spans = [f"{name} {np.degrees(a):.0f} to {np.degrees(b):.0f}\u00b0" for name, a, b in wedges]
        heading = heading.then(f"tinted: {', '.join(spans)}") if spans else heading
        shown = table.index[table["band"].isin([b.name for b in bands])]
        sheet.draws("pattern", shown, *DRAWN[cut], "f_mhz", "bearing_deg")
        sheet.header(heading.under(_what(cut, table, colours.axis)))
        panels: Any = sheet.subplots(rows, across, squeeze=False, subplot_kw={"projection": "polar"})
        for ax in panels.flat[len(bands) :]:
            ax.set_visible(False)
        for ax, band in zip(panels.flat, bands, strict=False):
            here = mine[mine["band"] == band.name]
            _dial(ax, top, look)
            for _, low, high in wedges:
                for a, b in [(low, high), (math.pi - high, math.pi - low)][: 2 if half else 1]:
                    ax.fill_between(np.linspace(a, b, 40), 0, top - FLOOR, color=TARGET, lw=0, zorder=0.6)
            for value, line in lines(here, colours.axis):
                angle, gain = np.radians(line["angle_deg"]), np.maximum(line["gain_dbi"], FLOOR)
                ax.plot(angle, gain - FLOOR, **colours.mark(value).line, zorder=3)
            about = table[table["band"] == band.name]
            if cut == "azimuth":
                _compass(ax, about, top, look)
            else:
                _horizon(ax, about, top, half, look, 2 if across > 2 else 1)
            ax.set_title(
                f"{band.name}, {about['f_mhz'].iloc[0]:.3f} MHz",
                loc="left",
                pad=look.type * (0.2 if half else 1.5),
                y=0.91 if half else None,
            )
        colours.key(sheet, panels)
        for _ in range(0 if half else 2):  # round dials leave room for their names only once their size is known
            sheet.place()
        return sheet


def _edge(gain: pd.Series) -> float:
    return max(RING * math.ceil((gain.max() + 0.2) / RING), FLOOR + 3 * RING)


def _what(cut: str, table: pd.DataFrame, axis: Axis | None) -> str:
    each = "" if axis is None else f" by {axis.name}"
    if cut == "elevation":
        return f"Gain from the radio in the vertical plane of the bearing{each}"
    low, high = table["cut_elevation_deg"].min(), table["cut_elevation_deg"].max()
    at = f"{low:.0f}°" if high - low < 0.5 else f"the take-off angle ({low:.0f} to {high:.0f}°)"
    return f"Gain from the radio at {at} elevation{each}"


def _dial(ax: Any, top: float, look: Look) -> None:
    rings = np.arange(FLOOR + RING, top + 0.1, RING)
    ax.set_ylim(0, top - FLOOR)
    ax.set_yticks(rings - FLOOR, [])
    ax.grid(True, color=RULE, lw=look.line * 0.5)
    ax.spines["polar"].set_color(QUIET)
    ax.spines["polar"].set_linewidth(look.line * 0.5)


def _ring_words(ax: Any, top: float, angle: float, look: Look, down: float = 0.0, every: int = 1) -> None:
    """The rings' dBi along a spoke; down: so many points below it; every: second ring, third, ... from the edge in."""
    for ring in np.arange(FLOOR + 2 * RING, top + 0.1, RING)[::-1][::every]:
        last = ring + RING > top  # its unit stands outside, clear of the ring before
        ax.annotate(
            f"{ring:g} dBi" if last else f"{ring:g}", (angle, ring - FLOOR),
            (-0.5 * look.small if last and down else 0, -down),
            textcoords="offset points", size=look.small * 0.92, color=QUIET, zorder=4, annotation_clip=False,
            ha="left" if last and down else "center", va="top" if down else "center",
            bbox=None if down else {"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
        )  # fmt: skip


def _compass(ax: Any, about: pd.DataFrame, top: float, look: Look) -> None:
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    ax.set_xticks(np.radians(np.arange(0, 360, 45)), LETTERS)
    ax.tick_params(axis="x", pad=look.type * 0.3)
    _ring_words(ax, top, math.radians(22.5), look)
    bearings = np.unique(about["bearing_deg"].round(3))
    for bearing in bearings:
        ax.plot(
            np.radians([bearing] * 2), np.array([1.0, 1.045]) * (top - FLOOR), color=INK, lw=look.line * 2,
            clip_on=False, solid_capstyle="butt",
        )  # fmt: skip
    if len(bearings) == 1:
        drop = 0.1 if look.name == "print" else 1.4  # large type needs a line of its own below the S
        ax.annotate(
            f"wire towards {bearings[0]:.0f}°", (1.0, 0.0), (0, -drop * look.type), xycoords="axes fraction",
            textcoords="offset points", ha="right", va="top", size=look.small, color=QUIET, annotation_clip=False,
        )  # fmt: skip


def _horizon(ax: Any, about: pd.DataFrame, top: float, half: bool, look: Look, every: int) -> None:
    bearings = np.unique(about["bearing_deg"].round(3))
    ahead = f"{bearings[0]:.0f}°" if len(bearings) == 1 else "bearing"
    if half:
        ax.set_thetamin(0)
        ax.set_thetamax(180)
        ax.set_xticks(np.radians(np.arange(0, 181, 15)), _up_words())
        _ring_words(ax, top, 0.0, look, down=look.type * 0.3, every=every)
        ends = ((0.0, f"towards {ahead}", "right"), (np.pi, "behind", "left"))
        for angle, words, side in ends:
            ax.annotate(
                words, (angle, top - FLOOR), (0, -look.type * 1.9), textcoords="offset points", ha=side, va="top",
                size=look.small, color=INK, annotation_clip=False,
            )  # fmt: skip
    else:
        ax.set_xticks(np.radians(np.arange(0, 360, 30)))
        _ring_words(ax, top, math.radians(15), look)


def _up_words() -> list[str]:
    up = [min(a, 180 - a) for a in range(0, 181, 15)]
    return ["", *(f"{a}°" if a % 30 == 0 else "" for a in up[1:])]
