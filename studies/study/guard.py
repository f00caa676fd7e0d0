"""What no study file can mean, refused before anything reads it: endless nesting, huge integers, unprintable text."""

import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any

from tautwire.model.errors import InputError

DEEPEST = 12  # tables and lists within each other
LONGEST = 1000  # characters of a text or key
LARGEST = 10**15  # of an integer
UNPRINTABLE = ("Cc", "Cs")  # control characters and halves of surrogate pairs: no XML, slide or UTF-8 file holds them
SPACES = "\n\t"  # which longer texts may have


def check_plain(raw: Mapping[str, Any]) -> None:
    """Raises InputError for tables deeper than 12, texts over 1000 characters or with control characters, and integers
    over 1e15, wherever they stand in a study's tables."""
    waiting: list[tuple[str, Any, int]] = [("", raw, 0)]
    while waiting:
        path, value, depth = waiting.pop()
        if depth > DEEPEST:
            raise InputError(path, "tables within tables", f"at most {DEEPEST} deep")
        if isinstance(value, str):
            _check_text(path, value)
        elif isinstance(value, int) and abs(value) > LARGEST:
            raise InputError(path, f"an integer of {value.bit_length()} bits", f"at most {LARGEST:g}")
        else:
            waiting += ((place, inner, depth + 1) for place, inner in _inside(path, value))


def _inside(path: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            place = f"{path}.{key}" if path else str(key)
            _check_text(place, str(key))
            yield place, inner
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value, 1):
            yield f"{path}.{number}", inner


def _check_text(path: str, text: str) -> None:
    if len(text) > LONGEST:
        raise InputError(path, f"a text of {len(text)} characters", f"at most {LONGEST}")
    bad = next((c for c in text if unicodedata.category(c) in UNPRINTABLE and c not in SPACES), None)
    if bad is not None:
        raise InputError(path, repr(text), f"printable characters, without {bad!r}")
