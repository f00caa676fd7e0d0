"""What a study of dips found: where each dip is or how far it moves, against the band's width and 10 cm of wire."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    NOTHING,
    Cell,
    Finding,
    Name,
    Number,
    Row,
    Words,
    band_name,
    big,
    case_name,
    convention,
    edges,
    joined,
    made_of,
    say,
    table_of,
)
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.dips.wire_change import advice
from tautwire.studies.wants.give_or_take import dip_words, worst_words

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result

HARDLY, SOMEWHAT = 0.1, 0.5  # of a band's width: shifts up to these are called so
CUTS = {"metric": ("10 cm", 0.1), "imperial": ("4 in", 0.1016)}  # wire that shifts are held against, m
STILL = 1e3  # Hz: less is no shift
MOST_BIG = 3


def findings(result: Result) -> list[Finding]:
    """The verdict, the wire that a shift is worth, what to do, then a sentence a band."""
    table = table_of(result, "dips")
    if not table:
        return []
    found = headline(result)
    found += advice(result)
    for band in result.study.bands:
        rows = [row for row in table if row["band"] == band.name]
        found += _absent(result, band, rows)
        rows = [row for row in rows if not math.isnan(row["dip_mhz"])]
        if len(rows) > 1 and result.study.axes:
            found.append(Finding(_movement(result, band.name, rows), "detail", "dip moves", {"band": band.name}))
        elif len(rows) == 1:
            row = rows[0]
            inside = "inside" if band.lower <= row["dip_mhz"] * 1e6 <= band.upper else "outside"
            words = say(
                "{band}: the dip is at {dip} ({inside} the band), SWR {swr}; the highest SWR in the band is {worst}.",
                band=band_name(band.name), dip=dip_words(result, row), inside=inside, swr=row.number("dip_swr", "SWR"),
                worst=worst_words(result, row),
            )  # fmt: skip
            found.append(Finding(words, "detail", "dip", {"band": band.name}))
            found.append(Finding(_losses(row), "detail", "loss", {"band": band.name}))
            if row.get("dip_tuner_db", 0.0) > 0:
                words = say(
                    "{band}: a tuner at the radio would match the dip (SWR {swr}) for {db} of loss.",
                    band=band_name(band.name), swr=row.number("dip_swr", "SWR"),
                    db=row.number("dip_tuner_db", "fine dB"),
                )  # fmt: skip
                found.append(Finding(words, "answer", "tuner", {"band": band.name}))
    return found + _big(result, table)


def headline(result: Result, names: Collection[str] = (), sure: bool = True) -> list[Finding]:
    """The verdict on the study's dips and what it is held against; none if no band has one. names: of the bands it is
    about; all if left out. sure: with the ± of a difference, which figures do not draw."""
    rows = [row for row in table_of(result, "dips") if not math.isnan(row["dip_mhz"])]
    bands = [b for b in result.study.bands if not names or b.name in names]
    known = {b: mine for b in bands if (mine := [r for r in rows if r["band"] == b.name])}
    if not known:
        return []
    if len(result.study.cases()) == 1:
        return [Finding(_placed(result, {b: mine[0] for b, mine in known.items()}), "verdict", "dips placed")]
    return _moved(result, known, sure)


def _placed(result: Result, dips: Mapping[Band, Row]) -> Words:
    """Of a single set-up: which bands have their dip, and how far the others' are."""
    inside = [b for b, row in dips.items() if b.lower <= row["dip_mhz"] * 1e6 <= b.upper]
    places = []
    if inside:
        places.append(say("inside the band on {bands}", bands=listed([b.name for b in inside])))
    for b, row in dips.items():
        if b not in inside:
            khz = made_of("away", "shift", (row, "dip_mhz"), *edges(b.name), result=result)
            way = "above" if row.si("dip_mhz") > b.upper else "below"
            places.append(say("{khz} {way} the band on {band}", khz=khz, way=way, band=band_name(b.name)))
    return say("The dip is {places}.", places=joined(places, "; ", "; "))


def listed(names: Sequence[str]) -> Words:
    """ "40 m, 20 m and 15 m"."""
    return joined([band_name(n) for n in names])


def _moved(result: Result, dips: Mapping[Band, Sequence[Row]], sure: bool) -> list[Finding]:
    """Of several set-ups: the band whose dip moves most, as a share of its width, and the one that moves least."""

    def reach(b: Band) -> float:
        mhz = [row.si("dip_mhz") for row in dips[b]]
        return max(mhz) - min(mhz)

    def moves(b: Band) -> Number:
        return made_of("range", "shift", *[row.cell("dip_mhz") for row in _ends(dips[b])], result=result)

    most, least = (pick(dips, key=lambda b: reach(b) / (b.upper - b.lower)) for pick in (max, min))
    if reach(most) < STILL:
        words = say("Not at all: no dip moves by as much as {limit}.", limit=convention("1 kHz"))
        return [Finding(words, "verdict", "dips still")]
    share = reach(most) / (most.upper - most.lower)
    in_wire, small = _in_wire(result, most.name, dips[most])
    word = "Hardly" if share < HARDLY or small else "Somewhat" if share < SOMEWHAT else "Much"
    high, low = _ends(dips[most])
    between = NOTHING
    if len(result.study.axes) == 1:
        between = say(" between {low} and {high}", low=case_name(result, low), high=case_name(result, high))
    give = _sure_of(result, most.name, low, high) if sure else NOTHING
    sentence = say(
        "{word}: the {band} dip moves by {khz}{give}{between}, {part} the band's {width}",
        word=word,
        band=band_name(most.name),
        khz=moves(most),
        give=give,
        between=between,
        part=made_of(
            "of the width", "part", high.cell("dip_mhz"), low.cell("dip_mhz"), *edges(most.name), result=result
        ),
        width=made_of("width", "shift", *edges(most.name), result=result),
    )
    if least is not most:
        sentence = say(
            "{sentence}; the {band} dip by {khz}", sentence=sentence, band=band_name(least.name), khz=moves(least)
        )
    found = [Finding(say("{sentence}.", sentence=sentence), "verdict", "dips move")]
    return [*found, *([Finding(in_wire, "answer", "in wire")] if in_wire else [])]


def _sure_of(result: Result, band: str, one: Row, other: Row) -> Words:
    """ " ±9 kHz": half of the range that holds 68 % of the difference of two cases' dips, where it was worked out."""
    cases = {result.study.words_of(one), result.study.words_of(other)}
    for row in table_of(result, "differences"):
        if row["band"] == band and {row["case_a"], row["case_b"]} == cases:
            ends = ((row, f"dip_difference_{end}_68_khz") for end in ("low", "high"))
            return say(" ±{khz}", khz=made_of("half apart", "shift", *ends, result=result))
    return NOTHING


def _ends(rows: Sequence[Row]) -> tuple[Row, Row]:
    """The rows with the highest and the lowest dip."""
    return max(rows, key=lambda r: r["dip_mhz"]), min(rows, key=lambda r: r["dip_mhz"])


def _in_wire(result: Result, band: str, rows: Sequence[Row]) -> tuple[Words, bool]:
    """A shift of dips as so much wire, and whether it is less than 10 cm; nothing where the wire is what changes."""
    if any(a.path in ("antenna.length", "variant") for a in result.study.axes):
        return NOTHING, False
    name, metres = CUTS[result.study.lengths]
    wire, dips = Cell("setup", 0, "wire_m"), [row.cell("dip_mhz") for row in rows]
    moved = made_of("in wire", "length", wire, *dips, result=result)
    if moved.value < metres:
        cut = made_of("of the middle", "two-digit shift", wire, *dips, result=result, times=metres)
        return say("Trimming {cut} of wire would move it further: by about {khz}.", cut=convention(name), khz=cut), True
    return say("Trimming {wire} of wire would move the {band} dip as far.", band=band_name(band), wire=moved), False


def _absent(result: Result, band: Band, rows: Sequence[Row]) -> list[Finding]:
    """Cases without the band's dip, and the dips near it."""
    missing = [row for row in rows if math.isnan(row["dip_mhz"])]
    if not missing:
        return []
    low, high = (x / 1e6 for x in window(band))
    cases = {_case(result, row) for row in missing}
    near = [r for r in table_of(result, "all_dips") if low <= r["f_mhz"] <= high and _case(result, r) in cases]
    about = {"band": band.name}
    if len(rows) == 1:
        words = say("{band}: there is no dip of its own in or near the band", band=band_name(band.name))
        nearest = [_near(result, r, band, False) for r in near]
        words = (
            say("{words}; the nearest: {near}.", words=words, near=joined(nearest)) if near else say("{w}.", w=words)
        )
        return [Finding(words, "caution", "no dip", about)]
    which = joined([case_name(result, row) for row in missing[:MOST_BIG]], "; ", "; ")
    more = len(missing) - MOST_BIG
    if more > 0:
        count = made_of("count", "count", *[r.cell("dip_mhz") for r in missing[MOST_BIG:]], result=result)
        which = say("{which} and {count} more cases", which=which, count=count)
    words = say("{band}: the tracked dip disappears with {which}", band=band_name(band.name), which=which)
    if near:
        nearest = [_near(result, r, band, True) for r in near[:MOST_BIG]]
        words = say("{words}; the nearest dips there: {near}", words=words, near=joined(nearest, "; ", "; "))
    return [Finding(say("{words}.", words=words), "caution", "no dip", about)]


def _case(result: Result, row: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(str(row[c]) for c in result.axis_columns)


def _near(result: Result, row: Row, band: Band, several: bool) -> Words:
    parts: list[Name | Words] = []
    if several:
        parts.append(case_name(result, row))
    if row["band"] not in ("", band.name):
        parts.append(say("nearer to {band}", band=band_name(row["band"])))
    waves = row.number("mode", "count")
    parts.append(say("{n} half-wave{s} on the wire", n=waves, s="s" if row["mode"] > 1 else ""))
    return say("{mhz}, SWR {swr} ({about})", mhz=row.number("f_mhz", "frequency"), swr=row.number("swr", "SWR"),
               about=joined(parts, ", ", ", "))  # fmt: skip


def _movement(result: Result, band: str, rows: Sequence[Row]) -> Words:
    axes = result.study.axes
    axis = next((a for a in axes if a.numbers is not None), axes[0])
    name = band_name(band)
    if axis.numbers is None or len(axes) > 1:
        high, low = _ends(rows)

        def at(row: Row) -> Words:
            return say("{case} ({mhz}, SWR {swr})", case=case_name(result, row),
                       mhz=row.number("dip_mhz", "frequency"), swr=row.number("dip_swr", "SWR"))  # fmt: skip

        apart = made_of("difference", "shift", (high, "dip_mhz"), (low, "dip_mhz"), result=result)
        return say("{band}: the dip is lowest with {low} and highest with {high}, {apart} apart.", band=name,
                   low=at(low), high=at(high), apart=apart)  # fmt: skip
    rows = sorted(rows, key=lambda r: r[axis.column])
    first, last = rows[0], rows[-1]
    shift = made_of("difference", "shift", (last, "dip_mhz"), (first, "dip_mhz"), result=result)
    size = made_of("apart", "shift", (last, "dip_mhz"), (first, "dip_mhz"), result=result)
    best, worst = (pick(rows, key=lambda r: r["dip_swr"]) for pick in (min, max))
    moves = "stays where it is" if size.value < STILL / 2 else f"moves {'up' if shift.value > 0 else 'down'} by "
    words = say(
        "{band}: from {first} to {last} the dip {moves}{size}, from {a} to {b}; its SWR is {best} to {worst}.",
        band=name, first=case_name(result, first), last=case_name(result, last), moves=moves,
        size=size if moves.endswith(" ") else "", a=first.number("dip_mhz", "MHz"),
        b=last.number("dip_mhz", "frequency"), best=best.number("dip_swr", "SWR"), worst=worst.number("dip_swr", "SWR"),
    )  # fmt: skip
    turned = turning_point([r["dip_mhz"] * 1e3 for r in rows])
    if turned is None:
        return words
    at_turn = rows[turned]
    return say("{words} It does not move one way only: with {case} it is at {mhz}.", words=words,
               case=case_name(result, at_turn), mhz=at_turn.number("dip_mhz", "frequency"))  # fmt: skip


def _losses(row: Row) -> Words:
    """How much of the power that the coax takes at the dip reaches the wire."""
    return say(
        "{band}: at the dip {part} of the power into the coax reaches the wire; the coax takes {coax}, the transformer "
        "{transformer}.",
        band=band_name(row["band"]),
        part=row.number("dip_loss_db", "percent", "through"),
        coax=row.number("dip_coax_db", "fine dB"),
        transformer=row.number("dip_transformer_db", "fine dB"),
    )


def turning_point(dips: Sequence[float]) -> int | None:
    """Number of the dip farthest outside what the first and the last (kHz) span, None if none is by more than 1 kHz.

    >>> turning_point([6952, 6933, 6975])
    1
    """
    low, high = sorted([dips[0], dips[-1]])
    beyond = [max(low - khz, khz - high) for khz in dips]
    return beyond.index(max(beyond)) if max(beyond) > STILL / 1e3 else None


def _big(result: Result, table: Sequence[Row]) -> list[Finding]:
    """Of one case, the highest SWR of each band; of several, how far the dips move and the highest SWR of all."""
    if result.study.count == 1:
        rows = sorted((r for r in table if not math.isnan(r["dip_mhz"])), key=lambda r: -r["swr_worst"])
        return [
            big(r.number("swr_worst", "rough SWR"),
                say("highest SWR on {band}; it dips at {mhz}", band=band_name(r["band"]),
                    mhz=r.number("dip_mhz", "frequency")))
            for r in rows[:MOST_BIG]
        ]  # fmt: skip
    moves = []
    for band in result.study.bands:
        known = [r for r in table if r["band"] == band.name and not math.isnan(r["dip_mhz"])]
        if len(known) > 1:
            cells = [r.cell("dip_mhz") for r in known]
            khz = made_of("range", "shift", *cells, result=result)
            width = made_of("width", "shift", *edges(band.name), result=result)
            words = say("the {band} dip moves, in a band of {width}", band=band_name(band.name), width=width)
            moves.append((khz.value / width.value, big(khz, words)))
    out = [found for _, found in sorted(moves, key=lambda m: -m[0])[: MOST_BIG - 1]]
    worst = max(table, key=lambda r: r["swr_worst"])
    case = case_name(result, worst)
    about = say("highest SWR: {band}{case}", band=band_name(worst["band"]),
                case=say(", {c}", c=case) if case.words else "")  # fmt: skip
    return [*out, big(worst.number("swr_worst", "rough SWR"), about)]
