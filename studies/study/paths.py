"""Dotted paths into a set-up ("counterpoise.2.length"): what is there, a copy with another value, tables laid flat.

They serve the texts that people write (mappings and lists) and the Parts that these are read into alike. Items of a
list are counted from 1; without a number the first is meant.
"""

from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel

from tautwire.model.errors import InputError

Opened = Callable[[Any, str], Any]
"""opened(place, step): the place, made into one that has the step, such as a soil's name into its constants"""


def is_index(step: str) -> bool:
    """Whether a part of a dotted path counts the items of a list: "1" to "9999"."""
    return step.isascii() and step.isdigit() and len(step) <= 4


def without_numbers(path: str) -> str:
    """A dotted path without the numbers that count items.

    >>> without_numbers("counterpoise.2.length")
    'counterpoise.length'
    """
    return ".".join(step for step in path.split(".") if not is_index(step))


def value_in(nest: Any, path: str, opened: Opened = lambda place, step: place) -> Any:
    """What is at a dotted path; None where there is nothing.

    >>> value_in({"counterpoise": [{"length": "5 m"}]}, "counterpoise.1.length")
    '5 m'
    """
    place = nest
    for step in path.split("."):
        place = opened(place, step)
        if isinstance(place, list | tuple):
            index = _index(step)
            if not 0 <= index < len(place):
                return None
            place = place[index]
            if is_index(step):
                continue
        if isinstance(place, Mapping):
            place = place.get(step)
        else:
            place = getattr(place, step, None) if isinstance(place, BaseModel) else None
    return place


def replaced_in(nest: Any, path: str, value: Any, opened: Opened = lambda place, step: place) -> Any:
    """A copy in which the value at a dotted path is another. Tables that texts lack are made; Parts must be there.

    Raises InputError for a place that can hold no value.
    """

    def put(place: Any, done: list[str], steps: list[str]) -> Any:
        if not steps:
            return value
        step, *rest = steps
        place = opened(place, step)
        if isinstance(place, Mapping):
            return {**place, step: put(place.get(step, {}), [*done, step], rest)}
        if isinstance(place, BaseModel):
            return place.model_copy(update={step: put(getattr(place, step), [*done, step], rest)})
        if isinstance(place, list | tuple) and 0 <= (index := _index(step)) < len(place):
            inner = put(place[index], [*done, step], rest) if is_index(step) else put(place[index], done, steps)
            return type(place)([*place[:index], inner, *place[index + 1 :]])
        if isinstance(nest, BaseModel):
            given = "nothing" if place is None or isinstance(place, tuple) else repr(place)
            raise InputError(path, given, "a part of the set-up: it has none there")
        item = f"an item from 1 to {len(place)}" if isinstance(place, list) and place else ""
        raise InputError(path, repr(value), item or f"a table at {'.'.join(done)}")

    return put(nest, [], path.split("."))


def _index(step: str) -> int:
    return int(step) - 1 if is_index(step) else 0


def flat(given: Any, ends: tuple[str, ...] = (), table: str = "fit") -> dict[str, Any]:
    """Dotted path -> value, whether written "antenna.length" = ... or antenna.length = ...

    ends: keys by which a table is known to be a value itself. table: where it stands, for errors. Raises InputError for
    what is no table, and for a path given twice.

    >>> flat({"antenna": {"length": {"from": 19, "to": 20}}}, ("from", "to"))
    {'antenna.length': {'from': 19, 'to': 20}}
    """
    entries: dict[str, Any] = {}

    def add(here: Mapping[str, Any], prefix: str) -> None:
        for key, value in here.items():
            path = f"{prefix}{key}"
            if isinstance(value, Mapping) and value and not set(value) & set(ends):
                add(value, path + ".")
            elif path in entries:
                raise InputError(f"{table}.{path}", "two values", "one")
            else:
                entries[path] = value

    if not isinstance(given, Mapping):
        raise InputError(table, repr(given), "a table of dotted keys of the set-up")
    add(given, "")
    return entries
