"""Tables of a study file as pydantic models, and their first fault as one clear line."""

from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from ..model.errors import InputError, did_you_mean


class Part(BaseModel):
    """A table of a study file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


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
        raise InputError(name, repr(table), f"a table [{name}]")
    return dict(table)


def _first_fault(part: type[BaseModel], error: ValidationError, prefix: str) -> InputError:
    # an unknown key explains more than the missing one it was meant to be
    faults = sorted(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
    fault = faults[0]
    places = [str(p + 1) if isinstance(p, int) else p for p in fault["loc"]]
    field = prefix + ".".join(p for p in places if p not in ("str", "SoilSpec", "CableSpec"))
    cause = (fault.get("ctx") or {}).get("error")
    if isinstance(cause, InputError):
        return InputError(field, cause.value, cause.allowed)
    if fault["type"] == "extra_forbidden":
        known = sorted(fields_at(part, fault["loc"][:-1]))
        told = f"unknown key, allowed here: {', '.join(known)}{did_you_mean(str(fault['loc'][-1]), known)}"
        return InputError(field, repr(fault["input"]), told)
    if fault["type"] == "missing":
        return InputError(field, "nothing", "this key is needed")
    return InputError(field, repr(fault["input"]), fault["msg"].lower())


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
