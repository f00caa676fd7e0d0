"""What no study file can mean, refused before anything reads it: endless nesting, huge integers, unprintable text."""

import unicodedata
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import AfterValidator

from tautwire.model.errors import InputError

DEEPEST = 12  # tables and lists within each other
LONGEST = 1000  # characters of a text or key
LARGEST = 10**15  # of an integer
UNPRINTABLE = ("Cc", "Cs")  # control characters and halves of surrogate pairs: no XML, slide or UTF-8 file holds them
QUESTION = "study.question"
SPACES = "\n\t"  # which a question over several lines has
MOST_NAME, MOST_QUESTION = 60, 200  # characters: what fits a legend and the title of a slide


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


def check_name(name: str, field: str = "name") -> str:
    """A name as it is, for a legend or a column. Raises InputError if it is empty or over 60 characters."""
    if not 1 <= len(name) <= MOST_NAME:
        raise InputError(field, repr(name), f"a name of 1 to {MOST_NAME} characters")
    return name


Name = Annotated[str, AfterValidator(check_name)]


def check_question(text: str) -> str:
    """A question on one line. Raises InputError if it is over 200 characters."""
    text = " ".join(text.split())
    if len(text) > MOST_QUESTION:
        raise InputError(QUESTION, f"a text of {len(text)} characters", f"at most {MOST_QUESTION}: it heads slides")
    return text


def _check_text(path: str, text: str) -> None:
    if len(text) > LONGEST:
        raise InputError(path, f"a text of {len(text)} characters", f"at most {LONGEST}")
    spaces = SPACES if path == QUESTION else ""
    bad = next((c for c in text if unicodedata.category(c) in UNPRINTABLE and c not in spaces), None)
    if bad is not None:
        raise InputError(path, repr(text), f"printable characters, without {bad!r}")
