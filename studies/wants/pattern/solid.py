"""The pattern as a solid over the compass: first and last case of a study, a column a band."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from mpl_toolkits.mplot3d import Axes3D  # noqa: F401  makes the projection known

from tautwire.model.arrays import Real
from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.style import INK, QUIET, RAMP, Heading, Look, Sheet, style
from tautwire.studies.study.study import Axis

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
