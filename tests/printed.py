"""Everything that a result prints, and which of its numbers come from nowhere.

A number is accounted for if it stands in a finding's own words (test_one_truth traces these cell by cell), in the
set-up as it was typed, in a caution, or if it is a cell of the result's tables, as it is or in feet, to the digits that
are printed. With its unit printed beside it only cells of columns of that unit count.
"""

import io
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

import numpy as np
import pandas as pd
from matplotlib.text import Text
from PIL import Image
from pptx import Presentation
from pytest import approx

from tautwire.studies.commands import choose, fit, run, turns, why
from tautwire.studies.drawing.axes import shared_words
from tautwire.studies.drawing.style import Heading, Sheet
from tautwire.studies.reports.answers import big_numbers, findings, told
from tautwire.studies.reports.folder import summary
from tautwire.studies.reports.page import figures_of
from tautwire.studies.reports.slides import slides
from tautwire.studies.running.store import Store
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.findings import CARD_CAUTION, CONVENTIONS, DEFERENCE, caution_text, cautions_for
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import FOOT, in_words
from tautwire.studies.wants.turns.words import reel_words, turn_doubt

TABLES = {
    "turns": turns.tables, "choose": lambda r: [choose.choices_text(r)], "why": lambda r: [why.ranking_text(r)],
    "fit": lambda r: fit.values_text(r, {}),
}  # fmt: skip
"""want -> the tables that its command prints; of others those of run"""

CONSTANTS = (*CONVENTIONS, "1.75 m", "2450 \u03a9 in the middle", "> 99 %", "< 1 %", "more than 99 %", "less than 1 %")
"""what captions say of the way of drawing, and the ends of a chance"""
LENGTHS = ("_m", "estimate", "estimate_sd", "start", "prior_sd", "amount", "max_a_at")
UNITS: dict[str, tuple[float, tuple[str, ...]]] = {
    "MHz": (1.0, ("_mhz",)), "kHz": (1.0, ("_khz", "_khz_per_turn")), "dBi": (1.0, ("_dbi",)), "dB": (1.0, ("_db",)),
    "\u00b0": (1.0, ("_deg", "bearing", "estimate", "estimate_sd")), "\u03a9": (1.0, ("_ohm",)), "W": (1.0, ("_w",)),
    "V": (1.0, ("_v", "volts")), "A": (1.0, ("_a", "amps")), "%": (1.0, ("_percent", "share", "chance")),
    "m": (1.0, LENGTHS), "cm": (0.01, LENGTHS), "mm": (1e-3, (*LENGTHS, "_mm")), "ft": (FOOT, LENGTHS),
    "in": (FOOT / 12, LENGTHS),
}  # fmt: skip
"""unit -> what one of it is in that of the columns, and how their names end"""
_NUMBER = re.compile(rf"(?<![\w.])[+\u2212-]?(\d+(?:\.\d+)?)(?:\s?({'|'.join(UNITS)}))?(?!\w|\.\d)")
_FEET = re.compile(r"(\d+) ft (\d+) in")


DOT = io.BytesIO()
Image.new("L", (1, 1)).save(DOT, "png")


@contextmanager
def numbers_of_titles(result: Result) -> Iterator[list[str]]:
    """Collects the numbers, as they are written, in the titles of all sheets that are made meanwhile, if their cells
    give them; no sheet is painted, which takes most of the time."""
    right: list[str] = []
    header = Sheet.header

    def collect(sheet: Sheet, heading: Heading) -> None:
        header(sheet, heading)
        numbers = getattr(sheet.title, "numbers", ())
        right.extend(n.text(result.study.lengths) for n in numbers if n.again(result) == approx(n.value, rel=1e-9))

    with (
        patch.object(Sheet, "header", collect),
        patch.object(Sheet, "savefig", lambda sheet, held, **_: held.write(DOT.getvalue())),
    ):
        yield right


class Printed:
    """All that a result prints.

    texts: where -> its lines: terminal, summary, titles, captions, slides with their notes, card, gallery. sheets: its
    figures at print size. may: what its numbers may be.
    """

    def __init__(self, result: Result, store: Store) -> None:
        tables = TABLES.get(result.study.spec.want[0], run._tables)(result)
        page = summary(result, "tautwire run file")
        head, *rest = page.split("\n\n")
        with numbers_of_titles(result) as numbers:
            figures = figures_of(result, store)
            deck = slides(result, store)
        self.sheets = {stem: figure for stem, figure in figures.items() if isinstance(figure, Sheet)}
        cards = [sheet for stem, sheet in self.sheets.items() if stem.startswith("card")]
        self.texts = {
            "terminal": told(result, tables, everything=True).split("\n"),
            "summary": page.partition("## Made with")[0].replace("\\", "").split("\n"),
            "titles": [sheet.title for sheet in self.sheets.values()],
            "captions": [sheet.caption for sheet in self.sheets.values()],
            "slides": list(slide_lines(deck)),
            "card": [text.get_text() for sheet in cards for text in sheet.findobj(Text)],
            "gallery": [head.removeprefix("# "), *rest[:1]],
        }
        self.may = Accounted(result, numbers)

    def from_nowhere(self) -> list[str]:
        """Each number that comes from nowhere, with its line."""
        return [
            f"{where}: {number} in {line!r}"
            for where, lines in self.texts.items()
            for line in dict.fromkeys(lines)
            for number in self.may.unaccounted(line)
        ]

    def in_metres(self) -> list[str]:
        """Lines with a length in metres or centimetres that nobody typed so."""
        lines = (line for lines in self.texts.values() for line in dict.fromkeys(lines))
        return [line for line in lines if re.search(r"\d (m|cm)\b", self.may.without_phrases(line))]


def slide_lines(deck: bytes) -> Iterator[str]:
    """The words and the speaker notes of every slide."""
    for slide in Presentation(io.BytesIO(deck)).slides:
        for shape in slide.shapes:
            if shape.has_text_frame:
                yield from shape.text_frame.text.split("\n")
            if shape.has_table:
                yield from (cell.text for row in shape.table.rows for cell in row.cells)
        if slide.has_notes_slide:
            yield from slide.notes_slide.notes_text_frame.text.split("\n")


class Accounted:
    """What the numbers of a result's texts may be."""

    def __init__(self, result: Result, titles: Iterable[str] = ()) -> None:
        phrases = {p for p in (*self._phrases(result), *titles) if re.search(r"\d", p)}
        self.phrases = [
            re.compile(rf"(?<![\w.]){re.escape(p)}(?!\w)", re.IGNORECASE)
            for p in sorted(phrases, key=len, reverse=True)
            if re.search(r"[^\d.]", p)
        ]
        given = [float(p) for p in phrases if re.fullmatch(r"\d+(\.\d+)?", p)]
        self.cells: dict[str, np.ndarray] = {}
        for frame in result.frames.values():
            for column in frame if isinstance(frame, pd.DataFrame) else ():
                if pd.api.types.is_numeric_dtype(frame[column]) and frame[column].dtype != bool:
                    values = np.abs(frame[column].to_numpy(float))
                    kept = self.cells.get(column, np.array([]))
                    self.cells[column] = np.unique(np.concatenate([kept, values[np.isfinite(values)]]))
        self.cells["width_khz"] = np.array([(b.upper - b.lower) / 1e3 for b in result.study.bands])
        self.cells["edge_mhz"] = np.array([f / 1e6 for b in result.study.bands for f in (b.lower, b.upper)])
        hung = [case.setup().build().layout for case in result.study.cases()]
        self.cells["setup_m"] = np.array([x for w in hung for x in (w.length, max(p[2] for p in w.points))])
        counts = [len(frame) for frame in result.frames.values()]
        self.counts = np.array([*given, *range(1, 5), result.study.count, *counts], float)

    def _phrases(self, result: Result) -> Iterator[str]:
        study = result.study
        for finding in findings(result):
            whole = finding.words.text(study.lengths).rstrip(".")
            yield from (whole, *whole.split(". "))
        for finding in big_numbers(result, 99):
            yield finding.words.text(study.lengths)
            if finding.number is not None:
                yield finding.number.text(study.lengths)
        yield from (setup_words(study), shared_words(study), study.spec.question or "", study.spec.name)
        yield from (study.spec.place or "", caution_text(study.spec.want), DEFERENCE, CARD_CAUTION)
        yield from (c.words for c in cautions_for(study.spec.want))
        for axis in study.axes:
            yield from (axis.value_text(label) for label in axis.labels)
            yield from (in_words(label) for label in axis.labels)
        yield from (b.name for b in study.bands)
        yield from typed({"study": study.spec.model_dump(), **study.raw, **study.tables, **study.variants})
        for frame in result.frames.values():
            yield from {str(v) for c in frame for v in frame[c].unique() if isinstance(v, str)}
        if "reel" in study.raw:
            yield from (reel_words(study), turn_doubt(study))
        yield from CONSTANTS

    def without_phrases(self, line: str) -> str:
        """A line without what is accounted for as a whole."""
        for phrase in self.phrases:
            line = phrase.sub("_", line)
        return line

    def unaccounted(self, line: str) -> list[str]:
        """The numbers of a line that come from nowhere."""
        line = self.without_phrases(line)
        line = re.sub(r"^2\d{3}-\d\d-\d\d$", "", line)  # the card's date
        found = [m[0] for m in _FEET.finditer(line) if not self._is_cell(12 * int(m[1]) + int(m[2]), 0, "in")]
        each = _NUMBER.finditer(_FEET.sub("", line))
        return [*found, *(m[0] for m in each if not self._is_cell(float(m[1]), len(m[1].partition(".")[2]), m[2]))]

    def _is_cell(self, value: float, places: int, unit: str | None) -> bool:
        within = 0.5 * 10.0**-places * (1 + 1e-6) + 1e-9
        if unit == "in" and self._is_cell(value, places, None):  # "below 2 in every case"
            return True
        one, ends = UNITS[unit] if unit else (1.0, ("",))
        for column, values in self.cells.items():
            if column.endswith(ends) and len(values):
                share = 0.01 if unit == "%" and not column.endswith("percent") else one
                if np.abs(values / share - value).min() <= within:
                    return True
        return bool(unit is None and np.abs(self.counts - value).min() < 1e-9)


def typed(value: object) -> Iterator[str]:
    """Every text and number of a study's tables, as it was typed."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield str(key)
            yield from typed(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from typed(part)
    elif value is not None:
        yield str(value)
        yield str(value).replace(" deg", "\u00b0")
