"""Where the radio's power goes: a bar a case, parted into sky, soil, wire, choke, transformer, coax, reflected."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from matplotlib.patches import Patch

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.style import INK, Heading, Look, Sheet, style
from tautwire.studies.study.study import Axis

# lightness falls and rises along the bar, and every second part is hatched, so that neighbours differ without colour
PARTS = (
    ("sky", "sky", "#3a8fe6", ""),
    ("soil", "soil", "#7c2a00", ""),
    ("wire", "wire", "#e0a04f", "////"),
    ("choke", "choke", "#c79be0", "xxxx"),
    ("transformer", "transformer", "#93866f", "...."),
    ("coax", "coax", "#5f8f8b", "----"),
    ("mismatch", "reflected", "#f1efe9", "\\\\\\\\"),
)
MOST_BARS = 24


def power_figure(
    table: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """table: frame "pattern" of want_pattern. Bars: percent of the radio's forward power, the sky's written in."""
    count = int((table["band"] == bands[0].name).sum())
    if count > MOST_BARS:
        heading = heading.noting(f"the first {MOST_BARS} of {count} cases")
    with style(heading.size) as look:
        most = min(count, MOST_BARS)
        across = 2 if len(bands) > 1 else 1
        if look.name != "print":
            across = len(bands)
        rows = -(-len(bands) // across)
        inches = 1.6 + rows * (0.6 + 0.23 * max(most, 2))
        sheet = Sheet(look, inches if look.name == "print" else None)
        parts = {band.name: table[table["band"] == band.name].head(MOST_BARS) for band in bands}
        for part in parts.values():
            sheet.draws("pattern", part.index, *(f"share_{key}" for key, *_ in PARTS))
        sheet.header(heading.under("Share of the radio's power, %"))
        panels: Any = sheet.subplots(rows, across, squeeze=False, sharex=True)
        for ax in panels.flat[len(bands) :]:
            ax.set_visible(False)
        for k, (ax, band) in enumerate(zip(panels.flat, bands, strict=False)):
            part = parts[band.name]
            _bars(ax, part, look)
            names = [_case(axes, row) for row in part.to_dict("records")]
            ax.set_yticks(range(len(names)), names if k % across == 0 else [])
            ax.set_title(band.name)
            ax.set_ylim(len(names) - 0.4, -0.6)
        other = [a for a in axes if len(axes) == 1 and a.numbers is not None]
        for row in panels:
            if other:
                row[0].set_ylabel(other[0].label)
        handles = [Patch(facecolor=c, hatch=h, edgecolor=INK, lw=0.3, label=w) for _, w, c, h in PARTS]
        sheet.legend(handles=handles, loc="outside lower left", ncols=7, handlelength=1.4, columnspacing=1.2)
        return sheet


def _bars(ax: Any, part: pd.DataFrame, look: Look) -> None:
    for y, row in enumerate(part.to_dict("records")):
        left = 0.0
        for key, _, colour, hatch in PARTS:
            wide = 100 * row[f"share_{key}"]
            ax.barh(y, wide, left=left, height=0.72, color=colour, hatch=hatch, edgecolor=INK, lw=0.3, zorder=2)
            left += wide
        sky = 100 * row["share_sky"]
        inside = sky > 12
        ax.text(
            sky - 1 if inside else 1, y, f"{sky:.0f}", ha="right" if inside else "left", va="center", zorder=3,
            size=look.small, color="white" if not inside else INK, weight="bold",
        )  # fmt: skip
    ax.set_xlim(0, 100)
    ax.grid(axis="y", visible=False)
    ax.grid(axis="x", visible=True)
    ax.tick_params(axis="y", length=0)


def _case(axes: Sequence[Axis], row: dict[Any, Any]) -> str:
    if not axes:
        return "this set-up"
    if len(axes) == 1:
        return axes[0].value_text(row[axes[0].column])
    return ", ".join(a.words(row[a.column]) for a in axes)
