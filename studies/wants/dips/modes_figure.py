"""Every dip along the running axis, coloured by its mode: the half-waves of current that stand on the wire."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import band_ticks, band_title, running, shortened
from tautwire.studies.drawing.style import CYCLE, QUIET, TARGET, Heading, Mark, Sheet, style
from tautwire.studies.study.cells import in_words
from tautwire.studies.study.study import Axis

ACROSS = 3
ABOUT = "Every SWR dip; colours are the half-waves of current on the wire there; filled: followed as the band's."


def modes_figure(
    all_dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet | None:
    """All dips (frame "all_dips") of each band against the running axis, a panel a band; None without an axis.

    Filled marks on a full line: the dip that is followed as the band's. Open marks: the others. Every combination of
    the other axes has lines of its own.
    """
    axis = running(axes)
    shown = [b for b in bands if (all_dips["band"] == b.name).any()]
    if axis is None or not shown:
        return None
    modes = sorted(set(all_dips[all_dips["band"].isin([b.name for b in shown])]["mode"]))
    marks = {mode: CYCLE[k % len(CYCLE)] for k, mode in enumerate(modes)}
    rows = -(-len(shown) // ACROSS)
    with style(heading.size) as look:
        sheet = Sheet(look, None if look.name != "print" else 1.7 + 2.6 * rows)
        sheet.draws("all_dips", all_dips[all_dips["band"].isin([b.name for b in shown])].index, "mode", "f_mhz")
        sheet.header(replace(heading, caption=f"{heading.caption}. {ABOUT}" if heading.caption else ABOUT))
        grid: Any = sheet.subplots(rows, min(len(shown), ACROSS), squeeze=False)
        for k, ax in enumerate(grid.flat):
            ax.set_visible(k < len(shown))
            if k < len(shown):
                _panel(ax, all_dips[all_dips["band"] == shown[k].name], shown[k], axes, axis, marks)
                ax.set_xlabel(axis.label if k + ACROSS >= len(shown) else "")
        sheet.supylabel("dips (MHz)", size=look.type)
        handles: list[Any] = [
            Line2D([], [], **mark.line, marker=mark.marker, label=f"{mode} half-wave{'s' if mode > 1 else ''}")
            for mode, mark in marks.items()
        ]
        handles += [
            Line2D([], [], color=QUIET, ls="", marker="o", mfc="white", label="another dip"),
            Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"),
        ]
        sheet.key(handles)
        return sheet


def _panel(ax: Axes, rows: pd.DataFrame, band: Band, axes: Sequence[Axis], axis: Axis, marks: dict[int, Mark]) -> None:
    names = [in_words(v) for v in axis.labels]
    place = (
        rows[axis.column].astype(float) if axis.numbers else rows[axis.column].map(lambda v: names.index(in_words(v)))
    )
    rows = rows.assign(place=place)
    others = [a.column for a in axes if a is not axis]
    keys = [rows[c].map(str) for c in others] + [rows["followed"]]
    for _, line in rows.groupby(keys, sort=False) if axis.numbers else ():  # between words there is nothing
        line = line.sort_values("place")
        chosen, mark = bool(line["chosen"].iloc[0]), marks[int(line["mode"].mode().iloc[0])]
        y = line["f_mhz"].to_numpy(float)
        ax.plot(line["place"], y, color=mark.colour, lw=1.4 if chosen else 0.6, ls="-" if chosen else ":", zorder=2)
    for mode, dips in rows.groupby("mode"):
        fill = [marks[int(mode)].colour if c else "white" for c in dips["chosen"]]
        x, y, mark = dips["place"], dips["f_mhz"], marks[int(mode)]
        ax.scatter(x, y, s=16, c=fill, edgecolors=mark.colour, marker=mark.marker, linewidths=0.9, zorder=3)
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.axhspan(low, high, facecolor=TARGET, zorder=0.5)
    if axis.numbers is None:
        ax.set_xticks(
            np.arange(len(names)), [shortened(n) for n in names], rotation=30, ha="right", rotation_mode="anchor"
        )
        ax.set_xlim(-0.4, len(names) - 0.6)
    ax.set_title(band_title(band))
    band_ticks(ax.yaxis, band, 0.12)
