"""The one picture and its animation, and which cases and bands they show."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.drawing.axes import evenly, shared_words
from tautwire.studies.drawing.style import (
    AHEAD,
    INK,
    QUIET,
    RULE,
    TARGET,
    Heading,
    Look,
    Sheet,
    look_named,
    style,
    there_and_back,
)
from tautwire.studies.pictures.panel import frame_of, sheet_of
from tautwire.studies.pictures.seen import Seen, seen, seen_bands
from tautwire.studies.running.store import Store
from tautwire.studies.study.findings import Drawn, Name, Row, band_name, convention, made_of, of_role, say, table_of
from tautwire.studies.wants.dips.curves import animated_axis
from tautwire.studies.wants.dips.words import headline
from tautwire.studies.wants.want import want_named

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result, Rows
    from tautwire.studies.study.setup import Setup
    from tautwire.studies.study.study import Axis, Case


# --- Which cases and bands a figure shows where not all of them fit, and how that is said.


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


# --- The one picture: the same wire in every case and on every band, to one scale, with current and pattern on it.


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
        from tautwire.studies.wants.choose.candidates import choices_of

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


# --- The one picture as one quantity is swept, as a GIF: wire, current, pattern and dips move together.


SIZE = Look("animation", 8.0, 4.5, 10.5, 1.8, 100)
MOST_FRAMES, COLOURS = 16, 64
FOOT = 0.75  # inches for the dips


def animate_picture(result: Result, store: Store) -> bytes:
    """The GIF: one frame a case of the running axis (at most 16, evenly picked), there and back, to one scale.

    Other axes stay at their first value. Raises InputError without a numeric axis of two values or more, or where
    no case was solved.
    """
    return there_and_back(drawn(result, store), COLOURS)


def drawn(result: Result, store: Store) -> list[np.ndarray]:
    """The frames there, (height, width, 3) bytes each. Raises as animate_picture."""
    study, axis = result.study, animated_axis(result.study)
    bands, _ = shown_bands(study.bands, MOST_BANDS)
    others = [a.column for a in study.axes if a.column != axis.column]
    first = study.cases()[0].labels
    cases = [c for c in study.cases() if all(c.labels[k] == first[k] for k in others)]
    cases.sort(key=lambda c: c.labels[axis.column])
    cases = [cases[i] for i in evenly(len(cases), MOST_FRAMES)]
    rows: list[tuple[Case, list[Seen]]] = []
    for case in cases:
        try:
            rows.append((case, seen_bands(case, study, bands, store)))
        except SolveError:
            continue
    if not rows:
        raise InputError("--animate", study.name, "a study of which cases were solved")
    frame = frame_of([v for _, views in rows for v in views], study.lengths)
    result.frames[TABLE] = [row for case, views in rows for row in picture_rows(case.labels, views)]
    of_view = zip((id(v) for _, views in rows for v in views), table_of(result, TABLE), strict=True)
    words, names = numbers_of(result, dict(of_view))[0], [b.name for b in bands]
    kept = case_name([a for a in study.axes if a is not axis], cases[0])
    dips = [[_dips(result, case, band) for band in bands] for case, _ in rows]
    frames = []
    with style(SIZE):
        for k, (case, views) in enumerate(rows):
            title = f"{axis.name} {axis.value_text(case.labels[axis.column])}"
            heading = Heading(title, ", ".join(filter(None, (kept, shared_words(study)))), SIZE)
            sheet = sheet_of(views, names, [], heading, words, frame, FOOT)
            for i in range(len(bands)):
                _bar(sheet, i, bands, [f for row in dips for f in row[i]], dips[k][i])
            frames.append(sheet.pixels())
    return frames


def _dips(result: Result, case: Case, band: Band) -> list[float]:
    """MHz of the dips of a case."""
    rows = result.of("dips", case)
    return [float(f) for f in rows.loc[rows["band"] == band.name, "dip_mhz"].dropna()]


def _bar(sheet: Sheet, place: int, bands: list[Band], ever: list[float], now: list[float]) -> None:
    """The band at that place as a bar with the dip on it, and how far it walks in all."""
    look, wide, high, band = sheet.look, sheet.get_figwidth(), sheet.get_figheight(), bands[place]
    room, gap = wide / len(bands), 0.25
    left, low = place * room + gap, 3.6 * look.type / 72
    ax = sheet.add_axes((left / wide, low / high, (room - 2 * gap) / wide, 0.14 / high))
    edges = band.lower / 1e6, band.upper / 1e6
    x0, x1 = min([*ever, edges[0]]), max([*ever, edges[1]])
    ax.set_xlim(x0 - 0.03 * (x1 - x0), x1 + 0.03 * (x1 - x0))
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.axvspan(*edges, color=TARGET, lw=0)
    if ever:
        ax.plot([min(ever), max(ever)], [0.5, 0.5], color=QUIET, lw=look.line * 0.6, zorder=2)
    ax.plot(now, [0.5] * len(now), "o", color=AHEAD, mec=INK, ms=0.75 * look.type, zorder=3, clip_on=False)
    ax.set_xticks(edges, [f"{e:g}" for e in edges])
    ax.tick_params(length=2, pad=1, labelsize=look.small * 0.9, labelcolor=QUIET)
    for side in ax.spines.values():
        side.set_color(RULE)
    ax.set_title(f"dip on {band.name}", size=look.small, color=INK, pad=3)
