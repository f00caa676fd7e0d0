"""The uncertainty (±) of a result's dips, read from its tables "spread" and "spread_parts"; every report uses these."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from tautwire.studies.study.findings import (
    Cell,
    Finding,
    Number,
    Row,
    Words,
    band_name,
    case_name,
    cell_words,
    convention,
    joined,
    made_of,
    say,
    table_of,
)

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result

MOST_PARTS = 3
WORTH = 0.97  # of the uncertainty left after a measurement, above which it is not worth naming


def give_of(result: Result, row: Mapping[str, Any]) -> Row:
    """The row of "spread" for a row of "dips": same case, same band; empty if there is none."""
    same = [c for c in (*result.axis_columns, "band") if c in row]
    rows = (r for r in table_of(result, "spread") if all(r[c] == row[c] for c in same if c in r))
    return next(rows, Row({}, "spread", -1))


def with_give(result: Result, dips: pd.DataFrame) -> pd.DataFrame:
    """The rows of "dips" with the columns of "spread" beside them; unchanged if the study has no spread."""
    if "spread" not in result.frames:
        return dips
    table = result.frames["spread"]
    keys = [c for c in (*result.axis_columns, "band") if c in dips and c in table]
    extra = [c for c in table.columns if c not in dips]
    return dips.merge(table[[*keys, *extra]], on=keys, how="left") if len(table) and keys else dips


EVEN = 1 / 3  # a range whose two sides differ by less of their mean is written as one ±


def sides(row: Row, minus: str, plus: str, form: str) -> Words:
    """A range round a value: "±150 kHz", or with both of its sides "−170/+140 kHz". minus, plus: columns."""
    low, high = row[minus], row[plus]
    if abs(high - low) <= EVEN * (high + low) / 2:
        return say("±{both}", both=Number(row.si(minus) / 2 + row.si(plus) / 2,
                                          (row.cell(minus), row.cell(plus)), "mean", form))  # fmt: skip
    return say("\u2212{low}/+{high}", low=row.number(minus, "kHz" if form == "shift" else form),
               high=row.number(plus, form))  # fmt: skip


def dip_words(result: Result, row: Row) -> Words:
    """A dip with its uncertainty: "14.184 MHz ±150 kHz", "14.184 MHz \u2212172/+143 kHz"."""
    give = give_of(result, row)
    dip = say("{dip}", dip=row.number("dip_mhz", "frequency"))
    if math.isnan(give.get("dip_give_khz", math.nan)):
        return dip
    return say("{dip} {give}", dip=dip, give=sides(give, "dip_minus_khz", "dip_plus_khz", "shift"))


def worst_words(result: Result, row: Row) -> Words:
    """The highest SWR in a band with its range: "2.31 (1.60 to 3.40)"."""
    give = give_of(result, row)
    worst = say("{swr}", swr=row.number("swr_worst", "SWR"))
    if math.isnan(give.get("swr_worst_low", math.nan)):
        return worst
    return say("{worst} ({low} to {high})", worst=worst, low=give.number("swr_worst_low", "SWR"),
               high=give.number("swr_worst_high", "SWR"))  # fmt: skip


def sureness(result: Result) -> list[Finding]:
    """How sure the dips are, what they are unsure by, and what ± means; nothing where there is no spread."""
    found = [*_typical(result), *_largest(result)]
    return [*found, *_withheld(result), *([_covered()] if found else [])]


def _meant(result: Result) -> list[Row]:
    """The rows of "spread" that the answer is about: of turns, those of the stops to use; else all with a dip shown."""
    gone = {result.place(r) for r in result.rows("dips") if math.isnan(r["dip_mhz"])}
    rows = [r for r in table_of(result, "spread") if not math.isnan(r["dip_give_khz"]) and result.place(r) not in gone]
    at_stop = {(r["band"], r["stop_turns"]) for r in table_of(result, "turns")}
    return [r for r in rows if (r["band"], r.get("turns_out")) in at_stop] if at_stop else rows


def _typical(result: Result) -> list[Finding]:
    """The dips' uncertainty, the middle one of each band."""
    gives: dict[str, list[Cell]] = {}
    for row in _meant(result):
        gives.setdefault(row["band"], []).append(row.cell("dip_give_khz"))
    if not gives:
        return []
    parts = [
        say("{band} ±{khz}", band=band_name(band), khz=made_of("middle", "shift", *cells, result=result))
        for band, cells in gives.items()
    ]
    dip = "dip" if len(parts) == 1 else "dips"
    words = say("Typical uncertainty of the {dip}: {parts} ({share}).", dip=dip, parts=joined(parts, ", ", ", "),
                share=convention("68 %"))  # fmt: skip
    return [Finding(words, "sure", "typical uncertainty")]


def _withheld(result: Result) -> list[Finding]:
    """Which dips carry no ±, and why: the first of each reason stands for all."""
    rows: dict[str, list[Row]] = {}
    for row in table_of(result, "spread"):
        if row.get("withheld"):
            rows.setdefault(row["withheld"], []).append(row)
    found = []
    for some in rows.values():
        row = some[0]
        bands = joined([band_name(b) for b in dict.fromkeys(r["band"] for r in some)], ", ", " and ")
        words = say("No ± on {bands}: {why}.", bands=bands, why=cell_words(row, "withheld"))
        found.append(Finding(words, "sure", "uncertainty withheld", {"band": row["band"]}))
    return found


def _largest(result: Result) -> list[Finding]:
    """The largest contributors to the least certain dip, and the one measurement that would narrow it most."""
    if not (rows := _meant(result)):
        return []
    row = max(rows, key=lambda r: r["dip_give_khz"] / r["dip_mhz"])  # the largest for the band it is in
    case = case_name(result, row)
    where = say("{band}, {case}", band=band_name(row["band"]), case=case) if case.words else band_name(row["band"])
    keys = [c for c in (*result.axis_columns, "band") if c in row]
    parts = [p for p in table_of(result, "spread_parts") if all(p[k] == row[k] for k in keys if k in p)][:MOST_PARTS]
    about = {"band": row["band"]}
    found = []
    if parts:
        named = [
            say("{name} (±{khz})", name=cell_words(p, "part"), khz=p.number("moves_khz", "shift", "size"))
            for p in parts
        ]
        words = say("Largest uncertainties on {where}: {parts}.", where=where, parts=joined(named, ", ", ", "))
        found.append(Finding(words, "sure", "largest uncertainties", about))
    if row["measure"] and row["measured_give_khz"] < WORTH * row["dip_give_khz"]:
        words = say(
            "To reduce this uncertainty, {measure}: ±{before} would shrink to ±{after} on {where}.",
            measure=cell_words(row, "measure"),
            before=row.number("dip_give_khz", "shift"), after=row.number("measured_give_khz", "shift"), where=where,
        )  # fmt: skip
        found.append(Finding(words, "next", "measure", about))
    return found


def _covered() -> Finding:
    words = say(
        "± covers {share} of similar installations, ranges of SWR {most}; write what you know better into [spread].",
        share=convention("68 %"), most=convention("95 %"),
    )  # fmt: skip
    return Finding(words, "detail", "what ± covers")
