"""What want "spread" says."""

from __future__ import annotations

import math
from statistics import median
from typing import TYPE_CHECKING

from tautwire.studies.wants.give_or_take import causes, footnote

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST_BANDS = 8


def sentences(result: Result) -> list[str]:
    """For want "spread": each band's range, its chance, and what to measure."""
    lines = []
    for row in result.rows("spread")[:MOST_BANDS]:
        at = "".join(f"{c} {row[c]}, " for c in result.axis_columns if c in row)
        if math.isnan(row["dip_give_khz"]):
            lines.append(f"{at}{row['band']}: no dip to be sure of.")
            continue
        lines.append(
            f"{at}{row['band']}: the dip lies at {row['dip_mhz']:.3f} MHz, ±{row['dip_give_khz']:.0f} kHz (68 %), and "
            f"from {row['dip_low_mhz']:.3f} to {row['dip_high_mhz']:.3f} MHz in 95 % of such set-ups; the highest SWR "
            f"in the band is {row['swr_worst_low']:.2f} to {row['swr_worst_high']:.2f} (95 %), at or below "
            f"{result.study.spec.swr_threshold:g} with a chance of {chance_words(row['chance_under_limit'])}."
        )
    if exact := result.rows("spread_exact"):
        off = median(abs(row["told_mhz"] - row["dip_mhz"]) for row in exact) * 1e3
        lines.append(f"{len(exact)} samples solved in full differ from this by {off:.0f} kHz (median).")
    return [*lines, *filter(None, [causes(result), footnote(result)])]


def chance_words(chance: float) -> str:
    """A chance in percent, never certain: it rests on samples."""
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"
