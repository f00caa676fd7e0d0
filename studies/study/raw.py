"""A set-up as the nested texts people write: find, read and change a value by its dotted name."""

import copy
import re
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel

from tautwire.model.errors import InputError, nearest
from tautwire.studies.study import units
from tautwire.studies.study.parts import part_of
from tautwire.studies.study.paths import is_index, replaced_in, value_in
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import (
    Angle,
    Capacitance,
    Conductivity,
    Inductance,
    Kind,
    Length,
    Number,
    Power,
    Resistance,
    Salinity,
    Temperature,
)

Raw = dict[str, Any]

FEET = re.compile(r"""(ft|foot|feet|in|inch|inches|['"])\s*$""")  # what a length in them ends with
METRES = re.compile(r"\d\s*[cm]?m\s*$")
TOLD_BY = ("antenna", "reel", "counterpoise", "coax")  # tables whose lengths tell; the first that has one does


def lengths_of(raw: Mapping[str, Any]) -> str:
    """How a set-up's lengths are typed: "imperial" for feet and inches, else "metric".

    >>> lengths_of({"antenna": {"length": "66 ft 3 in", "slope": "25 deg"}, "coax": {"length": "5 m"}})
    'imperial'
    """
    for name in TOLD_BY:
        texts = list(_texts(raw.get(name)))
        feet, metres = (sum(bool(unit.search(t)) for t in texts) for unit in (FEET, METRES))
        if feet or metres:
            return "imperial" if feet > metres else "metric"
    return "metric"


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping | list | tuple):
        for inner in value.values() if isinstance(value, Mapping) else value:
            yield from _texts(inner)


KINDS: dict[Any, Kind] = {
    get_args(annotated)[1]: kind
    for annotated, kind in (
        (Length, units.length),
        (Angle, units.angle),
        (Capacitance, units.capacitance),
        (Conductivity, units.conductivity),
        (Inductance, units.inductance),
        (Number, units.number),
        (Power, units.power),
        (Resistance, units.resistance),
        (Salinity, units.salinity),
        (Temperature, units.temperature),
    )
}


def kind_of(path: str) -> Kind | None:
    """The kind of quantity at a dotted path such as "antenna.slope"; None for text or a whole number.

    Raises InputError for a path that is not part of a set-up.
    """
    part: type[BaseModel] = Setup
    *tables, last = [p for p in path.split(".") if not is_index(p)] or [""]
    for step in tables:
        inner = part_of(part.model_fields[step].annotation) if step in part.model_fields else None
        if inner is None:
            raise _unknown_path(path)
        part = inner
    if last not in part.model_fields:
        raise _unknown_path(path)
    field = part.model_fields[last]
    marks = list(field.metadata) + [m for a in get_args(field.annotation) for m in getattr(a, "__metadata__", ())]
    return next((KINDS[m] for m in marks if m in KINDS), None)


def _paths(part: type[BaseModel] = Setup, prefix: str = "") -> list[str]:
    found = []
    for name, field in part.model_fields.items():
        inner = part_of(field.annotation)
        found += _paths(inner, f"{prefix}{name}.") if inner else []
        found += [prefix + name] if inner is None or name in ("soil", "type") else []
    return found


def _unknown_path(path: str) -> InputError:
    near = nearest(path, _paths(), 3, 0.4)
    return InputError("sweep", repr(path), f"a key of the set-up, such as {', '.join(near or ['antenna.length'])}")


def changed(raw: Mapping[str, Any], path: str, value: Any) -> Raw:
    """A copy of `raw` with the value at a dotted path replaced.

    Items of a list are counted from 1 ("counterpoise.2.length"); without a number the first is meant.
    """
    new: Raw = replaced_in(copy.deepcopy(dict(raw)), path, value)
    return new


def table_value(raw: Mapping[str, Any], path: str) -> Any:
    """The text at a dotted path of a raw set-up, or None."""
    return value_in(raw, path)
