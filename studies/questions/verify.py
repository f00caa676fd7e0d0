"""Whether a folder of results stands: a sample of its cases solved again, versions and files compared."""

from __future__ import annotations

import json
import math
import random
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.reports.answers import making
from tautwire.studies.running.runner import joined, solve_case
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import STUDY, content, load_tables, read_manifest, sha
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.dips.want import sweeps_of

WRITTEN = 9
"""digits of the numbers in tables"""
STANDS = 4
"""digits of a column's largest number, from which it stands: what compilers and libraries leave of a dip is more"""
ACROSS = ("dips", "spread", "spread_parts", "cases")
"""tables that are finished across all cases, which a sample cannot do; all_dips and sweeps have what is in them"""


@dataclass(frozen=True)
class Checked:
    """A table of the folder beside the same rows solved again. digits: of the worst column, of its largest number; 0 if
    the rows are not the same."""

    table: str
    numbers: int
    digits: int
    column: str


@dataclass(frozen=True)
class Verified:
    """tables: what was compared. cases: words of those solved again, of so many. failed: those that could not be.

    versions: what differs from what made the folder, (name, then, now). edited, missing: files of the manifest.
    """

    tables: list[Checked]
    cases: list[str]
    of: int
    failed: list[str]
    versions: list[tuple[str, str, str]]
    edited: list[str]
    missing: list[str]

    @property
    def stands(self) -> bool:
        """Whether all tables that were compared stand, and nothing was edited."""
        return bool(self.tables) and not self.edited and not self.failed and all(
            t.digits >= STANDS for t in self.tables
        )  # fmt: skip


def verify(
    folder: Path, sample: int = 3, seed: int = 1, progress: Callable[[int, int], None] | None = None
) -> Verified:
    """Solve cases of a results folder again, as new, and compare them with its tables.

    folder: of `tautwire run`. sample: how many cases at most, drawn with `seed`. Raises InputError.
    """
    manifest = read_manifest(folder)
    if manifest is None or "run" not in manifest.parts:
        raise InputError("FOLDER", str(folder), "a folder of results, with the provenance.json that 'run' wrote there")
    study = read_study(load_tables(folder / STUDY), manifest.head["study"])
    cases = study.cases()
    picked = sorted(random.Random(seed).sample(range(len(cases)), min(sample, len(cases))))
    kept, failed = _tables(folder, manifest.digests()), []
    seen: dict[str, Checked] = {}
    with tempfile.TemporaryDirectory() as name:
        for done, case in enumerate(cases[i] for i in picked):
            if progress:
                progress(done, len(picked))
            try:
                frames = joined(study, case, solve_case(case, study, Store(Path(name))))
            except (InputError, SolveError) as error:
                failed.append(f"{study.words_of(case.labels) or 'the set-up'}: {error}")
                continue
            if frames.get("sweeps"):
                frames["sweeps"] = sweeps_of(study, [{**case.labels, **row} for row in frames["sweeps"]]).to_dict(
                    "records"
                )
            for table in [t for t in frames if t in kept and frames[t]]:
                found = _compared(table, kept[table], frames[table], case, study)
                seen[table] = _worse(seen.get(table), found)
    words = [study.words_of(cases[i].labels) or "the set-up" for i in picked]
    data = {name: content(folder / name) for name in manifest.digests()}
    missing = [name for name, there in data.items() if there is None]
    edited = [n for n, there in data.items() if there is not None and sha(there) not in manifest.digests()[n]]
    versions = _versions(manifest.parts["run"], study)
    return Verified([*seen.values()], words, len(cases), failed, versions, edited, missing)


def _tables(folder: Path, names: Mapping[str, Any]) -> dict[str, pd.DataFrame]:
    """The tables that are there and can be compared."""
    stems = {Path(name).stem for name in names if name.endswith(".csv")} - {*ACROSS}
    paths = [folder / f"{stem}.csv" for stem in sorted(stems)]
    try:
        return {p.stem: pd.read_csv(p, keep_default_na=False, na_values=[""]) for p in paths if content(p)}
    except ValueError as error:
        raise InputError("FOLDER", str(folder), f"tables that can be read ({error})") from None


def _compared(table: str, frame: pd.DataFrame, rows: Sequence[Mapping[str, Any]], case: Case, study: Study) -> Checked:
    """A case's rows of a table in the folder, and as solved again."""
    for column, value in case.labels.items():
        if column in frame:
            same = np.isclose(frame[column], value, rtol=1e-7) if _number(value) else frame[column] == str(value)
            frame = frame[same]
    new = pd.DataFrame(list(rows))
    if len(frame) != len(new):
        return Checked(table, 0, 0, f"{len(frame)} rows, now {len(new)}")
    worst, numbers, at = float(WRITTEN), 0, ""
    for column in [c for c in new if c in frame and pd.api.types.is_numeric_dtype(new[c])]:
        then, now = (np.asarray(pd.to_numeric(f[column], errors="coerce"), dtype=float) for f in (frame, new))
        finite = np.isfinite(then) & np.isfinite(now)
        numbers += len(then)
        if np.any(np.isfinite(then) != np.isfinite(now)):
            return Checked(table, numbers, 0, f"{column}: cells that are blank now, or were")
        if not finite.any() or not (largest := float(np.abs(then[finite]).max())):
            continue
        off = float(np.abs(now - then)[finite].max()) / largest
        digits = min(-math.log10(2 * off), WRITTEN) if off else WRITTEN
        if digits < worst:
            worst, at = digits, str(column)
    return Checked(table, numbers, max(int(worst), 0), at)


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _worse(one: Checked | None, other: Checked) -> Checked:
    if one is None:
        return other
    worst = min(one, other, key=lambda c: c.digits)
    return Checked(one.table, one.numbers + other.numbers, worst.digits, worst.column)


def _versions(part: Mapping[str, Any], study: Study) -> list[tuple[str, str, str]]:
    """What made the folder, where it is not what is here."""
    now = making(study, "")
    given = part.get("versions")
    then = given if isinstance(given, dict) else {}
    pairs = {name: (str(then.get(name, "not named")), version) for name, version in now["versions"].items()}
    pairs |= {name: (str(part.get(name, "not named")), str(now[name])) for name in ("code", "commit", "platform")}
    return [(name, *pair) for name, pair in pairs.items() if pair[0] != pair[1]]


def as_json(found: Verified) -> str:
    """For programs."""
    facts = {**vars(found), "stands": found.stands, "tables": [vars(table) for table in found.tables]}
    return json.dumps(facts, indent=2)
