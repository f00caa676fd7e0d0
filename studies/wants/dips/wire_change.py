"""The change of wire that brings a dip into its band, and where it leaves the dips of the other bands.

A dip's frequency is taken as a power of the length, f ~ L^p, with the p at the length of now; the uncertainty of the
dips has solved for it (column khz_per_metre of the table "spread").
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from tautwire.studies.study.findings import Finding, Row, Words, band_name, joined, say, table_of
from tautwire.studies.wants.give_or_take import give_of

if TYPE_CHECKING:
    from tautwire.model.operating.reel import Reel
    from tautwire.studies.study.result import Result, Rows

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
