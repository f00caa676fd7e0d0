"""Maps of exposure: plan with the highest of the body heights, and the section in which the limit reaches farthest."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from tautwire.model.basics import Real
from tautwire.model.fields.exposure import Plane
from tautwire.studies.drawing.style import INK, QUIET, ROLE_MARKS, SOIL, Heading, Look, Sheet, style
from tautwire.studies.study.findings import Cell, Drawn, Title
from tautwire.studies.study.setup import Built
from tautwire.studies.wants.exposure.words import title_words

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

SHOWN = ("stay_away_m", "any_part_m", "power_w", "duty")  # of the table "exposure"
STEPS = [0.01, 0.03, 0.1, 0.3, 1, 3, 10, 1e9]  # shares of the limit
SHADES = LinearSegmentedColormap.from_list("near", ["#f4f6f3", "#cfe0dc", "#9fbfc4", "#e5b062", "#c8641a", "#5b1f1a"])


def exposure_title(result: Result, drawn: Drawn) -> str:
    """How far to keep away on the band that is drawn."""
    rows = drawn.rows(result, "exposure", "any_part_m")
    return title_words(result, rows[0]).title(result.study.lengths) if rows else Title("")


def exposure_figure(
    plan: pd.DataFrame,
    section: pd.DataFrame,
    built: Built,
    plane: Plane,
    heading: Heading = Heading(),
    rows: pd.DataFrame | None = None,
) -> Sheet:
    """plan: east_m, north_m, quotient. section: along_m, height_m, quotient, in `plane`. rows: table "exposure", whose
    distances the maps show. Of one case and band."""
    drawn = Drawn()
    if rows is not None:
        drawn |= {Cell("exposure", int(i), column) for i in rows.index for column in SHOWN}
    with style(heading.size) as look:
        start, bearing = plane
        along = np.array([np.sin(bearing), np.cos(bearing), 0])
        own = abs(bearing - built.layout.bearing) < 1e-9
        corners = np.concatenate([np.array(c.points) for c in built.structure.conductors])
        flat = _limits(plan, ("east_m", "north_m"), corners[:, :2])
        cut = _limits(section, ("along_m", "height_m"), np.stack([(corners - start) @ along, corners[:, 2]], axis=1))
        cut[0][1] = -0.06 * cut[1][1]
        sheet, left, right, bar = _places(look, (flat, cut), heading, drawn)
        shades = _map(left, plan, "east_m", "north_m")
        _map(right, section, "along_m", "height_m")
        for c in built.structure.conductors:
            p = np.array(c.points)
            line = {**ROLE_MARKS[c.role].line, "lw": look.line, "zorder": 4}
            halo = [withStroke(linewidth=look.line * 2.2, foreground="white")]
            left.plot(p[:, 0], p[:, 1], **line, path_effects=halo)
            right.plot((p - start) @ along, p[:, 2], **line, path_effects=halo, label=c.role)
        across = "along the wire" if own else f"along bearing {np.degrees(bearing) % 360:.0f}°"
        for ax, x, y in ((left, "east (m)", "north (m)"), (right, f"{across} (m)", "height (m)")):
            at = (0, 0) if ax is left else (-start @ along, built.layout.feed_height)
            ax.plot(*at, "s", color=INK, mec="white", zorder=5)
            ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
            ax.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
            ax.set_xlabel(x)
            ax.set_ylabel(y)
            ax.grid(False)
        left.set_title("plan, at body height")
        right.set_title(f"section {across}")
        right.axhspan(-100, 0, color=SOIL, zorder=0.5, lw=0)
        right.axhline(2, color=QUIET, lw=look.line * 0.5, ls=(0, (2, 3)), label="2 m above soil")
        named = {h.get_label(): h for h in right.get_lines() if not str(h.get_label()).startswith("_")}
        handles = [*named.values(), Line2D([], [], color=INK, lw=1.6, label="the limit")]
        edge = 0.9 * look.type / 72 / look.width
        sheet.legend(handles=handles, loc="lower left", bbox_to_anchor=(edge, 0), ncols=2, handlelength=2.6)
        key = sheet.colorbar(shades, cax=bar, orientation="horizontal")
        key.set_ticks(STEPS[:-1], labels=[f"{s:g}" for s in STEPS[:-1]])
        key.set_label("share of the limit, as power (white: not computed)")
        key.outline.set_visible(False)  # type: ignore[operator]
        return sheet


def _places(
    look: Look, limits: tuple[tuple[Real, Real], tuple[Real, Real]], heading: Heading, drawn: Drawn
) -> tuple[Sheet, Axes, Axes, Axes]:
    """A sheet with its heading, and axes for two maps, each of equal scales, and for the colour bar.

    A map narrower than its title gets a wider axis; a printed sheet is as high as it needs to be.
    """
    t = look.type / 72
    edge, words, least, below, above = 0.9 * t, 4.2 * t, 15.5 * t, 8.6 * t, 2.2 * t
    room = look.width - 2 * (edge + words)
    trial = Sheet(look, look.height, layout=None)
    trial.drawn |= drawn
    trial.header(heading)
    head = look.height * (1 - trial.top)
    printed = look.name == "print"
    sizes = [high - low for low, high in limits]
    tallest = max(s[1] for s in sizes)
    most = (4.4 if printed else look.height - head - above - below) / tallest  # inches a metre
    scale = min(most, room / sum(s[0] for s in sizes))
    for size, other in (sizes, sizes[::-1]):
        if size[0] * scale < least:
            scale = min(scale, (room - least) / other[0])
    widths = [max(s[0] * scale, least) for s in sizes]
    scales = [scale, scale]
    for i in (0, 1):  # a lower map takes the width that is left
        spare = room - sum(widths) + widths[i]
        scales[i] = max(scale, min(tallest * scale / sizes[i][1], spare / sizes[i][0]))
        widths[i] = max(sizes[i][0] * scales[i], least)
    height = head + above + tallest * scale + below if printed else look.height
    sheet = Sheet(look, height, layout=None)
    sheet.drawn |= drawn
    sheet.header(heading)
    spare = max(room - sum(widths), 0.0)
    x, axes = edge + words + spare / 4, []
    for (low, high), size, width, own in zip(limits, sizes, widths, scales, strict=True):
        foot = height - head - above - size[1] * own
        ax = sheet.add_axes((x / look.width, foot / height, width / look.width, size[1] * own / height))
        extra = (width / own - size[0]) / 2
        ax.set_xlim(low[0] - extra, high[0] + extra)
        ax.set_ylim(low[1], high[1])
        ax.autoscale(False)
        axes.append(ax)
        x += width + words + spare / 2
    start = 0.46 * look.width
    bar = sheet.add_axes((start / look.width, 3.6 * t / height, (look.width - start - 2 * edge) / look.width,
                          0.9 * t / height))  # fmt: skip
    return sheet, axes[0], axes[1], bar


def _limits(rows: pd.DataFrame, columns: tuple[str, str], corners: Real) -> tuple[Real, Real]:
    """Lower and upper limits (2,) of a map that shows its rows and the conductors' corners."""
    every = np.concatenate([rows[list(columns)].to_numpy(float), corners])
    return every.min(axis=0) - 0.3, every.max(axis=0) + 0.3


def _grid(rows: pd.DataFrame, across: str, up: str) -> tuple[Real, Real, Real]:
    table = rows.pivot_table(index=up, columns=across, values="quotient")
    return table.columns.to_numpy(float), table.index.to_numpy(float), table.to_numpy(float)


def _map(ax: Axes, rows: pd.DataFrame, across: str, up: str) -> Any:
    x, y, value = _grid(rows, across, up)
    value = np.ma.masked_invalid(np.clip(value, STEPS[0] * 1.001, 1e8))
    norm = BoundaryNorm(STEPS, SHADES.N)
    if min(value.shape) < 2:
        return ax.scatter([], [], c=[], cmap=SHADES, norm=norm)
    shades = ax.contourf(x, y, value, levels=STEPS, cmap=SHADES, norm=norm)
    if value.max() > 1 > value.min():
        ax.contour(x, y, np.log(value), levels=[0.0], colors=INK, linewidths=1.6, zorder=3)
    return shades
