"""Where the dip goes as one quantity is swept, and how deep it is there.

Upper panel: the dip in MHz, with the frequencies around it that stay below 2:1 shaded, and the band's edges.
Lower panel: SWR at the dip, at the radio and at the transformer (coax loss flatters the first).
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import band_ticks, band_title, groups, lines, mhz_text, running
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.study import Axis

ACROSS = {"print": 3, "talk": 3, "slide": 3}
MOST_GROUPS = 6


def dip_figure(
    dips: pd.DataFrame,
    sweeps: pd.DataFrame | None,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """Dip frequency and SWR at the dip against the running axis, which has numbers; a column a band.

    dips, sweeps: frames of want_dips; without sweeps the 2:1 shading is left out. Other axes give a line each (the
    first six). Raises ValueError if no axis has numbers.
    """
    axis = running(axes)
    if axis is None or axis.numbers is None:
        raise ValueError("dip_figure needs an axis with numbers")
    parts = groups(dips, axes)
    if len(parts) > MOST_GROUPS:
        heading = heading.noting(f"the first {MOST_GROUPS} of {len(parts)} lines")
    with style(heading.size) as look:
        across = min(len(bands), ACROSS.get(look.name, 3))
        if look.name != "print" and len(bands) > across:
            heading = heading.noting(f"the first {across} of {len(bands)} bands")
            bands = bands[:across]
        blocks = -(-len(bands) // across)
        sheet = Sheet(look, None if look.name != "print" else look.height * (0.25 + 0.75 * blocks))
        for _, rows in parts[:MOST_GROUPS]:
            mine = rows[rows["band"].isin([b.name for b in bands])]
            sheet.draws("dips", mine.index, "dip_mhz", "dip_swr", "dip_swr_transformer")
        sheet.header(heading)
        grid: Any = sheet.subplots(2 * blocks, across, squeeze=False, height_ratios=[2.2, 1] * blocks)
        for ax in grid.flat:
            ax.set_visible(False)
        for k, band in enumerate(bands):
            block, column = divmod(k, across)
            place, depth = grid[2 * block, column], grid[2 * block + 1, column]
            place.set_visible(True)
            depth.set_visible(True)
            place.sharex(depth)
            place.tick_params(labelbottom=False)
            _ground(place, band, look)
            for i, (_, rows) in enumerate(parts[:MOST_GROUPS]):
                rows = rows[(rows["band"] == band.name)].sort_values(axis.column)
                mark = CYCLE[i]
                shade = sweeps is not None and len(parts) == 1
                if shade and sweeps is not None:
                    _shade(place, sweeps[sweeps["band"] == band.name], rows, axis)
                x = rows[axis.column]
                place.plot(x, rows["dip_mhz"], **mark.line, marker=mark.marker, mec="white", mew=0.6, zorder=3)
                depth.plot(x, rows["dip_swr"], **mark.line, marker=mark.marker, mec="white", mew=0.6, zorder=3)
                depth.plot(x, rows["dip_swr_transformer"], color=mark.colour, lw=look.line * 0.6, ls=(0, (1, 1.5)))
            shown = pd.concat([rows[rows["band"] == band.name] for _, rows in parts[:MOST_GROUPS]])
            _reach(place, band, shown["dip_mhz"].to_numpy(float), look)
            _depth(depth, look)
            if column == 0:
                place.set_ylabel("dip (MHz)")
                depth.set_ylabel("SWR at dip")
            if k + across >= len(bands):
                depth.set_xlabel(axis.label)
        sheet.align_ylabels()
        handles: list[Any] = []
        if len(parts) > 1:
            for i, (name, _) in enumerate(parts[:MOST_GROUPS]):
                handles.append(Line2D([], [], **CYCLE[i].line, marker=CYCLE[i].marker, label=name))
        elif sweeps is not None:
            handles.append(Patch(color=CYCLE[0].colour, alpha=0.18, label="SWR below 2"))
        handles.append(Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"))
        ends = [("at the radio", "-", look.line), ("at the transformer", (0, (1, 1.5)), look.line * 0.6)]
        handles += [Line2D([], [], color=INK, ls=dash, lw=w, label=words) for words, dash, w in ends]
        sheet.key(handles)
        return sheet


def _ground(ax: Axes, band: Band, look: Look) -> None:
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.axhspan(low, high, facecolor=TARGET, zorder=0.5)
    for edge in (low, high):
        ax.axhline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
    ax.set_title(band_title(band), size=look.type * 0.95)


CLOSE = 0.3  # of the band, below which dips fill a panel of their own and the band's edges are said


def _reach(ax: Axes, band: Band, dips: Any, look: Look) -> None:
    """The MHz shown: the band and the dips, or the dips alone where they move too little to be seen so.

    Then a line of words says how far away each edge of the band is.
    """
    known = dips[np.isfinite(dips)]
    edges, width = (band.lower / 1e6, band.upper / 1e6), (band.upper - band.lower) / 1e6
    if not len(known):
        return
    low, high = float(known.min()), float(known.max())
    far_low, far_high = min(low, edges[0]), max(high, edges[1])
    if high - low >= CLOSE * (far_high - far_low):
        room = 0.08 * (far_high - far_low)
        ax.set_ylim(far_low - room, far_high + room)
    else:
        room = max(0.45 * (high - low), 0.03 * width)
        ax.set_ylim(low - room, high + room)
        for edge, near, y, side, way in ((edges[1], high, 0.97, "top", "up"), (edges[0], low, 0.03, "bottom", "down")):
            if not ax.get_ylim()[0] <= edge <= ax.get_ylim()[1]:
                words = f"band edge {mhz_text(edge)} MHz: {abs(edge - near) * 1e3:.0f} kHz further {way}"
                ax.text(0.98, y, words, transform=ax.transAxes, ha="right", va=side, size=look.small, color=QUIET)
    band_ticks(ax.yaxis, band, 0.12)


def _shade(ax: Axes, sweeps: pd.DataFrame, rows: pd.DataFrame, axis: Axis) -> None:
    """The stretch around each dip below SWR 2, where it is reached."""
    known = {key: part for key, part in lines(sweeps, axis)}
    low, high = [], []
    for value, dip in zip(rows[axis.column], rows["dip_mhz"], strict=True):
        edges = below(known.get(value), float(dip), 2.0)
        low.append(edges[0])
        high.append(edges[1])
    if not np.isnan(low).all():
        ax.fill_between(rows[axis.column], low, high, color=CYCLE[0].colour, alpha=0.18, lw=0, zorder=2)


def below(sweep: pd.DataFrame | None, dip_mhz: float, level: float) -> tuple[float, float]:
    """MHz at which a sampled sweep first reaches level on either side of the dip (linear between samples).

    The sweep's ends count if it does not; NaN twice if the dip is not below level.
    """
    if sweep is None or not np.isfinite(dip_mhz):
        return np.nan, np.nan
    f, swr = sweep["f_mhz"].to_numpy(float), sweep["swr"].to_numpy(float)
    if not np.interp(dip_mhz, f, swr) < level:
        return np.nan, np.nan
    cross = np.flatnonzero((swr[1:] < level) != (swr[:-1] < level))
    edges = [f[i] + (level - swr[i]) / (swr[i + 1] - swr[i]) * (f[i + 1] - f[i]) for i in cross]
    return (
        max([e for e in edges if e <= dip_mhz], default=float(f[0])),
        min([e for e in edges if e >= dip_mhz], default=float(f[-1])),
    )


def _depth(ax: Axes, look: Look) -> None:
    """Scale of the lower panel: from 1 up, never so narrow that small changes look large."""
    ax.set_ylim(0.95, max(ax.get_ylim()[1], 2.15))
    ax.axhline(2, color=INK, lw=look.line * 0.5, zorder=1.5)
    ax.yaxis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10]))
