"""Values as text in the cells of tables for people."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

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
