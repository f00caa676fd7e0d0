"""The give or take (±) of a result's dips, read from its table "spread" and in words; every report uses these."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result


def rows_of(result: Result, labels: dict[str, Any]) -> pd.DataFrame:
    """The rows of "spread" at a place on the axes; none if the study has no spread."""
    table = result.frames.get("spread", pd.DataFrame())
    for column, value in labels.items():
        table = table[table[column] == value] if column in table else table
    return table


def give_of(result: Result, row: Any) -> dict[str, float]:
    """The row of "spread" for a row of "dips": same case, same band; empty if there is none."""
    table = rows_of(result, {c: row[c] for c in result.axis_columns if c in row})
    table = table[table["band"] == row["band"]] if len(table) else table
    return {} if table.empty else dict(table.iloc[0])


def with_give(result: Result, dips: pd.DataFrame) -> pd.DataFrame:
    """The rows of "dips" with the columns of "spread" beside them; unchanged if the study has no spread."""
    table = rows_of(result, {})
    keys = [c for c in (*result.axis_columns, "band") if c in dips and c in table]
    extra = [c for c in table.columns if c not in dips]
    return dips.merge(table[[*keys, *extra]], on=keys, how="left") if len(table) and keys else dips


def dip_words(result: Result, row: Any) -> str:
    """A dip with its give or take: "14.184 ± 0.150 MHz"."""
    give = give_of(result, row).get("dip_give_khz", math.nan)
    return f"{row['dip_mhz']:.3f} MHz" if math.isnan(give) else f"{row['dip_mhz']:.3f} ± {give / 1e3:.3f} MHz"


def worst_words(result: Result, row: Any) -> str:
    """The highest SWR in a band with its range: "2.31 (1.6 to 3.4)"."""
    give = give_of(result, row)
    if not give or math.isnan(give["swr_worst_low"]):
        return f"{row['swr_worst']:.2f}"
    return f"{row['swr_worst']:.2f} ({give['swr_worst_low']:.2f} to {give['swr_worst_high']:.2f})"


def footnote(result: Result) -> str:
    """What the numbers after ± are; empty if there are none."""
    if rows_of(result, {}).empty:
        return ""
    return (
        "± holds 68 % of set-ups hung like this one by usual care, ranges of SWR 95 %; write what you know better "
        "into [spread]."
    )


def give_line(result: Result) -> str:
    """The dips' give or take in a study of several cases: the middle one of each band; empty for one case."""
    table = rows_of(result, {})
    if table.empty or table["band"].is_unique:
        return ""
    middle = table.groupby("band", sort=False)["dip_give_khz"].median().dropna()
    return f"Give or take of these dips: {', '.join(f'{b} ±{k:.0f} kHz' for b, k in middle.items())}."


def causes(result: Result) -> str:
    """One line: the largest contributors, and the one measurement that would narrow the dips most."""
    table = rows_of(result, {})
    if table.empty:
        return ""
    middle = table[table["dip_give_khz"].notna() & (table["largest"] != "")]
    if middle.empty:
        return ""
    # where the give or take is largest for the band it is in
    row = middle.loc[(middle["dip_give_khz"] / middle["dip_mhz"]).idxmax()]
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
