"""What want "spread" says."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    Finding,
    Name,
    Words,
    band_name,
    case_name,
    convention,
    made_of,
    say,
    table_of,
)
from tautwire.studies.wants.give_or_take import sides, sureness

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST_BANDS = 8


def findings(result: Result) -> list[Finding]:
    """How sure each band is, what it is unsure by, what to measure; then a sentence a band."""
    sure = sureness(result)
    limit = Name(f"{result.study.spec.swr_threshold:g}", "study")
    details = []
    for row in table_of(result, "spread")[:MOST_BANDS]:
        case = case_name(result, row)
        at: Words | Name = say("{c}, {b}", c=case, b=band_name(row["band"])) if case.words else band_name(row["band"])
        if math.isnan(row["dip_give_khz"]):
            lacks = say("{at}: no ± printed.", at=at) if row.get("withheld") else say("{at}: no dip.", at=at)
            details.append(Finding(lacks, "detail", "dip range", {"band": row["band"]}))
            continue
        words = say(
            "{at}: the dip is at {dip} {give} ({half}), and between {low} and {high} in {most} of similar "
            "installations; the highest SWR in the band is {a} to {b}, and at or below {limit} with a chance of "
            "{chance}.",
            at=at, dip=row.number("dip_mhz", "frequency"), give=sides(row, "dip_minus_khz", "dip_plus_khz", "shift"),
            half=convention("68 %"), most=convention("95 %"), low=row.number("dip_low_mhz", "MHz"),
            high=row.number("dip_high_mhz", "frequency"), a=row.number("swr_worst_low", "SWR"),
            b=row.number("swr_worst_high", "SWR"), limit=limit, chance=row.number("chance_under_limit", "chance"),
        )  # fmt: skip
        details.append(Finding(words, "detail", "dip range", {"band": row["band"]}))
    if exact := table_of(result, "spread_exact"):
        cells = [row.cell(column) for row in exact for column in ("told_mhz", "dip_mhz")]
        words = say(
            "{n} samples solved in full differ from this by {khz} (median).",
            n=made_of("pairs", "count", *cells, result=result),
            khz=made_of("middle apart", "shift", *cells, result=result),
        )  # fmt: skip
        details.append(Finding(words, "detail", "checked"))
    return [*_as_verdict(sure), *details]


def _as_verdict(sure: list[Finding]) -> list[Finding]:
    """The first of them as the verdict: it is what this want was asked."""
    return [Finding(f.words, "verdict" if i == 0 else f.role, f.kind, f.about) for i, f in enumerate(sure)]
