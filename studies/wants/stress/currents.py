"""Currents along the wire and its return conductors, each measured from the feed: the wire to the right."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.lines import Line2D

from tautwire.model.wires.structure import RETURNS, Structure
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, SOIL, Heading, Sheet, style
from tautwire.studies.study.findings import Drawn, band_name, say

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result

DASHES = {"wire": "-", "counterpoise": (0, (4, 1.6)), "coax": (0, (1, 1.3))}


def current_title(result: Result, drawn: Drawn) -> str:
    """The greatest current in the wire, and where."""
    rows = drawn.rows(result, "stress", "max_a")
    most = max(rows, key=lambda r: r["max_a"])
    words = say("At most {amps}, on {band}, {at} from the feed", amps=most.number("max_a", "amps"),
                band=band_name(most["band"]), at=most.number("max_a_at", "length"))  # fmt: skip
    return words.title(result.study.lengths)


def current_figure(
    along: pd.DataFrame,
    structure: Structure,
    heading: Heading = Heading(),
    rows: pd.DataFrame | None = None,
) -> Sheet:
    """|I| (A rms) against distance (m), a colour a band (at most six); return conductors run to the left of the feed.

    along: table "stress_along" of one case. structure: its conductors. rows: table "stress" of it,
    whose greatest currents are marked.
    """
    with style(heading.size) as look:
        sheet = Sheet(look)
        bands = list(dict.fromkeys(along["band"]))[: len(CYCLE)]
        most = None if rows is None else rows[rows["band"].isin(bands)]
        if most is not None:
            sheet.draws("stress", most.index, "max_a", "max_a_at")
        sheet.header(heading)
        ax = sheet.subplots()
        shown = [(structure.name(i), c) for i, c in enumerate(structure.conductors) if c.role != "nearby"]
        reach = max([c.length for _, c in shown if c.role in RETURNS], default=0.0)
        ax.axvspan(-1.04 * reach, 0, facecolor=SOIL, alpha=0.6, zorder=0.2)
        ax.axvline(0, color=QUIET, lw=look.line * 0.5, zorder=1)
        for band, mark in zip(bands, CYCLE, strict=False):
            for name, conductor in shown:
                part = along[(along["band"] == band) & (along["conductor"] == name)]
                sign = 1 if conductor.role == "wire" else -1
                lw = look.line * (1.25 if conductor.role == "wire" else 1)
                x, dashes = sign * part["along_m"], DASHES[conductor.role]
                ax.plot(x, part["amps"], color=mark.colour, ls=dashes, lw=lw, zorder=3)
            if most is not None:
                at = most[most["band"] == band]
                ax.plot(at["max_a_at"], at["max_a"], "o", color=mark.colour, mec="white", mew=0.6, zorder=4)
        ax.set_xlim(-1.04 * reach, 1.01 * structure.conductors[0].length)
        ax.set_ylim(bottom=0)
        ticks = [t for t in ax.get_xticks() if ax.get_xlim()[0] <= t <= ax.get_xlim()[1]]
        ax.set_xticks(ticks, [f"{abs(t):g}" for t in ticks])
        ax.set_xlabel("distance from the feed (m): return conductors to the left, wire to the right")
        ax.set_ylabel("current (A rms)")
        handles = [Line2D([], [], color=m.colour, label=b) for m, b in zip(CYCLE, bands, strict=False)]
        roles = dict.fromkeys(c.role for _, c in shown)
        handles += [Line2D([], [], color=INK, ls=DASHES[r], label=r) for r in roles]
        sheet.legend(handles=handles, loc="outside lower left", ncols=min(len(handles), 6), handlelength=2.6)
        return sheet
