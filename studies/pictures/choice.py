"""Which cases and bands a figure shows where not all of them fit, and how that is said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.studies.drawing.axes import evenly
from tautwire.studies.study.findings import of_role
from tautwire.studies.wants.registry import want_named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case

RANKS = (
    ("dips", "dip_mhz", "dip"),
    ("pattern", "forward_radio_gain_dbi", "gain"),
    ("target", "region_radio_gain_dbi", "gain"),
)


def decided(result: Result) -> tuple[list[str], list[tuple[str, ...]]]:
    """The bands and the places on the axes whose numbers are in the verdicts, the main want's first."""
    wants = sorted(result.study.spec.want, key=lambda name: name in ("dips", "spread"))
    bands: dict[str, None] = {}
    places: dict[tuple[str, ...], None] = {}
    for finding in (f for name in wants for f in of_role(want_named(name).findings(result), "verdict")):
        for cell in (c for number in finding.words.numbers for c in number.cells):
            if cell.table in ("bands", "setup") or not isinstance(cell.row, int):
                continue
            row = result.rows(cell.table)[cell.row]
            if "band" in row and all(column in row for column in result.axis_columns):
                band, *place = result.place(row)
                bands.setdefault(band)
                places.setdefault(tuple(place))
    return list(bands), list(places)


def with_those(chosen: Sequence[int], must: Sequence[int]) -> list[int]:
    """The chosen places of a list, with the first of those that must be in, in place of the nearest others, in order.

    >>> with_those([0, 3, 6, 9], [4])
    [0, 4, 6, 9]
    """
    out, wanted = list(chosen), list(dict.fromkeys(must))[: len(chosen)]
    for place in wanted:
        free = [i for i in out if i not in wanted]
        if place not in out and free:
            out[out.index(min(free, key=lambda i: abs(i - place)))] = place
    return sorted(out)


def shown_bands(bands: Sequence[Band], most: int, must: Sequence[str] = ()) -> tuple[list[Band], str]:
    """At most so many bands, the lowest and highest and those that must be in among them; and what is left out."""
    names = [b.name for b in bands]
    wanted = [names.index(m) for m in must if m in names]
    chosen = [bands[i] for i in with_those(evenly(len(bands), most), wanted)]
    return chosen, "" if len(chosen) == len(bands) else f"{len(chosen)} of {len(bands)} bands"


def shown_cases(result: Result, most: int, must: Sequence[tuple[str, ...]] = ()) -> tuple[list[Case], str]:
    """At most so many solved cases, and in words how they were chosen.

    must: places on the axes that are shown in any case, such as those of the answer. Of one axis of numbers the others
    lie evenly along it; else they run from the lowest dip or gain through the middle to the highest.
    """
    failed = [f.labels for f in result.failed]
    cases = [c for c in result.study.cases() if c.labels not in failed]
    if len(cases) <= most:
        return cases, ""
    told = f"{most} of {len(cases)} cases"
    axes = result.study.axes
    if len(axes) == 1 and axes[0].numbers is not None:
        cases, words = sorted(cases, key=lambda c: c.labels[axes[0].column]), f"evenly along {axes[0].name}"
    elif (ranked := _ranked(result, cases)) is None:
        words = "evenly through the list"
    else:
        cases, words = ranked[0], f"from the lowest to the highest {ranked[1]}"
    places = [tuple(str(c.labels[k]) for k in result.axis_columns) for c in cases]
    wanted = [places.index(m) for m in must if m in places]
    if wanted:
        words += ", those of the answer among them"
    return [cases[i] for i in with_those(evenly(len(cases), most), wanted)], f"{told}, {words}"


def _ranked(result: Result, cases: Sequence[Case]) -> tuple[list[Case], str] | None:
    """The cases by the first figure of RANKS that the result has, on its first band; those without it last."""
    for table, column, words in RANKS:
        frame = result.frames.get(table)
        if frame is None or column not in frame or not frame[column].notna().any():
            continue
        band = frame.loc[frame[column].notna(), "band"].iloc[0]
        rows = frame[frame["band"] == band].drop_duplicates(result.axis_columns)
        known: dict[Any, float] = {
            tuple(r[c] for c in result.axis_columns): r[column]
            for r in rows.to_dict("records")
            if r[column] == r[column]
        }
        value = {c.index: known.get(tuple(c.labels[k] for k in result.axis_columns), np.inf) for c in cases}
        return sorted(cases, key=lambda c: value[c.index]), f"{words} on {band}"
    return None
