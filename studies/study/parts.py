"""Tables of a study file as pydantic models, and their first fault as one clear line."""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tautwire.model.errors import InputError, did_you_mean

BRANCHES = ("str", "int", "SoilSpec", "layers", "CableSpec")  # pydantic's names for the ways of writing one value;
# others have a bracket in them, such as "function-before[check(), float]"
WORDS = {
    "model_type": "a table",
    "dict_type": "a table",
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "finite_number": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}


ELSEWHERE = {  # keys that people expect and that are something else here
    "radio.mode": "give duty instead, the share of full power while you transmit: cautiously, and from memory, SSB 0.2 "
    "plain and 0.5 with speech processing, CW 0.5, FM, RTTY and data 1; times the share of time that you transmit",
    "wire.gauge": "write awg = 20",
    "antenna.angle": "write slope, or slope_up and slope_down",
    "antenna.height_feed": "write feed_height",
}

HIDDEN = " contents"  # alias of a field that no study file can have; the study itself fills it


class Part(BaseModel):
    """A table of a study file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)  # built when first read


def entry(meaning: str, example: Any, allowed: str = "", default: Any = None, **more: Any) -> Any:
    """A key of a table, with what the manual, `tautwire explain` and the schema say about it.

    meaning: what it is. example: as written in a study file. allowed: its range or choices. default: in SI, or ... if
    the key is needed; None where leaving it out leaves it open. more: for pydantic; `written` is its name in the file
    where that differs.
    """
    extra = {"allowed": allowed, "written": more.pop("written", "")}
    return Field(default, description=meaning, examples=[example], json_schema_extra=extra, **more)


def read_part(part: type[Any], raw: Mapping[str, Any], prefix: str = "") -> Any:
    """`raw` checked by a Part; its first fault as an InputError."""
    try:
        return part.model_validate(raw)
    except ValidationError as error:
        raise _first_fault(part, error, prefix) from None


def table_at(raw: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A copy of the table `name` of raw, empty if it has none. Raises InputError if something else stands there."""
    table = raw.get(name)
    if table is None:
        return {}
    if not isinstance(table, Mapping):
        raise InputError(name, repr(table), "a table")
    return dict(table)


@contextmanager
def named_as_written(**names: str) -> Iterator[None]:
    """The model's field names in an InputError as the study file has them; names: start in the model -> in the file,
    with __ for a dot."""
    try:
        yield
    except InputError as error:
        for model, written in names.items():
            start = model.replace("__", ".")
            if error.field.startswith(start):
                field = written + error.field.removeprefix(start)
                raise InputError(field, error.value, error.allowed) from None
        raise


def _first_fault(part: type[BaseModel], error: ValidationError, prefix: str) -> InputError:
    # an unknown key explains more than the missing one it was meant to be
    faults = sorted(_told(error), key=lambda e: e["type"] != "extra_forbidden")
    fault = faults[0]
    places = [str(p + 1) if isinstance(p, int) else p for p in fault["loc"]]
    field = (prefix + ".".join(p for p in places if not _is_branch(p))).rstrip(".")
    cause = (fault.get("ctx") or {}).get("error")
    if isinstance(cause, InputError):
        return InputError(field, cause.value, cause.allowed)
    if fault["type"] == "extra_forbidden":
        known = sorted(n for n, f in fields_at(part, fault["loc"][:-1]).items() if f.validation_alias != HIDDEN)
        hint = f"; {ELSEWHERE[field]}" if field in ELSEWHERE else did_you_mean(str(fault["loc"][-1]), known)
        allowed = f"unknown key, allowed here: {', '.join(known)}{hint}"
        return InputError(field, repr(fault["input"]), allowed)
    if fault["type"] == "missing":
        return InputError(field, "nothing", "this key is needed")
    or_table = any(e["type"] == "model_type" and e["loc"][:-1] == fault["loc"][:-1] for e in faults[1:])
    return InputError(field, repr(fault["input"]), _allowed(part, fault, field) + (", or a table" if or_table else ""))


def _is_branch(step: int | str) -> bool:
    return step in BRANCHES or (isinstance(step, str) and "[" in step)


def _told(error: ValidationError) -> list[Mapping[str, Any]]:
    """The faults, without those that a table is no text where a table is allowed too."""
    faults = error.errors()
    return [
        e
        for e in faults
        if not (
            e["type"] == "string_type"
            and isinstance(e["input"], Mapping)
            and e["loc"][-1:] == ("str",)
            and any(o is not e and o["loc"][: len(e["loc"]) - 1] == e["loc"][:-1] for o in faults)
        )
    ]


def _allowed(part: type[BaseModel], fault: Mapping[str, Any], field: str) -> str:
    """What is right where pydantic found a fault, in words for those who write study files."""
    kind, given = fault["type"], fault["input"]
    if kind in ("tuple_type", "list_type"):
        path = tuple(p for p in fault["loc"] if not _is_branch(p))
        annotation = fields_at(part, path[:-1])[str(path[-1])].annotation if isinstance(path[-1], str) else None
        if part_of(annotation):
            return f"write [[{field}]]: there may be several"
        count = len(get_args(annotation))
        if count and get_args(annotation)[-1] is not ...:
            return f"a list of {count} values"
        items = [word.strip() for word in given.split(",")] if isinstance(given, str) else []
        return f"a list, such as {json.dumps(items)}" if items else "a list in brackets"
    if kind == "literal_error":
        return f"one of {(fault.get('ctx') or {})['expected']}"
    return WORDS.get(kind, fault["msg"].lower())


def part_of(annotation: Any) -> type[BaseModel] | None:
    """The Part inside an annotation such as `CoaxSpec | None` or `tuple[NearbySpec, ...]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((p for a in get_args(annotation) if (p := part_of(a))), None)


def fields_at(part: type[BaseModel], path: tuple[int | str, ...]) -> dict[str, Any]:
    for step in path:
        if isinstance(step, str) and step in part.model_fields:
            part = part_of(part.model_fields[step].annotation) or part
    return part.model_fields
