"""The title of each figure of a study of dips: what it shows, from the cells that it draws."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    Cell,
    Drawn,
    Name,
    Number,
    Row,
    Title,
    Words,
    band_name,
    case_name,
    joined,
    say,
)
from tautwire.studies.wants.dips.words import headline, listed

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

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
