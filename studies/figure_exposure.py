"""Maps of exposure: plan with the highest of the body heights, and the upright section along the wire."""

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from ..model.arrays import Real
from .setup import Built
from .style import INK, QUIET, ROLE_MARKS, SOIL, Look, Sheet, style

STEPS = [0.01, 0.03, 0.1, 0.3, 1, 3, 10, 1e9]  # shares of the limit
SHADES = LinearSegmentedColormap.from_list("near", ["#f4f6f3", "#cfe0dc", "#9fbfc4", "#e5b062", "#c8641a", "#5b1f1a"])


def exposure_figure(
    plan: pd.DataFrame,
    section: pd.DataFrame,
    built: Built,
    *,
    title: str = "",
    caption: str = "",
    size: str | Look = "print",
) -> Sheet:
    """plan: east_m, north_m, quotient. section: along_m, height_m, quotient. Both of one case and band."""
    with style(size) as look:
        bearing = built.layout.bearing
        along = np.array([np.sin(bearing), np.cos(bearing), 0])
        corners = np.concatenate([np.array(c.points) for c in built.structure.conductors])
        flat = _limits(plan, ("east_m", "north_m"), corners[:, :2])
        cut = _limits(section, ("along_m", "height_m"), np.stack([corners @ along, corners[:, 2]], axis=1))
        cut[0][1] = -0.06 * cut[1][1]
        shapes = [(high[0] - low[0]) / (high[1] - low[1]) for low, high in (flat, cut)]
        height = (look.width - 1.2) / sum(shapes) + 2.3
        sheet = Sheet(look, max(height, look.height) if look.name == "print" else None)
        sheet.header(title, caption)
        axes: Any = sheet.subplots(1, 2, width_ratios=np.clip(shapes, 0.5, 3))
        left, right = axes
        shades = _map(left, plan, "east_m", "north_m")
        _map(right, section, "along_m", "height_m")
        for c in built.structure.conductors:
            p = np.array(c.points)
            line = {**ROLE_MARKS[c.role].line, "lw": look.line, "zorder": 4}
            halo = [withStroke(linewidth=look.line * 2.2, foreground="white")]
            left.plot(p[:, 0], p[:, 1], **line, path_effects=halo)
            right.plot(p @ along, p[:, 2], **line, path_effects=halo, label=c.role)
        for ax, x, y in ((left, "east (m)", "north (m)"), (right, "metres along the wire's bearing", "height (m)")):
            ax.plot(0, 0 if ax is left else built.layout.feed_height, "s", color=INK, mec="white", zorder=5)
            ax.set_aspect("equal", adjustable="box")
            low, high = flat if ax is left else cut
            ax.set_xlim(low[0], high[0])
            ax.set_ylim(low[1], high[1])
            ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
            ax.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
            ax.set_xlabel(x)
            ax.set_ylabel(y)
            ax.grid(False)
        left.set_title("plan, at body height")
        right.set_title("section along the wire")
        right.axhspan(-100, 0, color=SOIL, zorder=0.5, lw=0)
        right.axhline(2, color=QUIET, lw=look.line * 0.4, ls=(0, (2, 3)))
        handles = [h for h in right.get_lines() if not h.get_label().startswith("_")]
        named = {h.get_label(): h for h in handles}
        right.legend(handles=list(named.values()), loc="upper left", handlelength=2.6)
        bar = sheet.colorbar(shades, ax=axes, location="bottom", fraction=0.06, aspect=50, pad=0.03)
        bar.set_ticks(STEPS[:-1], labels=[f"{s:g}" for s in STEPS[:-1]])
        bar.set_label("share of the limit, as power; bold line: the limit; white: farther off, not computed")
        bar.outline.set_visible(False)  # type: ignore[operator]
        return sheet


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
