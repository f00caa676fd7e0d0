"""A study as slides: question, set-up, answer, why, how sure, what it means in the field, cautions; notes to speak.

All words, tables, and the charts of dips and SWR are native and can be edited; other plots are pictures.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
from pptx import Presentation
from pptx.dml.color import RGBColor
from pptx.enum.shapes import MSO_CONNECTOR, MSO_SHAPE
from pptx.enum.text import MSO_ANCHOR
from pptx.oxml.ns import qn
from pptx.util import Emu, Inches, Pt

from tautwire.studies.drawing.axes import in_lengths, shared_words, shortened, title_of
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, SOIL, TARGET, Sheet
from tautwire.studies.reports.answers import (
    big_numbers,
    findings,
    main_want,
    one_caution,
    sentences,
    validity,
    verdicts,
    written,
)
from tautwire.studies.reports.page import picture_of
from tautwire.studies.reports.slide_charts import Plot, charts_of
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.findings import (
    DEFERENCE,
    Role,
    Row,
    band_name,
    capitalised,
    case_name,
    cautions_for,
    of_role,
    say,
    table_of,
)
from tautwire.studies.study.units import formatted, in_words
from tautwire.studies.wants.dips.figures import layout_figures
from tautwire.studies.wants.give_or_take import sureness, with_give
from tautwire.studies.wants.turns.choice import other_columns, parts
from tautwire.studies.wants.want import want_named

if TYPE_CHECKING:
    from tautwire.studies.running.store import Store
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


# --- The words of slides: the set-up in lines, rows of the table as text, speaker notes with numbers.


ROOM = 640  # characters of body text on a slide at its size, with at most MOST_LINES sentences
MOST_LINES = 7
MOST_VALUES = 10  # words of an axis that are named one by one
BULLETS, BULLET_ROOM = 6, 900  # sentences and characters of what to take away
LONG = 26  # characters of a table cell beyond which it may wrap

COLUMNS = {
    "band": ("band", ""),
    "dip_mhz": ("dip (MHz)", ".3f"),
    "dip_give_khz": ("\u00b1 (kHz)", ".0f"),
    "dip_swr": ("SWR at dip", ".2f"),
    "width_2to1_khz": ("below 2:1 (kHz)", ".0f"),
    "swr_worst": ("worst SWR in band", ".1f"),
    "dip_loss_db": ("coax + transformer loss (dB)", ".2f"),
}
TURN_HEAD = ("segment", "turns", "wire (m)", "SWR across it", "SWR one turn off", "kHz a turn", "stop")


LEAST_SPOKEN, MOST_SPOKEN = 40, 90  # words of the notes of a slide
OPENING = (
    "Read the question aloud and let people guess the answer before you go on; ask for a number, not for a yes or no. "
    "Say that the answer comes on the third slide."
)
SET_UP = (
    "Show with your hands how the wire hangs and where the feed is. Name what stays the same first, then what is "
    "changed, and point at it in the drawing."
)
PICTURE_NOTE = (
    "Orange is current on the wire, brown is current the other way; blue is how much goes which way, seen from the "
    "side. All panels have one scale, and the person is 1.75 m tall. Follow one panel with your finger first, then go "
    "from panel to panel and say what changes."
)
HOW_TO_READ = {
    "dip": "Up and down is where the SWR dips. Ask whether the change would matter in the band before you read it out.",
    "swr": "To the right is frequency, upwards is the SWR at the radio; the upright lines are the edges of the band.",
}
LAST_CASE = "This is the other end of what was tried, drawn to the same rules as the first case."
TABLE = "Nobody reads a table from the back row: find one row that the audience cares about and read it out."
SURE = (
    "Say what plus-minus means: two antennas built alike by usual care differ by this much. Differences between two "
    "cases of one set-up are surer than each number alone, as they share most of what is not known."
)
FIELD = "Say what you would do tomorrow in the park, in the order of what costs least effort."
CAUTION = (
    "Take your time with this one, also with people who have heard it before. Ask who has had a throw line come back "
    "at them, or a branch come down, and say where the nearest power line to your usual place runs."
)
SPARE = (
    "All of this is computed with the method of moments over real soil; nothing on this slide was measured.",
    "A wire of your own hangs a little differently: expect the same changes, and other numbers to begin with.",
    "Anybody can repeat this: one file describes the study, and one command computes it.",
    "Every number is a cell of a table in the study's folder, so that questions can be settled afterwards.",
    "If somebody has measured the same, ask for the sweep: a fit would tell what differs.",
    "Leave the slide up for a moment, and wait for questions before you go on.",
    "If time is short, skip this slide and come back to it when somebody asks.",
    "Ask who has seen this on their own antenna, and what they did about it.",
    "Say the number once more, slowly, and what it is a number of, for those who take notes.",
    "Mention that the coax and the transformer are part of the antenna here, with their losses.",
    "Point out that only one thing is changed at a time, so that nothing else can be the cause.",
    "Remind people that the soil under the park is known only roughly, and changes with the weather.",
)


class Spoken:
    """Notes of slides: 40 to 90 words each, and no sentence twice. spare: said where a slide has too few."""

    def __init__(self, spare: Iterable[str] = ()) -> None:
        self.spare, self.said = [s for line in spare for s in _sentences(line)], set[str]()

    def of(self, lines: Iterable[str]) -> list[str]:
        """What to say to a slide: of the lines what fits, then of the spare ones until there is enough."""
        out: list[str] = []
        for own, line in [*((True, s) for x in lines for s in _sentences(x)), *((False, s) for s in self.spare)]:
            count = sum(len(s.split()) for s in out)
            if line in self.said or count + len(line.split()) > MOST_SPOKEN or not own and count >= LEAST_SPOKEN:
                continue
            out.append(line)
            self.said.add(line)
        return out or ["Go on to the next slide."]


def _sentences(line: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.!?])\s+(?=[A-Z\u00b1\u2212])", line.strip()) if s]


def answer_notes(result: Result) -> list[str]:
    """What to say to the slide that answers: each want's verdict, then its answers and what to do next."""
    found = findings(result)
    said = [capitalised(words.text(result.study.lengths)) for words in verdicts(result).values()]
    return ["Say this first.", *said, *written(result, of_role(found, "answer", "next"))]


def best_case(result: Result) -> str:
    """Of several cases of a study of dips: which has the lowest SWR where its bands are worst, which the highest."""
    if main_want(result) != "dips" or result.study.count < 2:
        return ""
    cases: dict[tuple[str, ...], list[Row]] = {}
    for row in table_of(result, "dips"):
        cases.setdefault(result.place(row)[1:], []).append(row)
    worst = [max(rows, key=lambda r: r["swr_worst"]) for rows in cases.values() if len(rows) == len(result.study.bands)]
    worst = sorted((r for r in worst if math.isfinite(r["swr_worst"])), key=lambda r: r["swr_worst"])
    if len(worst) < 2:
        return ""
    best, last = worst[0], worst[-1]
    words = say(
        "Best in all bands: {best}, SWR at most {low}; worst: {last}, {high} on {band}.",
        best=case_name(result, best), low=best.number("swr_worst", "SWR"), last=case_name(result, last),
        high=last.number("swr_worst", "SWR"), band=band_name(last["band"]),
    )  # fmt: skip
    return capitalised(words.text(result.study.lengths))


def take_away(result: Result) -> list[str]:
    """What to take away, on one slide: each want's verdict, then what else the main want found, cautions first and
    details last, as far as there is room."""
    main = main_want(result)
    heads = [capitalised(words.text(result.study.lengths)) for words in verdicts(result).values()]
    found = want_named(main).findings(result)
    roles: tuple[Role, ...] = ("caution", "answer", "next", "detail")
    others = written(result, [f for role in roles for f in of_role(found, role)])
    out = heads[:BULLETS]
    for line in others:
        if len(out) < BULLETS and sum(map(len, [*out, line])) <= BULLET_ROOM:
            out.append(line)
    return out


def setup_lines(study: Study) -> list[str]:
    """What is fixed, what is varied, where it is looked at."""
    lines = [f"The same in every case: {shared_words(study)}."]
    for axis in study.axes:
        known = axis.labels
        if axis.numbers is not None and len(known) > 4:
            lines.append(
                f"Varied: {axis.name}, from {axis.value_text(min(known))} to {axis.value_text(max(known))} "
                f"in {len(known)} values."
            )
        elif len(known) > MOST_VALUES:
            ends = f"{axis.value_text(known[0])} to {axis.value_text(known[-1])}"
            lines.append(f"Varied: {axis.name}: {len(known)} of them, {ends}.")
        else:
            lines.append(f"Varied: {axis.name}: {', '.join(axis.value_text(v) for v in known)}.")
    if "choose" in study.spec.want:
        from tautwire.studies.wants.choose.candidates import read_problem

        lines.append(f"May vary: {'; '.join(k.range_words() for k in read_problem(study, study.raw).knobs)}.")
    lines.append(f"Bands: {', '.join(b.name for b in study.bands)} (region {study.spec.region}).")
    return lines


def chunks(lines: Sequence[str]) -> Iterator[tuple[list[str], bool]]:
    """Lines in lots that fit a slide, each with whether it continues another."""
    part: list[str] = []
    more = False
    for line in lines:
        if part and (sum(map(len, part)) + len(line) > ROOM or len(part) == MOST_LINES):
            yield part, more
            part, more = [], True
        part.append(line)
    yield part, more


def spoken_rows(frame: pd.DataFrame, axis_columns: Sequence[str], forms: Mapping[str, str]) -> list[list[str]]:
    """Rows of the table as text: axis values first."""
    return [
        [*(in_words(row[c]) for c in axis_columns), *(formatted(row[c], form) for c, form in forms.items())]
        for row in frame.to_dict("records")
    ]


def column_widths(head: Sequence[str], rows: Sequence[Sequence[str]], total: float) -> tuple[list[float], bool]:
    """Widths, in the unit of total (inches), in which no cell wraps if it can be, and whether one does; heads may wrap
    between words."""
    for longest in (math.inf, LONG):
        need = [
            0.24 + 0.125 * max(*(min(len(row[k]), longest) for row in rows), *map(len, head[k].split()))
            for k in range(len(head))
        ]
        if sum(need) < total:
            want = [max(0.0, 0.24 + 0.125 * len(h) - n) + 0.2 for h, n in zip(head, need, strict=True)]
            spare = total - sum(need)
            wraps = any(len(cell) > longest for row in rows for cell in row)
            return [n + spare * w / sum(want) for n, w in zip(need, want, strict=True)], wraps
    return [n * total / sum(need) for n in need], True


def turn_rows(rows: pd.DataFrame) -> list[list[str]]:
    """Rows of want_turns' table "turns" under TURN_HEAD."""
    return [
        [
            row["segment"],
            f"{row['turns_out']:g}",
            f"{row['wire_m']:.2f}",
            f"{row['swr_best']:.1f} to {row['swr_worst']:.1f}",
            formatted(row["swr_neighbour"], ".1f"),
            formatted(row["stop_shift_khz_per_turn" if row["served"] else "shift_khz_per_turn"], "+.0f"),
            formatted(row["stop_turns"], "g", "needs a tuner"),
        ]
        for row in rows.to_dict("records")
    ]


def notes_of_band(result: Result, band: str, kind: str) -> list[str]:
    """What to say of a band's chart: the lowest and the highest dip ("dip"), the best and the worst SWR ("swr")."""
    rows = [r for r in table_of(result, "dips") if r["band"] == band and not math.isnan(r["dip_mhz"])]
    if not rows:
        return [f"On {band} there is no dip."]
    about, lengths = band_name(band), result.study.lengths
    column, form = ("dip_mhz", "frequency") if kind == "dip" else ("swr_worst", "SWR")
    order = sorted(rows, key=lambda r: r[column])
    low, high = order[0], order[-1]
    if len(rows) == 1:
        words = say("On {band} the dip is at {dip}, and the SWR in the band is at most {swr}.", band=about,
                    dip=low.number("dip_mhz", "frequency"), swr=low.number("swr_worst", "SWR"))  # fmt: skip
        return [words.text(lengths)]
    text = "On {band} the dip is lowest with {one}, at {low}, and highest with {other}, at {high}."
    if kind != "dip":
        text = "On {band} the highest SWR in the band is {low} with {one} and {high} with {other}."
    words = say(text, band=about, one=case_name(result, low), low=low.number(column, form),
                other=case_name(result, high), high=high.number(column, form))  # fmt: skip
    return [words.text(lengths)]


# --- A study as slides.


WIDTH, HEIGHT, EDGE = 13.333, 7.5, 0.55  # inches
LEAST_TYPE, CAPTION = 14, 190  # points of the smallest type; characters of a caption in it
ROWS, MOST_ROWS = 11, 44  # rows of the table on a slide, and in all


def _rgb(colour: str) -> RGBColor:
    return RGBColor.from_string(colour.lstrip("#").upper())


class Deck:
    """Slides being made, 16:9."""

    def __init__(self, title: str, spare: Iterable[str] = ()) -> None:
        """spare: sentences for slides that have too few of their own to say."""
        self.spoken = Spoken(spare)
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
        slide.notes_slide.notes_text_frame.text = "\n".join(self.spoken.of(notes))
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
        slide.notes_slide.notes_text_frame.text = "\n".join(self.spoken.of(notes))

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
            box = slide.shapes.add_textbox(Inches(EDGE), Inches(6.87), Inches(WIDTH - 2 * EDGE), Inches(0.6))
            _write(box, [shortened(sheet.caption.strip(), CAPTION)], LEAST_TYPE, colour=QUIET)

    def answer(
        self, question: str, answer: str, numbers: Sequence[tuple[str, str]], caution: str, notes: Iterable[str],
        choice: str = "",
    ) -> None:  # fmt: skip
        """The answer to the question, numbers to be read from afar, which case serves best, and one caution."""
        slide = self.slide(answer, notes)
        asked = slide.shapes.add_textbox(Inches(EDGE), Inches(1.5), Inches(WIDTH - 2 * EDGE), Inches(0.6))
        _write(asked, [question], 18, colour=QUIET)
        wide = (WIDTH - 2 * EDGE) / max(len(numbers), 1)
        longest = max((len(number) for number, _ in numbers), default=0)
        size = 60 if longest <= 6 else 50 if longest <= 8 else 40 if longest <= 11 else 32
        for k, (number, what) in enumerate(numbers):
            left = EDGE + k * wide
            box = slide.shapes.add_textbox(Inches(left), Inches(2.45), Inches(wide - 0.2), Inches(1.2))
            _write(box, [number], size, bold=True)
            box = slide.shapes.add_textbox(Inches(left), Inches(3.6), Inches(wide - 0.3), Inches(1.15))
            _write(box, [what], 18, colour=QUIET)
        if choice:
            box = slide.shapes.add_textbox(Inches(EDGE), Inches(4.75), Inches(WIDTH - 2 * EDGE), Inches(0.75))
            _write(box, [choice], 20 if len(choice) < 100 else 16, bold=True)
        slab = slide.shapes.add_shape(
            MSO_SHAPE.RECTANGLE, Inches(EDGE), Inches(5.55), Inches(WIDTH - 2 * EDGE), Inches(1.35)
        )
        slab.fill.solid()
        slab.fill.fore_color.rgb = _rgb(SOIL)
        slab.line.fill.background()
        slab.shadow.inherit = False
        slab.text_frame.vertical_anchor = MSO_ANCHOR.MIDDLE
        _write(slab, [caution], 18 if len(caution) < 170 else 16)

    def charts(self, title: str, plots: Sequence[Plot], caption: str, notes: Iterable[str]) -> None:
        """Native charts side by side: their numbers can be edited."""
        slide = self.slide(title, notes)
        wide = (WIDTH - 2 * EDGE) / len(plots)
        for k, plot in enumerate(plots):
            box = Inches(EDGE + k * wide), Inches(1.45), Inches(wide - 0.1), Inches(5.4)
            plot.draw(slide.shapes, box)
        box = slide.shapes.add_textbox(Inches(EDGE), Inches(6.87), Inches(WIDTH - 2 * EDGE), Inches(0.6))
        _write(box, [shortened(caption, CAPTION)], LEAST_TYPE, colour=QUIET)

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
    """The content of the .pptx: question, set-up, answer, why, how sure, what it means in the field, cautions.

    store: where what the one picture needs may lie.
    """
    study = result.study
    dips = result.frames.get("dips", pd.DataFrame())
    trust = validity(result)
    deck = Deck(title_of(study), [*sentences(result), *SPARE])
    deck.first(title_of(study), shared_words(study), [OPENING, *setup_lines(study)])
    drawings = {} if "choose" in study.spec.want else layout_figures(study, "slide")  # the choices hang by themselves
    _set_up(deck, result, drawings)
    found, numbers = list(verdicts(result).values()), big_numbers(result)
    if found:
        large = [(f.number.text(study.lengths), f.words.text(study.lengths)) for f in numbers if f.number]
        verdict = found[0].title(study.lengths)
        choice = best_case(result)
        deck.answer(title_of(study), verdict, large, one_caution(result), answer_notes(result), choice)
    picture = picture_of(result, "slide", store)
    if picture is not None:
        in_lengths(picture, study.lengths)
        deck.picture(picture.title, picture, picture.alternative, [PICTURE_NOTE, f"{picture.title}."])
    first = main_want(result)
    for name in sorted(study.spec.want, key=lambda name: name != first):
        if name == "dips" and not dips.empty:
            _plots(deck, result)
        elif name != "dips":
            _want(deck, result, name)
    for stem, sheet in drawings.items():
        if stem == "layout_last":
            alt = f"Drawing to scale. {sheet.alternative}"
            deck.picture(f"How it hangs: last case: {sheet.title}", in_lengths(sheet, study.lengths), alt, [LAST_CASE])
    if not dips.empty:
        _tables(deck, result)
    sure = written(result, sureness(result))
    deck.words("How sure this is", [*sure, *trust], [SURE, *sure])
    lines = take_away(result) or ["No case could be solved."]
    deck.bullets("What it means in the field", lines, [FIELD, *lines[1:]])
    cautions = [c.words for c in cautions_for(study.spec.want)] + [DEFERENCE]
    deck.words("Before you put wire up or transmit", cautions, [CAUTION])
    held = io.BytesIO()
    deck.show.save(held)
    return held.getvalue()


def _set_up(deck: Deck, result: Result, drawings: Mapping[str, Sheet]) -> None:
    """What is fixed and what is varied: under a drawing of the first case, or of every variant, if there is one."""
    lines = setup_lines(result.study)
    if not drawings:
        deck.words("What is compared", lines, [SET_UP, setup_words(result.study)])
        return
    sheet = in_lengths(drawings["layout"], result.study.lengths)
    sheet.caption = " ".join(lines[1:] if len(" ".join(lines)) > CAPTION else lines)
    which = ": first case" if len(drawings) > 1 else ""
    title = f"What is compared{which}: {sheet.title}"
    deck.picture(title, sheet, f"Drawing to scale. {sheet.alternative}", [SET_UP, setup_words(result.study)])


def _want(deck: Deck, result: Result, name: str) -> None:
    """The figures of a want other than dips, its sentences in the notes; turns as a table too."""
    want = want_named(name)
    notes = written(result, want.findings(result)) or [f"No answer to {name}."]
    figures = want.plots(result, size="slide") if want.sized else want.plots(result)
    for stem, figure in dict(figures).items():
        if isinstance(figure, Sheet) and not stem.startswith("card"):  # the card is a page to print
            title = figure.title or stem.replace("_", " ").capitalize()
            deck.picture(title, in_lengths(figure, result.study.lengths), figure.alternative, notes)
    if name == "turns" and "turns" in result.frames:
        for labels, rows in parts(result.frames["turns"], other_columns(result)):
            which = "".join(f", {in_words(v)}" for v in labels.values())
            for i in range(0, len(rows), ROWS):
                some = turn_rows(rows.iloc[i : i + ROWS])
                deck.table("Best setting for each segment" + which, TURN_HEAD, some, notes)


def _plots(deck: Deck, result: Result) -> None:
    """Where the dips are and the SWR over each band as native charts, two bands a slide."""
    bands = [b for b in result.study.bands if any(r["band"] == b.name for r in result.rows("dips"))]
    for kind in ("dip", "swr") if result.study.count > 1 else ("swr",):
        for i in range(0, len(bands), 2):
            some = bands[i : i + 2]
            plots, title, caption = charts_of(result, kind, some)
            notes = [HOW_TO_READ[kind], *(line for b in some for line in notes_of_band(result, b.name, kind))]
            deck.charts(title, plots, caption, notes)


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
        notes = [TABLE]
        if len(shown) < len(dips):
            notes.append(f"The first {len(shown)} of {len(dips)} rows; all are in dips.csv.")
        deck.table(f"The numbers{count}", head, part, notes)
