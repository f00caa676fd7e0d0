"""What a study of regions found: which case serves them best, and with how much gain from the radio."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    NOTHING,
    Finding,
    Row,
    Words,
    band_name,
    big,
    case_name,
    cell_words,
    convention,
    joined,
    made_of,
    say,
    table_of,
    with_case,
)

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

NOTICED = 0.5  # dB; less makes no headline
ALIKE = 0.05  # dB that nobody can tell
WORTH_TURNING = 0.3  # dB
SAME_ANGLE = 0.5  # degrees
MOST_BIG = 3


def findings(result: Result) -> list[Finding]:
    """The verdict, where the choice matters most, how to turn the wire; then a sentence a band and region."""
    best, table = table_of(result, "target_best"), table_of(result, "target")
    if not table:
        return []
    found = headline(result, best) if result.study.count > 1 else _of_one(best)
    found += [*_turned(result, best), *_out_of_reach(table, best)]
    words = say("Elevation angles are geometry of mirror-like layers, not a prediction that the band is open.")
    found.append(Finding(words, "caution", "geometry"))
    for row in best:
        found.append(Finding(_gain(result, row), "detail", "gain", {"band": row["band"], "region": row["region"]}))
    return found + _big(result, best)


def headline(result: Result, best: Sequence[Row]) -> list[Finding]:
    """Which case serves most bands and regions best, and where it matters. best: rows of "target_best"."""
    if not best:
        return []
    names = [result.study.words_of(row) for row in best]
    leader = max(dict.fromkeys(names), key=names.count)
    won = [row for row, name in zip(best, names, strict=True) if name == leader]
    most = max(best, key=lambda r: r["spread_db"])
    if most["spread_db"] < NOTICED:
        words = say("Hardly any difference: no case is {limit} ahead of another anywhere.",
                    limit=convention("0.5 dB"))  # fmt: skip
        return [Finding(words, "verdict", "no difference")]
    column = "region_radio_gain_dbi"
    verdict = say(
        "Best most often: {case}, for {won} of {all} bands and regions.", case=case_name(result, won[0]),
        won=made_of("count", "count", *((row, column) for row in won), result=result),
        all=made_of("count", "count", *((row, column) for row in best), result=result),
    )  # fmt: skip
    matters = say(
        "The choice matters most on {band} to {region}: {db} between best and worst.", band=band_name(most["band"]),
        region=cell_words(most, "region"), db=most.number("spread_db", "dB"),
    )  # fmt: skip
    return [Finding(verdict, "verdict", "best case"), Finding(matters, "answer", "where it matters")]


def _of_one(best: Sequence[Row]) -> list[Finding]:
    """Of a single set-up: the band with most gain to each region."""
    each = [
        say("{region} on {band} ({gain})", region=cell_words(row, "region"), band=band_name(row["band"]),
            gain=row.number("region_radio_gain_dbi", "dBi"))
        for row in by_region(best)
    ]  # fmt: skip
    return [Finding(say("Most gain: {each}.", each=joined(each)), "verdict", "best band")] if each else []


def by_region(best: Sequence[Row]) -> list[Row]:
    """The band and case with most gain to each region, in the order of the regions."""
    most: dict[str, Row] = {}
    for row in best:
        if row["region"] not in most or row["region_radio_gain_dbi"] > most[row["region"]]["region_radio_gain_dbi"]:
            most[row["region"]] = row
    return list(most.values())


def _turned(result: Result, best: Sequence[Row]) -> list[Finding]:
    """Where to turn the wire, for the region that gains most from it."""
    known = [row for row in best if row["turn_gain_db"] > WORTH_TURNING]
    if not known:
        return []
    row = max(known, key=lambda r: r["turn_gain_db"])
    words = say(
        "To reach {region} on {band}, turn the antenna so that its wire points to {bearing}: {more} more{case}.",
        region=cell_words(row, "region"), band=band_name(row["band"]),
        bearing=row.number("best_bearing_deg", "bearing"), more=row.number("turn_gain_db", "dB"),
        case=with_case(result, row),
    )  # fmt: skip
    return [Finding(words, "next", "turn")]


def _out_of_reach(table: Sequence[Row], best: Sequence[Row]) -> list[Finding]:
    """Regions that no number of hops looked at reaches."""
    served = {row["region"] for row in best}
    missing: dict[str, Row] = {}
    for row in table:
        if row["region"] not in served and row["hops"] >= missing.get(row["region"], row)["hops"]:
            missing[row["region"]] = row
    return [
        Finding(
            say("{region} is out of reach: {hops} {reach} {far}.", region=cell_words(row, "region"), hops=_hops(row),
                reach="reaches" if row["hops"] == 1 else "reach", far=row.number("reach_km", "ground distance")),
            "caution", "out of reach", {"region": row["region"]},
        )
        for row in missing.values()
    ]  # fmt: skip


def _hops(row: Row) -> Words:
    return say("one hop") if row["hops"] == 1 else say("{n} hops", n=row.number("hops", "count"))


def angles(row: Row) -> Words:
    """Between which elevations paths to the region leave: "3° to 6°"."""
    low, high = row.number("elevation_low_deg", "angle"), row.number("elevation_high_deg", "angle")
    if row["elevation_high_deg"] - row["elevation_low_deg"] < SAME_ANGLE:
        return say("{low}", low=low)
    return say("{low} to {high}", low=low, high=high)


def _gain(result: Result, row: Row) -> Words:
    rest = aim = NOTHING
    if row["spread_db"] > ALIKE:
        rest = say(", {db} above the worst", db=row.number("spread_db", "dB"))
    if row["turn_gain_db"] > WORTH_TURNING:
        aim = say(" With its wire towards {bearing} it would have {more} more.",
                  bearing=row.number("best_bearing_deg", "bearing"), more=row.number("turn_gain_db", "dB"))  # fmt: skip
    return say(
        "{band}, {region} ({hops}, elevation {angles}): most gain from the radio is {gain}{case}{rest}.{aim}",
        band=band_name(row["band"]), region=cell_words(row, "region"), hops=_hops(row), angles=angles(row),
        gain=row.number("region_radio_gain_dbi", "dBi"), case=with_case(result, row), rest=rest, aim=aim,
    )  # fmt: skip


def _big(result: Result, best: Sequence[Row]) -> list[Finding]:
    """The farthest regions first: they are the hardest."""
    order = sorted(by_region(best), key=lambda r: (-r["hops"], r["elevation_low_deg"]))
    return [
        big(row.number("region_radio_gain_dbi", "whole dBi"),
            say("{region}, best on {band}{case}", region=cell_words(row, "region"), band=band_name(row["band"]),
                case=with_case(result, row)))
        for row in order[:MOST_BIG]
        if not math.isnan(row["region_radio_gain_dbi"])
    ]  # fmt: skip
