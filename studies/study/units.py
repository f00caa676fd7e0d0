"""Quantities as people write them, to SI floats, and back to text in sentences and tables.

Quantities as people write them ("66 ft 3 in", "14.06 MHz") to SI floats, and back to text.

Units are a table of names. A general library of units would take longer to import than a command takes to answer;
tests read every unit of the table with one.
"""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator, ValidationInfo

from tautwire.model.errors import InputError

# --- Quantities as people write them ("66 ft 3 in", "14.06 MHz") to SI floats, and back to text.


MOST_VALUES = 1000

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PLAIN = re.compile(rf"({_NUMBER})\s*([^\d\s.,+-].{{0,39}})?")
_FEETINCHES = re.compile(rf"({_NUMBER})\s*(?:ft|feet|foot|')\s*(\d+\.?\d*|\.\d+)\s*(?:in|inch|inches|\")")
_COMPLEX = re.compile(rf"({_NUMBER})\s*([+-])\s*(?:j\s*([\d.]+)|([\d.]+)\s*j)\s*(\S+)")
FOOT = 0.3048  # m, exactly, as all of these: international yard and pound agreement of 1959
INCH = FOOT / 12
_DEGREE = math.pi / 180
_WORD_PREFIXES = {
    "": 1.0, "pico": 1e-12, "nano": 1e-9, "micro": 1e-6, "milli": 1e-3, "centi": 1e-2, "deci": 0.1, "kilo": 1e3,
    "mega": 1e6, "giga": 1e9,
}  # fmt: skip
_SYMBOL_PREFIXES = dict(zip(["", *"pnumcdkMG"], _WORD_PREFIXES.values(), strict=True))
_SYMBOL_PREFIXES |= dict.fromkeys("\u00b5\u03bc", 1e-6)
# SI unit -> the symbols and the words that take prefixes
_SI = {
    "m": ("m", "metre meter metres meters"),
    "Hz": ("Hz", "hertz"),
    "F": ("F", "farad farads"),
    "H": ("H", "henry henries"),
    "ohm": ("ohm ohms \u03a9 \u2126", "ohm ohms"),
    "W": ("W", "watt watts"),
    "S": ("S mho", "siemens mho"),
    "s": ("s", "second seconds"),
}
# SI unit -> other units of the same kind
_OTHERS = {
    "m": {"ft foot feet '": FOOT, 'in inch inches "': INCH, "yd yard yards": 3 * FOOT, "mi mile miles": 5280 * FOOT,
          "mil thou": INCH / 1000},
    "rad": {"deg degree degrees °": _DEGREE, "arcmin arcminute arcminutes": _DEGREE / 60,
            "turn turns": 2 * math.pi, "gon": math.pi / 200, "rad radian radians": 1.0, "mrad": 1e-3},
    "W": {"hp horsepower": 745.6998715822702},
    "s": {"min minute minutes": 60.0, "h hour hours": 3600.0},
    "": {"% percent": 0.01},
    "g/kg": {"g/kg ‰ psu PSU ppt": 1.0, "%": 10.0},
}  # fmt: skip
_ANY_CASE = {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz", "ohm": "ohm", "ohms": "ohm", "kohm": "kohm"}


@cache
def _factors(si: str) -> dict[str, float]:
    """Every way to write a unit of the kind whose SI unit is given -> what one of it is in SI."""
    symbols, words = _SI.get(si, ("", ""))
    ways = ((symbols, _SYMBOL_PREFIXES), (words, _WORD_PREFIXES))
    known = {prefix + name: f for names, prefixes in ways for prefix, f in prefixes.items() for name in names.split()}
    return known | {name: f for names, f in _OTHERS.get(si, {}).items() for name in names.split()}


def _factor(unit: str, si: str) -> float | None:
    """What one `unit` is in `si`; None for a unit that is not known or measures something else.

    >>> _factor("kΩ", "ohm"), _factor("mS/m", "S/m"), _factor("m", "Hz")
    (1000.0, 0.001, None)
    """
    if "/" in si and si not in _OTHERS:
        parts = [_factor(u, s) for u, s in zip(unit.split("/"), si.split("/"), strict=False)]
        return parts[0] / parts[1] if unit.count("/") == 1 and parts[0] and parts[1] else None
    return _factors(si).get(_ANY_CASE.get(unit.lower(), unit))


def _any_of(si: str) -> str:
    """A regular expression for every way to write a unit."""
    names = [*_factors(si), *(word for word, unit in _ANY_CASE.items() if unit in _factors(si))]
    cased = [re.sub("[a-z]", lambda c: f"[{c[0]}{c[0].upper()}]", n) for n in names if n in _ANY_CASE]
    return f"(?:{'|'.join([*map(re.escape, sorted(names, key=len, reverse=True)), *cased])})"


@dataclass(frozen=True)
class Kind:
    """A kind of quantity, called as kind(value, field) -> float in SI (`unit`), at most `most` either way.

    value: a string with a unit, or plain 0; a kind without a unit also takes plain numbers.
    Raises InputError naming `field` for anything else, a wrong unit, or a value that is not finite.
    """

    name: str
    unit: str
    example: str
    most: float = math.inf
    most_told: str = ""

    @property
    def allowed(self) -> str:
        if not self.unit:
            return f"a finite number such as {self.example}"
        article = "an" if self.name[0] in "aeiou" else "a"
        return f"{article} {self.name} with its unit, such as {self.example}{self.most_told}"

    @property
    def pattern(self) -> str:
        """A regular expression (of ECMA-262 too) for the texts that are quantities of this kind.

        >>> bool(re.fullmatch(angle.pattern, "90 deg")), bool(re.fullmatch(angle.pattern, "90 m"))
        (True, False)
        """
        names = [_any_of(part) for part in self.unit.split("/")] if self.unit else [r"(?:%|percent)?"]
        plain = rf"{_NUMBER}\s*{'/'.join(names)}"
        both = rf"|{_FEETINCHES.pattern}" if self.unit == "m" else ""
        return rf"^\s*(?:{plain}{both}|0)\s*$"

    def __call__(self, value: object, field: str) -> float:
        result = self._read(value)
        if result is None or not math.isfinite(result) or abs(result) > self.most:
            raise InputError(field, repr(value), self.allowed + _hint(value))
        return result

    def _read(self, value: object) -> float | None:
        if isinstance(value, bool):
            return None
        if isinstance(value, int | float):
            return _as_float(value) if value == 0 or not self.unit else None
        if not isinstance(value, str):
            return None
        text = value.strip()
        if self.unit == "m" and (both := _FEETINCHES.fullmatch(text)):
            feet, inches = float(both[1]), float(both[2])
            return feet * FOOT + math.copysign(inches, feet) * INCH
        if not (match := _PLAIN.fullmatch(text)):
            return None
        number, unit = float(match[1]), match[2]
        if unit is None:
            return number if number == 0 or not self.unit else None
        factor = _factor(unit, self.unit)
        return None if factor is None else number * factor


def _hint(value: object) -> str:
    """What a text that is no quantity may have meant: "; with a point: '19.8 m'"."""
    if not isinstance(value, str):
        return ""
    if re.search(r"\d,\d", value):
        return f"; with a point, not a comma: {re.sub(r'(?<=[0-9]),(?=[0-9])', '.', value)!r}"
    if gauge := re.fullmatch(r"\s*(?:AWG\s*#?(\d+)|#?(\d+)\s*(?:AWG|ga(?:uge)?))\s*", value, re.IGNORECASE):
        return f"; a wire gauge is written awg = {gauge[1] or gauge[2]}, or --awg {gauge[1] or gauge[2]}"
    return ""


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:  # an integer of 400 digits
        return math.inf


number = Kind("number", "", "0.5 or '50 %'")
length = Kind("length", "m", "'20.1 m', '0.4 mm', '66 ft' or '66 ft 3 in'")
angle = Kind("angle", "rad", "'12 deg' or '0.2 rad'", 2 * math.pi * (1 + 1e-9), ", up to 360 deg")
frequency = Kind("frequency", "Hz", "'14.06 MHz' or '7030 kHz'")
capacitance = Kind("capacitance", "F", "'100 pF'")
inductance = Kind("inductance", "H", "'3.2 uH'")
resistance = Kind("resistance", "ohm", "'50 ohm' or '2.4 kohm'")
conductivity = Kind("conductivity", "S/m", "'5 mS/m'")
power = Kind("power", "W", "'10 W' or '500 mW'")
duration = Kind("duration", "s", "'6 min'")
salinity = Kind("salinity", "g/kg", "'35 g/kg'")


@dataclass(frozen=True)
class _Temperature(Kind):
    """A kind whose units differ by more than a factor: degrees C and F, to degrees C; a plain 0 is refused."""

    def _read(self, value: object) -> float | None:
        if not isinstance(value, str) or not (match := _PLAIN.fullmatch(value.strip())):
            return None
        number, unit = float(match[1]), (match[2] or "").replace("°", "").replace("deg", "").strip().upper()
        return {"C": number, "F": (number - 32) / 1.8}.get(unit)


temperature = _Temperature("temperature", "C", "'15 C' or '59 F'")


def impedance(value: object, field: str) -> complex:
    """An impedance in ohms: "1200+800j ohm", "1200 - j800 ohm", "2.4 kohm". Raises InputError."""
    allowed = "an impedance with its unit, such as '1200+800j ohm' or '2.4 kohm'"
    if isinstance(value, str) and (match := _COMPLEX.fullmatch(value.strip())):
        real = resistance(f"{match[1]} {match[5]}", field)
        imaginary = resistance(f"{match[2]}{match[3] or match[4]} {match[5]}", field)
        return complex(real, imaginary)
    try:
        return complex(resistance(value, field))
    except InputError:
        raise InputError(field, repr(value), allowed) from None


def _checked(kind: Callable[[object, str], Any]) -> BeforeValidator:
    def check(value: Any, info: ValidationInfo) -> Any:
        return kind(value, info.field_name or "value")

    return BeforeValidator(check)


Number = Annotated[float, _checked(number)]
Length = Annotated[float, _checked(length)]
Angle = Annotated[float, _checked(angle)]
Frequency = Annotated[float, _checked(frequency)]
Capacitance = Annotated[float, _checked(capacitance)]
Inductance = Annotated[float, _checked(inductance)]
Resistance = Annotated[float, _checked(resistance)]
Conductivity = Annotated[float, _checked(conductivity)]
Power = Annotated[float, _checked(power)]
Duration = Annotated[float, _checked(duration)]
Salinity = Annotated[float, _checked(salinity)]
Temperature = Annotated[float, _checked(temperature)]
Impedance = Annotated[complex, _checked(impedance)]


def values(spec: object, parse: Callable[[object, str], float], field: str) -> list[float]:
    """The values of one axis, each read by `parse` (a Kind).

    spec: one value, a list of values, or a table {from, to, step} or {from, to, count}, both ends included.
    Raises InputError for an empty or repeating list, a step that is zero, points away from the end or does
    not divide the range, or more than 1000 values.
    """
    if isinstance(spec, Mapping):
        return _range(spec, parse, field)
    if isinstance(spec, str) or not isinstance(spec, Sequence):
        return [parse(spec, field)]
    if not 1 <= len(spec) <= MOST_VALUES:
        raise InputError(field, f"{len(spec)} values", f"1 to {MOST_VALUES} values")
    result = [parse(item, f"{field}[{i}]") for i, item in enumerate(spec)]
    for i, item in enumerate(result):
        if item in result[:i]:
            raise InputError(f"{field}[{i}]", repr(spec[i]), "each value only once")
    return result


def _range(spec: Mapping[str, object], parse: Callable[[object, str], float], field: str) -> list[float]:
    if set(spec) not in ({"from", "to", "step"}, {"from", "to", "count"}):
        raise InputError(field, dict(spec), "a table of from, to and either step or count")
    first, last = parse(spec["from"], f"{field}.from"), parse(spec["to"], f"{field}.to")
    if first == last:
        raise InputError(f"{field}.to", repr(spec["to"]), "an end that differs from the start")
    if "count" in spec:
        count = spec["count"]
        if not isinstance(count, int) or isinstance(count, bool) or not 2 <= count <= MOST_VALUES:
            raise InputError(f"{field}.count", repr(count), f"a whole number from 2 to {MOST_VALUES}")
        steps = count - 1
    else:
        step = parse(spec["step"], f"{field}.step")
        if step == 0 or (last - first) / step < 0:
            raise InputError(f"{field}.step", repr(spec["step"]), "a step that leads from start to end")
        if (last - first) / step > MOST_VALUES - 0.5:
            raise InputError(f"{field}.step", repr(spec["step"]), f"a step for at most {MOST_VALUES} values")
        steps = round((last - first) / step)
        if steps < 1 or not math.isclose(steps * step, last - first, rel_tol=1e-6):
            raise InputError(f"{field}.step", repr(spec["step"]), "a step that divides the range, or a count")
    return [first + (last - first) * i / steps for i in range(steps)] + [last]


def format_length(metres: float, system: str = "metric", decimals: int | None = None) -> str:
    """Length as text: metric "20.10 m", "43.0 cm", "0.40 mm"; imperial "66 ft 3 in" or short "5.10 in".

    decimals: of metres [2], or of the inches after feet [0].
    """
    size = abs(metres)
    if system == "metric":
        if size >= 0.9995 or size == 0:  # 99.97 cm would be written 100.0 cm
            return f"{metres:.{2 if decimals is None else decimals}f} m"
        return f"{metres * 100:.1f} cm" if size >= 0.01 else f"{metres * 1000:.2f} mm"
    if system != "imperial":
        raise InputError("units", repr(system), "'metric' or 'imperial'")
    inches = size / INCH
    sign = "-" if metres < 0 else ""
    if inches < 11.5:
        return f"{sign}{inches:.2f} in"
    feet, rest = divmod(round(inches, decimals or 0), 12)
    return f"{sign}{feet:.0f} ft {rest:.{decimals or 0}f} in"


def format_angle(radians: float, decimals: int = 0) -> str:
    """Angle as text in degrees: "12°"."""
    return f"{math.degrees(radians):.{decimals}f}°"


# --- How a quantity is shown and written: the unit people use for each kind, in tables, plots and study files.


@dataclass(frozen=True)
class CustomaryUnit:
    """How people give a kind of quantity. suffix: of a table's column. sign: the unit in plots. unit: the unit in study
    files and sentences. factor: SI value times factor is the number in that unit.
    """

    suffix: str
    sign: str
    unit: str
    factor: float = 1.0


CUSTOMARY: dict[Kind, CustomaryUnit] = {
    length: CustomaryUnit("_m", "m", "m"),
    angle: CustomaryUnit("_deg", "°", "deg", 180 / math.pi),
    capacitance: CustomaryUnit("_pf", "pF", "pF", 1e12),
    inductance: CustomaryUnit("_uh", "µH", "uH", 1e6),
    resistance: CustomaryUnit("_ohm", "Ω", "ohm"),
    conductivity: CustomaryUnit("_ms_per_m", "mS/m", "mS/m", 1e3),
    power: CustomaryUnit("_w", "W", "W"),
    salinity: CustomaryUnit("_g_per_kg", "g/kg", "g/kg"),
    temperature: CustomaryUnit("_c", "°C", "C"),
    number: CustomaryUnit("", "", ""),
}


def customary(value: float, kind: Kind) -> float:
    """The number of an SI value in the unit people use, to nine decimals.

    >>> customary(0.2617993877991494, angle)
    15.0
    """
    return round(value * CUSTOMARY[kind].factor, 9)


def written(number: float, kind: Kind, digits: int = 12) -> Any:
    """A number in the unit people use as a study file has it; one of a kind without unit stays a number.

    >>> written(15.0, angle), written(0.1234567, capacitance, 6)
    ('15 deg', '0.123457 pF')
    """
    unit = CUSTOMARY[kind].unit
    return f"{number:.{digits}g} {unit}" if unit else float(f"{number:.{digits}g}")


def quantity_text(value: float, kind: Kind, digits: int = 4) -> str:
    """An SI value for people, with all its digits.

    >>> quantity_text(20.1302, length), quantity_text(0.5, angle, 3)
    ('20.13 m', '28.6 deg')
    """
    number = f"{value * CUSTOMARY[kind].factor:#.{digits}g}".rstrip(".")
    return f"{number} {CUSTOMARY[kind].unit}".strip()


# --- Values as text in the cells of tables for people.


TITLE_ROOM = 105  # characters of a title: two lines


def cell_text(value: Any) -> str:
    """A value with few digits: four decimals below 100 and none above, two digits if it is tiny; "" for NaN.

    >>> [cell_text(x) for x in (14.0625, 2450.4, 0.00001234, float("nan"), 3, "20 m")]
    ['14.0625', '2450', '1.2e-05', '', '3', '20 m']
    """
    if not isinstance(value, float | np.floating):
        return str(value)
    if math.isnan(value):
        return ""
    number = float(value)
    text = f"{number:.4f}".rstrip("0").rstrip(".") if abs(number) < 100 else f"{number:.0f}"
    return text if float(text) or not number else f"{number:.2g}"


def formatted(value: Any, form: str, none: str = "-") -> str:
    """A number, or a text, in a format of its own; `none` for NaN.

    >>> formatted(3.14159, ".2f"), formatted(float("nan"), ".2f")
    ('3.14', '-')
    """
    return none if isinstance(value, float) and math.isnan(value) else f"{value:{form}}"


def in_words(value: Any) -> str:
    """A value of a set-up or an axis in words, also where it is a table.

    >>> in_words({"er": 9, "sigma": "2 mS/m"}), in_words(15.0), in_words("sea water")
    ('er 9, sigma 2 mS/m', '15', 'sea water')
    """
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {v}" for k, v in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)


def short(sentence: str) -> str:
    """A sentence as a title: no full stop; a long one up to the last semicolon or comma that leaves a title.

    >>> short("No dip moves.")
    'No dip moves'
    """
    words = sentence.strip().rstrip(".:")
    while len(words) > TITLE_ROOM:
        cut = max(words.rfind("; "), words.rfind(", "), words.rfind(". "))
        if cut < TITLE_ROOM // 3:
            break
        words = words[:cut]
    return words


def plain(value: Any, decimals: int | None = None) -> Any:
    """Mappings, lists and numbers as JSON has them: None for what is not a finite number; floats to so many decimals.

    >>> plain({"a": (np.float64(0.12345), float("nan"))}, 3)
    {'a': [0.123, None]}
    """
    if isinstance(value, Mapping):
        return {str(k): plain(v, decimals) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v, decimals) for v in value]
    if isinstance(value, np.generic):
        value = value.item()
    if not isinstance(value, float):
        return value
    return (value if decimals is None else round(value, decimals)) if math.isfinite(value) else None
