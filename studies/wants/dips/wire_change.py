"""The change of wire that brings a dip into its band, and where it leaves the dips of the other bands.

A dip's frequency is taken as a power of the length, f ~ L^p, with the p at the length of now; the give or take of the
dips has solved for it (column khz_per_metre of the table "spread").
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from tautwire.studies.wants.give_or_take import give_of

if TYPE_CHECKING:
    from tautwire.model.operating.reel import Reel
    from tautwire.studies.study.result import Result

COLUMN = "khz_per_metre"
FURTHEST = 0.25  # of the wire: a change beyond is another antenna


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


def advice(result: Result) -> list[str]:
    """Of a single set-up with dips outside their bands: the change that puts all into theirs, or if none does, one for
    each band. Nothing where it is not known how the dips move.
    """
    if len(result.study.cases()) != 1:
        return []
    setup = result.study.cases()[0].setup()
    length = setup.build().layout.length
    moved = {row["band"]: (row["dip_mhz"], give_of(result, row).get(COLUMN, 0.0)) for row in result.rows("dips")}
    lines = {band: _Line(length, mhz, khz / 1e3) for band, (mhz, khz) in moved.items() if mhz > 0 and khz < 0}
    bands = {b.name: (b.lower / 1e6, b.upper / 1e6) for b in result.study.bands if b.name in lines}
    outside = [name for name, (low, high) in bands.items() if not low <= lines[name].dip <= high]
    if not outside:
        return []

    def words(change: float) -> str:
        turns = _turns(setup.reel.reel(), length, change) if setup.reel else ""
        return f"{abs(change):.2f} m {'longer' if change > 0 else 'shorter'}{turns}"

    def then(change: float, leaving: str = "") -> str:
        places = (f"{name} at {lines[name].after(change):.2f}" for name in bands if name != leaving)
        return f"{', '.join(places)} MHz"

    shortest = max(lines[name].change_to(high) for name, (_, high) in bands.items())
    longest = min(lines[name].change_to(low) for name, (low, _) in bands.items())
    if shortest <= longest and max(abs(shortest), abs(longest)) < FURTHEST * length and len(bands) > 1:
        middle = (shortest + longest) / 2
        return [f"{words(middle)} puts every dip into its band: about {then(middle)}."]
    told = []
    for name in outside:
        change = lines[name].change_to(min(max(lines[name].dip, bands[name][0]), bands[name][1]))
        if abs(change) < FURTHEST * length:
            others = f"; then about {then(change, name)}" if len(bands) > 1 else ""
            told.append(f"{name}: {words(change)} brings its dip to the band's edge{others}.")
    return told


def _turns(reel: Reel, length: float, change: float) -> str:
    """The change as turns of the reel: ", 1.3 turns more"; says so if the reel has not so much wire."""
    if length + change > reel.wire_length:
        return f", more than the {reel.wire_length:.2f} m on the reel,"
    count = float(reel.turns_out(length + change) - reel.turns_out(min(length, reel.wire_length)))
    return f", {abs(count):.1f} turn{'' if f'{abs(count):.1f}' == '1.0' else 's'} {'more' if count > 0 else 'less'},"
