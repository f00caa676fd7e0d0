"""Faults of the model told as the study file has them: the key as it is spelled there, the value as it was written."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.study.paths import value_in

# where a field name of the model begins -> the same in a study file; the longest that fits counts
KEYS = {
    "layout": "antenna",
    "layout.kind": "antenna.layout",
    "returns": "coax",
    "choke": "coax.choke",
    "choke.position": "coax.choke.at",
    "coax.choke.position": "coax.choke.at",
    "feed.coax": "coax.type",
    "feed.coax.length": "coax.length",
    "feed.reference": "radio.impedance",
    "feed.transformer": "transformer",
    "feed.transformer.magnetising.inductance": "transformer.magnetising_inductance",
    "feed.transformer.magnetising.resistance": "transformer.loss_resistance",
    "core": "transformer.core",
    "soil": "site.soil",
    "band": "study.bands",
    "region": "study.region",
}
# what the model says of a conductor, such as "counterpoise 2, height" -> the same in a study file
CONDUCTOR = re.compile(r"(wire|counterpoise|coax|nearby)(?: (\d+))?, (length|height|radius)")
OF_CONDUCTOR = {
    ("wire", "length"): "antenna.length",
    ("wire", "radius"): "wire.diameter",
    ("counterpoise", "radius"): "counterpoise.{}.wire.diameter",
    ("counterpoise", "length"): "counterpoise.{}.length",
    ("counterpoise", "height"): "counterpoise.{}.height",
    ("coax", "length"): "coax.length",
    ("coax", "height"): "coax.height",
    ("coax", "radius"): "coax.type.shield_diameter",
    ("nearby", "radius"): "nearby.{}.diameter",
}


@contextmanager
def as_written(raw: Mapping[str, Any] | None = None, keys: Mapping[str, str] = KEYS) -> Iterator[None]:
    """An InputError raised inside names the key of `keys` and shows the text that stands there in `raw`.

    raw: a study file's tables, or None where they are not at hand. keys: field names, or how they begin -> what the
    user writes.
    """
    try:
        yield
    except InputError as error:
        unknown = keys is KEYS and error.field in (raw or {})  # a key of the file that belongs elsewhere
        field = error.field if unknown else renamed(_of_conductor(error.field), keys)
        text = _text_at(raw or {}, field if keys is KEYS else error.field)
        value = error.value if text is None else repr(text) if isinstance(text, str) else text
        if field == error.field and value == error.value:
            raise
        raise InputError(field, value, error.allowed) from None


def _of_conductor(field: str) -> str:
    """A conductor's quantity by its key in a study file; other fields as they are.

    >>> _of_conductor("counterpoise 2, height"), _of_conductor("wire, radius"), _of_conductor("layout.slope")
    ('counterpoise.2.height', 'wire.diameter', 'layout.slope')
    """
    found = CONDUCTOR.fullmatch(field)
    key = OF_CONDUCTOR.get((found[1], found[3])) if found else None
    return field if found is None or key is None else key.format(found[2] or 1)


def renamed(field: str, keys: Mapping[str, str]) -> str:
    """The field, with what it begins with (whole words between dots) replaced by its name in keys.

    >>> renamed("layout.slope", KEYS), renamed("layouts", KEYS), renamed("feed.coax.z0", KEYS)
    ('antenna.slope', 'layouts', 'coax.type.z0')
    """
    start = field
    while start:
        if start in keys:
            return keys[start] + field.removeprefix(start)
        start = start.rpartition(".")[0]
    return field


def _text_at(raw: Mapping[str, Any], path: str) -> Any:
    """What was written at a dotted path; None for nothing there, or a table or list."""
    place = value_in(raw, path)
    return place if isinstance(place, str | int | float) else None
