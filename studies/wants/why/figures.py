"""Which cause, at a glance: how large a change each needs, and how well it then explains every band."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RULE, TARGET, Heading, Sheet, style
from tautwire.studies.study.findings import band_name, joined, say
from tautwire.studies.wants.why.words import Changes, Tables, cases, moved, seen_rows, telling, title_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result
    from tautwire.studies.study.setup import Setup

MOST_CAUSES, MOST_ON_SLIDE = 14, 6
CHANGE_WIDTH, CHANGE_ON_SLIDE = 62, 42  # characters of its change; all of it is in why.csv
NAME_WIDTH, NAME_ON_SLIDE = 30, 18  # characters of a cause's name in a line


MEANING = (
    "Left: the change it takes; green explains all bands. Right: where each dip would then be, against where it was "
    "seen, in % of its frequency; shaded: reading error."
)
MORE = "Best cause on top; a usual change is the normal variation between set-ups."


def why_figures(result: Result, size: str = "print") -> dict[str, Figure]:
    """Stem -> figure: "why" for the first case of a study."""
    case = next(iter(cases(result)), None)
    if case is None:
        return {}
    setup, tables, _ = case
    return {"why": why_figure(tables, setup, result.study.options["why"].dip_error, size, result.study.lengths)}


def why_figure(tables: Tables, setup: Setup, dip_error: float, size: str = "print", lengths: str = "metric") -> Sheet:
    """Left: the change each cause needs. Right: where the dips then lie, against where they were seen. tables: of one
    case; setup: its set-up."""
    large = size != "print"
    changes = Changes(tables, setup)
    found = telling(tables["why"], changes)[: MOST_ON_SLIDE if large else MOST_CAUSES]
    causes = pd.DataFrame(found)
    names = list(causes["cause"])
    places = np.arange(len(names))
    seen = seen_rows(tables)
    order = [r["band"] for r in seen]
    with style(size) as look:
        sheet = Sheet(look, None if large else 1.9 + 0.33 * len(names))
        parts = [p.index for row in found for p in changes.parts(row)]
        sheet.draws("why_parts", parts, "amount", "further")
        moves = joined([say("{band} {by}", band=band_name(r["band"]), by=moved(r)) for r in seen], "; ", "; ")
        caption = f"Seen: {moves.text(lengths)}. {MEANING if large else f'{MORE} {MEANING}'}"
        sheet.header(Heading(title_words(found[0], changes).title(lengths), caption, size))
        left, right = sheet.subplots(1, 2, sharey=True, gridspec_kw={"width_ratios": (1.5, 1)})
        sizes = causes["usual_changes"].abs().to_numpy(float)
        fill = [CYCLE[0].colour if ok else RULE for ok in causes["explains"]]
        edges = [c if ok else INK for ok, c in zip(causes["explains"], fill, strict=True)]
        left.barh(places, sizes, color=fill, edgecolor=edges, linewidth=0.6, height=0.42)
        for y, row in zip(places, found, strict=True):
            label = textwrap.shorten(
                changes.words(row).text(lengths), CHANGE_ON_SLIDE if large else CHANGE_WIDTH, placeholder=" ..."
            )
            left.text(0.02, y - 0.36, label, size=look.small, color=QUIET, va="center")
        left.set_yticks(places, [textwrap.fill(n, NAME_ON_SLIDE if large else NAME_WIDTH) for n in names])
        left.set(ylim=(len(names) - 0.4, -0.75), xlim=(0, max(1.05, 1.08 * float(sizes.max()))))
        left.set_xlabel("change it takes, in usual changes")
        left.grid(True, axis="x")
        left.grid(False, axis="y")
        bands = pd.DataFrame(tables["why_bands"])
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
