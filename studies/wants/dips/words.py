"""Where the dips are in words: the finding first, sized against the band's width and 10 cm of wire."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from statistics import median
from typing import TYPE_CHECKING, Any

from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.dips.wire_change import advice
from tautwire.studies.wants.give_or_take import dip_words, worst_words

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result, Rows

PARTS = ("", "", "half", "a third", "a quarter", "a fifth", "a sixth", "a seventh", "an eighth", "a ninth", "a tenth",
         "an eleventh", "a twelfth")  # fmt: skip
HARDLY, SOMEWHAT = 0.1, 0.5  # of a band's width: shifts up to these are called so
CUT = 0.1  # m of wire that shifts are held against
STILL = 1.0  # kHz: less is no shift


def part_of(share: float) -> str:
    """A share in words: 0.26 -> "a quarter", 0.8 -> "80 %", 2.3 -> "2.3 times"."""
    if share >= 1.05:
        return f"{share:.1f} times"
    if share >= 0.95:
        return "as much as"
    n = round(1 / share) if share > 0 else 0
    if 2 <= n < len(PARTS) and abs(1 / share - n) < 0.3:
        return f"{PARTS[n]} of"
    return f"{100 * share:.0f} % of" if share >= 0.01 else "less than a hundredth of"


def sentences(result: Result) -> list[str]:
    """The finding, then one sentence a band: where its dip is, or how far and which way it moves."""
    table = result.rows("dips")
    if not table:
        return []
    lines = headline(result)
    lines += advice(result)
    for band in result.study.bands:
        rows = [row for row in table if row["band"] == band.name]
        lines += _absent(result, band, rows)
        rows = [row for row in rows if not math.isnan(row["dip_mhz"])]
        if len(rows) > 1 and result.study.axes:
            lines.append(_movement(result, band.name, rows))
        elif len(rows) == 1:
            row = rows[0]
            inside = "inside" if band.lower <= row["dip_mhz"] * 1e6 <= band.upper else "outside"
            lines.append(
                f"{band.name}: the dip is at {dip_words(result, row)} ({inside} the band) with SWR "
                f"{row['dip_swr']:.2f}; across the band the SWR is at worst {worst_words(result, row)}."
            )
    return lines


def headline(result: Result, names: Collection[str] = ()) -> list[str]:
    """One sentence that answers the study's question about its dips; none if no band has one. names: of the bands it
    is about; all if left out."""
    rows = [row for row in result.rows("dips") if not math.isnan(row["dip_mhz"])]
    bands = [b for b in result.study.bands if not names or b.name in names]
    known = {b: mhz for b in bands if (mhz := [r["dip_mhz"] for r in rows if r["band"] == b.name])}
    if not known:
        return []
    return [_placed(known) if len(result.study.cases()) == 1 else _moved(result, known)]


def _placed(dips: Mapping[Band, Sequence[float]]) -> str:
    """Of a single set-up: which bands have their dip (MHz), and how far the others' are."""
    inside = [b.name for b, (mhz, *_) in dips.items() if b.lower <= mhz * 1e6 <= b.upper]
    places = [f"inside the band on {listed(inside)}"] if inside else []
    for b, (mhz, *_) in dips.items():
        if b.name not in inside:
            khz = (mhz * 1e6 - (b.upper if mhz * 1e6 > b.upper else b.lower)) / 1e3
            places.append(f"{abs(khz):.0f} kHz {'above' if khz > 0 else 'below'} the band on {b.name}")
    return f"The dip is {'; '.join(places)}."


def listed(names: Sequence[str]) -> str:
    """ "a, b and c"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _moved(result: Result, dips: Mapping[Band, Sequence[float]]) -> str:
    """Of several set-ups: the band whose dip moves most, as a share of its width, and the one that moves least."""
    reach = {b: (max(mhz) - min(mhz)) * 1e6 for b, mhz in dips.items()}
    most, least = (pick(dips, key=lambda b: reach[b] / (b.upper - b.lower)) for pick in (max, min))
    khz, width = reach[most] / 1e3, (most.upper - most.lower) / 1e3
    if khz < STILL:
        return "Not at all: no dip moves by as much as 1 kHz."
    share = khz / width
    in_wire, small = _in_wire(result, dips[most], khz)
    word = "Hardly" if share < HARDLY or small else "Somewhat" if share < SOMEWHAT else "Much"
    sentence = (
        f"{word}: the {most.name} dip moves by {khz:.0f} kHz at most, {part_of(share)} the band's {width:.0f} kHz"
    )
    sentence += in_wire
    if least is not most:
        low = reach[least] / 1e3
        sentence += (
            f"; the {least.name} dip by {low:.0f} kHz, {part_of(low * 1e3 / (least.upper - least.lower))} its band"
        )
    return sentence + "."


def _in_wire(result: Result, dips: Sequence[float], khz: float) -> tuple[str, bool]:
    """A shift of dips (MHz) as so much wire, and whether it is less than 10 cm; "" where the wire is what changes."""
    if any(a.path in ("antenna.length", "variant") for a in result.study.axes):
        return "", False
    wire = result.study.cases()[0].setup().build().layout.length
    cut = median(dips) * 1e3 * CUT / wire
    if khz < cut:
        return f", less than 10 cm of wire move it (some {_rounded(cut)} kHz)", True
    return f", as much as {khz / cut * CUT * 100:.0f} cm of wire", False


def _rounded(khz: float) -> str:
    return f"{float(f'{khz:.2g}'):.0f}"


def _absent(result: Result, band: Band, rows: Rows) -> list[str]:
    """Cases without the band's dip, and what is there instead."""
    missing = [row for row in rows if math.isnan(row["dip_mhz"])]
    if not missing:
        return []
    low, high = (x / 1e6 for x in window(band))
    which = f"in {len(missing)} of {len(rows)} cases there is" if len(rows) > 1 else "There is"
    lines = f"{band.name}: {which} no dip of its own between {low:.2f} and {high:.2f} MHz"

    def case(row: dict[str, Any]) -> tuple[Any, ...]:
        return tuple(str(row[c]) for c in result.axis_columns)

    cases = {case(row) for row in missing}
    near = [row for row in result.rows("all_dips") if low <= row["f_mhz"] <= high and case(row) in cases]
    if not near:
        return [lines + "."]
    if len(rows) == 1:
        nearest = [f"{r['f_mhz']:.3f} MHz ({_whose(r, band)})" for r in near]
        return [f"{lines}; the nearest: {listed(nearest)}."]
    return [f"{lines}: the dip followed is not there; other dips of these cases are in all_dips.csv."]


def _whose(row: dict[str, Any], band: Band) -> str:
    whose = f"nearer to {row['band']}, " if row["band"] not in ("", band.name) else ""
    return f"{whose}{row['mode']} half-wave{'s' if row['mode'] > 1 else ''} on the wire"


def _movement(result: Result, band: str, rows: Rows) -> str:
    axes = result.study.axes
    axis = next((a for a in axes if a.numbers is not None), axes[0])
    if axis.numbers is None or len(axes) > 1:
        low, high = (pick(rows, key=lambda r: r["dip_mhz"]) for pick in (min, max))

        def name(row: dict[str, Any]) -> str:
            return ", ".join(a.words(row[a.column]) for a in axes)

        spread = (high["dip_mhz"] - low["dip_mhz"]) * 1e3
        return (
            f"{band}: the dip is lowest with {name(low)} ({low['dip_mhz']:.3f} MHz, SWR {low['dip_swr']:.2f}) and "
            f"highest with {name(high)} ({high['dip_mhz']:.3f} MHz, SWR {high['dip_swr']:.2f}), {spread:.0f} kHz apart."
        )
    rows = sorted(rows, key=lambda r: r[axis.column])
    first, last = rows[0], rows[-1]
    shift = (last["dip_mhz"] - first["dip_mhz"]) * 1e3
    way = "up" if shift > 0 else "down"
    best, worst = (pick(r["dip_swr"] for r in rows) for pick in (min, max))
    turned, turn = turning_point([r["dip_mhz"] * 1e3 for r in rows]), ""
    if turned is not None:
        at = rows[turned]
        turn = f" It does not move one way only: at {axis.words(at[axis.column])} it is at {at['dip_mhz']:.3f} MHz."
    moved = f"moves {way} {abs(shift):.0f} kHz" if not math.isclose(shift, 0, abs_tol=0.5) else "stays where it is"
    return (
        f"{band}: from {axis.words(first[axis.column])} to {axis.words(last[axis.column])} the dip {moved}, from "
        f"{first['dip_mhz']:.3f} to {last['dip_mhz']:.3f} MHz; its SWR is {best:.2f} to {worst:.2f}.{turn}"
    )


def turning_point(dips: Sequence[float]) -> int | None:
    """Number of the dip farthest outside what the first and the last (kHz) span, None if none is by more than STILL.

    >>> turning_point([6952, 6933, 6975])
    1
    """
    low, high = sorted([dips[0], dips[-1]])
    beyond = [max(low - khz, khz - high) for khz in dips]
    return beyond.index(max(beyond)) if max(beyond) > STILL else None
