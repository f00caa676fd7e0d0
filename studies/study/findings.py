"""What a question found, as data before it is words: numbers that come from cells of tables, and sentences of them.

A number is a function of cells, so that its value can be computed anew from the tables at any time. The text of a
sentence has no digit of its own: every figure in it is a Number, or a Name such as a band's. Units and rounding are
decided where a number is written, by its form, in the lengths that the study is written in.

A question's folder turns rows into findings; terminal, summary, page, titles, slides and card choose among them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING, Any, Literal

from tautwire.model.basics import swr_of
from tautwire.studies.study.units import FOOT, format_length

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result


# --- What a question found, as data before it is words.


Role = Literal["verdict", "answer", "sure", "next", "caution", "detail", "big"]
"""what a finding is for: the one sentence that decides; what else answers; how sure it is; what to do or measure next;
what it must not be read without; the rest; a single number to be read from afar"""

# end of a column's name -> what one of it is in SI; first match
UNITS = (
    ("_mhz", 1e6), ("_khz_per_turn", 1e3), ("_khz", 1e3), ("_percent", 0.01), ("_deg", math.pi / 180), ("_km", 1e3),
    ("_mm", 1e-3), ("_minutes", 60.0),
)  # fmt: skip


def si_factor(column: str) -> float:
    """What one of a column's unit is in SI.

    >>> si_factor("dip_mhz"), si_factor("dip_swr")
    (1000000.0, 1.0)
    """
    return next((factor for end, factor in UNITS if column.endswith(end)), 1.0)


@dataclass(frozen=True)
class Cell:
    """A cell of a result's table: its row counts from 0.

    Two tables are the study's own: "bands" has a row a band (by name): lower_hz, upper_hz; "setup" has a row a case:
    wire_m, the wire's whole length, and top_m, its highest point.
    """

    table: str
    row: int | str
    column: str


def _share(part: float, whole: float) -> float:
    return part / whole if whole else math.nan


def _beyond(value: float, low: float, high: float) -> float:
    """How far outside a range: positive above, negative below, 0 inside."""
    return value - high if value > high else value - low if value < low else 0.0


FUNCTIONS: dict[str, Callable[..., float]] = {
    "cell": lambda a: a,
    "difference": lambda a, b: a - b,
    "apart": lambda a, b: abs(a - b),
    "size": abs,
    "range": lambda *a: max(a) - min(a),
    "largest": lambda *a: max(a),
    "smallest": lambda *a: min(a),
    "sum": lambda *a: sum(a),
    "middle": lambda *a: median(a),
    "count": lambda *a: float(len(a)),
    "share": _share,
    "of the width": lambda a, b, low, high: _share(abs(a - b), high - low),
    "width": lambda low, high: high - low,
    "beyond": _beyond,
    "away": lambda value, low, high: abs(_beyond(value, low, high)),
    "decibels": lambda a, b: 10 * math.log10(max(a, 1e-12) / max(b, 1e-12)),
    "squared share": lambda a, b: _share(a, b) ** 2,
    "half": lambda a: a / 2,
    "through": lambda db: 10 ** (-db / 10),
    "true": lambda *a: float(sum(bool(x) for x in a)),
    "half apart": lambda a, b: abs(a - b) / 2,
    "mean": lambda *a: sum(a) / len(a),
    "pairs": lambda *a: len(a) / 2,
    "middle apart": lambda *a: median(abs(x - y) for x, y in zip(a[::2], a[1::2], strict=True)),
    "true share": lambda *a: _share(float(sum(bool(x) for x in a)), float(len(a))),
    "of the middle": lambda part, *dips: median(dips) / part,
    "in wire": lambda length, *dips: _share(max(dips) - min(dips), median(dips)) * length,
    "above the horizon": lambda angle: math.asin(math.sin(angle)),
    "least SWR of 2": lambda scatter: float(swr_of(max(1 / 3 - 2 * scatter, 0.0))),
    "most SWR of 2": lambda scatter: float(swr_of(1 / 3 + 2 * scatter)),
}
"""How a number is made of its cells, all in SI"""


@dataclass(frozen=True)
class Number:
    """A value in SI, a function (a name of FUNCTIONS) of cells, written in a form (a name of FORMS).

    times: a constant factor, such as a length of wire that a shift is held against.
    """

    value: float
    cells: tuple[Cell, ...]
    function: str = "cell"
    form: str = "plain"
    times: float = 1.0

    def text(self, lengths: str = "metric") -> str:
        """As it is written, with its unit. lengths: "metric" or "imperial"."""
        return written_as(self.value, self.form, lengths)

    def again(self, result: Result) -> float:
        """The value computed from the tables as they are."""
        return FUNCTIONS[self.function](*(value_of(result, cell) for cell in self.cells)) * self.times


def value_of(result: Result, cell: Cell) -> float:
    """The value of a cell, in SI. Raises LookupError if there is none."""
    if cell.table == "bands":
        band = next(b for b in result.study.bands if b.name == cell.row)
        return float({"lower_hz": band.lower, "upper_hz": band.upper}[cell.column])
    if cell.table == "setup":
        layout = result.study.cases()[int(cell.row)].setup().build().layout
        return float(layout.length if cell.column == "wire_m" else max(p[2] for p in layout.points))
    return float(result.frames.value(cell.table, int(cell.row), cell.column)) * si_factor(cell.column)


class Row(dict[str, Any]):
    """A row of a table that knows where it stands."""

    def __init__(self, values: Mapping[str, Any], table: str, index: int) -> None:
        super().__init__(values)
        self.table, self.index = table, index

    def cell(self, column: str) -> Cell:
        return Cell(self.table, self.index, column)

    def si(self, column: str) -> float:
        """The value in SI."""
        return float(self[column]) * si_factor(column)

    def number(self, column: str, form: str, function: str = "cell", times: float = 1.0) -> Number:
        """The cell, or "size" or "half" of it, as a number of that form."""
        return Number(FUNCTIONS[function](self.si(column)) * times, (self.cell(column),), function, form, times)


def table_of(result: Result, name: str) -> list[Row]:
    """The rows of a table; none if there is no such table."""
    return [Row(row, name, i) for i, row in enumerate(result.rows(name))]


def rows_of(result: Result, name: str, labels: Mapping[str, Any]) -> list[Row]:
    """The rows of a table that belong to a case. labels: column of an axis -> its value."""
    return [r for r in table_of(result, name) if all(str(r[c]) == str(value) for c, value in labels.items())]


def by_case(result: Result, name: str, columns: Sequence[str]) -> Iterator[tuple[dict[str, Any], list[Row]]]:
    """The labels and the rows of a table of each case that has some. columns: the axes that make the cases."""
    parts: dict[tuple[str, ...], list[Row]] = {}
    for row in table_of(result, name):
        parts.setdefault(tuple(str(row[c]) for c in columns), []).append(row)
    for rows in parts.values():
        yield {c: rows[0][c] for c in columns}, rows


def made_of(function: str, form: str, *parts: tuple[Row, str] | Cell, result: Result, times: float = 1.0) -> Number:
    """A number made of cells, each given as (row, column) or as a Cell."""
    cells = tuple(p if isinstance(p, Cell) else p[0].cell(p[1]) for p in parts)
    return Number(FUNCTIONS[function](*(value_of(result, c) for c in cells)) * times, cells, function, form, times)


def by_band(result: Result, rows: Iterable[Row]) -> dict[str, list[Row]]:
    """The rows of each band, in the study's order of bands; without bands that have none."""
    rows = list(rows)
    return {b.name: mine for b in result.study.bands if (mine := [r for r in rows if r["band"] == b.name])}


def edges(name: str) -> tuple[Cell, Cell]:
    """The cells of a band's edges."""
    return Cell("bands", name, "lower_hz"), Cell("bands", name, "upper_hz")


# ---------------------------------------------------------------- how numbers are written


def minus(text: str) -> str:
    """With a true minus sign."""
    return text.replace("-", "\u2212")


def _decimals(digits: int, unit: str = "", factor: float = 1.0, sign: str = "") -> Callable[[float, str], str]:
    def write(value: float, lengths: str) -> str:
        # adding 0.0 writes -0.0 as 0
        return minus(f"{round(value * factor, digits) + 0.0:{sign}.{digits}f}") + unit

    return write


def two_digits(value: float) -> str:
    """Two digits: 0.12, 3.4, 87, 1200."""
    if value == 0 or abs(value) >= 10:
        return f"{0.0 if value == 0 else round(value, 1 - math.floor(math.log10(abs(value)))):.0f}"
    return f"{value:.2g}"


def _two(unit: str) -> Callable[[float, str], str]:
    return lambda value, lengths: minus(two_digits(value)) + unit


def _chance(value: float, lengths: str) -> str:
    """Never certain: it rests on samples."""
    if value > 0.99:
        return "more than 99 %"
    return "less than 1 %" if value < 0.01 else f"{100 * value:.0f} %"


COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def _bearing(value: float, lengths: str) -> str:
    degrees = math.degrees(value) % 360
    return f"{degrees:.0f}\u00b0 ({COMPASS[round(degrees / 45) % 8]})"


def _distance(value: float, lengths: str) -> str:
    """A stay-away distance: rounded up, and never to nothing."""
    if lengths == "imperial":
        return f"{max(math.ceil(value / FOOT - 1e-9), 1)} ft"
    return f"{max(math.ceil(value * 10 - 1e-9) / 10, 0.1):.1f} m"


def _both_distances(value: float, lengths: str) -> str:
    """The same in the study's unit, with the other one in brackets: whoever stands there may think in either."""
    first, second = ("imperial", "metric") if lengths == "imperial" else ("metric", "imperial")
    return f"{_distance(value, first)} ({_distance(value, second)})"


def _two_digits_down(value: float) -> str:
    """Two digits, never more than the value: 8.7 of 8.79, 120 of 129."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1) if value > 0 else 1.0
    return f"{math.floor(value / step + 1e-9) * step:.{0 if step >= 1 else round(-math.log10(step))}f}"


PARTS = ("", "", "half", "a third", "a quarter", "a fifth", "a sixth", "a seventh", "an eighth", "a ninth", "a tenth",
         "an eleventh", "a twelfth")  # fmt: skip


def part_of(share: float, lengths: str = "metric") -> str:
    """A share in words, before what it is a share of.

    >>> [part_of(x) for x in (0.26, 0.8, 1.0, 2.31, 0.003)]
    ['a quarter of', '80 % of', 'as much as', '2.3 times', 'less than a hundredth of']
    """
    if share >= 1.05:
        return f"{share:.1f} times"
    if share >= 0.95:
        return "as much as"
    n = round(1 / share) if share > 0 else 0
    if 2 <= n < len(PARTS) and abs(1 / share - n) < 0.3:
        return f"{PARTS[n]} of"
    return f"{100 * share:.0f} % of" if share >= 0.01 else "less than a hundredth of"


def two_digit_length(value: float, lengths: str) -> str:
    """Two digits in the unit that suits: "5.1 mm", "2.4 cm", "0.79 in".

    >>> two_digit_length(0.0051, "metric"), two_digit_length(0.02, "imperial")
    ('5.1 mm', '0.79 in')
    """
    if lengths == "imperial":
        return f"{two_digits(value / FOOT)} ft" if value >= FOOT else f"{two_digits(12 * value / FOOT)} in"
    unit, size = next(((u, s) for u, s in (("m", 1.0), ("cm", 0.01)) if abs(value) >= s), ("mm", 1e-3))
    return f"{two_digits(value / size)} {unit}"


FORMS: dict[str, Callable[[float, str], str]] = {
    "frequency": _decimals(3, " MHz", 1e-6),
    "MHz": _decimals(3, "", 1e-6),  # where the unit follows later
    "kHz": _decimals(0, "", 1e-3),
    "whole": _decimals(0),
    "hundredths": _decimals(2),
    "shift": _decimals(0, " kHz", 1e-3),
    "signed shift": _decimals(0, " kHz", 1e-3, "+"),
    "shift per turn": _decimals(0, " kHz a turn", 1e-3, "+"),
    "two-digit shift": lambda value, lengths: f"{float(f'{value * 1e-3:.2g}'):.0f} kHz",
    "SWR": _decimals(2),
    "rough SWR": _decimals(1),
    "dBi": _decimals(1, " dBi"),
    "whole dBi": _decimals(0, " dBi"),
    "dB": _decimals(1, " dB"),
    "fine dB": _decimals(2, " dB"),
    "signed dB": _decimals(1, " dB", 1.0, "+"),
    "length": lambda value, lengths: format_length(value, lengths),
    "distance": _distance,
    "watts": _two(" W"),
    "power": lambda value, lengths: f"{value:g} W",
    "volts": _two(" V"),
    "amps": _decimals(2, " A"),
    "teslas": _decimals(1, " mT", 1e3),
    "kelvins": _decimals(0, " K"),
    "minutes": _decimals(0, " min", 1 / 60),
    "ohms": _decimals(0, " \u03a9"),
    "kilohms": _decimals(1, " k\u03a9", 1e-3),
    "percent": _decimals(0, " %", 100),
    "chance": _chance,
    "angle": _decimals(0, "\u00b0", 180 / math.pi),
    "bearing": _bearing,
    "count": _decimals(0),
    "turns": lambda value, lengths: f"{value:g}",
    "times": _decimals(1),
    "part": part_of,
    "plain": lambda value, lengths: f"{value:.4g}",
    "both distances": _both_distances,
    "ground distance": lambda v, lengths: (
        f"{v / (5280 * FOOT):.0f} mi" if lengths == "imperial" else f"{v / 1e3:.0f} km"
    ),
    "power limit": lambda value, lengths: f"{_two_digits_down(value)} W",
    "fine percent": _decimals(1, " %", 100),
    "whole dB": _decimals(0, " dB"),
    "thousandths": _decimals(3),
    "ten-thousandths": _decimals(4),
    "signed hundredths": _decimals(2, sign="+"),
    "two digits": _two(""),
    "fine length": lambda value, lengths: format_length(value, lengths, 3 if lengths == "metric" else 1),
    "two-digit length": two_digit_length,
    **{f"{n} decimals": _decimals(n) for n in range(8)},
    "few degrees": lambda v, lengths: f"{math.degrees(v):.{0 if math.degrees(v) >= 2.95 else 1}f}\u00b0",
    "picofarads": _decimals(1, " pF", 1e12),
    "tenths of turns": lambda v, lengths: f"{round(v, 1):g} turn{'' if round(v, 1) == 1 else 's'}",
}


def written_as(value: float, form: str, lengths: str = "metric") -> str:
    """A value in SI in a form; "-" for NaN.

    >>> written_as(14.0625e6, "frequency"), written_as(-36e3, "signed shift")
    ('14.062 MHz', '−36 kHz')
    """
    return "-" if math.isnan(value) else FORMS[form](value, lengths)


# ---------------------------------------------------------------- sentences


@dataclass(frozen=True)
class Name:
    """Words that may have digits though they are no finding: what they are is said by `kind`, and tests hold it to it.

    kind: "band", "case" (words of a case's place), "study" (a value of the study as it was typed), "convention" (a name
    of CONVENTIONS), "text" (words of a table's cell).
    """

    words: str
    kind: str

    def text(self, lengths: str = "metric") -> str:
        """As it is."""
        return self.words


CONVENTIONS = ("68 %", "95 %", "2:1", "10 cm", "4 in", "1 kHz", "0.5 dB", "1 dB", "15\u00b0", "110 K", "10 dB", "2")
"""levels that sentences are held against; written as they are"""


def convention(words: str) -> Name:
    """One of CONVENTIONS."""
    if words not in CONVENTIONS:
        raise ValueError(f"{words!r} is not in CONVENTIONS")
    return Name(words, "convention")


def band_name(name: str) -> Name:
    return Name(name, "band")


def case_name(result: Result, row: Mapping[str, Any]) -> Name:
    """The place of a row's case on the axes, in words; empty for a study of one case."""
    return Name(result.study.words_of(dict(row)), "case")


def with_case(result: Result, row: Mapping[str, Any], before: str = " with ", without: str = "") -> Words:
    """ " with slope 30°"; empty for a study of one case. without: key of an axis that is said elsewhere."""
    skipped = {axis.column for axis in result.study.axes if axis.path == without}
    case = case_name(result, {column: value for column, value in row.items() if column not in skipped})
    return say("{before}{case}", before=before, case=case) if case.words else NOTHING


def cell_words(row: Mapping[str, Any], column: str) -> Name:
    """The text of a cell, such as a warning."""
    return Name(str(row[column]), "text")


def capitalised(sentence: str) -> str:
    """With a capital letter first, unless it starts with a key of a file.

    >>> capitalised("steep sloper sends more"), capitalised("antenna.sag: fitted")
    ('Steep sloper sends more', 'antenna.sag: fitted')
    """
    key = re.match(r"\w+[._]\w", sentence)
    return sentence if key else sentence[:1].upper() + sentence[1:]


@dataclass(frozen=True)
class Words:
    """Text in parts; no digit but in its numbers and names. Made by `say`."""

    parts: tuple[str | Number | Name, ...]

    def text(self, lengths: str = "metric") -> str:
        """As people read it. lengths: "metric" or "imperial"."""
        return "".join(p if isinstance(p, str) else p.text(lengths) for p in self.parts)

    @property
    def numbers(self) -> tuple[Number, ...]:
        return tuple(p for p in self.parts if isinstance(p, Number))

    def title(self, lengths: str = "metric") -> Title:
        """As the title of a figure: no full stop."""
        return Title(capitalised(self.text(lengths).rstrip(".")), self.numbers)

    def __bool__(self) -> bool:
        return bool(self.parts)


class Title(str):
    """A title that remembers its numbers, so that a figure can refuse one whose numbers it does not draw."""

    numbers: tuple[Number, ...]

    def __new__(cls, text: str, numbers: Iterable[Number] = ()) -> Title:
        made = super().__new__(cls, text)
        made.numbers = tuple(numbers)
        return made


class Drawn(set[Cell]):
    """The cells that a figure draws."""

    def rows(self, result: Result, table: str, column: str) -> list[Row]:
        """The rows of a table whose cell in that column is drawn."""
        numbers = sorted(int(c.row) for c in self if c.table == table and c.column == column)
        rows = result.rows(table) if numbers else []
        return [Row(rows[i], table, i) for i in numbers]

    def shows(self, title: str) -> bool:
        """Whether all numbers of a title are drawn; band edges count as drawn."""
        cells = (c for number in getattr(title, "numbers", ()) for c in number.cells)
        return all(c.table == "bands" or c in self for c in cells)


_PLACE = re.compile(r"\{(\w+)\}")
Part = Number | Name | Words | str


def say(text: str, **parts: Part) -> Words:
    """Words of a text with {places} for numbers, names and other words.

    Raises ValueError for a digit in the text, or in a part that is plain text.

    >>> say("{band}: the dip is at {dip}", band=band_name("20 m"), dip=Number(14.1e6, (), form="frequency")).text()
    '20 m: the dip is at 14.100 MHz'
    """
    out: list[str | Number | Name] = []
    for i, piece in enumerate(_PLACE.split(text)):
        part: Part = parts[piece] if i % 2 else piece
        if isinstance(part, str) and re.search(r"\d", part):
            raise ValueError(f"a digit in {part!r}: numbers come from cells, names are a Name")
        out += part.parts if isinstance(part, Words) else [part]
    return Words(tuple(p for p in out if p != ""))


NOTHING = Words(())


def joined(parts: Sequence[Part], between: str = ", ", last: str = " and ") -> Words:
    """ "a, b and c"."""
    out: list[str | Number | Name] = []
    for i, part in enumerate(parts):
        if i:
            out.append(last if i == len(parts) - 1 else between)
        out += part.parts if isinstance(part, Words) else [part]
    return Words(tuple(out))


@dataclass(frozen=True)
class Finding:
    """One thing that a question found.

    words: the sentence. role: what it is for. kind: what it says, for those who choose ("dip moves"). about: band, case
    or segment. weight: how much it matters among those of its role. number: of role "big", what stands large above
    the words.
    """

    words: Words
    role: Role = "answer"
    kind: str = ""
    about: Mapping[str, Any] = field(default_factory=dict)
    weight: float = 0.0
    number: Number | Name | Words | None = None


def big(number: Number | Name | Words, words: Words) -> Finding:
    """A number to be read from afar, and what it is."""
    return Finding(words, "big", number=number)


def of_role(findings: Iterable[Finding], *roles: Role) -> Iterator[Finding]:
    """Those of these roles, in their order."""
    return (f for f in findings if f.role in roles)


# --- Cautions, each short and shown once, where it matters. Local rules and licensed practice come before any of
# them.


@dataclass(frozen=True)
class Caution:
    """name: of the danger. words: one sentence or two. wants: the kinds of study that show it; () for all."""

    name: str
    words: str
    wants: tuple[str, ...] = ()


# Common practice, no source.
CAUTIONS = (
    Caution("power lines", "Keep wire and throw line well away from power lines, at least twice the wire's length."),
    Caution("throw lines", "Throw lines with nobody below or behind; weights swing back, loaded branches fall."),
    Caution("lightning", "Take the antenna down, and stay away from it, when thunder can be heard."),
    Caution("trip and strangle", "Mark wire and cords that people, riders or animals could run into."),
    Caution(
        "high voltage",
        "While transmitting, the wire, its far end, the transformer and at times the coax shield carry voltages that "
        "burn; keep people, animals and dry grass off them.",
    ),
    Caution(
        "RF exposure",
        "Distances are a calculation over flat bare ground with nobody in the field, of the set-up as described; they "
        "do not cover touch. Check them against the rules in force where you are, and add room.",
        ("exposure",),
    ),
    Caution("heat", "Cores and chokes can be hot enough to burn or crack; switch off before touching.", ("stress",)),
)
DEFERENCE = "Local rules and licensed practice come first."


def cautions_for(wants: Iterable[str]) -> list[Caution]:
    """The cautions that a study with these wants shows, in order, each once."""
    asked = set(wants)
    return [c for c in CAUTIONS if not c.wants or asked & set(c.wants)]


def caution_text(wants: Iterable[str]) -> str:
    """Those cautions as one paragraph."""
    return " ".join(["Before you put wire up or transmit:", *(c.words for c in cautions_for(wants)), DEFERENCE])


# for a card that fits a pocket
CARD_CAUTION = (
    "Keep clear of power lines; throw lines with nobody below; take it down before thunder. While you transmit the "
    f"wire's end carries voltages that burn: keep people off. {DEFERENCE}"
)
