"""The one picture: the same wire in every case and on every band, to one scale, with current and pattern on it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.errors import SolveError
from tautwire.studies.drawing.style import Heading, Look, Sheet, look_named
from tautwire.studies.pictures.choice import decided, shown_bands, shown_cases
from tautwire.studies.pictures.grid import sheet_of
from tautwire.studies.pictures.panel import frame_of
from tautwire.studies.pictures.seen import Seen, seen, seen_bands
from tautwire.studies.running.store import Store
from tautwire.studies.study.findings import (
    Drawn,
    Name,
    Row,
    band_name,
    convention,
    made_of,
    say,
    table_of,
)
from tautwire.studies.wants.dips.words import headline

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result, Rows
    from tautwire.studies.study.setup import Setup
    from tautwire.studies.study.study import Axis, Case

MOST_CASES, MOST_BANDS = 5, 4  # columns and rows of a page
ON_SLIDE = 4, 2  # and of a slide, whose panels then fill it
MOST_ALONE = 6  # cases of a single band, which need not stand side by side
TABLE = "picture"
LOW_WORDS = "15\u00b0"  # seen.LOW in words
DIPS = ("dips", "turn_dips")  # tables that have the dip of a case and band
Lines = Callable[[Seen], list[str]]
Views = Callable[[], list[Seen]]


def the_picture(result: Result, heading: Heading, store: Store | None = None) -> Sheet | None:
    """A column a case, a row a band; of a single band, cases in rows. None if no case can be solved.

    Where not all fit, the caption says which are shown. Its numbers become the result's table "picture". An empty
    title is replaced by what it shows.
    """
    rows, names, notes = chosen_views(result, look_named(heading.size), store or Store())
    if not rows:
        return None
    for left_out in notes:
        heading = heading.then(left_out)
    result.frames[TABLE] = [
        row for (labels, _), views in zip(names, rows, strict=True) for row in picture_rows(labels, views)
    ]
    written = table_of(result, TABLE)
    of_view = {id(v): r for v, r in zip((v for views in rows for v in views), written, strict=True)}
    lines, dips = numbers_of(result, of_view)
    if not heading.title:
        heading = replace(heading, title=partial(_title, result, names))
    bands = [view.band.name for view in rows[0]]
    frame = frame_of([view for views in rows for view in views], result.study.lengths)
    panels = [name for _, name in names]
    if len(rows) == 1:
        panels, bands = bands, []
    elif len(bands) == 1:
        bands = []
    views = [view for band in zip(*rows, strict=True) for view in band]
    drawn = [row.cell(column) for row in written for column in GAINS] + [row.cell("dip_mhz") for row in dips]
    return sheet_of(views, panels, bands, heading, lines, frame, drawn=drawn)


Named = tuple[dict[str, Any], str]
"""the labels of a case, or the number of a choice, and its name"""


def chosen_views(result: Result, look: Look, store: Store) -> tuple[list[list[Seen]], list[Named], list[str]]:
    """The views of each shown case (its bands in order), the cases, and what is left out in words."""
    cases, rows_high = (MOST_CASES, MOST_BANDS) if look.name == "print" else ON_SLIDE
    alone = len(result.study.bands) == 1 or max(result.study.count, len(result.frames.get("choices", ()))) == 1
    most = MOST_ALONE if len(result.study.bands) == 1 else cases
    named, places = decided(result)
    if "stops" in result.frames and places:
        most = min(most, len(places))  # the stops are the answer: between them there is nothing to see
    bands, without = shown_bands(result.study.bands, MOST_BANDS if alone else rows_high, named)
    shown, fewer = _shown(result, most, bands, store, places)
    rows, names = [], []
    for name, views in shown:
        try:
            rows.append(views())
        except SolveError:
            continue
        names.append(name)
    return rows, names, [w for w in (fewer, without) if w]


def _shown(
    result: Result, most: int, bands: Sequence[Band], store: Store, must: Sequence[tuple[str, ...]]
) -> tuple[list[tuple[Named, Views]], str]:
    """The shown cases, or what is chosen where that is the question, each with its views; and what is left out."""
    if "choices" in result.frames:
        from tautwire.studies.wants.choose.problem import choices_of

        chosen = choices_of(result, result.study.cases()[0])[:most]
        return [
            (({"choice": i}, name), partial(_seen_on, setup, bands, store)) for i, (name, setup) in enumerate(chosen, 1)
        ], ""
    cases, fewer = shown_cases(result, most, must)
    return [
        ((case.labels, case_name(result.study.axes, case)), partial(seen_bands, case, result.study, bands, store))
        for case in cases
    ], fewer


def _seen_on(setup: Setup, bands: Sequence[Band], store: Store) -> list[Seen]:
    return [seen(setup, band, store) for band in bands]


def case_name(axes: Sequence[Axis], case: Case) -> str:
    """A case's place on these axes, short."""
    told = [(a, a.value_text(case.labels[a.column])) for a in axes]
    return ", ".join(text if a.numbers is None else f"{a.name} {text}" for a, text in told)


GAINS = ("low_radio_gain_dbi", "plane_radio_gain_dbi", "plane_elevation_deg", "f_mhz")


def picture_rows(labels: Mapping[str, Any], views: Sequence[Seen]) -> Rows:
    """What the panels of a case show, as rows of the table "picture"."""
    rows = []
    for view in views:
        top = int(np.argmax(view.dbi))
        up = math.degrees(min(view.angle[top], math.pi - view.angle[top]))
        rows.append({
            **labels, "band": view.band.name, "f_mhz": view.f_mhz, "swr": view.swr,
            "low_radio_gain_dbi": view.low_dbi, "plane_radio_gain_dbi": float(view.dbi[top]),
            "plane_elevation_deg": up,
        })  # fmt: skip
    return rows


def numbers_of(result: Result, of_view: Mapping[int, Row]) -> tuple[Lines, list[Row]]:
    """What is written into a panel: the dip where dips are asked for, and the gain at a low angle, else also the peak
    in the plane; and the rows of dips that are used. of_view: id of a view -> its row of the table "picture"."""
    dips = {result.place(row): row for name in DIPS for row in table_of(result, name)}
    shown = {result.place(row) for row in of_view.values()}
    dips = {place: row for place, row in dips.items() if place in shown}

    def lines(view: Seen) -> list[str]:
        row = of_view[id(view)]
        low = f"{row.number('low_radio_gain_dbi', 'dBi').text()} at {LOW_WORDS}"
        if (dip := dips.get(result.place(row))) is None:
            top = row.number("plane_radio_gain_dbi", "dBi").text()
            return [low, f"peak {top} at {row.number('plane_elevation_deg', 'angle').text()}"]
        return ["no dip" if math.isnan(dip["dip_mhz"]) else f"dip {dip.number('dip_mhz', 'frequency').text()}", low]

    return lines, list(dips.values())


def _title(result: Result, names: Sequence[Named], drawn: Drawn) -> str:
    """The study's own verdict on dips if these panels show it; else which case sends most at a low angle."""
    if any(cell.table == "dips" for cell in drawn):
        found = headline(result, sure=False)
        if found and drawn.shows(title := found[0].words.title(result.study.lengths)):
            return title
    rows = drawn.rows(result, TABLE, "low_radio_gain_dbi")
    at = convention(LOW_WORDS)
    if len(names) < 2:
        best = max(rows, key=lambda r: r["low_radio_gain_dbi"])
        return say("At {at} over the horizon it sends most on {band}: {gain}", at=at, band=band_name(best["band"]),
                   gain=best.number("low_radio_gain_dbi", "dBi")).title()  # fmt: skip
    gaps = []
    for band in dict.fromkeys(r["band"] for r in rows):
        order = sorted((r for r in rows if r["band"] == band), key=lambda r: r["low_radio_gain_dbi"])
        gaps.append((made_of("difference", "dB", (order[-1], "low_radio_gain_dbi"), (order[0], "low_radio_gain_dbi"),
                             result=result), order[-1], order[0]))  # fmt: skip
    gap, most, least = max(gaps, key=lambda g: g[0].value)
    if gap.value < 1:
        return say("Low angles hardly differ: by less than {limit} at {at} on every band", limit=convention("1 dB"),
                   at=at).title()  # fmt: skip

    def name(row: Row) -> Name:
        return Name(next(n for labels, n in names if all(row[k] == v for k, v in labels.items())), "case")

    return say("{most} sends {gap} more than {least} at {at} on {band}", most=name(most), gap=gap, least=name(least),
               at=at, band=band_name(most["band"])).title()  # fmt: skip
