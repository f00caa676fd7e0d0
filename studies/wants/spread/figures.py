"""What a dip is unsure by, and where dip and highest SWR then lie."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Sheet, style
from tautwire.studies.study.findings import FORMS, Drawn, band_name, cell_words, convention, joined, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_BANDS = 4
MOST_PARTS = 10
BINS = 28


def spread_figures(result: Result) -> dict[str, Figure]:
    """Stem -> figure: "spread_parts" and "spread", for the first case of a study."""
    parts, samples = result.frames.get("spread_parts"), result.frames.get("spread_samples")
    if parts is None or samples is None or parts.empty:
        return {}
    rows = result.frames["spread"]
    for column in result.axis_columns:
        first = str(rows[column].iloc[0])
        parts, samples, rows = (t[t[column].map(str) == first] for t in (parts, samples, rows))
    figures: dict[str, Figure] = {"spread_parts": parts_figure(result, parts)}
    bands = {b.name: (b.lower / 1e6, b.upper / 1e6) for b in result.study.bands}
    figures["spread"] = samples_figure(result, samples, rows, bands)
    return figures


def _most(result: Result, drawn: Drawn) -> str:
    """What moves a dip most, of what is not certain."""
    rows = drawn.rows(result, "spread_parts", "moves_khz")
    most = max(rows, key=lambda r: abs(r["moves_khz"]))
    words = say("Biggest unknown: {part} (±{khz} on {band})", part=cell_words(most, "part"),
                khz=most.number("moves_khz", "shift", "size"), band=band_name(most["band"]))  # fmt: skip
    return words.title()


def parts_figure(result: Result, parts: pd.DataFrame) -> Sheet:
    """A bar a value: how far one standard deviation of it moves each band's dip. parts: rows of one case."""
    bands = list(dict.fromkeys(parts["band"]))[:MOST_BANDS]
    # by the share of the variance, so that bands of any frequency weigh alike
    order = parts.groupby("part", sort=False)["share_percent"].max().sort_values(ascending=False)
    names = list(order.index[:MOST_PARTS])
    with style("print") as look:
        sheet = Sheet(look, height=1.9 + 0.3 * len(names))
        mine = parts[parts["band"].isin(bands) & parts["part"].isin(names)]
        sheet.draws("spread_parts", mine.index, "moves_khz")
        sheet.header(Heading(partial(_most, result), "How far one standard deviation of each value moves the dip"))
        axes = sheet.subplots(1, len(bands), sharey=True, squeeze=False)[0]
        places = np.arange(len(names))
        for ax, band in zip(axes, bands, strict=True):
            rows = parts[parts["band"] == band].groupby("part")["moves_khz"].agg(lambda s: float(np.hypot.reduce(s)))
            size = rows.reindex(names).fillna(0.0).to_numpy(float)
            ax.barh(places, size, color=CYCLE[0].colour, height=0.55)
            for y, one in zip(places, size, strict=True):
                ax.text(one + 0.02 * size.max(), y, f"{one:.0f}", size=look.small, color=QUIET, va="center")
            ax.set(title=band, xlabel="± kHz", xlim=(0, 1.25 * max(float(size.max()), 1.0)))
            ax.grid(False, axis="y")
        axes[0].set_yticks(places, names)
        axes[0].invert_yaxis()
    return sheet


def _likely(result: Result, drawn: Drawn) -> str:
    """Where most dips lie."""
    rows = drawn.rows(result, "spread", "dip_low_mhz")
    each = [
        say("{a} to {b} on {band}", a=r.number("dip_low_mhz", "MHz"), b=r.number("dip_high_mhz", "frequency"),
            band=band_name(r["band"]))
        for r in rows if not np.isnan(r["dip_low_mhz"])
    ]  # fmt: skip
    if not each:
        return say("No dip in similar installations").title()
    return say("{share} of dips lie at {each}", share=convention("95 %"), each=joined(each[:2])).title()


def samples_figure(
    result: Result, samples: pd.DataFrame, rows: pd.DataFrame, edges: dict[str, tuple[float, float]]
) -> Sheet:
    """Above: where the dip lies in similar installations; below: the highest SWR in the band, against the limit."""
    limit = result.study.spec.swr_threshold
    bands = [b for b in dict.fromkeys(samples["band"]) if b in edges][:MOST_BANDS]
    with style("print") as look:
        sheet = Sheet(look, height=4.6)
        sheet.draws("spread", rows[rows["band"].isin(bands)].index, "dip_low_mhz", "dip_high_mhz", "dip_mhz")
        about = (
            "Similar installations, as counts. Line: the set-up as written; shaded: the band, and below, the SWR that "
            "is at or under the limit. Brackets hold 68 and 95 % of the dips."
        )
        sheet.header(Heading(partial(_likely, result), about))
        axes = sheet.subplots(2, len(bands), squeeze=False)
        for k, band in enumerate(bands):
            mine, row = samples[samples["band"] == band], rows[rows["band"] == band].iloc[0]
            top, below = axes[0, k], axes[1, k]
            _dips(top, mine["dip_mhz"].dropna().to_numpy(float), row, edges[band])
            top.set(title=band, xlabel="dip (MHz)")
            worst = np.minimum(mine["swr_worst"].to_numpy(float), 10.0)
            below.axvspan(1, limit, color=TARGET, linewidth=0)
            below.hist(worst, bins=BINS, color=CYCLE[2].colour)
            below.axvline(row["swr_worst"], color=INK, linewidth=1)
            below.set(xlabel="highest SWR in the band", xlim=(1, max(float(np.percentile(worst, 99)), 1.1 * limit)))
            words = f"{FORMS['chance'](row['chance_under_limit'], '')} up to {limit:g}"
            below.set_title(words, size=look.small, color=QUIET)
            for ax in (top, below):
                ax.set_yticks([])
                ax.grid(False)
    return sheet


def _dips(ax: Axes, dips: np.ndarray, row: pd.Series, edge: tuple[float, float]) -> None:
    ax.axvspan(*edge, color=TARGET, linewidth=0)
    if not len(dips):
        return
    low, high = np.percentile(dips, [0.5, 99.5])
    counts, _, _ = ax.hist(dips, bins=BINS, range=(low, high), color=CYCLE[0].colour)
    top = float(np.max(counts))
    for percent, y in ((68, 1.08), (95, 1.2)):
        ends = np.percentile(dips, [50 - percent / 2, 50 + percent / 2])
        ax.plot(ends, [y * top] * 2, "|-", color=INK, linewidth=0.9, markersize=5)
    ax.axvline(row["dip_mhz"], color=INK, linewidth=1)
    room = 0.15 * (high - low)
    ax.set(xlim=(low - room, high + room), ylim=(0, 1.3 * top))
