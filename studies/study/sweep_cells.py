"""Tables of measured points as any program saves them: headings and cells, and what the columns mean.

Tables of measured points as any program saves them, made into headings and cells: encoding, separator, decimal mark.

Nothing is guessed silently: `Cells.said` holds, in words, whatever was not plain.

What the columns of a table of measured points mean, and the reflection coefficient or SWR they give.

Headings are matched in the words of the trade, whatever their case, order and brackets. Columns without headings are
taken only where one reading fits. What was not plain is said in words.
"""

import csv
import itertools
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tautwire.model.basics import Complex, Real, reflection, swr_of
from tautwire.model.errors import InputError

# --- Tables of measured points as any program saves them, made into headings and cells.


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


# --- What the columns of a table of measured points mean.


FREQUENCY_UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
UNITS = {*FREQUENCY_UNITS, "db", "deg", "degree", "degrees", "rad", "ohm", "ohms", "kohm", "1", "percent"}
KNOWN_AS = "frequency with R and X, |Z| and phase, S11 (dB and degrees, or re and im), return loss, or SWR"
REFERENCES = (50.0, 75.0, 25.0, 100.0, 200.0, 300.0, 450.0, 600.0)  # ohm, tried where an SWR column does not fit 50
AGREES = 0.03  # of an SWR column with the rest of its row, a fraction

_MEANINGS = {
    "f": "f|freq|frequency|frequencies",
    "swr": "swr|vswr|standing wave ratio|swr ratio|vswr ratio",
    "loss": "rl|return loss|returnloss",
    "r": "r|rs|resistance|series r|r series|re z|z re|real z|z real|zre|z r|rz",
    "x": "x|xs|reactance|series x|x series|im z|z im|imag z|z imag|zim|z x|xz",
    "abs_x": "mag x|abs x|x unsigned|x without sign",
    "rp": "rp|parallel r|r parallel",
    "xp": "xp|parallel x|x parallel",
    "z": "z|impedance|mag z|z mag|abs z|z abs|modulus z|impedance magnitude|magnitude z|z magnitude|zmag",
    "z_phase": "theta|z phase|phase z|angle z|z angle|ang z|arg z|impedance phase|phase impedance|"
    "impedance angle|z ang",
    "phase": "phase|angle|ang|phase angle",
    "s11": "s11|gamma|rho|reflection|reflection coefficient|mag s11|s11 mag|s11 magnitude|magnitude s11|abs s11|"
    "gamma mag|mag gamma|log mag|logmag|s11 logmag|s11 log mag|reflection magnitude|mag rho|lin mag|s11 lin mag",
    "s11_phase": "s11 phase|phase s11|s11 angle|angle s11|s11 ang|ang s11|arg s11|gamma phase|phase gamma|angle gamma|"
    "gamma angle",
    "s11_re": "s11 re|re s11|s11 real|real s11|gamma re|re gamma|s11re",
    "s11_im": "s11 im|im s11|s11 imag|imag s11|gamma im|im gamma|s11im",
}
_BY_WORDS = {words: name for name, spellings in _MEANINGS.items() for words in spellings.split("|")}


@dataclass(frozen=True)
class Heading:
    """meaning: a key of _MEANINGS. unit: in lower case, or "". label: what else it says, such as a place."""

    meaning: str
    unit: str
    label: str
    text: str


def heading(text: str) -> Heading | None:
    """What a heading means; None if it is none of the known."""
    plain = text.lower().replace("ω", "ohm").replace("Ω".lower(), "ohm").replace("°", "deg")
    plain = re.sub(r"[∠θφϕ]", " phase ", plain)
    plain = (
        re.sub(r"\|([^|]+)\|", r" mag \1 ", plain)
        .replace("γ", " gamma ")
        .replace("ρ", " rho ")
        .replace("%", " percent ")
    )
    words = re.findall(r"[a-z]+\d*|\d+", plain.replace("s_11", "s11").replace("s(1,1)", "s11").replace("s 11", "s11"))
    unit = next((w for w in words if w in UNITS and (len(words) > 1 or w in FREQUENCY_UNITS)), "")
    rest = [w for w in words if w not in UNITS]
    if not rest and unit in FREQUENCY_UNITS:
        return Heading("f", unit, "", text)
    name = _BY_WORDS.get(" ".join(rest))
    if name is None and rest and rest[0] in ("swr", "vswr"):
        return Heading("swr", "", " ".join([*rest[1:], *(w for w in words if w.isdigit() and w != "1")]), text)
    if name is None:
        return None
    if name == "s11" and unit in ("deg", "degree", "degrees", "rad"):
        name = "s11_phase"
    if name == "z" and unit in ("deg", "degree", "degrees", "rad"):
        name = "z_phase"
    if name == "f" and unit and unit not in FREQUENCY_UNITS:
        return None
    label = " ".join(w for w in words if w.isdigit() and w != "1") if name == "swr" else ""
    return Heading(name, unit, label, text)


@dataclass(frozen=True)
class Reading:
    """Values of one sweep: gamma against z0, or SWR alone. used: the columns it came from, in words; said: remarks."""

    f_hz: Real
    gamma: Complex | None
    swr: Real | None
    z0: float
    used: str
    said: tuple[str, ...]
    label: str = ""


def frequencies(values: Real, unit: str, where: str) -> tuple[Real, str]:
    """Frequencies in Hz, and a remark where the unit had to be found from their size. Raises InputError."""
    if unit:
        return values * FREQUENCY_UNITS[unit], ""
    for name, scale in (("MHz", 1e6), ("Hz", 1.0), ("kHz", 1e3)):
        if np.all((values * scale >= 1e6) & (values * scale <= 1e8)):
            return values * scale, f"frequencies without a unit taken as {name}"
    allowed = "a unit in the heading, such as Frequency (MHz); without one they must lie within 1 to 100 MHz"
    raise InputError(f"{where}: frequency", f"{values[0]:g}", allowed)


Columns = dict[str, Real]
Maker = Callable[[Columns, float], Complex]


def _of_parallel(c: Columns, z0: float) -> Complex:
    with np.errstate(divide="ignore", invalid="ignore"):
        return reflection(1 / (1 / c["rp"] + 1 / (1j * c["xp"])), z0)


def _polar(size: Real, degrees: Real) -> Complex:
    return np.asarray(size * np.exp(1j * np.radians(degrees)), dtype=complex)


# what gives a complex reflection coefficient, the best first; the SWR of columns without sign needs no sign
WAYS: tuple[tuple[tuple[str, ...], str, Maker], ...] = (
    (("r", "x"), "R and X", lambda c, z0: reflection(c["r"] + 1j * c["x"], z0)),
    (("s11_re", "s11_im"), "S11 (re, im)", lambda c, z0: c["s11_re"] + 1j * c["s11_im"]),
    (("z", "z_phase"), "|Z| and phase", lambda c, z0: reflection(_polar(c["z"], c["z_phase"]), z0)),
    (("s11", "s11_phase"), "S11 and phase", lambda c, z0: _polar(c["s11"], c["s11_phase"])),
    (("loss", "s11_phase"), "return loss and phase", lambda c, z0: _polar(c["loss"], c["s11_phase"])),
    (("rp", "xp"), "parallel R and X", _of_parallel),
    (("r", "abs_x"), "R and |X|", lambda c, z0: reflection(c["r"] + 1j * np.abs(c["abs_x"]), z0)),
    (
        ("r", "z"),
        "R and |Z|",
        lambda c, z0: reflection(c["r"] + 1j * np.sqrt(np.maximum(c["z"] ** 2 - c["r"] ** 2, 0)), z0),
    ),
)
UNSIGNED = ("R and |X|", "R and |Z|")
SIZES = (("loss", "return loss"), ("s11", "the size of S11"))


def reading(columns: Columns, heads: dict[str, Heading], f_hz: Real, lines: list[int], where: str) -> Reading:
    """What the columns (meaning -> values) give. Raises InputError where they contradict each other."""
    c = {name: _scaled(name, values, heads[name], where) for name, values in columns.items()}
    said: list[str] = []
    _place_phase(c, where)
    for names, words, make in WAYS:
        if not set(names) <= set(c):
            continue
        z0, remark = _reference(c, lambda z0, make=make: make(c, z0), lines, where)  # type: ignore[misc]
        said += [remark] if remark else []
        gamma = make(c, z0)
        if not np.all(np.isfinite(gamma)):
            at = int(np.flatnonzero(~np.isfinite(gamma))[0])
            raise InputError(f"{where}: line {lines[at]}", "gamma infinite", "a passive impedance")
        if words in UNSIGNED or _turns_at_zero(np.imag(gamma)):
            said.append(
                f"{words.split(' and ')[-1] if words in UNSIGNED else 'X or phase'} has no sign, so only SWR is used"
            )
            return Reading(f_hz, None, _swr(np.abs(gamma), where, lines), z0, f"{words} as SWR", tuple(said))
        if np.all(np.imag(gamma) >= 0) and np.any(np.imag(gamma) > 0):
            said.append("never below zero, taken as signed (write |X| as heading if it has no sign)")
        return Reading(f_hz, gamma, None, z0, words, tuple(said))
    if "swr" in c:
        return Reading(f_hz, None, c["swr"], 50.0, "SWR alone", tuple(said))
    for name, words in SIZES:
        if name in c:
            return Reading(f_hz, None, _swr(c[name], where, lines), 50.0, f"{words} as SWR", tuple(said))
    raise InputError(f"{where}: columns", ", ".join(h.text for h in heads.values()), KNOWN_AS)


def _scaled(name: str, values: Real, head: Heading, where: str) -> Real:
    """Ohms, degrees, or a plain size of the reflection coefficient."""
    if head.unit == "kohm":
        return values * 1e3
    if name.endswith("phase"):
        return np.degrees(values) if head.unit == "rad" else values
    if name == "loss" or name == "s11" and (head.unit == "db" or np.all(values <= 0) and np.any(values < -1.02)):
        if np.any(values > 0.2) and np.any(values < -0.2):
            raise InputError(
                f"{where}: {head.text}", f"{values.min():g} to {values.max():g} dB", "one sign in all rows"
            )
        if name == "s11" and np.any(values > 0.2):
            raise InputError(
                f"{where}: {head.text}", f"{values.max():g} dB", "S11 in dB at or below 0 (or 'return loss')"
            )
        return 10 ** (-np.abs(values) / 20)
    return values


def _place_phase(c: Columns, where: str) -> None:
    """Moves a bare "phase" to what it belongs to."""
    if "phase" not in c:
        return
    of_s11 = "s11" in c or "loss" in c
    if "z" in c and of_s11:
        size = c["s11"] if "s11" in c else c["loss"]
        of_s11 = _misfit(np.abs(reflection(_polar(c["z"], c["phase"]), 50.0)), size) > 0.03
    if not of_s11 and "z" not in c:
        return
    c["s11_phase" if of_s11 else "z_phase"] = c.pop("phase")


def _misfit(a: Real, b: Real) -> float:
    return float(np.median(np.abs(a - b)))


def _reference(c: Columns, gamma: Callable[[float], Complex], lines: list[int], where: str) -> tuple[float, str]:
    """The reference impedance with which an SWR column agrees with the rest; 50 ohm if there is none."""
    if "swr" not in c:
        return 50.0, ""
    given = c["swr"]
    for z0 in REFERENCES:
        if _agrees(np.abs(gamma(z0)), given):
            return z0, "" if z0 == 50 else f"the SWR column is for {z0:g} ohm"
    size = np.minimum(np.abs(gamma(50.0)), 0.999)
    seen = swr_of(size)
    at = int(np.argmax(np.abs(np.log(np.maximum(given, 1) / seen))))
    allowed = f"columns that agree: the rest of the row gives SWR {seen[at]:.3g}"
    raise InputError(f"{where}: line {lines[at]}", f"SWR {given[at]:g}", allowed)


def _agrees(size: Real, swr: Real) -> bool:
    inside = np.isfinite(size) & (size < 0.95)
    if not inside.any():
        return bool(np.median(swr) > 10)
    seen = swr_of(size[inside])
    return bool(np.quantile(np.abs(seen - swr[inside]) / (AGREES * seen + 0.06), 0.9) <= 1)


def _swr(size: Real, where: str, lines: list[int]) -> Real:
    if np.any(~(size <= 1.02)):
        at = int(np.flatnonzero(~(size <= 1.02))[0])
        raise InputError(f"{where}: line {lines[at]}", f"|gamma| {size[at]:g}", "a reflection coefficient up to 1.02")
    return swr_of(size)


def _turns_at_zero(y: Real) -> bool:
    """Whether values that are never negative bounce off zero, as a quantity does that has lost its sign."""
    if np.any(y < 0) or len(y) < 6 or not np.any(y > 0):
        return False
    for i in range(2, len(y) - 3):
        if not (y[i] <= y[i - 1] and y[i] <= y[i + 1] and y[i] < 0.2 * y.max()):
            continue
        window = y[max(i - 2, 0) : i + 4]
        bends = [float(np.sum(np.diff(_flipped(window, k), 2) ** 2)) for k in (0, 2, 3)]
        if min(bends[1:]) < 0.25 * bends[0]:
            return True
    return False


def _flipped(y: Real, at: int) -> Real:
    return y if at == 0 else np.concatenate([y[:at], -y[at:]])


def without_headings(table: Real, where: str) -> dict[str, Heading]:
    """Column number (as text) order for a table without headings: meanings in the order of its columns.

    Raises InputError where more than one reading fits.
    """
    count = table.shape[1]
    if count == 2:
        return _named(["f", _one_column(table[:, 1], where)])
    if count == 3:
        return _named(["f", *_two_columns(table[:, 1], table[:, 2], where)])
    fits = []
    orders = itertools.permutations(range(1, count), 3)
    for swr, a, b in ((s, a, b) for s, a, b in orders if a < b):
        for pair in (("r", "x"), ("z", "z_phase"), ("s11", "s11_phase"), ("s11_re", "s11_im")):
            if _pair_fits(table, swr, a, b, pair):
                fits.append({0: "f", swr: "swr", a: pair[0], b: pair[1]})
    if len(fits) != 1:
        allowed = "a heading line; without one, SWR, R and X must agree in one way only"
        raise InputError(f"{where}: columns", f"{count} without headings", allowed)
    return _named([fits[0].get(i, f"unused {i}") for i in range(count)])


def _named(names: list[str]) -> dict[str, Heading]:
    return {name: Heading(name, "", "", name) for name in names}


def _one_column(values: Real, where: str) -> str:
    if np.all(values >= 1):
        return "swr"
    if np.all(values <= 0):
        return "s11"
    allowed = "a heading line: without one, column 2 must be SWR (1 or more) or S11 in dB (0 or less)"
    raise InputError(f"{where}: column 2", f"{values.min():g} to {values.max():g}", allowed)


def _two_columns(a: Real, b: Real, where: str) -> tuple[str, str]:
    if np.all(a <= 0) and np.any(a < -1.02) and np.any(np.abs(b) > 1.02):
        return "s11", "s11_phase"
    if np.all(np.hypot(a, b) <= 1.02):
        return "s11_re", "s11_im"
    if np.all(a >= 0) and np.any(np.abs(b) > 90):
        return "r", "x"
    if np.all(a >= 0) and np.any(b < 0):
        allowed = "a heading line: columns 2 and 3 may be R and X, or |Z| and phase"
    else:
        allowed = "a heading line that says what they are"
    raise InputError(f"{where}: columns", "3 without headings", allowed)


def _pair_fits(table: Real, swr: int, a: int, b: int, pair: tuple[str, str]) -> bool:
    first, second, given = table[:, a], table[:, b], table[:, swr]
    if np.any(given < 1):
        return False
    if pair == ("r", "x"):
        gamma = reflection(first + 1j * second, 50.0)
        fair = bool(np.all(first >= 0))
    elif pair == ("z", "z_phase"):
        gamma = reflection(_polar(first, second), 50.0)
        fair = bool(np.all(first >= 0) and np.all(np.abs(second) <= 90) and np.any(np.abs(second) > 3))
    elif pair == ("s11", "s11_phase"):
        gamma = _polar(10 ** (first / 20), second)
        fair = bool(np.all(first <= 0) and np.any(first < -1.02) and np.any(np.abs(second) > 1.02))
    else:
        gamma = first + 1j * second
        fair = bool(np.all(np.abs(gamma) <= 1.02))
    return fair and _agrees(np.abs(gamma), given)
