"""The title of each figure of a study of patterns: what it shows, from the cells that it draws."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    Drawn,
    Row,
    Title,
    Words,
    band_name,
    by_band,
    joined,
    made_of,
    say,
    with_case,
)
from tautwire.studies.wants.pattern.words import ahead, cut_words, ends, shore

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST_NAMED = 4  # bands named one by one
ALIKE = 0.1  # dB between cases that a title says nothing about


def title_of_kind(result: Result, kind: str) -> Callable[[Drawn], str]:
    """What makes the title of "elevation", "azimuth", "power", "gain" or "solid" from what the figure draws."""

    def title(drawn: Drawn) -> str:
        words = SAID[kind](result, drawn)
        return words.title(result.study.lengths) if words else Title("")

    return title


def _elevation(result: Result, drawn: Drawn) -> Words | None:
    """The greatest gain in the plane that is drawn."""
    rows = drawn.rows(result, "pattern", "plane_peak_radio_gain_dbi")
    if not rows:
        return None
    best = max(rows, key=lambda r: r["plane_peak_radio_gain_dbi"])
    return say(
        "In this plane at most {gain}, {up} up {way}, on {band}{case}",
        gain=best.number("plane_peak_radio_gain_dbi", "dBi"),
        up=made_of("above the horizon", "angle", (best, "plane_peak_deg"), result=result),
        way="behind" if 90 < best["plane_peak_deg"] < 270 else "ahead", band=band_name(best["band"]),
        case=with_case(result, best),
    )  # fmt: skip


def _azimuth(result: Result, drawn: Drawn) -> Words | None:
    """How far cases lie apart in their best direction; of one case, where each band's is."""
    column = "cut_peak_radio_gain_dbi"
    rows = drawn.rows(result, "pattern", column)
    if not rows:
        return None
    at = cut_words(rows)
    bands = by_band(result, rows)
    if all(len(mine) == 1 for mine in bands.values()):
        each = [
            say("{bearing} on {band}", bearing=mine[0].number("cut_peak_bearing_deg", "bearing"), band=band_name(name))
            for name, mine in bands.items()
        ]
        return say("At {at} most goes towards {each}", at=at, each=joined(each[:MOST_NAMED]))
    widest = max(bands, key=lambda name: ahead(result, bands[name], column).value)
    lead, (best, least) = ahead(result, bands[widest], column), ends(bands[widest], column)
    if lead.value < ALIKE:
        return say("At {at} all cases are alike in their best direction", at=at)
    return say(
        "At {at} best directions differ most on {band}: {most}{one}, {few}{other}", at=at, band=band_name(widest),
        most=best.number(column, "dBi"), one=with_case(result, best), few=least.number(column, "dBi"),
        other=with_case(result, least),
    )  # fmt: skip


def _power(result: Result, drawn: Drawn) -> Words | None:
    rows = drawn.rows(result, "pattern", "share_sky")
    if not rows:
        return None
    high, low = ends(rows, "share_sky")

    first = say(
        "{share} of the radio's power reaches the sky on {band}{case}", share=high.number("share_sky", "percent"),
        band=band_name(high["band"]), case=with_case(result, high),
    )  # fmt: skip
    if high is low:
        return first
    return say("{first}; {share} on {band}{case}", first=first, share=low.number("share_sky", "percent"),
               band=band_name(low["band"]), case=with_case(result, low))  # fmt: skip


def _gain(result: Result, drawn: Drawn) -> Words | None:
    """The curve that changes most."""
    curves: dict[tuple[str, float], list[Row]] = {}
    for row in drawn.rows(result, "pattern_gains", "forward_radio_gain_dbi"):
        curves.setdefault((row["band"], row["elevation_deg"]), []).append(row)
    if not curves:
        return None
    column = "forward_radio_gain_dbi"
    rows = max(curves.values(), key=lambda mine: ahead(result, mine, column).value)
    best = max(rows, key=lambda r: r[column])
    if ahead(result, rows, column).value < ALIKE:
        return say("The gain along the bearing stays the same in every case")
    return say(
        "At {up} on {band} the gain changes by {db}, up to {most}{case}", up=best.number("elevation_deg", "angle"),
        band=band_name(best["band"]), db=ahead(result, rows, column), most=best.number(column, "dBi"),
        case=with_case(result, best),
    )  # fmt: skip


def _solid(result: Result, drawn: Drawn) -> Words | None:
    """How high the strongest direction of each band is."""
    each = []
    for name, rows in by_band(result, drawn.rows(result, "pattern", "takeoff_deg")).items():
        high, low = (row.number("takeoff_deg", "angle") for row in ends(rows, "takeoff_deg"))
        span = say("{a}", a=low) if low.text() == high.text() else say("{a} to {b}", a=low, b=high)
        each.append(say("{up} on {band}", up=span, band=band_name(name)))
    return say("Most gain is at an elevation of {each}", each=joined(each[:MOST_NAMED])) if each else None


def _shore(result: Result, drawn: Drawn) -> Words | None:
    """What the terrain does at the elevation drawn."""
    found = shore(result, drawn.rows(result, "pattern_gains", "around_db"))
    return found[0].words if found else None


SAID: dict[str, Callable[[Result, Drawn], Words | None]] = {
    "elevation": _elevation, "azimuth": _azimuth, "power": _power, "gain": _gain, "solid": _solid,
    "shore": _shore,
}  # fmt: skip
