"""A JSON Schema (draft 2020-12) of study files, so that editors complete and check keys while one types."""

from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from tautwire.studies.manual.keys import fields_of, is_dict, kind_at
from tautwire.studies.study.parts import part_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import StudySpec
from tautwire.studies.study.units import Kind
from tautwire.studies.wants.registry import WANTS, want_named

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
