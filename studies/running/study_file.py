"""A study file, read and checked: every case is built once before any is computed.

[study]     name, question, bands, region, want, swr_threshold
[sweep]     "antenna.slope" = {from = "15 deg", to = "60 deg", step = "5 deg"}, or a list; several axes multiply
[[variant]] name = "sloper", and tables that replace the set-up's tables of the same name
the rest    the set-up (study/setup.py)
"""

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import band_named
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.guard import check_name, check_plain
from tautwire.studies.study.parts import read_part, table_at
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.study import Axis, Study, StudySpec, swept_axis
from tautwire.studies.wants.registry import WANTS, want_named

MOST_CASES = 20_000
OWN_TABLES = ("study", "sweep", "variant")


class Options(dict[str, Any]):
    """Want -> its options Part. Those wanted or written are checked at once, the rest are defaults, made when asked
    for, so that wants that a study does not use need not be loaded.
    """

    def __init__(self, raw: Mapping[str, Any], wanted: tuple[str, ...]) -> None:
        tables = {name: raw.get(name) or {} for name in (*wanted, *(n for n in WANTS if n in raw))}
        super().__init__({n: read_part(want_named(n).options, table, f"{n}.") for n, table in tables.items()})

    def __missing__(self, name: str) -> Any:
        return want_named(name).options()

    def get(self, name: str, default: Any = None) -> Any:
        return self[name]

    def __reduce__(self) -> Any:
        return _restored_options, (dict(self),)


def _restored_options(parts: dict[str, Any]) -> "Options":
    options = Options({}, ())
    options.update(parts)
    return options


def read_study(raw: Mapping[str, Any], default_name: str = "study") -> Study:
    """A study from the nested mapping of a study file. Every case is checked before any is computed.

    Raises InputError for the first fault found.
    """
    if not isinstance(raw, Mapping):
        raise InputError("study", repr(raw), "a mapping with the tables of a study file")
    check_plain(raw)
    head = table_at(raw, "study")
    head.setdefault("name", default_name)
    spec: StudySpec = read_part(StudySpec, head, "study.")
    if not re.fullmatch(r"[\w][\w .-]{0,60}", spec.name):
        raise InputError("study.name", repr(spec.name), "letters, digits, spaces, dots and dashes, at most 60")
    if not spec.swr_threshold > 1:
        raise InputError("study.swr_threshold", spec.swr_threshold, "above 1")
    if not spec.want:
        raise InputError("study.want", "[]", f"at least one of {', '.join(WANTS)}")
    if not spec.bands:
        raise InputError("study.bands", "[]", "at least one band")
    bands = tuple(band_named(name, region=spec.region) for name in spec.bands)
    for band in bands:
        if bands.count(band) > 1:
            raise InputError("study.bands", repr(band.name), "each band once")
    options = Options(raw, spec.want)
    setup_raw = {k: v for k, v in raw.items() if k not in (*OWN_TABLES, *WANTS)}
    variants = _variants(raw.get("variant") or [])
    axes: list[Axis] = []
    if variants:
        column = "setup_variant" if "shield" in spec.want else "variant"  # tables about the shield have variants too
        axes.append(Axis("variant", column, "variant", tuple(variants), None))
    sweep = raw.get("sweep") or {}
    if not isinstance(sweep, Mapping):
        raise InputError("sweep", repr(sweep), "a table of axes")
    for path, values_spec in _flat(sweep):
        axes.append(swept_axis(path, values_spec, {a.column for a in axes}))
    count = math.prod(len(a.texts) for a in axes)
    if count > MOST_CASES:
        raise InputError("sweep", f"{count} cases", f"at most {MOST_CASES}")
    study = Study(spec, setup_raw, tuple(axes), variants, bands, options)
    for case in study.cases():
        try:
            setup = case.setup()
            setup.build()
            setup.feed_system()
            for name in spec.want:
                want_named(name).check(setup, study)
        except InputError as error:
            where = ", ".join(f"{k} {v}" for k, v in case.labels.items())
            allowed = f"{error.allowed} (case {where})" if where else error.allowed
            raise InputError(error.field, error.value, allowed) from None
    return study


def _flat(table: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """Axes of [sweep], whether written "antenna.slope" = ... or antenna.slope = ..."""
    out: list[tuple[str, Any]] = []
    for key, value in table.items():
        if isinstance(value, Mapping) and "from" not in value and "to" not in value:
            out += _flat(value, f"{prefix}{key}.")
        else:
            out.append((prefix + key, value))
    return out


def _variants(items: Any) -> dict[str, Raw]:
    out: dict[str, Raw] = {}
    if not isinstance(items, list):
        raise InputError("variant", repr(items), "[[variant]] tables")
    for number, item in enumerate(items, 1):
        if not isinstance(item, Mapping):
            raise InputError(f"variant.{number}", repr(item), "a [[variant]] table with a name")
        tables = dict(item)
        name = tables.pop("name", None)
        if not isinstance(name, str) or not name or name in out:
            raise InputError(f"variant.{number}.name", repr(name), "a name that no other variant has")
        out[check_name(name, f"variant.{number}.name")] = tables
    return out


def load_study(path: Path) -> Study:
    """The study in a TOML file. Raises InputError if it cannot be read or has a fault."""
    return read_study(load_tables(path), path.stem)
