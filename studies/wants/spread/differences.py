"""How sure the difference of two cases is: from the same draws of what is uncertain in both.

A wire's jacket, its transformer and the soil move two slopes of one wire alike, so their difference is much surer than
either dip. Draw by draw, the samples of two cases have the same values off by as many standard deviations.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Real

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.wants.spread.sampling import Samples
    from tautwire.studies.wants.want import Rows

DRAWS = "spread_draws"  # table of the samples, which `compare` makes into the table "differences"
FEW = 12  # cases, each compared with each; of more, each with the first, and the lowest dip with the highest
SAME_DIP = 5e-4  # of the frequency: a dip told elsewhere that is no farther off is the one these samples are of
UNSURE = (
    "dip_give_khz", "dip_minus_khz", "dip_plus_khz", "dip_median_mhz", "dip_low_mhz", "dip_high_mhz", "dip_swr_low",
    "dip_swr_high", "swr_worst_low", "swr_worst_high", "swr_worst_low_68", "swr_worst_high_68", "swr_worst_median",
    "chance_under_limit", "largest", "largest_khz", "measure", "measured_give_khz",
)  # fmt: skip
"""Columns of "spread" that are empty where the give or take is withheld."""


def draws_row(band: str, base: Samples, samples: Samples) -> dict[str, Any]:
    """A row of the samples: dip (Hz) and highest SWR of the set-up as it is, then of each draw."""
    dips = np.concatenate([base.dip, samples.dip])
    worst = np.concatenate([base.worst, samples.worst])
    return {"band": band, "dip_hz": np.round(dips).tolist(), "worst": np.round(worst, 5).tolist()}


@dataclass(frozen=True, eq=False)
class Drawn:
    """A case's samples in one band. name: in words. dip (m,): Hz. worst (m,). own: both of the set-up as it is."""

    name: str
    band: str
    dip: Real
    worst: Real
    own: tuple[float, float]

    @classmethod
    def of(cls, name: str, row: Mapping[str, Any]) -> Drawn:
        """From a row of `draws_row`."""
        dip, worst = np.array(row["dip_hz"], dtype=float), np.array(row["worst"], dtype=float)
        return cls(name, row["band"], dip[1:], worst[1:], (float(dip[0]), float(worst[0])))


def difference(a: Drawn, b: Drawn) -> dict[str, Any]:
    """A row of "differences": b less a; see columns.py. Draws without a dip in either are left out of the dips'."""
    from tautwire.studies.wants.spread.intervals import held  # with the solver, which stored answers spare

    row: dict[str, Any] = {"band": a.band, "case_a": a.name, "case_b": b.name}
    parts = (("dip_difference", "_khz", b.dip - a.dip, b.own[0] - a.own[0], 1e-3),
             ("swr_difference", "", b.worst - a.worst, b.own[1] - a.own[1], 1.0))  # fmt: skip
    for name, unit, values, own, factor in parts:
        row[f"{name}{unit}"] = own * factor
        for percent in (68, 95):
            low, high = held(values, percent, own)
            row[f"{name}_low_{percent}{unit}"], row[f"{name}_high_{percent}{unit}"] = low * factor, high * factor
        known = values[np.isfinite(values)]
        ahead = float(np.mean(known > 0) + np.mean(known == 0) / 2) if len(known) else math.nan
        row["dip_lower_share" if unit else "swr_lower_share"] = ahead
    return row


def differences(drawn: Sequence[Drawn]) -> Rows:
    """Rows for the cases of one band, in their order."""
    return [difference(drawn[i], drawn[j]) for i, j in _pairs(drawn)]


def _pairs(drawn: Sequence[Drawn]) -> Iterator[tuple[int, int]]:
    if len(drawn) <= FEW:
        yield from itertools.combinations(range(len(drawn)), 2)
        return
    yield from ((0, j) for j in range(1, len(drawn)))
    dips = np.array([d.own[0] for d in drawn])
    if np.isfinite(dips).any():
        lowest, highest = int(np.nanargmin(dips)), int(np.nanargmax(dips))
        if lowest and highest and lowest != highest:
            yield min(lowest, highest), max(lowest, highest)


def withhold(result: Result) -> None:
    """Empties the give or take of bands that the table "quality" marks, and of dips that are not the ones told, with
    the reason in the column "withheld"."""
    if not (rows := result.rows("spread")):
        return
    marks = {result.place(row): row["marks"] for row in result.rows("quality")}
    told = {result.place(row): row.get("dip_mhz") for row in result.rows("dips")}
    result.frames["spread"] = [_withheld(row, marks.get(key := result.place(row), ""), told.get(key)) for row in rows]


def _withheld(row: Mapping[str, Any], marks: str, told: float | None) -> dict[str, Any]:
    why = f"outside the model's validity: {marks}" if marks else ""
    why = row.get("withheld") or why
    if not why and told is not None and math.isfinite(told) and not abs(told - row["dip_mhz"]) <= SAME_DIP * told:
        why = "the dip shown is one followed from other cases, the samples are of the band's deepest or nearest"
    if not why:
        return dict(row)
    return {**row, **{k: "" if isinstance(row[k], str) else math.nan for k in UNSURE if k in row}, "withheld": why}


def compare(result: Result) -> None:
    """Makes the samples of all cases into the table "differences", of those whose give or take is not withheld."""
    rows = result.rows(DRAWS)
    if DRAWS in result.frames:
        del result.frames[DRAWS]
    sure = {result.place(row) for row in result.rows("spread") if not row.get("withheld")}
    by_band: dict[str, list[Drawn]] = {}
    for row in rows:
        if result.place(row) in sure:
            name = result.study.words_of({c: row[c] for c in result.axis_columns if c in row})
            by_band.setdefault(row["band"], []).append(Drawn.of(name, row))
    if found := [row for drawn in by_band.values() for row in differences(drawn)]:
        result.frames["differences"] = found
