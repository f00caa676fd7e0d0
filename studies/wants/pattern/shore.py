"""How gain at the lowest elevation depends on how far the shore is, a line for each value of another axis."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from matplotlib.lines import Line2D

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.style import CYCLE, QUIET, Heading, Sheet, style
from tautwire.studies.study.study import Axis

SHORE = "site.shore.distance"
LOWEST = -25.0  # dBi shown


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
