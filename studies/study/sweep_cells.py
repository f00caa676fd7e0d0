"""Tables of measured points as any program saves them, made into headings and cells: encoding, separator, decimal mark.

Nothing is guessed silently: `Cells.said` holds, in words, whatever was not plain.
"""

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path

from tautwire.model.errors import InputError

COMMENTS = ("#", "!", "%", "//", "*")
SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars", ",": "commas", " ": "spaces"}
_GROUPED = r"\d{1,3}(?:[ '\u00a0\u202f\u2009]\d{3})+"
_NUMBER = re.compile(rf"([+-]?(?:{_GROUPED}|\d[\d.,]*|[.,]\d+)(?:[.,]\d*)?(?:[eE][+-]?\d+)?)\s*([a-zA-ZΩ°%µ]*|:\s*1)")
_PART = r"\d[\d.,]*(?:[eE][+-]?\d+)?"
_COMPLEX = re.compile(
    rf"\(?\s*([+-]?{_PART})\s*([+-])\s*(?:[ij]\s*\*?\s*({_PART})|({_PART})\s*\*?\s*[ij])\s*(?:ohms?|Ω)?\s*\)?"
)
"""Real and imaginary part in one cell: 19.9-j22.5, (19.9 - 22.5j)."""
MOST_BYTES = 20_000_000
MOST_LINES = 100_000
MOST_CHARACTERS = 100_000
"""In a line: csv's reader takes cells of up to 131,072 characters."""


@dataclass(frozen=True)
class Row:
    """A line of the table: its number in the file, from 1, and its cells."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Cells:
    """The rows of a file, without comments. comma: whether the comma is the decimal mark. said: how it was read."""

    rows: tuple[Row, ...]
    comma: bool
    said: tuple[str, ...]

    def number(self, cell: str) -> tuple[float, str] | None:
        """The number in a cell and the unit after it; None if it is something else."""
        match = _NUMBER.fullmatch(cell.strip().strip('"').replace("\u2212", "-"))
        if not match:
            return None
        digits = re.sub(r"[ '\u00a0\u202f\u2009]", "", match[1])
        group, mark = (".", ",") if self.comma else (",", ".")
        whole, _, rest = digits.partition(mark)
        if group in rest or group in whole and not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{group}\d{{3}})+", whole):
            return None
        try:
            value = float(digits.replace(group, "").replace(mark, "."))
        except ValueError:
            return None
        return (value, match[2].replace(" ", "").removeprefix(":1")) if math.isfinite(value) else None


def read_cells(path: Path) -> Cells:
    """The cells of a text file. Raises InputError if it is no text or has no lines."""
    lines = list(enumerate(file_text(path).splitlines(), 1))
    if len(lines) > MOST_LINES:
        raise InputError("sweep", path.name, f"at most {MOST_LINES:,} lines; this one has {len(lines):,}")
    said: list[str] = []
    separator = ""
    kept: list[tuple[int, str]] = []
    skipped = 0
    for number, line in lines:
        bare = line.strip().strip("\ufeff")
        if match := re.fullmatch(r'"?sep=(.)"?', bare, re.IGNORECASE):
            separator = match[1]
        elif bare.lstrip('"').startswith(COMMENTS):
            skipped += 1
        elif len(bare) > MOST_CHARACTERS:
            raise InputError("sweep", f"{path.name}, line {number}", f"lines of at most {MOST_CHARACTERS:,} characters")
        elif bare.strip(";, \t"):
            kept.append((number, line.rstrip("\r\n")))
    if not kept:
        raise InputError("sweep", path.name, "a file with measured points; this one has none")
    separator = separator or max(SEPARATORS, key=lambda s: _fit(kept, s))
    rows = tuple(Row(n, _split(line, separator)) for n, line in kept)
    comma = _decimal_comma([cell for row in rows for cell in row.cells])
    if separator != ",":
        said.append(f"separated by {SEPARATORS.get(separator, separator)}")
    if comma:
        said.append("decimal commas")
    if skipped:
        said.append(f"{skipped} comment line{'s' * (skipped > 1)} skipped")
    return Cells(rows, comma, tuple(said))


def complex_parts(cell: str) -> tuple[str, str] | None:
    """The texts of a cell's real and imaginary part; None if it is no complex number.

    >>> complex_parts("19.9-j22.5"), complex_parts("(3 + 4i)"), complex_parts("14.1")
    (('19.9', '-22.5'), ('3', '+4'), None)
    """
    match = _COMPLEX.fullmatch(cell.strip().strip('"').replace("\u2212", "-"))
    return (match[1], match[2] + (match[3] or match[4])) if match else None


def file_text(path: Path) -> str:
    """The text of a file in UTF-8, UTF-16 with its mark, or Windows' Latin. Raises InputError if it is no text."""
    allowed = "a text file (UTF-8, UTF-16 or Latin-1)"
    try:
        if path.stat().st_size > MOST_BYTES:
            raise InputError("sweep", path.name, f"a file of at most {MOST_BYTES // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise InputError("sweep", path.name, f"a readable file ({error.strerror})") from None
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    if b"\0" in data and not wide:
        raise InputError("sweep", path.name, allowed)
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise InputError("sweep", path.name, allowed)


def _split(line: str, separator: str) -> tuple[str, ...]:
    given = line.split() if separator == " " else next(csv.reader([line], delimiter=separator), [])
    cells = [cell.strip() for cell in given]
    if len(cells) > 2 and separator != " " and not cells[-1]:
        cells.pop()  # a separator at the end of each line
    return tuple(cells)


def _fit(lines: list[tuple[int, str]], separator: str) -> int:
    """How well a separator splits the lines into numbers."""
    score = 0
    for _, line in lines[:200]:
        cells = _split(line, separator)
        if len(cells) > 1:
            numbers = sum(bool(_NUMBER.fullmatch(c) or complex_parts(c)) for c in cells)
            score += numbers - 3 * sum(bool(re.search(r"\d", c)) for c in cells) + 3 * numbers
    return score


def _decimal_comma(cells: list[str]) -> bool:
    """Whether commas in the numbers are decimal marks, and not thousands."""
    parts = [part for c in cells for part in (complex_parts(c) or (c,))]
    numbers = [c for c in parts if _NUMBER.fullmatch(c) and ("," in c or "." in c)]
    several = [c for c in numbers if c.count(",") > 1 or c.count(".") > 1]
    if len(several) > 0.1 * len(numbers):  # fewer are lines that were hurt
        return any(c.count(".") > 1 for c in several)
    both = [c for c in numbers if "," in c and "." in c]
    if both:
        return all(c.rindex(",") > c.rindex(".") for c in both)
    with_comma = [c for c in numbers if "," in c]
    return bool(with_comma) and not any("." in c for c in numbers)
