"""What a study of turns found: the stops, how likely they work, what a turn does there, and what needs a tuner."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from tautwire.model.operating.reel import Reel
from tautwire.studies.study.findings import (
    NOTHING,
    Finding,
    Name,
    Row,
    Words,
    band_name,
    big,
    by_case,
    case_name,
    cell_words,
    joined,
    made_of,
    rows_of,
    say,
    table_of,
)
from tautwire.studies.study.raw import lengths_of
from tautwire.studies.study.units import format_length
from tautwire.studies.wants.spread.values import COUNTED
from tautwire.studies.wants.turns.choice import COLUMN, other_columns, threshold

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

FLAT = 1.6  # highest over lowest SWR over the settings, below which the wire hardly matters


def findings(result: Result) -> list[Finding]:
    """The verdict on each case of the other axes, its stops, what one turn does there, what cannot be served."""
    if not result.rows("turns"):
        return []
    found: list[Finding] = []
    for labels, rows in by_case(result, "turns", other_columns(result)):
        stops = rows_of(result, "stops", labels)
        found.append(Finding(verdict(result, labels, rows, stops), "verdict", "stops", labels))
        found += [Finding(_stop(stop), "answer", "stop", labels) for stop in stops]
        found += [Finding(words, "answer", "turn") for words in _shifts(rows)]
        found += [Finding(unserved(r, result), "caution", "tuner") for r in rows if not r["served"]]
        found += [Finding(words, "detail", "flat") for words in _flat(rows_of(result, "turn_swr", labels))]
        if ends := [r for r in rows if r["at_range_end"]]:
            words = say("At the end of the range tried, so more or fewer turns may be better: {names}.",
                        names=_named(ends))  # fmt: skip
            found.append(Finding(words, "caution", "range end"))
    found += left_out(result)
    if doubt := turn_doubt(result.study):
        found.append(Finding(say("{doubt}", doubt=Name(doubt, "study")), "caution", "reel"))
    if result.study.options["turns"].stray != "none":
        words = say("The effect of the wire still wound is a rough estimate; shorting it is the sure way.")
        found.append(Finding(words, "caution", "stray"))
    return found + _big(result)


def _limit(result: Result) -> Name:
    return Name(f"{threshold(result.study):g}", "study")


def _named(rows: Sequence[Row]) -> Words:
    return joined([cell_words(r, "segment") for r in rows])


def verdict(result: Result, labels: dict[str, Any], rows: Sequence[Row], stops: Sequence[Row]) -> Words:
    """Which stops to use, how many segments they serve, and where a tuner is needed."""
    case = case_name(result, labels)
    place = say("{case}: ", case=case) if case.words else NOTHING
    if not stops:
        return say("{place}No setting serves any wanted segment with SWR up to {limit}.", place=place,
                   limit=_limit(result))  # fmt: skip
    served = made_of("true", "count", *[(r, "served") for r in rows], result=result)
    count = made_of("count", "count", *[(r, "served") for r in rows], result=result)
    which = say("all {n}", n=count) if served.value == count.value else say("{n} of {of}", n=served, of=count)
    at = joined([r.number(COLUMN, "turns") for r in stops])
    words = say(
        "{place}{at} turns out: {serve} {which} segments with SWR up to {limit}", place=place, at=at,
        serve="one stop serves" if len(stops) == 1 else "these stops serve", which=which, limit=_limit(result),
    )  # fmt: skip
    if needy := [r for r in rows if not r["served"]]:
        words = say("{words}; use a tuner on {names}", words=words, names=_named(needy))
    return say("{words}.", words=words)


def _stop(stop: Row) -> Words:
    segments = Name(str(stop["segments"]).replace(";", ","), "text")
    words = say(
        "{turns} turns out ({wire}): {segments}; highest SWR {swr}", turns=stop.number(COLUMN, "turns"),
        wire=stop.number("wire_m", "length"), segments=segments, swr=stop.number("swr_worst", "SWR"),
    )  # fmt: skip
    if math.isnan(stop["chance"]):
        return say("{words}.", words=words)
    return say("{words}; it works in {chance} of similar installations.", words=words,
               chance=stop.number("chance", "chance"))  # fmt: skip


def _shifts(rows: Sequence[Row]) -> list[Words]:
    """At each stop, where one more turn out moves the dips of the bands it serves."""
    lines = []
    for turns in dict.fromkeys(r["stop_turns"] for r in rows if not math.isnan(r["stop_turns"])):
        here = [r for r in rows if r["stop_turns"] == turns and r["band"]]
        known = {r["band"]: r for r in here if not math.isnan(r["stop_shift_khz_per_turn"])}
        if known:
            each = [
                say("{band} {khz}", band=band_name(b), khz=r.number("stop_shift_khz_per_turn", "signed shift"))
                for b, r in known.items()
            ]
            at = next(iter(known.values())).number("stop_turns", "turns")
            lines.append(say("At {at} turns out, one more turn out moves the dips: {each}.", at=at,
                             each=joined(each, ", ", ", ")))  # fmt: skip
    return lines


def _flat(rows: Sequence[Row]) -> list[Words]:
    """Segments whose SWR the wire hardly changes."""
    lines = []
    for name in dict.fromkeys(r["segment"] for r in rows):
        mine = [r for r in rows if r["segment"] == name]
        low, high = min(mine, key=lambda r: r["swr_worst"]), max(mine, key=lambda r: r["swr_worst"])
        wire = [r["wire_m"] for r in mine]
        if len(mine) > 2 and max(wire) > 1.2 * min(wire) and high["swr_worst"] < FLAT * low["swr_worst"]:
            lines.append(say(
                "{name}: the SWR is {a} to {b} at every setting tried: coax and counterpoise set it rather than the "
                "wire, and carry much of the current.",
                name=cell_words(low, "segment"), a=low.number("swr_worst", "rough SWR"),
                b=high.number("swr_worst", "rough SWR"),
            ))  # fmt: skip
    return lines


def unserved(row: Row, result: Result) -> Words:
    """What a tuner would have to do for a segment that no setting serves."""
    return say(
        "{name} needs a tuner: the best setting, {turns} turns out ({wire}), has SWR {swr}. The tuner would meet {r} "
        "and {x} of reactance at {mhz}; coax and transformer would still lose {loss}, {extra} of it from the SWR on "
        "the coax.",
        name=cell_words(row, "segment"), turns=row.number(COLUMN, "turns"), wire=row.number("wire_m", "length"),
        swr=row.number("swr_worst", "SWR"), r=row.number("radio_r_ohm", "ohms"), x=row.number("radio_x_ohm", "ohms"),
        mhz=row.number("worst_mhz", "frequency"),
        loss=made_of("sum", "dB", (row, "coax_loss_db"), (row, "transformer_loss_db"), result=result),
        extra=made_of("difference", "dB", (row, "coax_loss_db"), (row, "coax_matched_db"), result=result),
    )  # fmt: skip


def left_out(result: Result) -> list[Finding]:
    """Which settings asked for the layout cannot be built with."""
    study = result.study
    spec, rows = study.options["turns"], table_of(result, "turn_swr")
    found = []
    for asked, pick, what in ((spec.first, min, "little"), (spec.last, max, "much")):
        end = pick(rows, key=lambda r: r[COLUMN])
        beyond = 0 if asked is None else (end[COLUMN] - asked if what == "little" else asked - end[COLUMN])
        if beyond >= spec.step - 1e-6:
            words = say(
                "Of the turns asked for, those {way} {end} are left out: too {what} wire for the layout's heights.",
                way="below" if what == "little" else "above", end=end.number(COLUMN, "turns"), what=what,
            )  # fmt: skip
            found.append(Finding(words, "caution", "left out"))
    return found


def _big(result: Result) -> list[Finding]:
    turns, stops = table_of(result, "turns"), table_of(result, "stops")
    if not stops:
        return []
    each = joined([r.number(COLUMN, "turns") for r in stops[:3]], ", ", ", ")
    worst = max(stops, key=lambda r: r["swr_worst"])
    served = made_of("true", "count", *[(r, "served") for r in turns], result=result)
    count = made_of("count", "count", *[(r, "served") for r in turns], result=result)
    likely = [r for r in stops if not math.isnan(r["chance"])]
    out = [big(each, say("turns out: the stops to use" if len(stops) > 1 else "turns out: the stop to use"))]
    out.append(big(served, say("of {n} segments served without a tuner", n=count)))
    if likely:
        least = min(likely, key=lambda r: r["chance"])
        words = say("of similar installations: there the stop at {turns} turns works",
                    turns=least.number(COLUMN, "turns"))  # fmt: skip
        return [*out, big(least.number("chance", "chance"), words)]
    return [*out, big(worst.number("swr_worst", "rough SWR"), say("highest SWR at these stops"))]


# ---------------------------------------------------------------- the reel, as it was typed


def _reel(study: Study) -> tuple[Reel, Callable[[float], str]]:
    """The reel, and what writes lengths as its own are typed."""
    case = study.cases()[0]
    spec = case.setup().reel
    assert spec is not None, "a want of turns is refused without a reel"
    how = lengths_of({"reel": case.raw["reel"]})
    return spec.reel(), lambda metres: format_length(metres, how)


def reel_words(study: Study) -> str:
    """What is on the reel: "22.00 m of wire, 73 turns of 30.0 cm"."""
    reel, text = _reel(study)
    longest, shortest = (float(reel.length_per_turn(n)) for n in (0, reel.turns))
    turn = text(longest) if longest == shortest else f"{text(shortest)} to {text(longest)}"
    return f"{text(reel.wire_length)} of wire, {reel.turns:.0f} turns of {turn}"


def turn_doubt(study: Study) -> str:
    """What speaks against the reel's turns as measured, by their number or its core; "" for nothing."""
    reel, text = _reel(study)
    spec = study.cases()[0].setup().reel
    counted = [] if spec is None else [c.turns for c in spec.counted]
    if counted and max(counted) < COUNTED:
        return (
            f"Only {max(counted):g} turns of the reel were measured, and every length here depends on them: let out "
            f"most of the wire, count, measure, and add it to reel.counted."
        )
    low, high = reel.core_turns
    if not reel.turn_length or 0.98 * low <= reel.turn_length <= 1.02 * high:
        return ""
    limit = f"at least {text(low)}" if reel.turn_length < low else f"at most {text(high)}"
    return (
        f"reel.{'counted' if counted else 'turn_length'} is {text(reel.turn_length)}, but a turn round a core of "
        f"{text(reel.core_diameter)} takes {limit}: measure a turn again. All lengths here depend on it."
    )
