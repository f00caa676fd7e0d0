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
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from tautwire.model.basics import Real
from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import Colours, groups, heading_of, lines, running
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RAMP, RULE, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.findings import of_role
from tautwire.studies.study.study import Axis
from tautwire.studies.wants.pattern.words import findings, title_of_kind

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


# --- How the pattern changes along an axis: gain at chosen elevations along the bearing, and the take-off angle.


LOWEST = -25.0  # dBi shown


def gain_figure(
    gains: pd.DataFrame,
    table: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """A column a band: above, gain from the radio at each elevation; below, the elevation of most gain.

    gains, table: frames of want_pattern; the running axis has numbers. Further axes: their first values only.
    """
    axis = running(axes)
    assert axis is not None
    parts = groups(gains, axes)
    if len(parts) > 1:
        heading = heading.noting(f"{parts[0][0]}, the first of {len(parts)} groups")
    gains, table = parts[0][1], groups(table, axes)[0][1]
    with style(heading.size) as look:
        across = min(len(bands), 4)
        blocks = -(-len(bands) // across)
        sheet = Sheet(look, look.height * (0.3 + 0.7 * blocks) if look.name == "print" else None)
        elevations = list(dict.fromkeys(gains["elevation_deg"]))[: len(CYCLE)]
        named = [b.name for b in bands]
        shown = gains["band"].isin(named) & gains["elevation_deg"].isin(elevations)
        lowest = gains.groupby(["band", "elevation_deg"])["forward_radio_gain_dbi"].transform("min")
        whole = gains[shown & (lowest >= LOWEST)]  # a curve that is cut off below has no title
        sheet.draws("pattern_gains", whole.index, "forward_radio_gain_dbi", "elevation_deg")
        sheet.draws("pattern", table.index[table["band"].isin(named)], "takeoff_deg")
        sheet.header(heading.under("Gain from the radio along the bearing"))
        grid: Any = sheet.subplots(
            2 * blocks, across, squeeze=False, height_ratios=[2.2, 1] * blocks, sharex=True, sharey="row"
        )
        for ax in grid.flat:
            ax.set_visible(False)
        for k, band in enumerate(bands):
            block, column = divmod(k, across)
            upper, lower = grid[2 * block, column], grid[2 * block + 1, column]
            upper.set_visible(True)
            lower.set_visible(True)
            here = gains[gains["band"] == band.name]
            for mark, e in zip(CYCLE, elevations, strict=False):
                line = here[here["elevation_deg"] == e].sort_values(axis.column)
                upper.plot(
                    line[axis.column], line["forward_radio_gain_dbi"].clip(LOWEST), **mark.line, marker=mark.marker,
                    mec="white", mew=0.6,
                )  # fmt: skip
            rows = table[table["band"] == band.name].sort_values(axis.column)
            lower.plot(rows[axis.column], rows["takeoff_deg"], color=INK, marker="o", mec="white", mew=0.6)
            lower.set_ylim(0, 95)
            lower.set_yticks([0, 30, 60, 90])
            upper.set_title(band.name)
            if column == 0:
                upper.set_ylabel("gain (dBi)")
                lower.set_ylabel("take-off (°)")
            if k + across >= len(bands):
                lower.set_xlabel(axis.label)
        sheet.align_ylabels()
        handles = [
            Line2D([], [], **m.line, marker=m.marker, label=f"at {e:g}°")
            for m, e in zip(CYCLE, elevations, strict=False)
        ]
        sheet.legend(handles=handles, loc="outside lower left", ncols=6, handlelength=2.6)
        return sheet


# --- Where the radio's power goes: a bar a case, parted into sky, soil, wire, choke, transformer, coax, reflected.


# lightness falls and rises along the bar, and every second part is hatched, so that neighbours differ without colour
PARTS = (
    ("sky", "sky", "#3a8fe6", ""),
    ("soil", "soil", "#7c2a00", ""),
    ("wire", "wire", "#e0a04f", "////"),
    ("choke", "choke", "#c79be0", "xxxx"),
    ("transformer", "transformer", "#93866f", "...."),
    ("coax", "coax", "#5f8f8b", "----"),
    ("mismatch", "reflected", "#f1efe9", "\\\\\\\\"),
)
MOST_BARS = 24


def power_figure(
    table: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """table: frame "pattern" of want_pattern. Bars: percent of the radio's forward power, the sky's written in."""
    count = int((table["band"] == bands[0].name).sum())
    if count > MOST_BARS:
        heading = heading.noting(f"the first {MOST_BARS} of {count} cases")
    with style(heading.size) as look:
        most = min(count, MOST_BARS)
        across = 2 if len(bands) > 1 else 1
        if look.name != "print":
            across = len(bands)
        rows = -(-len(bands) // across)
        inches = 1.6 + rows * (0.6 + 0.23 * max(most, 2))
        sheet = Sheet(look, inches if look.name == "print" else None)
        parts = {band.name: table[table["band"] == band.name].head(MOST_BARS) for band in bands}
        for part in parts.values():
            sheet.draws("pattern", part.index, *(f"share_{key}" for key, *_ in PARTS))
        sheet.header(heading.under("Share of the radio's power, %"))
        panels: Any = sheet.subplots(rows, across, squeeze=False, sharex=True)
        for ax in panels.flat[len(bands) :]:
            ax.set_visible(False)
        for k, (ax, band) in enumerate(zip(panels.flat, bands, strict=False)):
            part = parts[band.name]
            _bars(ax, part, look)
            names = [_case(axes, row) for row in part.to_dict("records")]
            ax.set_yticks(range(len(names)), names if k % across == 0 else [])
            ax.set_title(band.name)
            ax.set_ylim(len(names) - 0.4, -0.6)
        other = [a for a in axes if len(axes) == 1 and a.numbers is not None]
        for row in panels:
            if other:
                row[0].set_ylabel(other[0].label)
        handles = [Patch(facecolor=c, hatch=h, edgecolor=INK, lw=0.3, label=w) for _, w, c, h in PARTS]
        sheet.legend(handles=handles, loc="outside lower left", ncols=7, handlelength=1.4, columnspacing=1.2)
        return sheet


def _bars(ax: Any, part: pd.DataFrame, look: Look) -> None:
    for y, row in enumerate(part.to_dict("records")):
        left = 0.0
        for key, _, colour, hatch in PARTS:
            wide = 100 * row[f"share_{key}"]
            ax.barh(y, wide, left=left, height=0.72, color=colour, hatch=hatch, edgecolor=INK, lw=0.3, zorder=2)
            left += wide
        sky = 100 * row["share_sky"]
        inside = sky > 12
        ax.text(
            sky - 1 if inside else 1, y, f"{sky:.0f}", ha="right" if inside else "left", va="center", zorder=3,
            size=look.small, color="white" if not inside else INK, weight="bold",
        )  # fmt: skip
    ax.set_xlim(0, 100)
    ax.grid(axis="y", visible=False)
    ax.grid(axis="x", visible=True)
    ax.tick_params(axis="y", length=0)


def _case(axes: Sequence[Axis], row: dict[Any, Any]) -> str:
    if not axes:
        return "this set-up"
    if len(axes) == 1:
        return axes[0].value_text(row[axes[0].column])
    return ", ".join(a.words(row[a.column]) for a in axes)


# --- How gain at the lowest elevation depends on how far the shore is, a line for each value of another axis.


SHORE = "site.shore.distance"


def shore_figure(
    gains: pd.DataFrame, bands: Sequence[Band], axes: Sequence[Axis], heading: Heading = Heading()
) -> Sheet:
    """A panel a band: gain from the radio against the distance of the shore; dotted: without the shore.

    gains: frame "pattern_gains" with around_db. Of axes beyond one besides the shore's, their first values only.
    """
    shore = next(a for a in axes if a.path == SHORE)
    others = [a for a in axes if a is not shore]
    for axis in others[1:]:
        gains = gains[gains[axis.column] == gains[axis.column].iloc[0]]
    low = gains[gains["elevation_deg"] == gains["elevation_deg"].min()]
    lines = list(dict.fromkeys(low[others[0].column]))[: len(CYCLE)] if others else [None]
    with style(heading.size) as look:
        sheet = Sheet(look, look.height * 0.75 if look.name == "print" else None)
        drawn = low[low["band"].isin([b.name for b in bands])]
        if others:
            drawn = drawn[drawn[others[0].column].isin(lines)]
        sheet.draws("pattern_gains", drawn.index, "forward_radio_gain_dbi", "around_db", "elevation_deg")
        sheet.header(heading.under(f"Gain from the radio at {low['elevation_deg'].iloc[0]:g}\u00b0 along the bearing"))
        panels: Any = sheet.subplots(1, len(bands), squeeze=False, sharey=True)[0]
        for ax, band in zip(panels, bands, strict=True):
            here = low[low["band"] == band.name]
            for mark, value in zip(CYCLE, lines, strict=False):
                rows = here if value is None else here[here[others[0].column] == value]
                rows = rows.sort_values(shore.column)
                x, y = rows[shore.column].clip(lower=1.0), rows["forward_radio_gain_dbi"].clip(LOWEST)
                ax.plot(x, y, **mark.line, marker=mark.marker, mec="white", mew=0.6, zorder=3)
                without = (rows["forward_radio_gain_dbi"] - rows["around_db"]).clip(LOWEST)
                ax.plot(x, without, color=mark.colour, lw=look.line * 0.6, ls=":", zorder=2)
            ax.set_xscale("log")
            ticks = sorted(set(here[shore.column].clip(lower=1.0)))
            ax.set_xticks(ticks, [f"{t:g}" for t in ticks])
            ax.minorticks_off()
            ax.set_title(band.name)
            ax.set_xlabel("shore (m)")
        panels[0].set_ylabel("gain (dBi)")
        handles = [
            Line2D([], [], **m.line, marker=m.marker, label=others[0].words(v))
            for m, v in zip(CYCLE, lines, strict=False)
            if v is not None
        ]
        handles.append(Line2D([], [], color=QUIET, ls=":", lw=look.line * 0.6, label="without the shore"))
        sheet.legend(handles=handles, loc="outside lower left", ncols=3, handlelength=2.6)
        return sheet


# --- The pattern as a solid over the compass: first and last case of a study, a column a band.


FLOOR, USED = -20.0, 0.05  # dBi in the centre at the least; share of the gains above it that may lie below
MOST_BANDS = 4
WIRE = 0.7  # of the compass's radius: half the wire's length, or its height
ZOOM = 1.15  # so that the compass fills its cell
ROOM = 0.8  # of a slide's height, below names


def solid_figure(
    sphere: pd.DataFrame,
    table: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
    wires: Sequence[Real] = (),
) -> Sheet:
    """sphere, table: frames of want_pattern. Distance from the centre and colour are dBi, evenly from a centre below
    which few of them lie.

    wires: the wire of the first and the last case, points (n, 3) in metres, drawn in the middle of its solid.
    """
    bands = bands[:MOST_BANDS]
    cases = _cases(sphere, axes)
    top = 5 * np.ceil(sphere["gain_dbi"].max() / 5)
    above = sphere["gain_dbi"][sphere["gain_dbi"] > FLOOR]
    floor = 5 * float(np.floor(above.quantile(USED) / 5))
    scale = Normalize(floor, top)
    with style(heading.size) as look:
        count = len(cases) * len(bands)
        if look.name != "print":
            down = max(range(1, count + 1), key=lambda n: min(look.width / -(-count // n), ROOM * look.height / n))
            shape = (down, -(-count // down))
        else:
            shape = (len(cases), len(bands)) if len(cases) > 1 else (-(-len(bands) // 2), min(len(bands), 2))
        tall = look.width / shape[1] * 0.85 * shape[0] + 1.3
        sheet = Sheet(look, min(tall, 9.2) if look.name == "print" else None)
        shown = table[table["band"].isin([b.name for b in bands])]
        for _, rows in cases:
            sheet.draws("pattern", _same(shown, rows, axes).index, "takeoff_deg", "peak_radio_gain_dbi")
        sheet.header(heading.under("Gain from the radio over the horizon, dBi"))
        panels: Any = sheet.subplots(*shape, squeeze=False, subplot_kw={"projection": "3d"})
        flat = list(panels.flat)
        for i, (words, rows) in enumerate(cases):
            for j, band in enumerate(bands):
                ax = flat[i * len(bands) + j]
                mine = rows[rows["band"] == band.name]
                about = table[table["band"] == band.name]
                _solid(ax, mine, float(about["bearing_deg"].iloc[0 if i == 0 else -1]), scale, look)
                if len(wires):
                    _wire(ax, wires[0 if i == 0 else -1], float(top - floor), look)
                ax.set_title(f"{band.name}\n{words}" if words else band.name, size=look.type * 0.95)
        for ax in flat[count:]:
            ax.set_axis_off()  # a hidden one has no box to lay out
        bar = sheet.colorbar(ScalarMappable(scale, RAMP), ax=panels, fraction=0.04, aspect=32, pad=0.02,
                             ticks=np.arange(floor, top + 1, 5))  # fmt: skip
        bar.set_label("gain (dBi)")
        bar.outline.set_visible(False)
        return sheet


def _cases(sphere: pd.DataFrame, axes: Sequence[Axis]) -> list[tuple[str, pd.DataFrame]]:
    """First and last case, named by their axes."""
    if not axes:
        return [("", sphere)]
    tables = []
    for rows in (sphere.iloc[:1], sphere.iloc[-1:]):
        words = ", ".join(a.words(rows[a.column].iloc[0]) for a in axes)
        tables.append((words, _same(sphere, rows, axes)))
    return tables if len(sphere) > len(tables[0][1]) else tables[:1]


def _same(table: pd.DataFrame, rows: pd.DataFrame, axes: Sequence[Axis]) -> pd.DataFrame:
    """The table's rows of the case that the rows are of."""
    mine = pd.Series(True, index=table.index)
    for a in axes:
        mine &= table[a.column].map(str) == str(rows[a.column].iloc[0])
    return table[mine]


def _wire(ax: Any, points: Real, edge: float, look: Look) -> None:
    """The wire over everything else, its middle over the compass's, in its true shape; a square is the feed."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    size = WIRE * edge / max(math.dist(low, high) / 2, float(points[:, 2].max()))
    x, y, z = ((points - [*(low + high) / 2, 0]) * size).T
    ax.computed_zorder = False
    ax.plot(x, y, z, color="white", lw=look.line * 2.2, zorder=8)
    ax.plot(x, y, z, color=INK, lw=look.line * 1.2, zorder=9)
    ax.plot(x[:1], y[:1], z[:1], "s", color=INK, mec="white", ms=0.5 * look.type, zorder=10)


def _solid(ax: Any, rows: pd.DataFrame, bearing: float, scale: Normalize, look: Look) -> None:
    grid = rows.pivot(index="elevation_deg", columns="azimuth_deg", values="gain_dbi")
    e, a = np.radians(grid.index.to_numpy(float))[:, None], np.radians(grid.columns.to_numpy(float))[None, :]
    floor, edge = float(scale.vmin or 0), float((scale.vmax or 0) - (scale.vmin or 0))
    dbi = np.maximum(grid.to_numpy(), floor)
    r = dbi - floor
    x, y, z = r * np.cos(e) * np.sin(a), r * np.cos(e) * np.cos(a), r * np.sin(e)
    middle = (dbi[1:, 1:] + dbi[:-1, 1:] + dbi[1:, :-1] + dbi[:-1, :-1]) / 4
    ax.plot_surface(
        x, y, z, facecolors=RAMP(scale(middle)), rstride=1, cstride=1, linewidth=0.15, edgecolor=INK, shade=False,
        antialiased=True,
    )  # fmt: skip
    t = np.linspace(0, 2 * np.pi, 121)
    ax.plot(edge * np.cos(t), edge * np.sin(t), 0 * t, color=QUIET, lw=look.line * 0.5)
    for k, letter in enumerate("NESW"):
        ax.text(
            1.2 * edge * np.sin(k * np.pi / 2), 1.2 * edge * np.cos(k * np.pi / 2), 0, letter, ha="center",
            va="center", size=look.small, color=INK,
        )  # fmt: skip
    b = np.radians(bearing)
    ax.plot(
        *(edge * np.array([0.97, 1.06]) * part for part in (np.sin(b), np.cos(b), 0)), color=INK, lw=look.line * 2.5
    )
    ax.set_xlim(-edge * 0.8, edge * 0.8)
    ax.set_ylim(-edge * 0.8, edge * 0.8)
    low = float(z.min())
    ax.set_zlim(min(low, 0), edge if low > -1 else edge)
    ax.set_box_aspect((1.6, 1.6, 1.0 if low > -1 else 1.6), zoom=ZOOM)
    ax.view_init(24, -60)
    ax.set_axis_off()


# --- Pattern figures.


BOTTOM, RING = -20.0, 5.0  # dBi
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
                    ax.fill_between(np.linspace(a, b, 40), 0, top - BOTTOM, color=TARGET, lw=0, zorder=0.6)
            for value, line in lines(here, colours.axis):
                angle, gain = np.radians(line["angle_deg"]), np.maximum(line["gain_dbi"], BOTTOM)
                ax.plot(angle, gain - BOTTOM, **colours.mark(value).line, zorder=3)
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
    return max(RING * math.ceil((gain.max() + 0.2) / RING), BOTTOM + 3 * RING)


def _what(cut: str, table: pd.DataFrame, axis: Axis | None) -> str:
    each = "" if axis is None else f" by {axis.name}"
    if cut == "elevation":
        return f"Gain from the radio in the vertical plane of the bearing{each}"
    low, high = table["cut_elevation_deg"].min(), table["cut_elevation_deg"].max()
    at = f"{low:.0f}°" if high - low < 0.5 else f"the take-off angle ({low:.0f} to {high:.0f}°)"
    return f"Gain from the radio at {at} elevation{each}"


def _dial(ax: Any, top: float, look: Look) -> None:
    rings = np.arange(BOTTOM + RING, top + 0.1, RING)
    ax.set_ylim(0, top - BOTTOM)
    ax.set_yticks(rings - BOTTOM, [])
    ax.grid(True, color=RULE, lw=look.line * 0.5)
    ax.spines["polar"].set_color(QUIET)
    ax.spines["polar"].set_linewidth(look.line * 0.5)


def _ring_words(ax: Any, top: float, angle: float, look: Look, down: float = 0.0, every: int = 1) -> None:
    """The rings' dBi along a spoke; down: so many points below it; every: second ring, third, ... from the edge in."""
    for ring in np.arange(BOTTOM + 2 * RING, top + 0.1, RING)[::-1][::every]:
        last = ring + RING > top  # its unit stands outside, clear of the ring before
        ax.annotate(
            f"{ring:g} dBi" if last else f"{ring:g}", (angle, ring - BOTTOM),
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
            np.radians([bearing] * 2), np.array([1.0, 1.045]) * (top - BOTTOM), color=INK, lw=look.line * 2,
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
                words, (angle, top - BOTTOM), (0, -look.type * 1.9), textcoords="offset points", ha=side, va="top",
                size=look.small, color=INK, annotation_clip=False,
            )  # fmt: skip
    else:
        ax.set_xticks(np.radians(np.arange(0, 360, 30)))
        _ring_words(ax, top, math.radians(15), look)


def _up_words() -> list[str]:
    up = [min(a, 180 - a) for a in range(0, 181, 15)]
    return ["", *(f"{a}°" if a % 30 == 0 else "" for a in up[1:])]
