"""Every dip with the mode it belongs to, and the one dip of a band that is followed along the axes of a study.

A dip's mode is the number of half-waves of current on the wire there (model/solve/half_waves.py). One mode may have two
dips, where the return conductor resonates too. Which dip is the band's:

* A dip belongs to the band it is nearest to (reading.territory), so that no two bands are given the same one.
* Of one set-up by itself, the band's dip is the deepest inside the band, else the nearest to it.
* Along axes, one dip is followed from case to case: neighbours are the same dip if each is the other's nearest, by
  half-waves and frequency together; the nearest pairs are joined first. Of the dips so followed the band's is the one
  with the most cases in which it is there plus those in which the rule above takes it. Where it is gone the cells are
  empty: the other dips are in the table "all_dips". Variants are not followed: they are other antennas.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from tautwire.model.operating.bands import Band, bands
from tautwire.model.solve.half_waves import half_waves
from tautwire.studies.study.result import Result, Rows
from tautwire.studies.wants.dips.reading import AT_DIP, BandReading, band_columns, territory

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.model.solve.solver import Solver

APART = 0.3  # half-waves and (doubled) relative frequency together, from which two dips are not the same one
SAME = 1e-3  # of the frequency: one dip seen from two bands' windows

Dip = tuple[tuple[int, ...], int]
"""(place of the case on the axes, row of the table "all_dips")"""


def dip_rows(band: Band, reading: BandReading, solver: Solver) -> list[dict[str, Any]]:
    """Rows of "all_dips" that one band's window shows, by rising frequency: each dip with its band and mode."""
    rows = []
    for dip in reading.all:
        waves = half_waves(solver.solve(dip["f_mhz"] * 1e6))
        name = band.name if _holds(band, dip) else _owner(dip)
        rows.append({"band": name, "mode": max(round(waves), 1), "half_waves": waves, **dip})
    return rows


def _holds(band: Band, dip: Mapping[str, Any]) -> bool:
    low, high = territory(band)
    return bool(low <= dip["f_mhz"] * 1e6 < high)


def _owner(dip: Mapping[str, Any]) -> str:
    """The name of the band of the plan in whose territory a dip lies."""
    return next((band.name for band in bands() if _holds(band, dip)), "")


def once(rows: Rows, columns: list[str]) -> Rows:
    """The rows of all dips with each dip of a case once, where the windows of two bands show it. columns: the axes."""
    keep: list[int] = []
    seen: set[Any] = set()
    for i in sorted(range(len(rows)), key=lambda i: not rows[i]["chosen"]):
        row = rows[i]
        place = row["band"], *(str(row[c]) for c in columns)
        step = round(math.log(row["f_mhz"]) / SAME)
        if not seen & {(place, step + k) for k in (-1, 0, 1)}:
            keep.append(i)
        seen.add((place, step))
    return [rows[i] for i in sorted(keep)]


def follow(result: Result) -> None:
    """Numbers the dips followed along the axes (column "followed") and puts the band's into the table "dips"."""
    if not (every := result.rows("all_dips")) or "dips" not in result.frames:
        return
    result.frames["all_dips"] = [row | {"followed": 0} for row in once(every, result.axis_columns)]
    axes = [a for a in result.study.axes if a.path != "variant"]
    if not axes:
        return
    table, dips = result.frames["all_dips"], result.frames["dips"]
    columns = result.axis_columns
    order = {a.column: {str(v): i for i, v in enumerate(a.labels)} for a in result.study.axes}
    place = {r: tuple(order[c][str(table.at[r, c])] for c in columns) for r in table.index}
    fixed = [k for k, a in enumerate(result.study.axes) if a.path == "variant"]
    rows_of: dict[tuple[Any, ...], int] = {}
    for r in dips.index:
        rows_of[(dips.at[r, "band"], *(order[c][str(dips.at[r, c])] for c in columns))] = r
    for _, part in table.groupby([table["band"], *(table[columns[k]].map(str) for k in fixed)], sort=False):
        lines = _lines(part, {r: place[r] for r in part.index})
        for number, line in enumerate(lines, 1):
            table.loc[line, "followed"] = number
        band = part["band"].iloc[0]
        table.loc[part.index, "chosen"] = False
        table.loc[lines[0], "chosen"] = True
        for key, r in rows_of.items():
            if key[0] == band and [key[1 + k] for k in fixed] == [place[part.index[0]][k] for k in fixed]:
                _write(dips, r, next((table.loc[i] for i in lines[0] if place[i] == key[1:]), None))


def _write(dips: pd.DataFrame, row: int, dip: pd.Series[Any] | None) -> None:
    values = dict.fromkeys(AT_DIP.values(), math.nan) if dip is None else band_columns(dip.to_dict())
    for column, value in values.items():
        dips.at[row, column] = value


def _lines(part: pd.DataFrame, place: dict[int, tuple[int, ...]]) -> list[list[int]]:
    """Rows of one band's dips parted into followed ones, the band's first: nearest pairs are joined first, and no
    line has two dips of one case."""
    at: dict[tuple[int, ...], list[int]] = {}
    for r, where in place.items():
        at.setdefault(where, []).append(r)
    waves, mhz = part["half_waves"].to_dict(), part["f_mhz"].to_dict()
    pairs = [
        pair for where, here in at.items() for beside in _neighbours(where, at)
        for pair in _pairs(here, at[beside], waves, mhz)
    ]  # fmt: skip
    line_of = {r: {r} for r in place}
    for _, one, other in sorted(pairs):
        a, b = line_of[one], line_of[other]
        if a is not b and not {place[r] for r in a} & {place[r] for r in b}:
            a |= b
            line_of |= dict.fromkeys(b, a)
    lines = {id(line): sorted(line, key=lambda r: place[r]) for line in line_of.values()}
    chosen = part["chosen"].to_dict()
    return sorted(lines.values(), key=lambda line: -len(line) - sum(bool(chosen[r]) for r in line))


def _neighbours(where: tuple[int, ...], at: dict[tuple[int, ...], list[int]]) -> Iterator[tuple[int, ...]]:
    for k in range(len(where)):
        beside = (*where[:k], where[k] + 1, *where[k + 1 :])
        if beside in at:
            yield beside


def _pairs(
    here: list[int], there: list[int], waves: dict[int, float], mhz: dict[int, float]
) -> Iterator[tuple[float, int, int]]:
    """Dips of two neighbouring cases that are each other's nearest and near enough: how far apart, and which."""

    def apart(one: int, other: int) -> float:
        return abs(waves[one] - waves[other]) + 2 * abs(math.log(mhz[one] / mhz[other]))

    for one, other in itertools.product(here, there):
        gap = apart(one, other)
        if gap < APART and gap <= min(apart(one, o) for o in there) and gap <= min(apart(o, other) for o in here):
            yield gap, one, other
