"""Soils, variants and other words side by side: where each dips, how deep, and what coax and transformer lose."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import Colours, band_ticks, band_title
from tautwire.studies.drawing.style import INK, QUIET, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.cells import in_words
from tautwire.studies.study.study import Axis
from tautwire.studies.wants.dips.dip import below


def category_figure(
    dips: pd.DataFrame,
    sweeps: pd.DataFrame | None,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """A row a combination of the axes, a block a band; columns dip (MHz), SWR at the dip, loss (dB).

    dips, sweeps: frames of want_dips. A bar behind each dip spans the frequencies around it with SWR below 2.
    """
    colours = Colours(axes[0] if axes else None)
    with style(heading.size) as look:
        names = _names(dips, axes)
        rows = len(dict.fromkeys(names))
        inches = 1.5 + len(bands) * (0.55 + 1.9 * look.type / 72 * rows)
        if look.name != "print":
            fits = bands_that_fit(look, rows)
            if fits < len(bands):
                heading = heading.noting(f"the first {fits} of {len(bands)} bands")
                bands = bands[:fits]
        sheet = Sheet(look, max(look.height, inches) if look.name == "print" else None)
        mine = dips[dips["band"].isin([b.name for b in bands])]
        sheet.draws("dips", mine.index, "dip_mhz", "dip_swr", "dip_loss_db")
        sheet.header(heading)
        grid: Any = sheet.subplots(len(bands), 3, squeeze=False, width_ratios=[2.4, 1, 1], sharey="row")
        for i, band in enumerate(bands):
            part = dips[dips["band"] == band.name]
            words = list(names[part.index])
            place, depth, loss = grid[i]
            _band(place, band, look)
            for y, row in enumerate(part.to_dict("records")):
                mark = colours.mark(row[axes[0].column] if axes else "")
                low, high = below(_sweep(sweeps, row, axes), row["dip_mhz"], 2.0)
                place.barh(y, high - low, left=low, height=0.56, color=mark.colour, alpha=0.22, lw=0, zorder=2)
                dot = {"linestyle": "", "marker": mark.marker, "color": mark.colour, "mec": "white", "mew": 0.6}
                place.plot(row["dip_mhz"], y, zorder=3, **dot)
                depth.plot([1, row["dip_swr"]], [y, y], color=mark.colour, lw=look.line * 0.8)
                depth.plot(row["dip_swr"], y, zorder=3, **dot)
                loss.barh(y, row["dip_loss_db"], height=0.5, color=mark.colour, lw=0, zorder=2)
            place.set_yticks(range(len(words)), words)
            place.set_ylim(len(words) - 0.4, -0.6)
            depth.axvline(2, color=INK, lw=look.line * 0.5)
            depth.set_xlim(1, max(2.3, np.nanmax([*part["dip_swr"], 1]) * 1.08))
            loss.set_xlim(0, max(0.5, np.nanmax([*part["dip_loss_db"], 0]) * 1.15))
            for ax, count in ((place, 5), (depth, 3), (loss, 3)):
                ax.grid(axis="y", visible=False)
                ax.grid(axis="x", visible=True)
                ax.tick_params(axis="y", length=0)
                ax.xaxis.set_major_locator(MaxNLocator(count))
            band_ticks(place.xaxis, band, 0.14)
        for ax, label in zip(grid[-1], ("dip (MHz)", "SWR at dip", "loss (dB)"), strict=True):
            ax.set_xlabel(label)
        handles = [
            Line2D([], [], linestyle="", marker="o", color=INK, label="dip"),
            Patch(color=INK, alpha=0.22, label="SWR below 2"),
            Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"),
        ]
        sheet.key(handles)
        return sheet


def bands_that_fit(look: Look, rows: int) -> int:
    """How many blocks of so many rows a page of fixed height holds, at least one."""
    type_inches = look.type / 72
    return max(1, int((look.height - 6 * type_inches) / (2.6 * type_inches + 1.25 * type_inches * rows)))


def _names(dips: pd.DataFrame, axes: Sequence[Axis]) -> pd.Series:
    if not axes:
        return pd.Series("this set-up", index=dips.index)
    return dips[[a.column for a in axes]].apply(lambda row: ", ".join(map(in_words, row)), axis=1)


def _sweep(sweeps: pd.DataFrame | None, row: dict[Any, Any], axes: Sequence[Axis]) -> pd.DataFrame | None:
    """The sweep of the case and band of a row of dips."""
    if sweeps is None:
        return None
    mine = sweeps["band"] == row["band"]
    for a in axes:
        mine &= sweeps[a.column].map(in_words) == in_words(row[a.column])
    return sweeps[mine]


def _band(ax: Any, band: Band, look: Look) -> None:
    ax.axvspan(band.lower / 1e6, band.upper / 1e6, facecolor=TARGET, zorder=0.5)
    for edge in (band.lower / 1e6, band.upper / 1e6):
        ax.axvline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
    ax.set_title(band_title(band))
