"""Current along the coax shield, and how far each variant moves the dip: a column a band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.style import CYCLE, INK, Heading, Look, Sheet, style
from tautwire.studies.study.findings import Drawn, Title
from tautwire.studies.wants.shield.words import AS_BUILT, label, verdict

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST_BANDS = 4


def shield_title(result: Result, drawn: Drawn) -> str:
    """Where a choke goes, of the bands and variants that are drawn."""
    rows = drawn.rows(result, "shield", "shield_max_a")
    if not any(row["variant"] == AS_BUILT for row in rows):
        return Title("")
    return verdict(rows).title(result.study.lengths)


def shield_figure(
    table: pd.DataFrame,
    along: pd.DataFrame,
    bands: Sequence[Band],
    heading: Heading = Heading(),
    lengths: str = "metric",
) -> Sheet:
    """table, along: "shield" and "shield_along" of one case; up to four bands and six variants are drawn. lengths: how
    places of chokes are written, "metric" or "imperial"."""
    bands = bands[:MOST_BANDS]
    names = list(dict.fromkeys(table["variant"]))
    drawn = [n for n in names if n in set(along["variant"])][: len(CYCLE)]
    with style(heading.size) as look:
        sheet = Sheet(look, look.height * 1.2 if look.name == "print" else None)
        mine = table[table["band"].isin([b.name for b in bands])]
        labels = {row["variant"]: label(row, lengths) for row in mine.to_dict("records")}
        sheet.draws("shield", mine.index, "dip_shift_khz", "choke_at_m", "power_w")
        sheet.draws("shield", mine.index[mine["variant"].isin(drawn)], "shield_max_a")
        sheet.header(heading)
        axes: Any = sheet.subplots(2, len(bands), squeeze=False, sharey="row", height_ratios=[1.5, 1])
        for column, band in enumerate(bands):
            upper, lower = axes[:, column]
            for i, name in enumerate(drawn):
                part = along[(along["band"] == band.name) & (along["variant"] == name)]
                upper.plot(part["along_m"], part["amps"], **CYCLE[i].line, lw=look.line, label=labels[name])
            upper.set_title(band.name)
            upper.set_xlabel("from the transformer (m)")
            _shifts(lower, table[table["band"] == band.name], labels, look)
        most = along[along["variant"].isin(drawn)]["amps"].max()
        axes[0, 0].set_ylim(0, 1.06 * most if most > 0 else 1)
        axes[0, 0].yaxis.set_major_locator(MaxNLocator(4))
        axes[0, 0].set_ylabel("current (A rms)")
        handles = axes[0, 0].get_legend_handles_labels()
        sheet.legend(*handles, loc="outside lower left", ncols=3, handlelength=3)
        return sheet


def _shifts(ax: Any, rows: pd.DataFrame, labels: Mapping[str, str], look: Look) -> None:
    names = list(labels)
    known = rows.set_index("variant")["dip_shift_khz"].reindex(names)
    for i, name in enumerate(names):
        mark, x = CYCLE[i % len(CYCLE)], known[name]
        if np.isfinite(x):
            ax.plot([0, x], [i, i], color=mark.colour, lw=look.line)
            ax.plot(x, i, marker=mark.marker, color=mark.colour, mec="white", ls="")
    ax.axvline(0, color=INK, lw=look.line * 0.6)
    ax.set_yticks(range(len(names)), labels=list(labels.values()))
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.xaxis.set_major_locator(MaxNLocator(4))
    ax.set_xlabel("dip moved (kHz)")
    ax.margins(x=0.12)
