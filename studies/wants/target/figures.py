"""Target figures: gain towards each region by case, and at which elevation angles paths of a length leave."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D

from tautwire.model.fields.hop_angles import LAYERS, hop_elevation, hop_reach
from tautwire.studies.drawing.axes import heading_of
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.findings import Drawn, Row, Title, band_name, cell_words, joined, say
from tautwire.studies.study.units import in_words
from tautwire.studies.wants.target.words import angles, by_region, headline

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Axis

LOWEST = -30.0  # dBi shown
MOST_NAMED = 4  # regions in a title


def target_figures(result: Result, size: str | Look = "print") -> dict[str, Sheet]:
    """ "target" and "target_angles"; none without rows."""
    table = result.frames.get("target")
    if table is None or table.empty:
        return {}
    study = result.study
    spec = study.options["target"]
    bands = [b for b in study.bands if (table["band"] == b.name).any()]
    best = result.frames.get("target_best", pd.DataFrame({"region": []}))
    heading = heading_of(study, size, partial(_best, result))
    caption = f"Geometry of mirrors over a sphere, not a prediction; heavy lines: layer at {spec.height / 1e3:g} km"
    return {
        "target": region_figure(table, best, bands, study.axes, heading),
        "target_angles": angle_figure(table, spec.hops, spec.height, Heading(partial(_leave, result), caption, size)),
    }


def _best(result: Result, drawn: Drawn) -> str:
    """Which case serves the drawn regions best; of one case, the gain to each."""
    best = drawn.rows(result, "target_best", "region_radio_gain_dbi")
    if result.study.count > 1:
        found = headline(result, best)
        return found[0].words.title(result.study.lengths) if found else Title("")
    each = [
        say("{gain} to {region} on {band}", gain=row.number("region_radio_gain_dbi", "dBi"),
            region=cell_words(row, "region"), band=band_name(row["band"]))
        for row in by_region(best)
    ]  # fmt: skip
    return say("Most gain: {each}", each=joined(each[:MOST_NAMED])).title() if each else Title("")


def _leave(result: Result, drawn: Drawn) -> str:
    """Between which elevations paths to each region leave, by the fewest hops."""
    fewest: dict[str, Row] = {}
    for row in drawn.rows(result, "target", "elevation_low_deg"):
        if row["elevation_low_deg"] == row["elevation_low_deg"]:
            first = fewest.setdefault(row["region"], row)
            fewest[row["region"]] = row if row["hops"] < first["hops"] else first
    each = [say("{region} at {up}", region=cell_words(row, "region"), up=angles(row)) for row in fewest.values()]
    if not each:
        return say("No path of so few hops reaches these regions").title()
    return say("Paths leave: {each}", each=joined(each[:MOST_NAMED])).title()


def region_figure(
    table: pd.DataFrame,
    best: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """A row a case, a mark a region, by the fewest hops that reach it; a column a band. table, best: frames "target"
    and "target_best", whose cases are ringed."""
    known = table.dropna(subset=["region_radio_gain_dbi"])
    known = known[known["hops"] == known.groupby(["band", "region"])["hops"].transform("min")]
    names = _names(known, axes)
    cases = list(dict.fromkeys(names))
    regions = list(dict.fromkeys(table["region"]))[: len(CYCLE)]
    with style(heading.size) as look:
        sheet = Sheet(look, max(2.6, 1.7 + 0.24 * len(cases)) if look.name == "print" else None)
        sheet.draws("target", known.index[known["region"].isin(regions)], "region_radio_gain_dbi")
        sheet.draws("target_best", best.index[best["region"].isin(regions)], "region_radio_gain_dbi", "spread_db")
        sheet.header(heading.under("Gain from the radio towards each region, dBi"))
        panels: Any = sheet.subplots(1, len(bands), squeeze=False, sharey=True, sharex=True)[0]
        for ax, band in zip(panels, bands, strict=True):
            for mark, region in zip(CYCLE, regions, strict=False):
                rows = known[(known["band"] == band.name) & (known["region"] == region)]
                y = [cases.index(n) for n in names[rows.index]]
                x = rows["region_radio_gain_dbi"].clip(LOWEST)
                ax.plot(x, y, color=mark.colour, lw=look.line * 0.5, ls=mark.dash, zorder=2)
                ax.plot(x, y, ls="", marker=mark.marker, color=mark.colour, mec="white", mew=0.6, zorder=3)
                if len(rows) > 1:
                    best = int(np.argmax(x))
                    ax.plot(
                        x.iloc[best], y[best], ls="", marker="o", ms=look.type * 1.15, mfc="none", mec=mark.colour,
                        mew=look.line * 0.7, zorder=4,
                    )  # fmt: skip
            ax.set_title(band.name)
            ax.grid(axis="x", visible=True)
            ax.set_xlabel("dBi")
        panels[0].set_yticks(range(len(cases)), cases)
        panels[0].set_ylim(len(cases) - 0.4, -0.6)
        if len(axes) == 1 and axes[0].numbers is not None:
            panels[0].set_ylabel(axes[0].label)
        handles = []
        for m, r in zip(CYCLE, regions, strict=False):
            handles.append(Line2D([], [], **m.line, marker=m.marker, label=_region_words(known, r)))
        ring: dict[str, Any] = {"marker": "o", "ms": look.type * 1.1, "mfc": "none", "mec": INK, "ls": ""}
        if len(cases) > 1:
            handles.append(Line2D([], [], **ring, label="best case"))
        sheet.legend(handles=handles, loc="outside lower left", ncols=2, handlelength=2.6)
        return sheet


def _names(table: pd.DataFrame, axes: Sequence[Axis]) -> pd.Series:
    if not axes:
        return pd.Series("this set-up", index=table.index)
    return table[[a.column for a in axes]].apply(lambda row: ", ".join(map(in_words, row)), axis=1)


def _region_words(known: pd.DataFrame, region: str) -> str:
    rows = known[known["region"] == region]
    if rows.empty:
        return f"{region} (out of reach)"
    row = rows.iloc[0]
    low, high = row["elevation_low_deg"], row["elevation_high_deg"]
    angles = f"{low:.0f}°" if high - low < 0.5 else f"{low:.0f} to {high:.0f}°"
    return f"{region}: {_hops(int(row['hops']))}, {angles} up"


def angle_figure(table: pd.DataFrame, hops: Sequence[int], height: float, heading: Heading = Heading()) -> Sheet:
    """Elevation angle against ground distance for the hops and layer looked at, and lower and higher layers (faint)."""
    with style(heading.size) as look:
        sheet = Sheet(look, look.height * 0.8 if look.name == "print" else None)
        sheet.draws("target", table.index, "elevation_low_deg", "elevation_high_deg", "nearest_km", "farthest_km")
        sheet.header(heading)
        ax: Any = sheet.subplots()
        for layer in sorted({height, *LAYERS.values()}):
            for mark, n in zip(CYCLE, hops, strict=False):
                d = np.linspace(0, n * hop_reach(layer), 300)
                e = np.degrees(hop_elevation(d, layer, n))
                chosen = layer == height
                ax.plot(
                    d / 1e3, e, color=mark.colour, ls=mark.dash, lw=look.line * (1.4 if chosen else 0.5),
                    alpha=1 if chosen else 0.6, label=_hops(n) if chosen else None, zorder=3,
                )  # fmt: skip
        spans = table.groupby("region", sort=False)[["nearest_km", "farthest_km"]].max().reset_index()
        for i, row in enumerate(spans.to_dict("records")):
            y = 92 - 6 * (i % 3)
            ends = row["nearest_km"], row["farthest_km"]
            ax.plot(ends, [y, y], color=QUIET, lw=look.line * 3, solid_capstyle="butt")
            ax.axvspan(*ends, facecolor=TARGET, zorder=0.5)
            ax.text(ends[1] + 60, y, row["region"], va="center", size=look.small, color=INK)
        ax.set_ylim(0, 96)
        ax.set_yticks(range(0, 91, 15))
        ax.set_xlim(0, max(hops) * hop_reach(height) / 1e3)
        ax.set_xlabel("ground distance (km)")
        ax.set_ylabel("elevation (°)")
        sheet.legend(loc="outside lower left", ncols=4, handlelength=2.6)
        return sheet


def _hops(n: int) -> str:
    return "1 hop" if n == 1 else f"{n} hops"
