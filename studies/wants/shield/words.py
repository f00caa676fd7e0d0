"""What a study of the coax shield found: where a choke goes, what it leaves on the shield, where the dip goes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tautwire.studies.study.findings import (
    FORMS,
    Finding,
    Name,
    Number,
    Row,
    Words,
    band_name,
    big,
    convention,
    say,
    table_of,
)

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

AS_BUILT = "as built"
"""name of the variant that is the set-up as it is"""


def findings(result: Result) -> list[Finding]:
    """Of the first case: where a choke goes; how the dip moves; a sentence or two a band."""
    table = first_rows(result)
    if not table:
        return []
    worst, best = placed(table)
    found = [Finding(verdict(table), "verdict", "where a choke goes", {"band": worst["band"]})]
    if best:
        words = say("With the choke there, {dip}; it takes {watts} at full power.", dip=_dip(best),
                    watts=best.number("choke_peak_w", "watts"))  # fmt: skip
        found.append(Finding(words, "answer", "with the choke", {"band": worst["band"]}))
    words = say(
        "The shield is taken to end at the radio; a person, a mains lead or a vehicle there lengthens it and moves "
        "these figures."
    )
    found.append(Finding(words, "caution", "ends at the radio"))
    for band in result.study.bands:
        if rows := [row for row in table if row["band"] == band.name]:
            found.append(Finding(_of_band(rows), "detail", "shield", {"band": band.name}))
    return found + _big(worst, best)


def first_rows(result: Result) -> list[Row]:
    """The rows of "shield" of the first case."""
    labels = result.study.cases()[0].labels
    return [row for row in table_of(result, "shield") if all(row[c] == v for c, v in labels.items() if c in row)]


def placed(rows: Sequence[Row]) -> tuple[Row, Row | None]:
    """As built, on the band with most current on the shield; and the choke there that leaves least, if it is less."""
    worst = max((r for r in rows if r["variant"] == AS_BUILT), key=lambda r: r["shield_max_a"])
    best = _best_choke([r for r in rows if r["band"] == worst["band"]])
    return worst, best if best and best["shield_max_a"] < worst["shield_max_a"] else None


def _best_choke(rows: Sequence[Row]) -> Row | None:
    """Of the places tried on a band, the one that leaves least on the shield."""
    tried = [r for r in rows if not math.isnan(r["choke_at_m"]) and r["variant"] != AS_BUILT]
    return min(tried, key=lambda r: r["shield_max_a"], default=None)


def verdict(rows: Sequence[Row]) -> Words:
    """Where a choke goes, on the band with most current on the shield. rows: of "shield", of the first case."""
    worst, best = placed(rows)
    amps = worst.number("shield_max_a", "amps")
    band = say("{band} with {power}", band=band_name(worst["band"]), power=worst.number("power_w", "power"))
    if best:
        return say(
            "A choke {place} leaves least on the shield: {less} instead of {amps}, on {band}.", place=_place(best),
            less=best.number("shield_max_a", "amps"), amps=amps, band=band,
        )  # fmt: skip
    if _best_choke([r for r in rows if r["band"] == worst["band"]]):
        return say("No place tried for a choke lowers the current on the shield: {amps}, on {band}.", amps=amps,
                   band=band)  # fmt: skip
    return say("The shield carries up to {amps}, on {band}.", amps=amps, band=band)


def _place(row: Row) -> Words:
    if row["choke_at_m"] == 0:
        return say("right at the transformer")
    return say("{at} from the transformer", at=row.number("choke_at_m", "length"))


def _dip(row: Row) -> Words:
    if math.isnan(row["dip_shift_khz"]):
        return say("no dip can be compared")
    return say("the dip moves {shift} to SWR {swr}", shift=row.number("dip_shift_khz", "signed shift"),
               swr=row.number("dip_swr", "SWR"))  # fmt: skip


def _of_band(rows: Sequence[Row]) -> Words:
    built, gone, best = next(r for r in rows if r["variant"] == AS_BUILT), rows[-1], _best_choke(rows)
    words = say(
        "{band}, {power}: {feed} flows onto the shield at the transformer, at most {most} along it. {gone} in place of "
        "the coax shield: {dip}, and gains within {near} of the peak change by up to {change}",
        band=band_name(built["band"]), power=built.number("power_w", "power"),
        feed=built.number("shield_feed_a", "amps"), most=built.number("shield_max_a", "amps"),
        gone=Name(str(gone["variant"]).capitalize(), "text"), dip=_dip(gone), near=convention("10 dB"),
        change=gone.number("pattern_change_db", "dB"),
    )  # fmt: skip
    if best:
        words = say(
            "{words}. Of the places for a choke, {place} leaves least on the shield (at most {amps}): {dip}, with "
            "{watts} in it at full power",
            words=words, place=_place(best), amps=best.number("shield_max_a", "amps"), dip=_dip(best),
            watts=best.number("choke_peak_w", "watts"),
        )  # fmt: skip
    return say("{words}.", words=words)


def label(row: Mapping[Any, Any], lengths: str) -> str:
    """A variant's name for a key, its length as the study's are typed. row: of "shield"."""
    if row["variant"] == AS_BUILT or not row.get("choke_at_m", math.nan) > 0:
        return str(row["variant"])
    return f"choke at {FORMS['length'](row['choke_at_m'], lengths)}"


def _big(worst: Row, best: Row | None) -> list[Finding]:
    band = band_name(worst["band"])
    found = [big(worst.number("shield_max_a", "amps"), say("at most on the shield, on {band}", band=band))]
    if best is None:
        return found
    at: Number | Name = best.number("choke_at_m", "length")
    where = say("from the transformer: where a choke leaves least")
    if best["choke_at_m"] == 0:
        at, where = Name("at the transformer", "text"), say("a choke leaves least")
    return [
        *found,
        big(at, where),
        big(best.number("shield_max_a", "amps"), say("then on the shield; {dip}", dip=_dip(best))),
    ]
