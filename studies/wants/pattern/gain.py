"""How the pattern changes along an axis: gain at chosen elevations along the bearing, and the take-off angle."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from matplotlib.lines import Line2D

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import groups, running
from tautwire.studies.drawing.style import CYCLE, INK, Heading, Sheet, style
from tautwire.studies.study.study import Axis

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
