"""What a study of exposure found: how far everybody keeps away, by band, and what the distances rest on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    Finding,
    Number,
    Row,
    Words,
    band_name,
    big,
    by_band,
    cell_words,
    joined,
    made_of,
    say,
    table_of,
    with_case,
)

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST_BIG = 3


def findings(result: Result) -> list[Finding]:
    """How far to keep away; how far on each band; what the distances rest on; a sentence a band."""
    table = table_of(result, "exposure")
    if not table:
        return []
    bands = by_band(result, table)
    worst = sorted((max(rows, key=farthest) for rows in bands.values()), key=lambda r: -farthest(r))
    found = [Finding(_away(result, worst[0]), "verdict", "keep away", {"band": worst[0]["band"]})]
    if len(worst) > 1:
        each = [
            say("{far} on {band}", far=_span(result, row, "both distances"), band=band_name(row["band"]))
            for row in worst
        ]
        found.append(Finding(say("Distance by band: {each}.", each=joined(each)), "answer", "by band"))
    found += [*_searched(bands), *_rests_on(worst[0])]
    for row in worst:
        words = _of_band(result, bands[row["band"]])
        found.append(Finding(words, "detail", "keep away", {"band": row["band"]}))
    return found + [
        big(keep_away(result, row),
            say("{more}away from every part on {band} with {power}{case}", more="" if row["complete"] else "and more ",
                band=band_name(row["band"]), power=row.number("power_w", "power"), case=_case(result, row)))
        for row in worst[:MOST_BIG]
    ]  # fmt: skip


def farthest(row: Row) -> float:
    """The larger of a row's two distances, on the ground and from any part, m."""
    return max(row["stay_away_m"], row["any_part_m"])


def keep_away(result: Result, row: Row, form: str = "distance") -> Number:
    """That distance, which holds both on the ground and above it."""
    return made_of("largest", form, (row, "stay_away_m"), (row, "any_part_m"), result=result)


def _span(result: Result, row: Row, form: str) -> Words:
    least = "" if row["complete"] else "more than "
    return say("{least}{far}", least=least, far=keep_away(result, row, form))


def _case(result: Result, row: Row) -> Words:
    """The case; its power is said with the distance."""
    return with_case(result, row, ", ", without="radio.power")


def _away(result: Result, row: Row) -> Words:
    return say(
        "Keep everybody {far} away from every part with {power}{case}.", far=_span(result, row, "both distances"),
        power=row.number("power_w", "power"), case=_case(result, row),
    )  # fmt: skip


def title_words(result: Result, row: Row) -> Words:
    """Of a band's map: how far to keep away."""
    return say("{band}: keep everybody {far} away with {power}", band=band_name(row["band"]),
               far=_span(result, row, "both distances"), power=row.number("power_w", "power"))  # fmt: skip


def _searched(bands: dict[str, list[Row]]) -> list[Finding]:
    """The bands whose distance is greater than what was looked at."""
    over = [band_name(name) for name, rows in bands.items() if not all(row["complete"] for row in rows)]
    if not over:
        return []
    words = say(
        "On {bands} the limit is still exceeded at the edge of what was searched: the distance is greater.",
        bands=joined(over),
    )
    return [Finding(words, "caution", "not searched far enough")]


def _rests_on(row: Row) -> list[Finding]:
    """Cautions: whom they defer to, what they assume and leave out."""
    first = say(
        "Distances are calculated for flat bare ground: check them against the rules in force where you are, which "
        "come first, and add a margin."
    )
    rest = say(
        "Distances are to {limits} (figures from memory; check the text in force), for the highest field from {low} to "
        "{high} above soil. They assume flat soil, a radio that delivers all its power, and nobody in the field; they "
        "do not cover touch, which can burn where the field is within limits.",
        limits=cell_words(row, "limits"), low=row.number("body_low_m", "length"),
        high=row.number("body_high_m", "length"),
    )  # fmt: skip
    return [Finding(first, "caution", "rules"), Finding(rest, "caution", "assumptions")]


def _of_band(result: Result, rows: Sequence[Row]) -> Words:
    """On the ground and from any part; of several cases the range on the ground and the farthest."""
    near, far = min(rows, key=lambda r: r["stay_away_m"]), max(rows, key=lambda r: r["stay_away_m"])
    part = max(rows, key=lambda r: r["any_part_m"])
    low, high = (row.number("stay_away_m", "distance") for row in (near, far))
    span = say("{high}", high=high)
    if low.text(result.study.lengths) != high.text(result.study.lengths):
        span = say("{low} to {high} (by case)", low=low, high=high)
    return say(
        "{band}: with {power} at a duty of {duty}, people on the ground stay {span} clear of every conductor seen from "
        "above, and nobody comes within {part} of any part of it.",
        band=band_name(part["band"]), power=_values(rows, "power_w", "power"), duty=_values(rows, "duty", "plain"),
        span=span, part=part.number("any_part_m", "distance"),
    )  # fmt: skip


def _values(rows: Sequence[Row], column: str, form: str) -> Words:
    """Each value of a column once: "10 W or 100 W"."""
    once = {row[column]: row for row in rows}
    return joined([once[value].number(column, form) for value in sorted(once)], ", ", " or ")
