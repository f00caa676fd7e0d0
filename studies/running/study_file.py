"""A study file, read and checked: every case is built once before any is computed.

[study]     name, question, bands, region, want, swr_threshold
[sweep]     "antenna.slope" = {from = "15 deg", to = "60 deg", step = "5 deg"}, or a list; several axes multiply
[[variant]] name = "sloper", and tables that replace the set-up's tables of the same name
[cases], [sample]   cases row by row, or drawn (study/study.py)
the rest    the set-up (study/setup.py)
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import band_named
from tautwire.model.wires.mesh import longest_segments
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.parts import as_written, check_name, check_plain, flat, read_part, table_at, without_numbers
from tautwire.studies.study.raw import Raw, changed, kind_of, table_value
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import TABLES, Axis, Study, StudySpec, listed, swept_axis
from tautwire.studies.wants.want import WANTS, want_named

MOST_CASES = 20_000
OWN_TABLES = ("study", "sweep", "variant", *TABLES)
ALONE: dict[str, Any] = {"sweep": {}, "variant": [], **{name: {} for name in TABLES}}
"""in place of these tables: the set-up alone"""


def asking(raw: Raw) -> Raw:
    """The tables of a study file that names no want, with the want that its own table asks for: of [why], of [choose]
    with something to vary, or of [fit] with sweeps, as the commands of these names do.

    >>> asking({"study": {"name": "wet"}, "why": {"moves": []}})["study"]
    {'name': 'wet', 'want': ['why']}
    """
    head = table_at(raw, "study")
    asked = {
        "why": "why" in raw,
        "choose": table_at(raw, "choose").get("vary"),
        "fit": table_at(raw, "fit").get("sweeps"),
    }
    name = next((name for name, given in asked.items() if given), None)
    return raw if name is None or "want" in head else {**raw, "study": {**head, "want": [name]}, **ALONE}


def without_cases(raw: Raw, want: str) -> Raw:
    """A study's tables without those that make cases, unless it wants `want` of every case."""
    swept = any(raw.get(name) for name in ALONE) and want not in table_at(raw, "study").get("want", ())
    return {**raw, **ALONE} if swept else raw


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
        return self[name] if name in WANTS else default

    def __reduce__(self) -> Any:
        return _restored_options, (dict(self),)


def _restored_options(parts: dict[str, Any]) -> "Options":
    options = Options({}, ())
    options.update(parts)
    return options


def read_study(raw: Mapping[str, Any], default_name: str = "study") -> Study:
    """A study from the tables of a study file. Every case is checked, none is computed.

    Parameters
    ----------
    raw : mapping
        The tables: "antenna" is needed; "study" (name, bands, want ...), "site", "wire", "counterpoise", "coax",
        "transformer", "radio" and the others have defaults; "sweep" maps dotted keys such as "antenna.slope" to lists
        of values. Quantities are texts with their units: "20.5 m", "25 deg". `tautwire new` writes a commented file.
    default_name : str
        The study's name where the "study" table has none.

    Returns
    -------
    Study
        Ready for `run`; its cases() are all combinations of the swept values.

    Raises
    ------
    InputError
        For the first fault found; the message names the key, the value, and what to write instead.

    Examples
    --------
    >>> import tautwire
    >>> study = tautwire.read_study({
    ...     "antenna": {"layout": "sloper", "length": "20.5 m"},
    ...     "coax": {"length": "5 m"},
    ...     "sweep": {"antenna.slope": {"from": "20 deg", "to": "40 deg", "step": "10 deg"}},
    ... })
    >>> [case.labels for case in study.cases()]
    [{'slope_deg': 20.0}, {'slope_deg': 30.0}, {'slope_deg': 40.0}]
    >>> tautwire.read_study({"antenna": {"layout": "sloper", "length": "20.5"}})
    Traceback (most recent call last):
    tautwire.model.errors.InputError: antenna.length = '20.5': a length with its unit, such as '20.1 m', '0.4 mm',
    '66 ft' or '66 ft 3 in'
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
    with as_written(raw):
        bands = tuple(band_named(name, region=spec.region) for name in spec.bands)
    for band in bands:
        if bands.count(band) > 1:
            raise InputError("study.bands", repr(band.name), "each band once")
    options = Options(raw, spec.want)
    setup_raw = {k: v for k, v in raw.items() if k not in (*OWN_TABLES, *WANTS)}
    items, values = listed(raw, setup_raw)
    variants = _variants(raw.get("variant") or items)
    axes: list[Axis] = []
    if variants:
        column = "setup_variant" if "shield" in spec.want else "variant"  # tables about the shield have variants too
        axes.append(Axis("variant", column, "variant", tuple(variants), None))
    sweep = raw.get("sweep") or {}
    if not isinstance(sweep, Mapping):
        raise InputError("sweep", repr(sweep), "a table of axes")
    for path, values_spec in flat(sweep, ("from", "to"), "sweep").items():
        axes.append(swept_axis(path, values_spec, {a.column for a in axes}))
    table = "sample" if raw.get("sample") else "cases"
    given = tuple(swept_axis(path, _known(setup_raw, path, texts), set(), table) for path, texts in values.items())
    study = Study(spec, setup_raw, tuple(axes), variants, bands, options, dict(raw), given)
    if study.count > MOST_CASES:
        raise InputError("sweep", f"{study.count} cases", f"at most {MOST_CASES}")
    _check_replaced(study)
    for case in study.cases():
        try:
            with as_written(case.raw):
                setup = case.setup()
                built = setup.build()
                longest_segments(built.structure, max(band.upper for band in bands), built.rules)
                setup.feed_system()
                for name in dict.fromkeys((*spec.want, *(["spread"] if "spread" in raw else []))):
                    want_named(name).check(setup, study)
        except InputError as error:
            where = study.words_of(case.labels)
            allowed = f"{error.allowed} (case {where})" if where else error.allowed
            raise InputError(error.field, error.value, allowed) from None
    return study


def _known(setup: Raw, path: str, texts: Sequence[Any]) -> list[Any]:
    """The texts of a key, an empty one as the set-up has it. Raises InputError for a number that it has not."""
    own = table_value(setup, path)
    if own is None and "" in texts and kind_of(path):
        raise InputError(f"cases.{path}", "an empty cell", "a value there, or one in the set-up")
    return [(own or "") if text == "" else text for text in texts]


def _check_replaced(study: Study) -> None:
    """Raises InputError for a value of the set-up that no case uses, as [sweep] replaces it, and that is no value."""
    first = next(iter(study.cases()))
    for axis in study.axes:
        value = None if axis.path == "variant" else table_value(study.raw, axis.path)
        if value is None:
            continue
        raw = changed(first.raw, axis.path, value)
        try:
            with as_written(raw):
                Setup.read(raw).build()
        except InputError as error:
            if without_numbers(error.field).startswith(without_numbers(axis.path)):
                allowed = f"{error.allowed}; or nothing, as [sweep] replaces it"
                raise InputError(error.field, error.value, allowed) from None


def _variants(items: Any) -> dict[str, Raw]:
    raws: dict[str, Raw] = {}
    if not isinstance(items, list):
        raise InputError("variant", repr(items), "[[variant]] tables")
    for number, item in enumerate(items, 1):
        if not isinstance(item, Mapping):
            raise InputError(f"variant.{number}", repr(item), "a [[variant]] table with a name")
        tables = dict(item)
        name = tables.pop("name", None)
        if not isinstance(name, str) or not name or name in raws:
            raise InputError(f"variant.{number}.name", repr(name), "a name that no other variant has")
        raws[check_name(name, f"variant.{number}.name")] = tables
    return raws


def load_study(path: Path | str) -> Study:
    """The study in a TOML file.

    Parameters
    ----------
    path : Path or str
        The study file. Its stem names a study that has no name.

    Returns
    -------
    Study
        Ready for `run`.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or has a fault that `read_study` would refuse.

    Examples
    --------
    >>> import tautwire
    >>> from importlib import resources
    >>> study = tautwire.load_study(resources.files("tautwire.studies") / "ready" / "slope-20m.toml")
    >>> study.name, len(study.cases())
    ('slope-20m', 10)
    """
    return replace(read_study(load_tables(Path(path)), Path(path).stem), file=str(path))
