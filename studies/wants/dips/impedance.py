"""Resistance and reactance against frequency, at the wire's end or at the radio."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import GAPS, Colours, band_ticks, band_title, groups, lines, running, view_of
from tautwire.studies.drawing.style import INK, QUIET, TARGET, Heading, Sheet, style
from tautwire.studies.study.study import Axis

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
