"""A study on one A4 page to hand out: verdict, picture, table, how sure it is, cautions; a PDF with real text."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import matplotlib
from matplotlib.lines import Line2D

from tautwire.studies.drawing.axes import evenly, in_lengths, shared_words, title_of
from tautwire.studies.drawing.style import INK, QUIET, RULE, Look, Sheet, balanced, style
from tautwire.studies.reports.answers import findings, validity, verdicts, written
from tautwire.studies.reports.page import picture_of
from tautwire.studies.reports.slides import COLUMNS, best_case, column_widths, spoken_rows
from tautwire.studies.study.findings import caution_text, of_role
from tautwire.studies.wants.give_or_take import with_give

if TYPE_CHECKING:
    from tautwire.studies.running.store import Store
    from tautwire.studies.study.result import Result

A4 = Look("print", 8.27, 11.69, 8.5, 1.2, 200)  # inches
EDGE, GAP = 0.6, 0.12  # inches
MOST_ROWS, TALLEST = 16, 4.2  # rows of the table; inches of the picture
WIDE = 0.52  # of a letter, type heights


@dataclass
class _Page:
    """What is written from the top down. y: inches from the foot."""

    sheet: Sheet
    y: float

    def height(self, words: str, size: float) -> float:
        return len(self.lines(words, size)) * size * 1.35 / 72 + GAP / 2

    def lines(self, words: str, size: float, bold: bool = False) -> list[str]:
        room = (A4.width - 2 * EDGE) * 72 / (size * WIDE * (1.12 if bold else 1.0))
        return balanced(words, int(room))

    def write(self, words: str, size: float = A4.type, bold: bool = False, colour: str = INK) -> None:
        for line in self.lines(words, size, bold):
            weight = "bold" if bold else "normal"
            self.sheet.text(EDGE / A4.width, self.y / A4.height, line, size=size, weight=weight, color=colour, va="top")
            self.y -= size * 1.35 / 72
        self.y -= GAP / 2

    def heading(self, words: str) -> None:
        self.y -= GAP
        self.write(words, A4.type * 1.15, bold=True)


def handout(result: Result, store: Store | None = None) -> bytes:
    """The PDF's content. store: where what the picture needs may lie."""
    study = result.study
    every, found = findings(result), [w.text(study.lengths) for w in verdicts(result).values()]
    sure = written(result, of_role(every, "sure", "next"))
    rest = [best_case(result), *found[1:], *written(result, of_role(every, "answer"))]
    cautions = [*written(result, of_role(every, "caution")), *validity(result), caution_text(study.spec.want)]
    with style(A4) as look:
        page = _Page(Sheet(look, layout=None), A4.height - EDGE)
        page.write(title_of(study), 15, bold=True)
        page.write(shared_words(study), colour=QUIET)
        for line in found[:1] or ["No case could be solved."]:
            page.write(line, 12, bold=True)
        picture = picture_of(result, "print", store)
        if picture is not None:
            in_lengths(picture, study.lengths)
            _picture(page, picture)
        foot = EDGE + sum(page.height(w, A4.type) for w in [*sure, *cautions]) + 0.7
        _table(page, result, foot)
        for line in filter(None, rest):
            if page.y - page.height(line, A4.type) > foot:
                page.write(line)
        if sure:
            page.heading("How sure this is")
            for line in sure:
                page.write(line)
        page.heading("Cautions")
        for line in cautions:
            if page.y - page.height(line, A4.type) > EDGE / 2 or line == cautions[-1]:
                page.write(line)
        held = io.BytesIO()
        with matplotlib.rc_context({"pdf.fonttype": 42}):
            page.sheet.savefig(held, format="pdf")
        return held.getvalue()


def _picture(page: _Page, picture: Sheet) -> None:
    """The one picture as wide as the page, without its own title, which the page has."""
    pixels = picture.pixels()
    pixels = pixels[int((1 - picture.top) * len(pixels)) :]
    wide = A4.width - 2 * EDGE
    high = wide * pixels.shape[0] / pixels.shape[1]
    wide, high = wide * min(1.0, TALLEST / high), min(high, TALLEST)
    left = (A4.width - wide) / 2
    ax = page.sheet.add_axes((left / A4.width, (page.y - high) / A4.height, wide / A4.width, high / A4.height))
    ax.imshow(pixels, aspect="auto", interpolation="none")
    ax.set_axis_off()
    page.y -= high + GAP


def _table(page: _Page, result: Result, foot: float) -> None:
    """Rows of the dips down to `foot`, inches: evenly from all of them; how many are left out is said."""
    if "dips" not in result.frames or result.frames["dips"].empty:
        return
    dips = with_give(result, result.frames["dips"])
    kept = {c: form for c, form in COLUMNS.items() if c in dips}
    step = A4.type * 1.5 / 72
    most = min(MOST_ROWS, int((page.y - foot) / step) - 3)
    if most < 1:
        return
    shown = dips.iloc[evenly(len(dips), most)]
    axes = result.study.axes
    head = [*(a.label for a in axes), *(name for name, _ in kept.values())]
    rows = spoken_rows(shown, [a.column for a in axes], {c: form for c, (_, form) in kept.items()})
    scale = A4.type / 14  # the widths are meant for type of a slide
    widths = [scale * w for w in column_widths(head, rows, (A4.width - 2 * EDGE) / scale)[0]]
    letters = [max(int(w * 72 / (A4.type * 0.72)), 4) for w in widths]
    _row(page, [textwrap.fill(name, n) for name, n in zip(head, letters, strict=True)], widths, 2 * step)
    for row in rows:
        _row(page, row, widths, step)
    if len(shown) < len(dips):
        page.write(f"{len(shown)} of {len(dips)} rows; all are in dips.csv.", colour=QUIET)
    page.y -= GAP


def _row(page: _Page, cells: Sequence[str], widths: Sequence[float], high: float) -> None:
    """A row of the table, `high` inches, with a line below; a head, of two lines, is bold."""
    x, bold = EDGE, high > A4.type * 2 / 72
    for words, width in zip(cells, widths, strict=True):
        at = x / A4.width, page.y / A4.height
        page.sheet.text(*at, words, size=A4.type, weight="bold" if bold else "normal", va="top", color=INK)
        x += width
    page.y -= high
    edges, y = [EDGE / A4.width, 1 - EDGE / A4.width], page.y + 0.03
    page.sheet.add_artist(
        Line2D(edges, [y / A4.height] * 2, color=RULE, lw=0.5, transform=page.sheet.transFigure)
    )  # fmt: skip
