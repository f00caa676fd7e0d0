"""Why did it move, in words: causes in order, what to do, and what bearing has to do with it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tautwire.studies.study.findings import (
    NOTHING,
    Finding,
    Number,
    Row,
    Words,
    band_name,
    big,
    case_name,
    cell_words,
    joined,
    rows_of,
    say,
)
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.why.causes import Cause, causes

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

# thresholds from which something is said: chosen by hand
MOST = 3  # causes named besides the likeliest
FAR_OFF = 0.015  # the set-up's own dip this far from where it was: it should be fitted first
ALIKE = 0.4  # of the best one's chance: said to be as likely
ADDS = 1 / 3  # of the chance of a cause alone, from which it is worth saying with another
TELLS_APART = 3.0  # odds from which a reading is worth naming
EVEN = 0.5  # chance above which a cause is probable, not only the likeliest
LITTLE = 0.05  # usual changes below which a cause is none
SWR_MOVED = 0.2  # a change of SWR that is no reading error
TABLES = ("why", "why_parts", "why_bands", "why_next", "why_wire", "why_failed")

Tables = Mapping[str, Sequence[Row]]


def findings(result: Result) -> list[Finding]:
    """Of each case: the likeliest cause, what was seen, other causes, how to bring the dips back."""
    found: list[Finding] = []
    for setup, tables, labels in cases(result):
        place = case_name(result, labels)
        found += notes(tables, setup, result.study.options["why"].dip_error,
                       say("{place}: ", place=place) if place.words else NOTHING)  # fmt: skip
    return found


def cases(result: Result) -> Iterator[tuple[Setup, Tables, Mapping[str, Any]]]:
    """The set-up, the tables and the labels of each case that was computed."""
    for case in result.study.cases():
        tables = {name: rows_of(result, name, case.labels) for name in TABLES}
        if tables["why"]:
            yield case.setup(), tables, case.labels


def notes(tables: Tables, setup: Setup, dip_error: float, place: Words = NOTHING) -> list[Finding]:
    """The findings of one case from its rows. place: what the verdict starts with."""
    seen = seen_rows(tables)
    bearing = Finding(_bearing(setup), "detail", "bearing")
    if unmoved(seen, dip_error):
        words = say("{place}Reading errors explain it: nothing moved.", place=place)
        return [Finding(words, "verdict", "nothing moved"), Finding(_seen(seen), "answer", "seen"), bearing]
    told = Changes(tables, setup)
    good = [r for r in telling(tables["why"], told) if r["explains"] and abs(r["usual_changes"]) > LITTLE]
    alike = [r for r in good[: MOST + 1] if r["cause_chance"] > ALIKE * good[0]["cause_chance"]]
    if len(alike) > 1:
        first = _alike(alike, told)
    else:
        first = _likeliest(good[0], told) if good else _nearest(tables["why"][0], told)
    found = [Finding(say("{place}{words}", place=place, words=first), "verdict", "cause")]
    found.append(Finding(_seen(seen), "answer", "seen"))
    if good:
        others = [r for r in good[1 : MOST + 1] if r not in alike]
        found += [Finding(_other(r, told), "detail", "other cause") for r in others]
        found.append(Finding(_usual(good[0], told), "detail", "usual change"))
    found.append(Finding(wire_advice(tables, told), "next", "wire"))
    if good and good[0]["cause"] != told.wire:
        words = say("Or undo the likeliest cause: {undo}.", undo=told.undo(good[0]))
        found.append(Finding(words, "next", "undo"))
    if tables["why_next"] and tables["why_next"][0]["odds"] > TELLS_APART:
        found.append(Finding(_apart(tables["why_next"][0]), "next", "tell apart"))
    elif len(seen) == 1:
        words = say("One dip fits many causes; a dip on a second band, and the SWR at the dips, would tell them apart.")
        found.append(Finding(words, "caution", "one dip"))
    off = max(seen, key=lambda r: abs(math.log(r["base_mhz"] / r["was_mhz"])))
    if abs(math.log(off["base_mhz"] / off["was_mhz"])) > FAR_OFF:
        words = say(
            "{band}: the model of this set-up dips at {base}, not at {was}. Only shifts are compared here; fit the "
            "set-up to a sweep first (tautwire fit) for a surer ranking.", band=band_name(off["band"]),
            base=off.number("base_mhz", "frequency"), was=off.number("was_mhz", "frequency"),
        )  # fmt: skip
        found.append(Finding(words, "caution", "set-up is off"))
    for row in tables["why_failed"]:
        words = say("Not tried: {cause} ({reason}).", cause=cell_words(row, "cause"), reason=cell_words(row, "reason"))
        found.append(Finding(words, "detail", "not tried"))
    return [*found, bearing, *_big(good, seen, told)]


class Changes:
    """Changes of a set-up in words, their numbers bound to the cells of "why_parts" and "why_wire"."""

    def __init__(self, tables: Tables, setup: Setup) -> None:
        every = causes(setup)
        self.wire = every[0].name
        self._causes: dict[str, Cause] = {c.name: c for c in every}
        self._parts: dict[int, list[Row]] = {}
        for row in tables["why_parts"]:
            self._parts.setdefault(row["rank"], []).append(row)

    def words(self, row: Row) -> Words:
        """The change of a row of "why"."""
        parts = [self._bound(p, self._causes[p["cause"]].words(p["usual_changes"])) for p in self.parts(row)]
        return joined(parts, last="; and ") if parts else say("no such change moves them this way")

    def undo(self, row: Row) -> Words:
        """What to do about it."""
        return joined([self.undo_part(p) for p in self.parts(row)], last="; and ")

    def undo_part(self, part: Row) -> Words:
        """The same of a row of "why_parts" or "why_wire"."""
        return self._bound(part, self._causes[part["cause"]].undo(part["usual_changes"]))

    def parts(self, row: Row) -> list[Row]:
        """Its single causes, rows of "why_parts"."""
        return [p for p in self._parts[row["rank"]] if p["usual_changes"]]

    @staticmethod
    def _bound(row: Row, words: Words) -> Words:
        columns = iter(("amount", "further"))
        return Words(tuple(
            row.number(next(columns), p.form) if isinstance(p, Number) else p for p in words.parts
        ))  # fmt: skip


def telling(rows: Sequence[Row], told: Changes) -> list[Row]:
    """Rows of "why" without causes together that are far less likely than one of them alone: they add nothing."""
    alone = {r["cause"]: r["cause_chance"] for r in rows}

    def adds(row: Row) -> bool:
        parts = [p["cause"] for p in told.parts(row)]
        return len(parts) < 2 or all(row["cause_chance"] > ADDS * alone.get(name, 0.0) for name in parts)

    return [r for r in rows if adds(r)]


def seen_rows(tables: Tables) -> list[Row]:
    """The rows of "why_bands" of one cause: what was seen."""
    return [r for r in tables["why_bands"] if r["cause"] == tables["why"][0]["cause"]]


def unmoved(seen: Sequence[Row], dip_error: float) -> bool:
    """Whether nothing moved by more than reading errors."""
    return all(abs(math.log(r["now_mhz"] / r["was_mhz"])) < dip_error for r in seen) and not any(
        abs(r["now_swr"] - r["was_swr"]) > SWR_MOVED for r in seen
    )


def moved(row: Row) -> Number:
    """How far a dip moved. row: of "why_bands"."""
    cells = row.cell("now_mhz"), row.cell("was_mhz")
    return Number(row.si("now_mhz") - row.si("was_mhz"), cells, "difference", "signed shift")


def _seen(seen: Sequence[Row]) -> Words:
    parts = []
    for r in seen:
        swr = NOTHING
        if not math.isnan(r["was_swr"] + r["now_swr"]):
            swr = say(", SWR {was} to {now}", was=r.number("was_swr", "SWR"), now=r.number("now_swr", "SWR"))
        parts.append(say("{band} {by} ({was} to {now}{swr})", band=band_name(r["band"]), by=moved(r), swr=swr,
                         was=r.number("was_mhz", "MHz"), now=r.number("now_mhz", "frequency")))  # fmt: skip
    return say("Seen: {parts}.", parts=joined(parts, "; ", "; "))


def _likeliest(row: Row, told: Changes) -> Words:
    parts = told.parts(row)
    if len(parts) > 1:
        return say("No single cause explains all bands as well as these together: {cause}, {change}.",
                   cause=cell_words(row, "cause"), change=told.words(row))  # fmt: skip
    chance = row.number("cause_chance", "chance")
    likely = "Probably" if chance.value > EVEN else "Most likely"
    if row["cause"] == told.wire and not math.isnan(parts[0]["further"]):
        return say(
            "{likely} {turns} ({by}) too {much} wire out (chance {chance}).", likely=likely, chance=chance,
            much="much" if row["usual_changes"] > 0 else "little",
            turns=parts[0].number("further", "tenths of turns"), by=parts[0].number("amount", "length"),
        )  # fmt: skip
    return say(
        "{likely} {cause}: {change} (chance {chance}).", likely=likely, cause=cell_words(row, "cause"),
        change=told.words(row), chance=chance,
    )  # fmt: skip


def _nearest(row: Row, told: Changes) -> Words:
    return say(
        "No cause explains all bands, nor do several together; the nearest is {cause}: {change}. More may have "
        "changed, or the set-up is not the one that was measured.",
        cause=cell_words(row, "cause"), change=told.words(row),
    )  # fmt: skip


def title_words(row: Row, told: Changes) -> Words:
    """The title of the figure. row: the best of "why"."""
    start = "Likeliest" if row["explains"] else "No cause explains all bands; nearest"
    return say("{start}: {cause}, {change}", start=start, cause=cell_words(row, "cause"), change=told.words(row))


def _alike(rows: Sequence[Row], told: Changes) -> Words:
    each = [say("{cause} ({change}; {chance})", cause=cell_words(r, "cause"), change=told.words(r),
                chance=r.number("cause_chance", "chance")) for r in rows]  # fmt: skip
    return say("These causes are about as likely: {each}.", each=joined(each, ", ", " or "))


def _apart(row: Row) -> Words:
    return say("To tell {cause} from {other}, read the dip on {band}: {one} if it is the first, {two} if the second.",
               cause=cell_words(row, "cause"), other=cell_words(row, "other_cause"), band=band_name(row["band"]),
               one=row.number("told_mhz", "frequency"), two=row.number("other_mhz", "frequency"))  # fmt: skip


def _other(row: Row, told: Changes) -> Words:
    return say("Less likely ({chance}): {cause}, {change}.", cause=cell_words(row, "cause"), change=told.words(row),
               chance=row.number("cause_chance", "chance"))  # fmt: skip


def _usual(row: Row, told: Changes) -> Words:
    """How the likeliest change compares with a usual one."""
    return say("The likeliest change is {n} times a usual one, the normal variation between set-ups{both}.",
               n=row.number("usual_changes", "times", "size"),
               both=", all of it together" if len(told.parts(row)) > 1 else "")  # fmt: skip


def wire_advice(tables: Tables, told: Changes) -> Words:
    """How much wire brings the dips back, and what stays off."""
    if not tables["why_wire"]:
        return say("How the wire's length moves these dips could not be computed.")
    row, several = tables["why_wire"][0], len(seen_rows(tables)) > 1
    words = say("To bring the {dips} back with the wire: {undo}", dips="dips" if several else "dip",
                undo=told.undo_part(row))  # fmt: skip
    if not several or row["stays_khz"] < 1:
        return say("{words}.", words=words)
    return say("{words}; {band} then stays {rest} off.", words=words, band=band_name(row["band"]),
               rest=row.number("stays_khz", "shift"))  # fmt: skip


def _big(good: Sequence[Row], seen: Sequence[Row], told: Changes) -> list[Finding]:
    most = max(seen, key=lambda r: abs(r["now_mhz"] - r["was_mhz"]))
    found = [big(moved(most), say("the dip moved, {band}", band=band_name(most["band"])))]
    if good and len(told.parts(good[0])) == 1 and told.words(good[0]).numbers:
        words = say("{cause}: the likeliest change ({change})", cause=cell_words(good[0], "cause"),
                    change=told.words(good[0]))  # fmt: skip
        found.append(big(told.words(good[0]).numbers[0], words))
    return found


def _bearing(setup: Setup) -> Words:
    if setup.nearby:
        return say(
            "With conductors nearby in the set-up, turning the antenna round does matter; the ground itself has no "
            "preferred direction."
        )
    lies = " and ".join(
        [*(["coax"] if setup.coax is not None else []), *(["counterpoise"] if setup.counterpoise else [])]
    )
    if not lies:
        return say("Turning everything together makes no difference over level, even ground with nothing near.")
    return say(
        "Turning everything together makes no difference over level, even ground with nothing near. Turning the wire "
        "and leaving the {lies} where it lies does: what counts is the angle between them.", lies=lies,
    )  # fmt: skip
