"""What is known of a value of the set-up, as people write it: { prior, sd, from, to }; for fits and spreads alike."""

from collections.abc import Mapping
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.wants.local_model import quantity_kind

KEYS = ("prior", "sd", "from", "to")


class Known(Part):
    """What is known of a value before it is fitted or drawn: { prior, sd, from, to }; in the model in SI."""

    prior: float | None = entry("best guess; the set-up's value if left out", "20.1 m", "in the unit of the key")
    sd: float | None = entry(
        "uncertainty, as a standard deviation; the usual spread of the key if left out", "0.2 m", "0 or more"
    )
    low: float | None = entry("lowest value allowed", "19 m", "in the unit of the key", written="from")
    high: float | None = entry("highest value allowed", "21 m", "in the unit of the key", written="to")


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
