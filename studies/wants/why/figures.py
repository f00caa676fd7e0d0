"""Which cause, at a glance: how large a change each needs, and how well it then explains every band."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RULE, TARGET, Heading, Sheet, style
from tautwire.studies.study.cells import short

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_CAUSES, MOST_ON_SLIDE = 14, 6
CHANGE_WIDTH, CHANGE_ON_SLIDE = 62, 42  # characters of its change; all of it is in why.csv
NAME_WIDTH, NAME_ON_SLIDE = 30, 18  # characters of a cause's name in a line


MEANING = (
    "Left: the change it takes; green explains all bands. Right: where each dip would then be, against where it was "
    "seen, in % of its frequency; shaded: reading error."
)
MORE = "Best cause on top; a usual change is what one set-up differs from the next by without anybody noticing."


def why_figures(result: Result, size: str = "print") -> dict[str, Figure]:
    """Stem -> figure: "why" for the first case of a study."""
    causes = result.frames.get("why")
    if causes is None or causes.empty:
        return {}
    bands = result.frames["why_bands"]
    for column in result.axis_columns:
        first = str(causes[column].iloc[0])
        causes, bands = causes[causes[column].map(str) == first], bands[bands[column].map(str) == first]
    return {"why": why_figure(causes, bands, result.study.options["why"].dip_error, size)}


def _finding(causes: pd.DataFrame) -> str:
    best = causes.iloc[0]
    likely = "Likeliest" if best["explains"] else "No cause explains all bands; the nearest"
    return short(f"{likely}: {best['cause']}, {best['change']}")


def why_figure(causes: pd.DataFrame, bands: pd.DataFrame, dip_error: float, size: str = "print") -> Sheet:
    """Left: the change each cause needs. Right: where the dips then lie, against where they were seen."""
    large = size != "print"
    causes = causes.head(MOST_ON_SLIDE if large else MOST_CAUSES)
    names = list(causes["cause"])
    places = np.arange(len(names))
    order = list(dict.fromkeys(bands["band"]))
    with style(size) as look:
        sheet = Sheet(look, None if large else 1.9 + 0.33 * len(names))
        moved = "; ".join(
            f"{b} {(row['now_mhz'] - row['was_mhz']) * 1e3:+.0f} kHz"
            for b, row in ((b, bands[bands["band"] == b].iloc[0]) for b in order)
        )
        sheet.header(
            Heading(
                _finding(causes),
                f"Seen: {moved}. ".replace("-", "\u2212") + (MEANING if large else f"{MORE} {MEANING}"),
                size,
            )
        )
        left, right = sheet.subplots(1, 2, sharey=True, gridspec_kw={"width_ratios": (1.5, 1)})
        changes = causes["usual_changes"].abs().to_numpy(float)
        fill = [CYCLE[0].colour if ok else RULE for ok in causes["explains"]]
        edges = [c if ok else INK for ok, c in zip(causes["explains"], fill, strict=True)]
        left.barh(places, changes, color=fill, edgecolor=edges, linewidth=0.6, height=0.42)
        for y, change in zip(places, causes["change"], strict=True):
            label = textwrap.shorten(change, CHANGE_ON_SLIDE if large else CHANGE_WIDTH, placeholder=" ...")
            left.text(0.02, y - 0.36, label, size=look.small, color=QUIET, va="center")
        left.set_yticks(places, [textwrap.fill(n, NAME_ON_SLIDE if large else NAME_WIDTH) for n in names])
        left.set(ylim=(len(names) - 0.4, -0.75), xlim=(0, max(1.05, 1.08 * float(changes.max()))))
        left.set_xlabel("change it takes, in usual changes")
        left.grid(True, axis="x")
        left.grid(False, axis="y")
        bands = bands.assign(off_percent=bands["off_khz"] / bands["now_mhz"] / 10)
        reach = dip_error * 100
        right.axvspan(-reach, reach, color=TARGET, linewidth=0)
        right.axvline(0, color=INK, linewidth=0.7)
        for k, band in enumerate(order):
            rows = bands[bands["band"] == band].set_index("cause").loc[names]
            mark = CYCLE[k % len(CYCLE)]
            shift = (k - (len(order) - 1) / 2) * 0.16
            right.plot(
                rows["off_percent"],
                places + shift,
                mark.marker,
                color=mark.colour,
                markersize=0.5 * look.type,
                label=band,
            )
        widest = max(float(bands[bands["cause"].isin(names)]["off_percent"].abs().max()), reach)
        right.set(xlim=(-1.15 * widest, 1.15 * widest), xlabel="predicted minus seen, %")
        right.grid(True, axis="x")
        right.grid(False, axis="y")
        right.tick_params(axis="y", length=0)
        sheet.legend(loc="outside lower right", ncols=6)
    return sheet
