"""The give or take (±) of a result's dips, read from its table "spread" and in words; every report uses these."""

from __future__ import annotations

import math
from statistics import median
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result


def give_of(result: Result, row: Any) -> dict[str, Any]:
    """The row of "spread" for a row of "dips": same case, same band; empty if there is none."""
    same = [c for c in (*result.axis_columns, "band") if c in row]
    return next((r for r in result.rows("spread") if all(r[c] == row[c] for c in same if c in r)), {})


def with_give(result: Result, dips: pd.DataFrame) -> pd.DataFrame:
    """The rows of "dips" with the columns of "spread" beside them; unchanged if the study has no spread."""
    if "spread" not in result.frames:
        return dips
    table = result.frames["spread"]
    keys = [c for c in (*result.axis_columns, "band") if c in dips and c in table]
    extra = [c for c in table.columns if c not in dips]
    return dips.merge(table[[*keys, *extra]], on=keys, how="left") if len(table) and keys else dips


EVEN = 0.1  # a range whose two sides differ by less of their mean is told as one ±


def sides_words(minus: float, plus: float, digits: int = 0, unit: str = "") -> str:
    """A range round a value: "±150 kHz", or with both of its sides "-170/+140 kHz"."""
    if abs(plus - minus) <= EVEN * (plus + minus) / 2:
        return f"±{(plus + minus) / 2:.{digits}f}{unit}"
    return f"-{minus:.{digits}f}/+{plus:.{digits}f}{unit}"


def dip_words(result: Result, row: Any) -> str:
    """A dip with its give or take: "14.184 ±0.150 MHz", "14.184 -0.172/+0.143 MHz"."""
    give = give_of(result, row)
    if math.isnan(give.get("dip_give_khz", math.nan)):
        return f"{row['dip_mhz']:.3f} MHz"
    return f"{row['dip_mhz']:.3f} {sides_words(give['dip_minus_khz'] / 1e3, give['dip_plus_khz'] / 1e3, 3)} MHz"


def worst_words(result: Result, row: Any) -> str:
    """The highest SWR in a band with its range: "2.31 (1.6 to 3.4)"."""
    give = give_of(result, row)
    if not give or math.isnan(give["swr_worst_low"]):
        return f"{row['swr_worst']:.2f}"
    return f"{row['swr_worst']:.2f} ({give['swr_worst_low']:.2f} to {give['swr_worst_high']:.2f})"


def footnote(result: Result) -> str:
    """What the numbers after ± are; empty if there are none."""
    if not result.rows("spread"):
        return ""
    return (
        "± holds 68 % of set-ups hung like this one by usual care, ranges of SWR 95 %; write what you know better "
        "into [spread]."
    )


def give_line(result: Result) -> str:
    """The dips' give or take in a study of several cases: the middle one of each band; empty for one case."""
    gives: dict[str, list[float]] = {}
    for row in (rows := result.rows("spread")):
        gives.setdefault(row["band"], []).append(row["dip_give_khz"])
    if len(gives) == len(rows):
        return ""
    known = {band: [k for k in khz if not math.isnan(k)] for band, khz in gives.items()}
    told = [f"{band} ±{median(khz):.0f} kHz" for band, khz in known.items() if khz]
    return f"Give or take of these dips: {', '.join(told)}."


def causes(result: Result) -> str:
    """One line: the largest contributors, and the one measurement that would narrow the dips most."""
    rows = [r for r in result.rows("spread") if r["largest"] and not math.isnan(r["dip_give_khz"])]
    if not rows:
        return ""
    row = max(rows, key=lambda r: r["dip_give_khz"] / r["dip_mhz"])  # where it is largest for the band it is in
    names, sizes = str(row["largest"]).split("; "), str(row["largest_khz"]).split("; ")
    parts = ", ".join(f"{n} (±{s})" for n, s in zip(names, sizes, strict=True))
    line = f"Least sure of, by how many kHz it may move the dip on {row['band']}: {parts}."
    if row["measure"] and row["measured_give_khz"] < 0.97 * row["dip_give_khz"]:
        what = str(row["measure"])
        line += (
            f" To know better, {what}: on {row['band']} ±{row['dip_give_khz']:.0f} becomes "
            f"±{row['measured_give_khz']:.0f} kHz."
        )
    return line
