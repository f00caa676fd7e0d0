"""Cases that are listed instead of multiplied: a table of values taken row by row, and samples drawn from ranges.

[cases]   "antenna.length" = ["19.8 m", "20.1 m"], "antenna.slope" = ["20 deg", "35 deg"]: two cases;
          or file = "my.csv", a column a key, a row a case, with a column "name" if wanted
[sample]  count = 64, seed = 1, and keys: {from, to} evenly, {mean, sd} by a normal law, or a list of words

Both become variants, with their values in the table "cases".
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import scipy

from tautwire.model.errors import InputError
from tautwire.studies.study.parts import Part, entry, read_part
from tautwire.studies.study.paths import flat
from tautwire.studies.study.quantities import CUSTOMARY, written
from tautwire.studies.study.raw import Raw, changed, kind_of

TABLES = ("cases", "sample")
ENDS = ("from", "to", "mean", "sd")  # keys of a law
MOST_ROWS = 2000
MOST_CHARACTERS = 5_000_000  # of a table's file
WIDEST = 3.0  # standard deviations to which a normal law is cut off


class Sample(Part):
    """[sample]: how many cases are drawn; every other key in it is a dotted key of the set-up."""

    count: int = entry("cases to draw, as a Latin hypercube", 64, "2 to 2000", default=64)
    seed: int = entry("another seed draws other cases, the same one the same", 1, "0 or more", default=1)


def located(tables: dict[str, Any], folder: Path) -> dict[str, Any]:
    """The tables with the rows of [cases] file in place of its name, which is taken from `folder`."""
    cases = tables.get("cases")
    if not isinstance(cases, Mapping) or "file" not in cases:
        return tables
    if len(cases) > 1:
        raise InputError("cases.file", repr(cases["file"]), "alone in [cases], or the values written there")
    return {**tables, "cases": _of_file(folder / str(cases["file"]))}


def _of_file(path: Path) -> dict[str, list[str]]:
    try:
        text = path.read_text(encoding="utf-8-sig") if path.is_file() else _no_file(path)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("cases.file", str(path), f"a readable table ({error})") from None
    if len(text) > MOST_CHARACTERS:
        raise InputError("cases.file", str(path), f"a table of at most {MOST_CHARACTERS:,} characters")
    mark = ";" if ";" in text.partition("\n")[0] else ","
    try:
        head, *rows = [row for row in csv.reader(io.StringIO(text), delimiter=mark) if any(row)] or [[]]
    except csv.Error as error:  # a cell longer than it takes
        raise InputError("cases.file", str(path), f"a table with cells of at most 1,000 characters ({error})") from None
    twice = [key for key in head if [k.strip() for k in head].count(key.strip()) > 1]
    if twice:
        raise InputError("cases.file", f"{path}, column {twice[0].strip()}", "each key in one column only")
    if not rows or not all(key.strip() for key in head):
        raise InputError("cases.file", str(path), "a row of keys such as antenna.length, then a row a case")
    for number, row in enumerate(rows, 1):
        if len(row) != len(head):
            raise InputError("cases.file", f"{path}, row {number}", f"{len(head)} cells as in its first row")
    return {key.strip(): [row[i].strip() for row in rows] for i, key in enumerate(head)}


def _no_file(path: Path) -> str:
    raise OSError("no such file" if not path.exists() else "it is no plain file")


def listed(raw: Mapping[str, Any], setup: Raw) -> tuple[list[dict[str, Any]], dict[str, list[Any]]]:
    """What [cases] or [sample] ask for: [[variant]] tables of the set-up, and the texts of each key; empty for neither.

    Raises InputError.
    """
    asked = [name for name in TABLES if raw.get(name)]
    if not asked:
        return [], {}
    table = raw[asked[0]]
    if not isinstance(table, Mapping):
        raise InputError(asked[0], repr(table), f"a table [{asked[0]}]")
    if len(asked) > 1 or raw.get("variant"):
        raise InputError(asked[0], "with other variants", "only one of [cases], [sample] and [[variant]]")
    values = _sampled(table) if asked[0] == "sample" else _rows(table)
    count = len(next(iter(values.values())))
    word = "sample" if asked[0] == "sample" else "row"
    names = values.pop("name", None) or [f"{word} {i}" for i in range(1, count + 1)]
    return [_variant(setup, values, i, names[i]) for i in range(count)], values


def _variant(setup: Raw, values: Mapping[str, Sequence[Any]], i: int, name: str) -> dict[str, Any]:
    """The set-up's tables that differ in row i; an empty cell leaves the set-up's value."""
    new = setup
    for path, texts in values.items():
        if texts[i] != "":
            new = changed(new, path, texts[i])
    return {"name": name, **{table: new[table] for table in new if new[table] != setup.get(table)}}


def _rows(table: Mapping[str, Any]) -> dict[str, list[Any]]:
    values = flat(table, ENDS, "cases")
    for path, texts in values.items():
        if not isinstance(texts, list) or not 1 <= len(texts) <= MOST_ROWS:
            raise InputError(f"cases.{path}", repr(texts)[:60], f"a list of 1 to {MOST_ROWS} values")
        first = next(iter(values))
        if len(texts) != len(values[first]):
            raise InputError(f"cases.{path}", f"{len(texts)} values", f"{len(values[first])}, as {first} has")
        if path != "name":
            kind_of(path)
    return values


def _sampled(table: Mapping[str, Any]) -> dict[str, list[Any]]:
    """Texts of each key, drawn as a Latin hypercube (scipy.stats.qmc)."""
    own = {k: v for k, v in table.items() if k in Sample.model_fields}
    spec: Sample = read_part(Sample, own, "sample.")
    laws = flat({k: v for k, v in table.items() if k not in own}, ENDS, "sample")
    if not 2 <= spec.count <= MOST_ROWS:
        raise InputError("sample.count", spec.count, f"2 to {MOST_ROWS}")
    if spec.seed < 0:
        raise InputError("sample.seed", spec.seed, "0 or more")
    if not laws:
        raise InputError("sample", "no key", 'a key such as "antenna.length" = {from = "19 m", to = "20 m"}')
    points = scipy.stats.qmc.LatinHypercube(len(laws), rng=spec.seed).random(spec.count)
    return {path: _drawn(path, law, points[:, i]) for i, (path, law) in enumerate(laws.items())}


def _drawn(path: str, law: Any, points: np.ndarray) -> list[Any]:
    field, kind = f"sample.{path}", kind_of(path)
    if kind is None:
        if not isinstance(law, list) or not law:
            raise InputError(field, repr(law), "a list of words to draw from")
        return [law[int(p * len(law))] for p in points]
    ends = {name: kind(text, f"{field}.{name}") for name, text in law.items()} if isinstance(law, Mapping) else {}
    if set(ends) == {"from", "to"} and ends["from"] < ends["to"]:
        drawn = ends["from"] + (ends["to"] - ends["from"]) * points
    elif set(ends) == {"mean", "sd"} and ends["sd"] > 0:
        drawn = ends["mean"] + ends["sd"] * np.clip(scipy.special.ndtri(points), -WIDEST, WIDEST)
    else:
        raise InputError(field, repr(law), '{from = "19 m", to = "20 m"} rising, or {mean = "19.8 m", sd = "0.1 m"}')
    return [written(float(x) * CUSTOMARY[kind].factor, kind, 7) for x in drawn]
