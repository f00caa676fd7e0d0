"""Tables of a study file as pydantic models, dotted paths into them, and every fault as one clear line in the file's
own words.

Dotted paths into a set-up ("counterpoise.2.length"): what is there, a copy with another value, tables laid flat.

They serve the texts that people write (mappings and lists) and the Parts that these are read into alike. Items of a
list are counted from 1; without a number the first is meant.
"""

import json
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Annotated, Any, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from tautwire.model.errors import InputError, did_you_mean

# --- What no study file can mean, refused before anything reads it: endless nesting, huge integers, unprintable text.


DEEPEST = 12  # tables and lists within each other
LONGEST = 1000  # characters of a text or key
LARGEST = 10**15  # of an integer
UNPRINTABLE = ("Cc", "Cs")  # control characters and halves of surrogate pairs: no XML, slide or UTF-8 file holds them
QUESTION = "study.question"
SPACES = "\n\t"  # which a question over several lines has
MOST_NAME, MOST_QUESTION = 60, 200  # characters: what fits a legend and the title of a slide


def check_plain(raw: Mapping[str, Any]) -> None:
    """Raises InputError for tables deeper than 12, texts over 1000 characters or with control characters, and integers
    over 1e15, wherever they stand in a study's tables."""
    waiting: list[tuple[str, Any, int]] = [("", raw, 0)]
    while waiting:
        path, value, depth = waiting.pop()
        if depth > DEEPEST:
            raise InputError(path, "tables within tables", f"at most {DEEPEST} deep")
        if isinstance(value, str):
            _check_text(path, value)
        elif isinstance(value, int) and abs(value) > LARGEST:
            raise InputError(path, f"an integer of {value.bit_length()} bits", f"at most {LARGEST:g}")
        else:
            waiting += ((place, inner, depth + 1) for place, inner in _inside(path, value))


def _inside(path: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            place = f"{path}.{key}" if path else str(key)
            _check_text(place, str(key))
            yield place, inner
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value, 1):
            yield f"{path}.{number}", inner


def check_name(name: str, field: str = "name") -> str:
    """A name as it is, for a legend or a column. Raises InputError if it is empty or over 60 characters."""
    if not 1 <= len(name) <= MOST_NAME:
        raise InputError(field, repr(name), f"a name of 1 to {MOST_NAME} characters")
    return name


Name = Annotated[str, AfterValidator(check_name)]


def check_question(text: str) -> str:
    """A question on one line. Raises InputError if it is over 200 characters."""
    text = " ".join(text.split())
    if len(text) > MOST_QUESTION:
        raise InputError(QUESTION, f"a text of {len(text)} characters", f"at most {MOST_QUESTION}: it heads slides")
    return text


def _check_text(path: str, text: str) -> None:
    if len(text) > LONGEST:
        raise InputError(path, f"a text of {len(text)} characters", f"at most {LONGEST}")
    spaces = SPACES if path == QUESTION else ""
    bad = next((c for c in text if unicodedata.category(c) in UNPRINTABLE and c not in spaces), None)
    if bad is not None:
        raise InputError(path, repr(text), f"printable characters, without {bad!r}")


# --- Dotted paths into a set-up ("counterpoise.2.length").


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


# --- Tables of a study file as pydantic models, and their first fault as one clear line.


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


# --- Faults of the model told as the study file has them: the key as it is spelled there, the value as it was
# written.


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
