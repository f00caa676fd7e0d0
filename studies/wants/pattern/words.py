"""What a study of patterns found: where it radiates, how cases differ, where the power goes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tautwire.studies.drawing.axes import running
from tautwire.studies.study.findings import (
    Drawn,
    Finding,
    Number,
    Row,
    Title,
    Words,
    band_name,
    big,
    by_band,
    case_name,
    convention,
    joined,
    made_of,
    say,
    table_of,
    with_case,
)

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result


# --- What a study of patterns found.


NOTICED = 0.5  # dB; less makes no headline
NULL = 8.0  # dB below the best direction, from which a direction is called a null
ALIKE = 0.05  # dB that nobody can tell
TROUBLE = 1.0  # percent of power unaccounted for that is worth a sentence
SAME_ANGLE = 0.5  # degrees
UPRIGHT = 89.0  # degrees of elevation from which on it goes straight up
MOST_BIG = 3


def findings(result: Result) -> list[Finding]:
    """The verdict; of several cases then how the bands differ; a sentence or two a band."""
    table = table_of(result, "pattern")
    if not table:
        return []
    bands = by_band(result, table)
    found = shore(result, table_of(result, "pattern_gains"))
    found += compared(result, bands) if result.study.count > 1 else _placed(bands)
    for name, rows in bands.items():
        lines = _many(result, name, rows) if len(rows) > 1 else _one(result, rows[0])
        found += [Finding(line, "detail", "pattern", {"band": name}) for line in lines]
    words = say("Gains are from the radio, in text and plots: what mismatch, coax and transformer take is off.")
    found += [Finding(words, "detail", "gains"), *_trouble(table)]
    return found + _big(result, bands)


def shore(result: Result, gains: Sequence[Row]) -> list[Finding]:
    """How much shore, slope and hill add at the lowest elevation, and where most; none on level ground."""
    known = [r for r in gains if not math.isnan(r.get("around_db", math.nan))]
    low = [r for r in known if r["elevation_deg"] == min(k["elevation_deg"] for k in known)]
    if not low:
        return []
    least, most = min(low, key=lambda r: r["around_db"]), max(low, key=lambda r: r["around_db"])
    best = max(low, key=lambda r: r["forward_radio_gain_dbi"])
    up = most.number("elevation_deg", "angle")
    if len(low) == 1:
        words = say("At {up} the terrain changes the gain by {db}.", up=up, db=most.number("around_db", "signed dB"))
    else:
        words = say(
            "At {up} along the bearing the terrain adds {least} ({a}) to {most} ({b}); the highest gain there is "
            "{gain} ({c}).",
            up=up, least=least.number("around_db", "signed dB"), a=_where(result, least),
            most=most.number("around_db", "signed dB"), b=_where(result, most),
            gain=best.number("forward_radio_gain_dbi", "dBi"), c=_where(result, best),
        )  # fmt: skip
    return [Finding(words, "verdict", "terrain")]


def _where(result: Result, row: Row) -> Words:
    case = case_name(result, row)
    return say("{band}, {case}" if case.words else "{band}", band=band_name(row["band"]), case=case)


def _trouble(table: Sequence[Row]) -> list[Finding]:
    worst = max(table, key=lambda r: abs(r["balance_error_percent"]))
    if not abs(worst["balance_error_percent"]) > TROUBLE:
        return []
    words = say(
        "The power that reaches sky, soil, wire and choke differs from the solver's input by up to {part}: shares and "
        "gains refer to the power accounted for; the feed resistance may be off by as much.",
        part=worst.number("balance_error_percent", "fine percent", "size"),
    )  # fmt: skip
    return [Finding(words, "caution", "power balance")]


def _placed(bands: dict[str, list[Row]]) -> list[Finding]:
    """Of a single set-up: how high each band's strongest direction is, and what reaches the sky."""
    up = [
        say("{up} on {band}{gain}", up=rows[0].number("takeoff_deg", "angle"), band=band_name(name),
            gain=say(" ({dbi})", dbi=rows[0].number("peak_radio_gain_dbi", "dBi")))
        for name, rows in bands.items()
    ]  # fmt: skip
    sky = [
        say("{share} on {band}", share=rows[0].number("share_sky", "percent"), band=band_name(name))
        for name, rows in bands.items()
    ]
    return [
        Finding(say("Most gain is at an elevation of {up}.", up=joined(up)), "verdict", "elevation"),
        Finding(say("Of the radio's power {sky} reaches the sky.", sky=joined(sky)), "answer", "sky"),
    ]


def towards(row: Row) -> Words:
    """Where the greatest gain is: "towards 60° (NE)", "all round", "straight up"."""
    if math.isnan(row["peak_bearing_deg"]):
        return say("all round" if row["takeoff_deg"] < UPRIGHT else "straight up")
    return say("towards {bearing}", bearing=row.number("peak_bearing_deg", "bearing"))


def _one(result: Result, row: Row) -> list[Words]:
    band = band_name(row["band"])
    feed = made_of("sum", "percent", (row, "share_transformer"), (row, "share_coax"), result=result)
    metal = made_of("sum", "percent", (row, "share_wire"), (row, "share_choke"), result=result)
    return [
        say(
            "{band} at {f}: most gain is {peak} at an elevation of {up} {towards}; at {cut} the mean all round is "
            "{around}, and along the bearing of {bearing} it is {forward}, {back}.",
            band=band, f=row.number("f_mhz", "frequency"), peak=row.number("peak_radio_gain_dbi", "dBi"),
            up=row.number("takeoff_deg", "angle"), towards=towards(row), cut=row.number("cut_elevation_deg", "angle"),
            around=row.number("around_radio_gain_dbi", "dBi"), bearing=row.number("bearing_deg", "bearing"),
            forward=row.number("forward_radio_gain_dbi", "dBi"), back=_back(row),
        ),
        say(
            "{band}: {sky} of the radio's power reaches the sky and {soil} the soil; {metal} heats wire and choke, "
            "{feed} transformer and coax, and {mismatch} is reflected.",
            band=band, sky=row.number("share_sky", "percent"), soil=row.number("share_soil", "percent"), metal=metal,
            feed=feed, mismatch=row.number("share_mismatch", "percent"),
        ),
    ]  # fmt: skip


def _back(row: Row) -> Words:
    if math.isnan(row["front_to_back_db"]):
        return say("as behind")
    way = "more" if row["front_to_back_db"] >= 0 else "less"
    return say("{db} {way} than behind", db=row.number("front_to_back_db", "dB", "size"), way=way)


def of_soils(result: Result) -> bool:
    """Whether cases differ by their soil alone: then what reaches the sky decides, else the mean gain all round."""
    return len(result.study.axes) == 1 and result.study.axes[0].path.startswith("site.soil")


def ends(rows: Sequence[Row], column: str) -> tuple[Row, Row]:
    """The rows with the most and the least of a column."""
    return max(rows, key=lambda r: r[column]), min(rows, key=lambda r: r[column])


def ahead(result: Result, rows: Sequence[Row], column: str) -> Number:
    """How far the best case of a band leads the least, dB. column: a gain, dBi, or a share of power."""
    best, least = ends(rows, column)
    function = "decibels" if column.startswith("share") else "difference"
    return made_of(function, "dB", (best, column), (least, column), result=result)


def compared(result: Result, bands: dict[str, list[Row]]) -> list[Finding]:
    """What several cases differ by: the band where it matters most, then the others."""
    soils = of_soils(result)
    column = "share_sky" if soils else "around_radio_gain_dbi"
    leads = {name: ahead(result, rows, column) for name, rows in bands.items()}
    order = sorted(bands, key=lambda name: -leads[name].value)
    if leads[order[0]].value < NOTICED:
        what = "reaches the sky" if soils else "is radiated all round"
        words = say("Hardly any difference: what {what} differs by less than {limit} on every band.", what=what,
                    limit=convention("0.5 dB"))  # fmt: skip
        return [Finding(words, "verdict", "no difference")]
    each = [_lead(result, bands[name], column, leads[name], first=name == order[0]) for name in order]
    if soils:
        first = say("Soil matters most {lead}.", lead=each[0])
    else:
        every = [row for rows in bands.values() for row in rows]
        first = say(
            "The difference is greatest {lead} in the mean all round at {at}.", lead=each[0], at=cut_words(every)
        )
    found = [Finding(first, "verdict", "difference", {"band": order[0]})]
    if each[1:]:
        found.append(Finding(_sentence(joined(each[1:], "; ", "; ")), "answer", "difference"))
    return found


def _sentence(words: Words) -> Words:
    """With a capital letter and a full stop."""
    first, *others = words.parts
    start = first[:1].upper() + first[1:] if isinstance(first, str) else first
    return Words((start, *others, "."))


def _lead(result: Result, rows: Sequence[Row], column: str, lead: Number, first: bool) -> Words:
    """How the cases of a band differ. first: of the band that is named first, where a share is said of what."""
    best, least = ends(rows, column)
    band, one, other = band_name(best["band"]), case_name(result, best), case_name(result, least)
    if not column.startswith("share"):
        return say("on {band}: {one} leads {other} by {db}", band=band, one=one, other=other, db=lead)
    return say(
        "on {band}: {most}{of} with {one}, {few} with {other} ({db})", band=band, most=best.number(column, "percent"),
        of=" of the radio's power reaches the sky" if first else "", one=one, few=least.number(column, "percent"),
        other=other, db=lead,
    )  # fmt: skip


def cut_words(rows: Sequence[Row]) -> Words:
    """The elevation of the azimuth cut: "20°", or "each case's take-off angle"."""
    high, low = ends(rows, "cut_elevation_deg")
    if high["cut_elevation_deg"] - low["cut_elevation_deg"] >= SAME_ANGLE:
        return say("each case's take-off angle")
    return say("{angle}", angle=low.number("cut_elevation_deg", "angle"))


def _many(result: Result, band: str, rows: Sequence[Row]) -> list[Words]:
    """A fair comparison: the mean all round, each one's best direction, the wanted one; then axis and power."""
    name = band_name(band)
    lines = [say("{band} at {at}: {parts}.", band=name, at=cut_words(rows),
                 parts=joined(_directions(result, rows), "; ", "; "))]  # fmt: skip
    axis = running(result.study.axes)
    if axis is not None and axis.numbers is not None and len(result.study.axes) == 1:
        a, b = ends(rows, axis.column)[::-1]
        lines.append(say(
            "{band}: from {first} to {last} the take-off angle goes from {up} to {then} and the peak gain from {g} to "
            "{h}.",
            band=name, first=case_name(result, a), last=case_name(result, b), up=a.number("takeoff_deg", "angle"),
            then=b.number("takeoff_deg", "angle"), g=a.number("peak_radio_gain_dbi", "dBi"),
            h=b.number("peak_radio_gain_dbi", "dBi"),
        ))  # fmt: skip
    (sky, low), (most, least) = ends(rows, "share_sky"), ends(rows, "share_soil")
    lines.append(say(
        "{band}: {sky} of the radio's power reaches the sky with {one}, {low} with {other}; the soil takes {a} to {b}.",
        band=name, sky=sky.number("share_sky", "percent"), one=case_name(result, sky),
        low=low.number("share_sky", "percent"), other=case_name(result, low), a=least.number("share_soil", "percent"),
        b=most.number("share_soil", "percent"),
    ))  # fmt: skip
    return lines


def _directions(result: Result, rows: Sequence[Row]) -> list[Words]:
    """Best and least case by the mean all round, in each one's best direction, and along the bearing."""
    high, low = ends(rows, "bearing_deg")
    along = say("along each bearing")
    if high["bearing_deg"] - low["bearing_deg"] < SAME_ANGLE:
        along = say("along {bearing}", bearing=low.number("bearing_deg", "bearing"))
    lines = []
    for what, column in (
        (say("mean all round"), "around_radio_gain_dbi"),
        (say("best direction"), "cut_peak_radio_gain_dbi"),
        (along, "forward_radio_gain_dbi"),
    ):
        best, least = ends(rows, column)
        most = best.number(column, "dBi")
        if best[column] - least[column] < ALIKE:
            lines.append(say("{what} {dbi} in every case", what=what, dbi=most))
            continue
        words = say(
            "{what} {most} with {one}, least {few} with {other}", what=what, most=most, one=case_name(result, best),
            few=least.number(column, "dBi"), other=case_name(result, least),
        )  # fmt: skip
        if least["cut_peak_radio_gain_dbi"] - least[column] > NULL:
            below = made_of(
                "difference", "whole dB", (least, "cut_peak_radio_gain_dbi"), (least, column), result=result
            )
            words = say("{words} (a null of it: {below} below its best direction, {bearing})", words=words, below=below,
                        bearing=least.number("cut_peak_bearing_deg", "bearing"))  # fmt: skip
        lines.append(words)
    return lines


def _big(result: Result, bands: dict[str, list[Row]]) -> list[Finding]:
    """What reaches the sky, on the bands where cases differ most by it."""
    out = []
    order = sorted(bands, key=lambda name: -ahead(result, bands[name], "share_sky").value)
    for name in order[:MOST_BIG]:
        best, least = ends(bands[name], "share_sky")
        words = say("of the radio's power reaches the sky on {band}{case}", band=band_name(name),
                    case=with_case(result, best))  # fmt: skip
        if ahead(result, bands[name], "share_sky").value >= ALIKE:
            words = say("{words}; {few}{case}", words=words, few=least.number("share_sky", "percent"),
                        case=with_case(result, least))  # fmt: skip
        out.append(big(best.number("share_sky", "percent"), words))
    return out


# --- The title of each figure of a study of patterns: what it shows, from the cells that it draws.


MOST_NAMED = 4  # bands named one by one
FINDINGS_ALIKE = 0.1  # dB between cases that a title says nothing about


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
    if lead.value < FINDINGS_ALIKE:
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
    if ahead(result, rows, column).value < FINDINGS_ALIKE:
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
