"""A place's history as a plot: each band's dip against the days, with rain marked."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import MappingProxyType

import numpy as np
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

from tautwire.model.errors import InputError, printable
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, Heading, Sheet, style
from tautwire.studies.logbook.logbook import Entry

RAIN = CYCLE[3]
MOST_BANDS = 6


def history_figure(
    entries: list[Entry], predicted: Mapping[Path, Mapping[str, tuple[float, float]]] = MappingProxyType({})
) -> Sheet:
    """A panel a band, dips in MHz against days; a filled mark for rain.

    predicted: an entry's file -> band -> dip as predicted from earlier outings, and its ±, Hz: bars beside the marks.
    Raises InputError if no entry has dips.
    """
    bands = sorted({band for e in entries for band in e.dips_hz}, key=lambda b: min(_dips(entries, b)[1]))[:MOST_BANDS]
    if not bands:
        raise InputError("log", "no dips", 'entries with dips: --dip "14.05 MHz", or --sweep monday.s1p')
    with style("print") as look:
        sheet = Sheet(look, height=1.2 + 1.35 * len(bands))
        sheet.header(
            Heading(
                f"{printable(entries[-1].log.place)}: where the dips were",
                "Measured dip of each band by day. Blue and filled: rain, or wet ground. Open: dry, or nobody said."
                + (" Grey bars: predicted from earlier outings, ±." if predicted else ""),
            )
        )
        axes = sheet.subplots(len(bands), 1, sharex=True, squeeze=False)[:, 0]
        for ax, band in zip(axes, bands, strict=True):
            days, mhz, rain = _dips(entries, band)
            ax.plot(days, mhz, color=QUIET, linewidth=0.6 * look.line)
            for day, f, wet in zip(days, mhz, rain, strict=True):
                edge, fill = (RAIN.colour, RAIN.colour) if wet else (INK, "white")
                ax.plot([day], [f], "o", color=edge, markerfacecolor=fill, markersize=6)
            bars = [(date.fromisoformat(e.log.date), *predicted[e.path][band]) for e in entries
                    if band in e.dips_hz and band in predicted.get(e.path, {})]  # fmt: skip
            if bars:
                when, told, give = zip(*bars, strict=True)
                ax.errorbar(when, np.array(told) / 1e6, np.array(give) / 1e6, fmt="_", color=QUIET, capsize=3, zorder=1)
                mhz = [*mhz, *(np.array(told) / 1e6)]
            middle, half = (min(mhz) + max(mhz)) / 2, max((max(mhz) - min(mhz)) * 0.7, 0.02)
            ax.set_ylim(middle - half, middle + half)
            ax.set_ylabel(f"{band}, MHz")
            ax.ticklabel_format(axis="y", useOffset=False)
        first, last = (float(np.datetime64(e.log.date).astype(float)) for e in (entries[0], entries[-1]))
        room = max(0.06 * (last - first), 0.6)
        axes[-1].set_xlim(first - room, last + room)
        locator = AutoDateLocator(minticks=2, maxticks=7)
        axes[-1].xaxis.set_major_locator(locator)
        axes[-1].xaxis.set_major_formatter(ConciseDateFormatter(locator))
    return sheet


def _dips(entries: list[Entry], band: str) -> tuple[list[date], list[float], list[bool]]:
    """Days, MHz and rain of the entries that have the band's dip."""
    here = [e for e in entries if band in e.dips_hz]
    days = [date.fromisoformat(e.log.date) for e in here]
    return days, [e.dips_hz[band] / 1e6 for e in here], [bool(e.log.rain) for e in here]
