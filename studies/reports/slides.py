"""A study as slides: question, layout, plots, table, what to take away, caution; numbers in the speaker notes.

All words are native, editable text; only the plots are pictures.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
from pptx import Presentation
from pptx.dml.color import RGBColor
from pptx.enum.shapes import MSO_CONNECTOR, MSO_SHAPE
from pptx.enum.text import MSO_ANCHOR
from pptx.oxml.ns import qn
from pptx.util import Emu, Inches, Pt

from tautwire.studies.drawing.axes import running
from tautwire.studies.drawing.style import CYCLE, INK, LOOKS, QUIET, SOIL, TARGET, Sheet
from tautwire.studies.drawing.words import shared_words, title_of
from tautwire.studies.reports.answers import big_numbers, main_want, one_caution, sentences, validity, verdicts, written
from tautwire.studies.reports.figures import picture_of
from tautwire.studies.reports.slide_words import (
    ROOM,
    TURN_HEAD,
    answer_notes,
    chunks,
    column_widths,
    notes_of_band,
    setup_lines,
    spoken_rows,
    take_away,
    turn_rows,
)
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.cautions import DEFERENCE, caution_text, cautions_for
from tautwire.studies.study.cells import in_words
from tautwire.studies.wants.dips.category import bands_that_fit
from tautwire.studies.wants.dips.figures import dip_figure_of, layout_figures
from tautwire.studies.wants.give_or_take import sureness, with_give
from tautwire.studies.wants.registry import want_named
from tautwire.studies.wants.turns.choice import other_columns, parts

if TYPE_CHECKING:
    from tautwire.studies.running.store import Store
    from tautwire.studies.study.result import Result

WIDTH, HEIGHT, EDGE = 13.333, 7.5, 0.55  # inches
PICTURE_NOTE = (
    "Orange is current on the wire, brown is current the other way; blue is how much goes which way, from the side. "
    "All panels have one scale. The person is 1.75 m tall."
)
ROWS, MOST_ROWS = 11, 44  # rows of the table on a slide, and in all
COLUMNS = {
    "band": ("band", ""),
    "dip_mhz": ("dip (MHz)", ".3f"),
    "dip_give_khz": ("\u00b1 (kHz)", ".0f"),
    "dip_swr": ("SWR at dip", ".2f"),
    "width_2to1_khz": ("below 2:1 (kHz)", ".0f"),
    "swr_worst": ("worst SWR in band", ".1f"),
    "dip_loss_db": ("coax + transformer loss (dB)", ".2f"),
}


def _rgb(colour: str) -> RGBColor:
    return RGBColor.from_string(colour.lstrip("#").upper())


class Deck:
    """Slides being made, 16:9."""

    def __init__(self, title: str) -> None:
        self.show = Presentation()
        self.show.slide_width, self.show.slide_height = Inches(WIDTH), Inches(HEIGHT)
        core = self.show.core_properties
        core.title, core.author, core.last_modified_by, core.subject = title, "", "", "portable wire antenna study"
        for name in ("created", "modified"):  # the template's own dates say nothing about this file
            for element in core._element.xpath(f"./dcterms:{name}"):
                core._element.remove(element)

    def slide(self, title: str, notes: Iterable[str]) -> Any:
        """A slide with a title and a taut line under it."""
        slide = self.show.slides.add_slide(self.show.slide_layouts[5])
        _place(slide.shapes.title, EDGE, 0.3, WIDTH - 2 * EDGE, 0.95)
        _write(slide.shapes.title, [title], 30 if len(title) < 52 else 24 if len(title) < 115 else 20, bold=True)
        _line(slide, EDGE, 1.32, WIDTH - EDGE, 1.24)
        slide.notes_slide.notes_text_frame.text = "\n".join(notes)
        return slide

    def first(self, title: str, under: str, notes: Iterable[str]) -> None:
        slide = self.show.slides.add_slide(self.show.slide_layouts[0])
        soil = slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, 0, Inches(6.5), Inches(WIDTH), Inches(1.0))
        soil.fill.solid()
        soil.fill.fore_color.rgb = _rgb(SOIL)
        soil.line.fill.background()
        _line(slide, 1.0, 6.2, WIDTH - 0.8, 4.4, 4)
        box = slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, Inches(0.85), Inches(6.05), Inches(0.3), Inches(0.3))
        box.fill.solid()
        box.fill.fore_color.rgb = _rgb(INK)
        box.line.fill.background()
        _line(slide, 1.0, 6.35, 1.0, 6.5, 2)
        _place(slide.shapes.title, 0.85, 0.8, WIDTH - 1.7, 2.0)
        _write(slide.shapes.title, [title], 40 if len(title) < 60 else 32, bold=True)
        _place(slide.placeholders[1], 0.85, 2.9, WIDTH - 1.7, 1.3)
        _write(slide.placeholders[1], [under], 20, colour=QUIET)
        slide.notes_slide.notes_text_frame.text = "\n".join(notes)

    def words(self, title: str, lines: Sequence[str], notes: Iterable[str]) -> None:
        """Sentences, over as many slides as they need."""
        left = list(notes)
        for part, more in chunks(lines):
            slide = self.slide(title + (", continued" if more else ""), left)
            box = slide.shapes.add_textbox(Inches(EDGE), Inches(1.6), Inches(WIDTH - 2 * EDGE), Inches(5.4))
            _write(box, part, 22, gap=12)

    def bullets(self, title: str, lines: Sequence[str], notes: Iterable[str]) -> None:
        """A few sentences on one slide."""
        box = self.slide(title, notes).shapes.add_textbox(
            Inches(EDGE), Inches(1.6), Inches(WIDTH - 2 * EDGE), Inches(5.4)
        )
        _write(box, lines, 22 if sum(map(len, lines)) <= ROOM else 20, gap=12)

    def picture(self, title: str, sheet: Sheet, alt: str, notes: Iterable[str]) -> None:
        """A plot, its caption below as words."""
        slide = self.slide(title, notes)
        held = io.BytesIO()
        sheet.savefig(held, format="png")
        held.seek(0)
        wide, high = sheet.get_size_inches()
        scale = min((WIDTH - 2 * EDGE + 0.2) / wide, 5.5 / high)
        left, top = (WIDTH - wide * scale) / 2, 1.42 + (5.5 - high * scale) / 2
        shape = slide.shapes.add_picture(held, Inches(left), Inches(top), Inches(wide * scale))
        shape._element.nvPicPr.cNvPr.set("descr", alt)
        if sheet.caption and not sheet.look.header:
            box = slide.shapes.add_textbox(Inches(EDGE), Inches(6.93), Inches(WIDTH - 2 * EDGE), Inches(0.5))
            _write(box, [sheet.caption.strip()], 12, colour=QUIET)

    def answer(
        self, question: str, answer: str, numbers: Sequence[tuple[str, str]], caution: str, notes: Iterable[str]
    ) -> None:
        """The answer to the question, numbers to be read from afar, and one caution."""
        slide = self.slide(answer, notes)
        asked = slide.shapes.add_textbox(Inches(EDGE), Inches(1.5), Inches(WIDTH - 2 * EDGE), Inches(0.6))
        _write(asked, [question], 18, colour=QUIET)
        wide = (WIDTH - 2 * EDGE) / len(numbers)
        longest = max(len(number) for number, _ in numbers)
        size = 60 if longest <= 6 else 50 if longest <= 8 else 40 if longest <= 11 else 32
        for k, (number, what) in enumerate(numbers):
            left = EDGE + k * wide
            box = slide.shapes.add_textbox(Inches(left), Inches(2.45), Inches(wide - 0.2), Inches(1.2))
            _write(box, [number], size, bold=True)
            box = slide.shapes.add_textbox(Inches(left), Inches(3.7), Inches(wide - 0.3), Inches(1.5))
            _write(box, [what], 20, colour=QUIET)
        slab = slide.shapes.add_shape(
            MSO_SHAPE.RECTANGLE, Inches(EDGE), Inches(5.55), Inches(WIDTH - 2 * EDGE), Inches(1.35)
        )
        slab.fill.solid()
        slab.fill.fore_color.rgb = _rgb(SOIL)
        slab.line.fill.background()
        slab.shadow.inherit = False
        slab.text_frame.vertical_anchor = MSO_ANCHOR.MIDDLE
        _write(slab, [caution], 18 if len(caution) < 170 else 16)

    def table(self, title: str, head: Sequence[str], rows: Sequence[Sequence[str]], notes: Iterable[str]) -> None:
        """A native table."""
        slide = self.slide(title, notes)
        high = 0.42 * (len(rows) + 1)
        frame = slide.shapes.add_table(
            len(rows) + 1, len(head), Inches(EDGE), Inches(1.6), Inches(WIDTH - 2 * EDGE), Inches(high)
        )
        table = frame.table
        for k, width in enumerate(column_widths(head, rows, WIDTH - 2 * EDGE)[0]):
            table.columns[k].width = Emu(int(Inches(1) * width))
        for i, row in enumerate([head, *rows]):
            for k, text in enumerate(row):
                cell = table.cell(i, k)
                cell.vertical_anchor = MSO_ANCHOR.MIDDLE
                cell.margin_top = cell.margin_bottom = Inches(0.03)
                cell.fill.solid()
                cell.fill.fore_color.rgb = _rgb(CYCLE[0].colour if i == 0 else TARGET if i % 2 else "#ffffff")
                _write(cell, [text], 14, bold=i == 0, colour="#ffffff" if i == 0 else INK)


def _place(shape: Any, left: float, top: float, width: float, height: float) -> None:
    shape.left, shape.top, shape.width, shape.height = Inches(left), Inches(top), Inches(width), Inches(height)


def _line(slide: Any, x0: float, y0: float, x1: float, y1: float, width: float = 2.5) -> None:
    line = slide.shapes.add_connector(MSO_CONNECTOR.STRAIGHT, Inches(x0), Inches(y0), Inches(x1), Inches(y1))
    line._element.remove(line._element.find(qn("p:style")))  # the theme would add a shadow
    line.line.color.rgb, line.line.width = _rgb(CYCLE[0].colour), Pt(width)


def _write(
    shape: Any, lines: Sequence[str], size: float, bold: bool = False, colour: str = INK, gap: float = 0
) -> None:
    frame = shape.text_frame
    frame.word_wrap = True
    for i, words in enumerate(lines):
        paragraph = frame.paragraphs[0] if i == 0 else frame.add_paragraph()
        paragraph.alignment = 1  # left
        paragraph.space_after = Pt(gap)
        run = paragraph.add_run()
        run.text = words
        run.font.size, run.font.bold, run.font.color.rgb = Pt(size), bold, _rgb(colour)


def slides(result: Result, store: Store | None = None) -> bytes:
    """The content of the .pptx. store: where what the one picture needs may lie."""
    study = result.study
    dips = result.frames.get("dips", pd.DataFrame())
    trust = validity(result)
    deck = Deck(title_of(study))
    deck.first(title_of(study), shared_words(study), [f"Study: {study.name}.", *setup_lines(study)])
    picture = picture_of(result, "slide", store)
    if picture is not None:
        deck.picture(
            picture.title, picture, picture.alternative, [f"{picture.title}.", PICTURE_NOTE, *sentences(result)]
        )
    found, numbers = list(verdicts(result).values()), big_numbers(result)
    if found and numbers:
        large = [(f.number.text(study.lengths), f.words.text(study.lengths)) for f in numbers if f.number]
        verdict = found[0].title(study.lengths)
        deck.answer(title_of(study), verdict, large, one_caution(result), answer_notes(result))
    sure = written(result, sureness(result))
    compared = [*setup_lines(study), *([] if sure else trust)]
    deck.words("What is compared", compared, [f"{study.count} cases.", setup_words(study), *trust])
    drawings = {} if "choose" in study.spec.want else layout_figures(study, "slide")  # the choices hang by themselves
    for stem, sheet in drawings.items():
        which = "" if len(drawings) == 1 else ": last case" if stem == "layout_last" else ": first case"
        title = f"How it hangs{which}: {sheet.title}"
        deck.picture(title, sheet, f"Drawing to scale. {sheet.alternative}", setup_lines(study))
    first = main_want(result)
    for name in sorted(study.spec.want, key=lambda name: name != first):
        if name == "dips" and not dips.empty:
            _plots(deck, result)
        elif name != "dips":
            _want(deck, result, name)
    if not dips.empty:
        _tables(deck, result)
    lines = take_away(result) or ["No case could be solved."]
    deck.bullets("What to take away", lines, sentences(result) or lines)
    if sure:
        notes = [setup_words(study), "Marks come from the quality table of the study."]
        deck.words("How far to trust it", [*sure, *trust], notes)
    cautions = [c.words for c in cautions_for(study.spec.want)] + [DEFERENCE]
    deck.words("Before you put wire up or transmit", cautions, [caution_text(study.spec.want)])
    held = io.BytesIO()
    deck.show.save(held)
    return held.getvalue()


def _want(deck: Deck, result: Result, name: str) -> None:
    """The figures of a want other than dips, its sentences in the notes; turns as a table too."""
    want = want_named(name)
    notes = written(result, want.findings(result)) or [f"No answer to {name}."]
    figures = want.plots(result, size="slide") if want.sized else want.plots(result)
    for stem, figure in dict(figures).items():
        if isinstance(figure, Sheet) and not stem.startswith("card"):  # the card is a page to print
            title = figure.title or stem.replace("_", " ").capitalize()
            deck.picture(title, figure, figure.alternative, notes)
    if name == "turns" and "turns" in result.frames:
        for labels, rows in parts(result.frames["turns"], other_columns(result)):
            which = "".join(f", {in_words(v)}" for v in labels.values())
            for i in range(0, len(rows), ROWS):
                some = turn_rows(rows.iloc[i : i + ROWS])
                deck.table("Best setting for each segment" + which, TURN_HEAD, some, notes)


def _plots(deck: Deck, result: Result) -> None:
    """SWR, dips and impedance, as many bands on a slide as can be read there."""
    study, cases = result.study, result.study.count
    axis = running(study.axes)
    across = 2 if axis is None or axis.numbers is not None else bands_that_fit(LOOKS["slide"], cases)
    for kind, step in (("dip", min(across, 4)), ("swr", 2), ("impedance", 2)):
        for i in range(0, len(study.bands), step):
            some = study.bands[i : i + step]
            drawn = dip_figure_of(result, kind, "slide", some)
            if drawn is not None:
                notes = [n for b in some for n in notes_of_band(result, b.name)]
                deck.picture(drawn.title, drawn, drawn.alternative, notes)


def _tables(deck: Deck, result: Result) -> None:
    axes, dips = result.study.axes, with_give(result, result.frames["dips"])
    kept = [c for c in COLUMNS if c in dips]
    head = [*(a.label for a in axes), *(COLUMNS[c][0] for c in kept)]
    shown = dips.head(MOST_ROWS)
    rows = spoken_rows(shown, [a.column for a in axes], {c: COLUMNS[c][1] for c in kept})
    most = ROWS // 2 if column_widths(head, rows, WIDTH - 2 * EDGE)[1] else ROWS  # long words take two lines
    step = math.ceil(len(rows) / math.ceil(len(rows) / most))  # slides about equally full
    parts = [rows[i : i + step] for i in range(0, len(rows), step)]
    for k, part in enumerate(parts, 1):
        count = f" ({k} of {len(parts)})" if len(parts) > 1 else ""
        notes = [", ".join(f"{h} {v}" for h, v in zip(head, row, strict=True)) for row in part]
        if len(shown) < len(dips):
            notes.append(f"The first {len(shown)} of {len(dips)} rows; all are in dips.csv.")
        deck.table(f"The numbers{count}", head, part, notes)
