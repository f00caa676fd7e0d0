"""What a study of dips found, in words; the change of wire that it advises; and the titles of its figures.

The change of wire that brings a dip into its band, and where it leaves the dips of the other bands.

A dip's frequency is taken as a power of the length, f ~ L^p, with the p at the length of now; the uncertainty of the
dips has solved for it (column khz_per_metre of the table "spread").
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from tautwire.studies.study.findings import (
    NOTHING,
    Cell,
    Drawn,
    Finding,
    Name,
    Number,
    Row,
    Title,
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
from tautwire.studies.wants.give_or_take import dip_words, give_of, worst_words

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.model.operating.reel import Reel
    from tautwire.studies.study.result import Result, Rows


# --- The change of wire that brings a dip into its band.


COLUMN = "khz_per_metre"
FURTHEST = 0.25  # of the wire: a change beyond is another antenna
ALL = "all"


class _Line(NamedTuple):
    """How a dip (MHz) moves with the wire: length, m, and MHz for a metre more, below 0.

    >>> line = _Line(20.0, 14.0, -0.7)
    >>> round(line.change_to(14.0 / 1.05), 6), round(line.after(1.0), 4)
    (1.0, 13.3333)
    """

    length: float
    dip: float
    per_metre: float

    @property
    def power(self) -> float:
        return self.per_metre * self.length / self.dip

    def change_to(self, mhz: float) -> float:
        """Metres of wire to add."""
        return float(self.length * ((mhz / self.dip) ** (1 / self.power) - 1))

    def after(self, change: float) -> float:
        """MHz of the dip after `change` metres more."""
        return float(self.dip * (1 + change / self.length) ** self.power)


def change_rows(result: Result) -> Rows:
    """Rows of "wire_change" for a single set-up with dips outside their bands: the change that puts all into theirs
    (for_band "all"), or if none does, one for each band outside; a row for each band's dip after it.

    None where it is not known how the dips move.
    """
    if len(result.study.cases()) != 1:
        return []
    setup = result.study.cases()[0].setup()
    length = setup.build().layout.length
    moved = {
        row["band"]: (row.get("dip_mhz", math.nan), give_of(result, row).get(COLUMN, 0.0))
        for row in result.rows("dips")
    }
    lines = {band: _Line(length, mhz, khz / 1e3) for band, (mhz, khz) in moved.items() if mhz > 0 and khz < 0}
    bands = {b.name: (b.lower / 1e6, b.upper / 1e6) for b in result.study.bands if b.name in lines}
    outside = [name for name, (low, high) in bands.items() if not low <= lines[name].dip <= high]
    if not outside:
        return []

    def rows(change: float, for_band: str) -> Rows:
        turns = _turns(setup.reel.reel(), length, change) if setup.reel else math.nan
        about = {"for_band": for_band, "change_m": change, "change_turns": turns}
        return [{**about, "band": name, "then_mhz": lines[name].after(change)} for name in bands]

    shortest = max(lines[name].change_to(high) for name, (_, high) in bands.items())
    longest = min(lines[name].change_to(low) for name, (low, _) in bands.items())
    if shortest <= longest and max(abs(shortest), abs(longest)) < FURTHEST * length and len(bands) > 1:
        return rows((shortest + longest) / 2, ALL)
    out: Rows = []
    for name in outside:
        change = lines[name].change_to(min(max(lines[name].dip, bands[name][0]), bands[name][1]))
        if abs(change) < FURTHEST * length:
            out += rows(change, name)
    return out


def _turns(reel: Reel, length: float, change: float) -> float:
    """The change as turns of the reel, more out above 0; infinite if the reel has not so much wire."""
    if length + change > reel.wire_length:
        return math.inf
    return float(reel.turns_out(length + change) - reel.turns_out(min(length, reel.wire_length)))


def advice(result: Result) -> list[Finding]:
    """The table "wire_change" in words."""
    groups: dict[str, list[Row]] = {}
    for row in table_of(result, "wire_change"):
        groups.setdefault(row["for_band"], []).append(row)
    found = []
    for name, rows in groups.items():
        then = [
            say("{band} at {mhz}", band=band_name(r["band"]), mhz=r.number("then_mhz", "frequency"))
            for r in rows
            if r["band"] != name
        ]
        after = joined(then) if then else None
        change = _change(rows[0])
        if name == ALL and after:
            words = say("{change} puts every dip into its band: about {after}.", change=change, after=after)
        elif after:
            words = say("{band}: {change} brings its dip to the band's edge; then about {after}.",
                        band=band_name(name), change=change, after=after)  # fmt: skip
        else:
            words = say("{band}: {change} brings its dip to the band's edge.", band=band_name(name), change=change)
        found.append(Finding(words, "next", "wire change", {"band": name}))
    return found


def _change(row: Row) -> Words:
    """ "0.25 m more wire", with turns where there is a reel."""
    way = "more" if row["change_m"] > 0 else "less"
    words = say("{size} {way} wire", size=row.number("change_m", "length", "size"), way=way)
    if math.isinf(row["change_turns"]):
        return say("{words} (more than the reel holds)", words=words)
    if math.isnan(row["change_turns"]):
        return words
    count = row.number("change_turns", "times", "size")
    turns = "turn" if count.text() == "1.0" else "turns"
    return say("{words} ({count} {turns} {way})", words=words, count=count, turns=turns,
               way="out" if row["change_turns"] > 0 else "in")  # fmt: skip


# --- What a study of dips found: where each dip is or how far it moves, against the band's width and 10 cm of wire.


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


# --- The title of each figure of a study of dips: what it shows, from the cells that it draws.


MOST_NAMED = 4  # bands named one by one
GOOD = 2.0  # SWR that radios take without complaint; common practice, no source


def title_of_kind(result: Result, kind: str) -> Callable[[Drawn], str]:
    """What makes the title of the figure of that kind (figures.KINDS) from what it draws; "" for none."""

    def title(drawn: Drawn) -> str:
        words = _said(result, kind, drawn)
        return words.title(result.study.lengths) if words else Title("")

    return title


def _said(result: Result, kind: str, drawn: Drawn) -> Words | None:
    if kind == "swr":
        return _swr(result, drawn.rows(result, "dips", "swr_worst"))
    if kind == "impedance":
        return _impedance(result, drawn.rows(result, "dips", "feed_r_ohm"))
    if kind in ("smith", "smith_radio"):
        column = "swr" if kind == "smith_radio" else "swr_transformer"
        where = "radio" if kind == "smith_radio" else "transformer"
        return _smith(result, drawn.rows(result, "sweeps", column), column, where)
    if kind == "modes":
        return _modes(drawn.rows(result, "all_dips", "mode"))
    names = {r["band"] for r in drawn.rows(result, "dips", "dip_mhz")}
    found = headline(result, names, sure=False) if names else []
    return found[0].words if found else None


def _swr(result: Result, rows: Sequence[Row]) -> Words | None:
    if not rows:
        return None
    worst = max(rows, key=lambda r: r["swr_worst"])
    at = say("{swr}, on {band}", swr=worst.number("swr_worst", "rough SWR"), band=band_name(worst["band"]))
    if result.study.count > 1:
        case = case_name(result, worst)
        if worst["swr_worst"] <= GOOD:
            limit = Name(f"{GOOD:g}", "convention")
            return say("The SWR stays below {limit} in every case; highest {at} with {case}", limit=limit, at=at,
                       case=case)  # fmt: skip
        return say("The highest SWR is {at} with {case}", at=at, case=case)
    if len(rows) <= MOST_NAMED:
        each = [say("{swr} on {band}", swr=r.number("swr_worst", "rough SWR"), band=band_name(r["band"])) for r in rows]
        return say("The SWR is at most {each}", each=joined(each))
    best = min(rows, key=lambda r: r["swr_worst"])
    return say("The SWR is at most {at}, and {low} on {band}", at=at, low=best.number("swr_worst", "rough SWR"),
               band=band_name(best["band"]))  # fmt: skip


def _impedance(result: Result, rows: Sequence[Row]) -> Words:
    known = [r for r in rows if not math.isnan(r["feed_r_ohm"]) and not math.isnan(r["dip_mhz"])]
    if not known:
        return say("No dip: what the wire presents in and around the bands")
    r, x = (_span(result, known, column) for column in ("feed_r_ohm", "feed_x_ohm"))
    return say("At its dips the wire presents {r} with {x} of reactance", r=r, x=x)


def _span(result: Result, rows: Sequence[Row], column: str) -> Words:
    low, high = (min(rows, key=lambda r: r[column]), max(rows, key=lambda r: r[column]))
    a, b = low.number(column, "kilohms"), high.number(column, "kilohms")
    return say("{a}", a=a) if a.text() == b.text() else say("{a} to {b}", a=a, b=b)


def _smith(result: Result, rows: Sequence[Row], column: str, where: str) -> Words | None:
    most: dict[str, Row] = {}
    edges = {b.name: (b.lower / 1e6, b.upper / 1e6) for b in result.study.bands}
    for row in rows:
        low, high = edges[row["band"]]
        if low <= row["f_mhz"] <= high and (row["band"] not in most or row[column] > most[row["band"]][column]):
            most[row["band"]] = row
    if not most:
        return None
    each = sorted(most.values(), key=lambda r: r[column])
    first, last = each[0], each[-1]

    def at(row: Row) -> Words:
        return say("{swr} on {band}", swr=row.number(column, "rough SWR"), band=band_name(row["band"]))

    if len(each) == 1:
        return say("At the {where} the SWR in the band is at most {swr}", where=where,
                   swr=last.number(column, "rough SWR"))  # fmt: skip
    return say("At the {where} the SWR is at most {low} and {high}", where=where, low=at(first), high=at(last))


def _modes(rows: Sequence[Row]) -> Words:
    counts: dict[str, dict[int, Row]] = {}
    for row in rows:
        if row["chosen"]:
            counts.setdefault(row["band"], {}).setdefault(int(row["mode"]), row)
    changing = [name for name, modes in counts.items() if len(modes) > 1]
    if changing:
        return say("On {bands} the dip changes its number of half-waves on the way", bands=listed(changing))
    if not counts:
        return say("No band has a dip of its own")
    each = [
        say("{n} on {band}", n=row.number("mode", "count"), band=band_name(name))
        for name, modes in counts.items()
        for row in modes.values()
    ]
    return say("Half-waves on the wire at the dip: {each}", each=joined(each[:6]))


def layout_title(result_lengths: str, cells: Sequence[tuple[int, float, float]]) -> Callable[[Drawn], str]:
    """The title of a layout: how long the wires are and how high they go.

    cells: number of the case, metres of wire, metres of the highest point, of each drawing. result_lengths: "metric" or
    "imperial".
    """

    def span(column: str, values: Sequence[float]) -> Words:
        numbers = [
            Number(v, (Cell("setup", case, column),), form="length")
            for (case, *_), v in zip(cells, values, strict=True)
        ]
        low, high = min(numbers, key=lambda n: n.value), max(numbers, key=lambda n: n.value)
        same = low.text(result_lengths) == high.text(result_lengths)
        return say("{a}", a=low) if same else say("{a} to {b}", a=low, b=high)

    wire, tops = span("wire_m", [w for _, w, _ in cells]), span("top_m", [t for _, _, t in cells])
    if len(cells) == 1:
        words = say("{wire} of wire, {top} up at its highest", wire=wire, top=tops)
    else:
        words = say("{wire} of wire, hung in several ways: it needs {top} of height", wire=wire, top=tops)
    return lambda drawn: words.title(result_lengths)
