"""The one picture: the same wire in every case and on every band, to one scale, with current and pattern on it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.errors import SolveError
from tautwire.studies.drawing.style import Heading, Look, Sheet, look_named
from tautwire.studies.pictures.choice import shown_bands, shown_cases
from tautwire.studies.pictures.grid import sheet_of
from tautwire.studies.pictures.panel import frame_of
from tautwire.studies.pictures.seen import Seen, seen, seen_bands
from tautwire.studies.running.store import Store

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.setup import Setup
    from tautwire.studies.study.study import Axis, Case

MOST_CASES, MOST_BANDS = 5, 4  # columns and rows of a page
ON_SLIDE = 4, 2  # and of a slide, whose panels then fill it
MOST_ALONE = 6  # cases of a single band, which need not stand side by side
Words = Callable[[Seen], list[str]]
Views = Callable[[], list[Seen]]


def the_picture(result: Result, heading: Heading, store: Store | None = None) -> Sheet | None:
    """A column a case, a row a band; of a single band, cases in rows. None if no case can be solved.

    Where not all fit, the caption says which are shown. An empty title is replaced by the finding.
    """
    rows, names, told = chosen_views(result, look_named(heading.size), store or Store())
    if not rows:
        return None
    for left_out in told:
        heading = heading.then(left_out)
    if not heading.title:
        heading = Heading(finding(rows, names), heading.caption, heading.size)
    words, bands = numbers_of(result), [view.band.name for view in rows[0]]
    frame = frame_of([view for views in rows for view in views], result.study.lengths)
    if len(rows) == 1:
        names, bands = bands, []
    elif len(bands) == 1:
        bands = []
    views = [view for band in zip(*rows, strict=True) for view in band]
    return sheet_of(views, names, bands, heading, words, frame)


def chosen_views(result: Result, look: Look, store: Store) -> tuple[list[list[Seen]], list[str], list[str]]:
    """The views of each shown case (its bands in order), the cases' names, and what is left out in words."""
    cases, rows_high = (MOST_CASES, MOST_BANDS) if look.name == "print" else ON_SLIDE
    alone = len(result.study.bands) == 1 or max(result.study.count, len(result.frames.get("choices", ()))) == 1
    most = MOST_ALONE if len(result.study.bands) == 1 else cases
    bands, without = shown_bands(result.study.bands, MOST_BANDS if alone else rows_high)
    shown, fewer = _shown(result, most, bands, store)
    rows, names = [], []
    for name, views in shown:
        try:
            rows.append(views())
        except SolveError:
            continue
        names.append(name)
    return rows, names, [w for w in (fewer, without) if w]


def _shown(result: Result, most: int, bands: Sequence[Band], store: Store) -> tuple[list[tuple[str, Views]], str]:
    """Names of the shown cases, or of what is chosen where that is the question, each with its views; and what is left
    out."""
    if "choices" in result.frames:
        from tautwire.studies.wants.choose.problem import choices_of

        chosen = choices_of(result, result.study.cases()[0])[:most]
        return [(name, partial(_seen_on, setup, bands, store)) for name, setup in chosen], ""
    cases, fewer = shown_cases(result, most)
    return [
        (case_name(result.study.axes, case), partial(seen_bands, case, result.study, bands, store)) for case in cases
    ], fewer


def _seen_on(setup: Setup, bands: Sequence[Band], store: Store) -> list[Seen]:
    return [seen(setup, band, store) for band in bands]


def case_name(axes: Sequence[Axis], case: Case) -> str:
    """A case's place on these axes, short."""
    told = [(a, a.value_text(case.labels[a.column])) for a in axes]
    return ", ".join(text if a.numbers is None else f"{a.name} {text}" for a, text in told)


def numbers_of(result: Result) -> Words:
    """What is written into a panel: the dip where dips are asked for, and gain at a low angle; else also the peak."""
    dips = any(w in result.study.spec.want for w in ("dips", "turns", "why", "fit", "shield"))

    def words(view: Seen) -> list[str]:
        low = f"{_db(view.low_dbi)} dBi at 15\u00b0"
        top = int(np.argmax(view.dbi))
        up = math.degrees(min(view.angle[top], math.pi - view.angle[top]))
        return [f"{view.f_mhz:.3f} MHz", low] if dips else [low, f"peak {_db(view.dbi[top])} dBi at {up:.0f}\u00b0"]

    return words


def _db(value: float) -> str:
    return f"{round(float(value)) + 0:d}".replace("-", "\u2212")


def finding(rows: Sequence[Sequence[Seen]], names: Sequence[str]) -> str:
    """Which case sends most at a low angle, and on which band that matters most."""
    if len(rows) < 2:
        best = max(rows[0], key=lambda v: v.low_dbi)
        return f"At 15\u00b0 over the horizon it sends most on {best.band.name}: {_db(best.low_dbi)} dBi"
    gaps = []
    for k in range(len(rows[0])):
        order = sorted(range(len(rows)), key=lambda i: rows[i][k].low_dbi)
        gaps.append((rows[order[-1]][k].low_dbi - rows[order[0]][k].low_dbi, k, order[-1], order[0]))
    gap, k, most, least = max(gaps)
    band = rows[0][k].band.name
    if gap < 1:
        return "It hardly matters at low angles: no band changes by as much as 1 dB at 15\u00b0 over the horizon"
    return f"{names[most].capitalize()} sends {gap:.0f} dB more than {names[least]} at 15\u00b0 on {band}"
