"""The keys of a study file: their meaning as tables, and as a JSON Schema."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from tautwire.model.errors import InputError, nearest
from tautwire.studies.study import units
from tautwire.studies.study.parts import HIDDEN, part_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Sample, StudySpec
from tautwire.studies.study.units import CUSTOMARY, Kind, customary, written
from tautwire.studies.wants.want import WANTS, want_named

# --- Every key of a study file with its meaning, unit, range, default and example, read from the models that check
# it.


QUANTITIES = ("Number", "Length", "Angle", "Frequency", "Capacitance", "Inductance", "Resistance",
              "Conductivity", "Power", "Duration", "Salinity", "Temperature")  # fmt: skip
KIND_OF_MARK: dict[Any, Kind] = {get_args(getattr(units, name))[1]: getattr(units, name.lower()) for name in QUANTITIES}
PLAIN = {str: "text", bool: "true or false", int: "whole number", float: "number"}
ANY = "*"  # in a path: a key that the user names


@dataclass(frozen=True)
class Key:
    """A key. path: dotted, * for what the user names. kind: what is written there. example, default: as written."""

    path: str
    meaning: str
    kind: str
    allowed: str
    default: str
    example: str

    @property
    def table(self) -> str:
        return self.path.split(".")[0]


def all_keys() -> list[Key]:
    """The keys of [study], of the set-up, of [sweep] and [[variant]], and of every want's options."""
    found = [*_keys(StudySpec, "study."), *_keys(Setup, ""), *_of_cases()]
    for name in WANTS:
        found += _keys(want_named(name).options, f"{name}.")
    return found


def _of_cases() -> tuple[Key, ...]:
    """The keys of the tables that make cases."""
    return (
        Key("sweep.*", "values of one key of the set-up to compute, by its dotted name; several multiply",
            "list, or a table of from, to and step or count", "any key of the set-up", "left open",
            '"antenna.slope" = { from = "15 deg", to = "60 deg", step = "5 deg" }'),
        Key("sweep.*.from", "first value", "as the key", "", "needed", '"15 deg"'),
        Key("sweep.*.to", "last value", "as the key", "", "needed", '"60 deg"'),
        Key("sweep.*.step", "from one value to the next; or count", "as the key", "divides the range", "needed",
            '"5 deg"'),
        Key("sweep.*.count", "how many values; or step", "whole number", "2 to 1000", "needed", "10"),
        Key("variant", "whole set-ups to compare: the tables of a variant replace those of the file",
            "tables [[variant]]", "", "left open", '[[variant]]'),
        Key("variant.name", "name of the variant", "text", "each once", "needed", '"inverted V"'),
        Key("cases.*", "values of one key, a case each, taken together with those of the other keys", "list",
            "1 to 2000, as many in each", "left open", '"antenna.length" = ["19.8 m", "20.1 m"]'),
        Key("cases.file", "table (CSV) beside the study: a column a key, a row a case, and a column name if wanted",
            "text", "comma or semicolon between cells", "left open", '"my-cases.csv"'),
        *_keys(Sample, "sample."),
        Key("sample.*", "what one key is drawn from: evenly between two values, by a normal law, or among words",
            "table of from and to, or of mean and sd; or list", "any key of the set-up", "left open",
            '"antenna.length" = { mean = "19.8 m", sd = "0.1 m" }'),
    )  # fmt: skip


def key_named(path: str) -> list[Key]:
    """The key at a dotted path and, if it is a table, those in it. Raises InputError with the nearest."""
    known = all_keys()
    plain = re.sub(r"\.\d+(?=\.|$)", "", path.strip("[] "))
    fits = [k for k in known if _fits(k.path, plain)]
    inside = [k for k in known if any(k.path.startswith(f.path + ".") for f in fits) or k.path.startswith(plain + ".")]
    if not fits and not inside:
        fits = [k for k in known if k.path.split(".")[-1] == plain]
        inside = []
    if not fits and not inside:
        near = nearest(plain, [k.path for k in known], 3, 0.4)
        allowed = f"a key of a study file or a column, such as {', '.join(near)}" if near else "a key of a study file"
        raise InputError("key", repr(path), allowed)
    return [*fits, *(k for k in inside if k not in fits)]


def _fits(pattern: str, path: str) -> bool:
    return bool(re.fullmatch(re.escape(pattern).replace(r"\*", ".+"), path))


def fields_of(part: type[BaseModel]) -> Iterator[tuple[str, Any]]:
    """Name as written -> field, without those the study fills itself."""
    for name, field in part.model_fields.items():
        if field.validation_alias != HIDDEN:
            extra: Any = field.json_schema_extra or {}
            yield extra.get("written") or name, field


def _keys(part: type[BaseModel], prefix: str) -> Iterator[Key]:
    for name, field in fields_of(part):
        path = prefix + name
        extra: Any = field.json_schema_extra or {}
        inner = part_of(field.annotation)
        yield Key(path, field.description or "", kind_words(field), extra.get("allowed", ""), _default(field),
                  toml((field.examples or [""])[0]))  # fmt: skip
        if inner is not None:
            yield from _keys(inner, f"{path}.{ANY}." if is_dict(field.annotation) else f"{path}.")


def is_dict(annotation: Any) -> bool:
    return get_origin(annotation) is dict or any(is_dict(a) for a in get_args(annotation))


def kind_at(field: Any) -> Kind | None:
    """The kind of quantity of a field, or of what its list holds."""
    return next((KIND_OF_MARK[m] for m in [*field.metadata, *_marks(field.annotation)] if m in KIND_OF_MARK), None)


def _marks(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        if not isinstance(inner, str):
            yield from _marks(inner)


def kind_words(field: Any) -> str:
    """What is written in a field, in words."""
    outer = _without_none(field.annotation)
    many = get_origin(outer) is tuple
    if is_dict(outer):
        return "table"
    kind = kind_at(field)
    if kind is not None:
        unit = CUSTOMARY[kind].unit if kind in CUSTOMARY else kind.unit
        words = kind.name if kind.unit else "number"
        words = f"{words} ({unit})" if unit else words
    elif part_of(outer):
        words = "table" if not any(a is str for a in get_args(outer)) else "text or table"
    else:
        words = _plain(get_args(outer)[0] if many else outer)
    return f"list of {words}" if many else words


def _without_none(annotation: Any) -> Any:
    inner = [a for a in get_args(annotation) if a is not type(None)]
    if get_origin(annotation) in (Union, UnionType) and len(inner) == 1:
        return inner[0]
    return annotation


def _plain(annotation: Any) -> str:
    origin = get_origin(annotation)
    if origin is Literal:
        return "text"
    if origin is Annotated:
        return _plain(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return " or ".join(dict.fromkeys(_plain(a) for a in get_args(annotation)))
    return PLAIN.get(annotation, "table")


def _default(field: Any) -> str:
    if field.is_required():
        return "needed"
    value, kind = field.default, kind_at(field)
    if value is None or value != value:
        return "left open"
    if isinstance(value, BaseModel) or isinstance(value, tuple | dict) and not value:
        return "see its keys" if isinstance(value, BaseModel) else "none"
    if isinstance(value, tuple) and isinstance(value[0], BaseModel):
        return ", ".join(str(getattr(v, "name", v)) for v in value)
    if kind in CUSTOMARY and isinstance(value, float | int | tuple):
        values = value if isinstance(value, tuple) else (value,)
        return toml([_customary(v, kind) for v in values] if isinstance(value, tuple) else _customary(value, kind))
    return toml(value)


def _customary(value: float, kind: Any) -> Any:
    return written(customary(value, kind), kind)


def toml(value: Any) -> str:
    """A value on one line, as a TOML file has it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_bare(k)} = {toml(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else f"{value:g}"


def _bare(name: str) -> str:
    return name if re.fullmatch(r"[\w-]+", name) else json.dumps(name)


# --- A JSON Schema (draft 2020-12) of study files, so that editors complete and check keys while one types.


Schema = dict[str, Any]
FREE = {"aims", "parameters", "change", "vary", "sweeps", "soil", "type", "loss", "table", "values", "correlation",
        "two_port"}  # fmt: skip
"""keys that may be written in several ways: described, not constrained"""


def schema() -> Schema:
    """The schema of a study file."""
    properties: Schema = {"study": _table(StudySpec, needed=False)}
    properties |= {name: _field(name, field) for name, field in fields_of(Setup)}
    properties |= {name: _table(want_named(name).options, needed=False) for name in WANTS}
    properties["sweep"] = {"type": "object", "description": "values of keys of the set-up to compute, by dotted name"}
    properties["cases"] = {"type": "object", "description": "cases row by row: lists by dotted name, or a file"}
    properties["sample"] = {"type": "object", "description": "cases drawn at random: count, seed, laws by dotted name"}
    properties["variant"] = {
        "type": "array",
        "description": "whole set-ups to compare",
        "items": {"type": "object", "required": ["name"], "properties": {"name": {"type": "string"}}},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "tautwire study",
        "type": "object",
        "properties": properties,
    }


def _table(part: type[BaseModel], needed: bool = True) -> Schema:
    fields = dict(fields_of(part))
    must = [name for name, field in fields.items() if field.is_required()] if needed else []
    schema: Schema = {
        "type": "object",
        "properties": {name: _field(name, field) for name, field in fields.items()},
        "additionalProperties": False,
    }
    return schema | ({"required": must} if must else {})


def _field(name: str, field: Any) -> Schema:
    extra: Any = field.json_schema_extra or {}
    words = [field.description or "", extra.get("allowed", "")]
    about: Schema = {"description": ". ".join(w for w in words if w), "examples": field.examples or []}
    if name in FREE or is_dict(field.annotation):
        return about
    return about | _type(field.annotation, kind_at(field), name)


def _type(annotation: Any, kind: Kind | None, name: str) -> Schema:
    part = part_of(annotation)
    if get_origin(annotation) is tuple or any(get_origin(a) is tuple for a in get_args(annotation)):
        inner = annotation if get_origin(annotation) is tuple else get_args(annotation)[0]
        items = _table(part, needed=name != "counterpoise") if part else _one(get_args(inner)[0], kind)
        return {"type": "array", "items": items}
    return _table(part, needed=False) if part else _one(annotation, kind)


def _one(annotation: Any, kind: Kind | None) -> Schema:
    if kind is not None and any(a is str or get_origin(a) is Literal for a in get_args(annotation)):
        return {"type": ["string", "number"]}
    if kind is not None:
        written = {"type": "string", "pattern": kind.pattern}
        return {"anyOf": [written, {"const": 0} if kind.unit else {"type": "number"}]}
    choices = [c for a in (annotation, *get_args(annotation)) if get_origin(a) is Literal for c in get_args(a)]
    if choices:
        return {"enum": choices}
    types = list(_types(annotation))
    return {"type": types[0] if len(types) == 1 else types} if types else {}


def _types(annotation: Any) -> Iterator[str]:
    names = {str: "string", bool: "boolean", int: "integer", float: "number"}
    if annotation in names:
        yield names[annotation]
    for inner in get_args(annotation):
        yield from (_types(inner) if not isinstance(inner, str) else ())
