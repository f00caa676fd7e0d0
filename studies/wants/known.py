"""What is known of a value of the set-up, as people write it: { prior, sd, from, to }; for fits and spreads alike."""

from collections.abc import Mapping
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.study.parts import Part
from tautwire.studies.wants.local_model import quantity_kind

KEYS = ("prior", "sd", "from", "to")


class Known(Part):
    """What is known of a value, SI: prior (default: the set-up's) give or take sd; low and high bound it."""

    prior: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None


def flat(given: Any, ends: tuple[str, ...] = (), prefix: str = "", table: str = "fit") -> dict[str, Any]:
    """Dotted path -> value, whether written "antenna.length" = ... or antenna.length = ...; ends: keys of a value."""
    if not isinstance(given, Mapping):
        raise InputError(table, repr(given), "a table of dotted keys of the set-up")
    out: dict[str, Any] = {}
    for key, value in given.items():
        if isinstance(value, Mapping) and value and not set(value) & set(ends):
            out.update(flat(value, ends, f"{prefix}{key}.", table))
        else:
            out[prefix + key] = value
    return out


def read_known(path: str, given: Any, table: str) -> Known:
    """A value of the table `table`. Raises InputError for anything but prior, sd, from and to of the right kind."""
    name = f"{table}.{path}"
    kind = quantity_kind(path, name)
    if isinstance(given, Known):
        return given
    if not isinstance(given, Mapping) or not set(given) <= set(KEYS):
        raise InputError(name, repr(given), "a table of prior, sd, from and to")
    value = {k: kind(v, f"{name}.{k}") for k, v in given.items()}
    if value.get("sd", 0.0) < 0:
        raise InputError(f"{name}.sd", repr(given["sd"]), "0 or more (0: known exactly)")
    if {"from", "to"} <= set(value) and not value["from"] < value["to"]:
        raise InputError(name, repr(dict(given)), "a range that rises (from, to)")
    return Known(prior=value.get("prior"), sd=value.get("sd"), low=value.get("from"), high=value.get("to"))
