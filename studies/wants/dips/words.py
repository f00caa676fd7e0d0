"""Where the dips are in words: the finding first, sized against the band's width and 10 cm of wire."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING

from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.dips.wire_change import advice
from tautwire.studies.wants.give_or_take import dip_words, worst_words

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result

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
    table = result.frames.get("dips")
    if table is None or table.empty:
        return []
    lines = headline(result, table)
    lines += advice(result)
    for band in result.study.bands:
        rows = table[table["band"] == band.name]
        lines += _absent(result, band, rows)
        rows = rows[rows["dip_mhz"].notna()]
        if len(rows) > 1 and result.study.axes:
            lines.append(_movement(result, band.name, rows))
        elif len(rows) == 1:
            row = rows.iloc[0]
            inside = "inside" if band.lower <= row["dip_mhz"] * 1e6 <= band.upper else "outside"
            lines.append(
                f"{band.name}: the dip is at {dip_words(result, row)} ({inside} the band) with SWR "
                f"{row['dip_swr']:.2f}; across the band the SWR is at worst {worst_words(result, row)}."
            )
    return lines


def headline(result: Result, table: pd.DataFrame) -> list[str]:
    """One sentence that answers the study's question about its dips; none if no band has one."""
    bands = [b for b in result.study.bands if table[table["band"] == b.name]["dip_mhz"].notna().any()]
    if not bands:
        return []
    return [_placed(bands, table) if len(result.study.cases()) == 1 else _moved(result, bands, table)]


def _placed(bands: Sequence[Band], table: pd.DataFrame) -> str:
    """Of a single set-up: which bands have their dip, and how far the others' are."""
    rows = table.set_index("band")["dip_mhz"]
    inside = [b.name for b in bands if b.lower <= rows[b.name] * 1e6 <= b.upper]
    places = [f"inside the band on {listed(inside)}"] if inside else []
    for b in (b for b in bands if b.name not in inside):
        khz = (rows[b.name] * 1e6 - (b.upper if rows[b.name] * 1e6 > b.upper else b.lower)) / 1e3
        places.append(f"{abs(khz):.0f} kHz {'above' if khz > 0 else 'below'} the band on {b.name}")
    return f"The dip is {'; '.join(places)}."


def listed(names: Sequence[str]) -> str:
    """ "a, b and c"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _moved(result: Result, bands: Sequence[Band], table: pd.DataFrame) -> str:
    """Of several set-ups: the band whose dip moves most, as a share of its width, and the one that moves least."""
    reach = {b: _reach(table[table["band"] == b.name]) for b in bands}
    most, least = (pick(bands, key=lambda b: reach[b] / (b.upper - b.lower)) for pick in (max, min))
    khz, width = reach[most] / 1e3, (most.upper - most.lower) / 1e3
    if khz < STILL:
        return "Not at all: no dip moves by as much as 1 kHz."
    share = khz / width
    in_wire, small = _in_wire(result, table[table["band"] == most.name], khz)
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


def _reach(rows: pd.DataFrame) -> float:
    """Hz between a band's lowest and highest dip."""
    return float(rows["dip_mhz"].max() - rows["dip_mhz"].min()) * 1e6


def _in_wire(result: Result, rows: pd.DataFrame, khz: float) -> tuple[str, bool]:
    """The shift as so much wire, and whether it is less than 10 cm; "" where the wire itself is what changes."""
    if any(a.path in ("antenna.length", "variant") for a in result.study.axes):
        return "", False
    wire = result.study.cases()[0].setup().build().layout.length
    cut = float(rows["dip_mhz"].median()) * 1e3 * CUT / wire
    if khz < cut:
        return f", less than 10 cm of wire move it (some {_rounded(cut)} kHz)", True
    return f", as much as {khz / cut * CUT * 100:.0f} cm of wire", False


def _rounded(khz: float) -> str:
    return f"{float(f'{khz:.2g}'):.0f}"


def _absent(result: Result, band: Band, rows: pd.DataFrame) -> list[str]:
    """Cases without the band's dip, and what is there instead."""
    missing = rows[rows["dip_mhz"].isna()]
    if missing.empty:
        return []
    low, high = (x / 1e6 for x in window(band))
    which = f"in {len(missing)} of {len(rows)} cases there is" if len(rows) > 1 else "There is"
    lines = f"{band.name}: {which} no dip of its own between {low:.2f} and {high:.2f} MHz"
    others = result.frames.get("all_dips")
    if others is None or others.empty:
        return [lines + "."]
    columns = result.axis_columns
    keys = {tuple(map(str, row)) for row in missing[columns].itertuples(index=False)} if columns else {()}
    near = others[others["f_mhz"].between(low, high)]
    same = [tuple(map(str, row)) in keys for row in near[columns].itertuples(index=False)] if columns else True
    near = near[same] if columns else near
    if near.empty:
        return [lines + "."]
    if len(rows) == 1:
        nearest = [f"{r['f_mhz']:.3f} MHz ({_whose(r, band)})" for _, r in near.iterrows()]
        return [f"{lines}; the nearest: {listed(nearest)}."]
    return [f"{lines}: the dip followed is not there; other dips of these cases are in all_dips.csv."]


def _whose(row: pd.Series, band: Band) -> str:
    whose = f"nearer to {row['band']}, " if row["band"] not in ("", band.name) else ""
    return f"{whose}{row['mode']} half-wave{'s' if row['mode'] > 1 else ''} on the wire"


def _movement(result: Result, band: str, rows: pd.DataFrame) -> str:
    axes = result.study.axes
    axis = next((a for a in axes if a.numbers is not None), axes[0])
    if axis.numbers is None or len(axes) > 1:
        low, high = rows.loc[rows["dip_mhz"].idxmin()], rows.loc[rows["dip_mhz"].idxmax()]

        def name(row: pd.Series) -> str:
            return ", ".join(a.words(row[a.column]) for a in axes)

        spread = (high["dip_mhz"] - low["dip_mhz"]) * 1e3
        return (
            f"{band}: the dip is lowest with {name(low)} ({low['dip_mhz']:.3f} MHz, SWR {low['dip_swr']:.2f}) and "
            f"highest with {name(high)} ({high['dip_mhz']:.3f} MHz, SWR {high['dip_swr']:.2f}), {spread:.0f} kHz apart."
        )
    rows = rows.sort_values(axis.column)
    first, last = rows.iloc[0], rows.iloc[-1]
    shift = (last["dip_mhz"] - first["dip_mhz"]) * 1e3
    way = "up" if shift > 0 else "down"
    best, worst = rows["dip_swr"].min(), rows["dip_swr"].max()
    turned, turn = turning_point(rows["dip_mhz"] * 1e3), ""
    if turned is not None:
        at = rows.loc[turned]
        turn = f" It does not move one way only: at {axis.words(at[axis.column])} it is at {at['dip_mhz']:.3f} MHz."
    moved = f"moves {way} {abs(shift):.0f} kHz" if not math.isclose(shift, 0, abs_tol=0.5) else "stays where it is"
    return (
        f"{band}: from {axis.words(first[axis.column])} to {axis.words(last[axis.column])} the dip {moved}, from "
        f"{first['dip_mhz']:.3f} to {last['dip_mhz']:.3f} MHz; its SWR is {best:.2f} to {worst:.2f}.{turn}"
    )


def turning_point(dips: pd.Series) -> Hashable | None:
    """Label of the dip farthest outside what the first and the last (kHz) span, None if none is by more than STILL.

    >>> import pandas
    >>> turning_point(pandas.Series([6952, 6933, 6975], ["15 deg", "30 deg", "60 deg"]))
    '30 deg'
    """
    low, high = sorted([dips.iloc[0], dips.iloc[-1]])
    beyond = (low - dips).clip(lower=dips - high)
    return beyond.idxmax() if beyond.max() > STILL else None
