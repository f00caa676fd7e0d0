"""From SWR at every reel setting to a choice: the best turns for each segment, and the fewest stops.

How likely a stop on the reel works: the share of similar installations that it serves.

What is not known of a set-up (heights, soil, transformer: its uncertainty) moves all its curves along the frequency,
as a longer or shorter wire does. So a set-up whose dips lie 1 % off is served at a stop as this one is with 1 % of its
dips' frequency more wire or less. Read between the settings, so it is as fine as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import scipy

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.operating.reel import Stops, best_stop_each, fewest_stops, neighbour_swr
from tautwire.studies.wants.want import Rows

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


# --- How likely a stop on the reel works.


SAMPLES = 401


def chance(wire: Real, swr: Real, level: float, give: Real) -> Real:
    """Share of set-ups for which each setting serves all segments, (settings,).

    wire (settings,): m out, rising. swr (settings, segments): highest in each segment. level: SWR that counts as
    served. give (segments,): standard deviation of the dips, over their frequency.

    >>> wire, v = np.linspace(18, 22, 81), np.linspace(-1, 1, 81)
    >>> swr = 1.2 + 10 * np.abs(v)[:, None]  # 2.0 within 0.16 m of 20 m: 0.8 %
    >>> chance(wire, swr, 2.0, np.array([0.008]))[40].round(1)  # 68 % of a normal spread
    np.float64(0.7)
    """
    normal = scipy.special.ndtri((np.arange(SAMPLES) + 0.5) / SAMPLES)
    served = np.ones((len(wire), SAMPLES), dtype=bool)
    for one, sd in zip(swr.T, give, strict=True):
        like = wire[:, None] * (1 + sd * normal)
        served &= np.interp(like, wire, np.log(one)) <= np.log(level) + 1e-9
    return np.asarray(served.mean(axis=1))


def gives(spread: pd.DataFrame | None, bands: Sequence[str], column: str = "", turns: float = 0.0) -> Real | None:
    """The dips' standard deviation over their frequency on these bands, (bands,); None where it is not known.

    column, turns: where the table has a column of settings, those of this one.
    """
    if spread is None or spread.empty:
        return None
    if column in spread:
        spread = spread[spread[column] == turns]
    known = (spread["dip_give_khz"] / 1e3 / spread["dip_mhz"]).groupby(spread["band"]).median()
    found = np.array([known.get(band, np.nan) for band in bands], dtype=float)
    typical = float(np.nanmedian(known)) if known.notna().any() else np.nan
    found = np.where(np.isnan(found), typical, found)  # a range of one's own, or a band without a dip
    return found if np.isfinite(found).all() else None


# --- From SWR at every reel setting to a choice.


COLUMN = "turns_out"
JUMP = 0.04  # a dip that moves more than this fraction a turn is another dip
TUNER_COLUMNS = (
    "worst_mhz", "radio_r_ohm", "radio_x_ohm", "coax_loss_db", "coax_matched_db", "transformer_loss_db",
)  # fmt: skip


def shift_khz(turns: Real, dip_mhz: Real, mode: Real | None = None) -> Real:
    """kHz a turn at each setting, from the dips one setting either side; NaN where a dip is missing or another one.

    mode: half-waves on the wire at each dip; dips of different modes are not compared.
    """
    values = np.full(len(turns), math.nan)
    for i in range(len(turns)):
        low, high = max(i - 1, 0), min(i + 1, len(turns) - 1)
        if mode is not None and not mode[low] == mode[i] == mode[high]:
            continue
        change = (dip_mhz[high] - dip_mhz[low]) / (turns[high] - turns[low])
        if abs(change) < JUMP * abs(dip_mhz[i]):
            values[i] = change * 1e3
    return values


def finish(result: Result) -> None:
    """Adds the tables "turns" (a row a segment) and "stops" (a row a stop), and kHz a turn to "turn_dips"."""
    table = result.frames.get("turn_swr")
    if table is None or table.empty:
        return
    study = result.study
    level = threshold(study)
    others = other_columns(result)
    dips = result.frames["turn_dips"]
    dips["shift_khz_per_turn"] = math.nan
    for _, rows in parts(dips, [*others, "band"]) if len(dips) else ():
        rows = rows.sort_values(COLUMN)
        if len(rows) > 1:
            mode = rows["dip_mode"].to_numpy(float) if "dip_mode" in rows else None
            moved = shift_khz(rows[COLUMN].to_numpy(float), rows["dip_mhz"].to_numpy(float), mode)
            dips.loc[rows.index, "shift_khz_per_turn"] = moved
    spread = result.frames.get("spread")
    best: Rows = []
    stops: Rows = []
    for labels, rows in parts(table, others):
        shifts = where(dips, labels)
        one, two = _choose(rows, shifts, level, None if spread is None else where(spread, labels))
        best += [{**labels, **row} for row in one]
        stops += [{**labels, **row} for row in two]
    result.frames["turns"], result.frames["stops"] = best, stops


def threshold(study: Study) -> float:
    """The SWR below which a segment counts as served. Raises InputError if it is not above 1."""
    own = study.options["turns"].threshold
    level = study.spec.swr_threshold if own is None else own
    if not 1 < level < math.inf:
        raise InputError("turns.threshold", level, "a finite SWR above 1")
    return float(level)


def other_columns(result: Result) -> list[str]:
    """The axes besides the turns."""
    return [a.column for a in result.study.axes if a.column != COLUMN]


def parts(table: pd.DataFrame, columns: list[str]) -> Iterator[tuple[dict[str, Any], pd.DataFrame]]:
    """The table parted by the columns, each part with their values."""
    if not columns:
        yield {}, table
        return
    for _, rows in table.groupby([table[c].map(str) for c in columns], sort=False):
        yield {c: rows[c].iloc[0] for c in columns}, rows


def where(table: pd.DataFrame, labels: dict[str, Any]) -> pd.DataFrame:
    """Rows with these values."""
    for column, value in labels.items() if len(table) else ():  # an empty table has no columns
        table = table[table[column].map(str) == str(value)]
    return table


def _choose(rows: pd.DataFrame, dips: pd.DataFrame, level: float, spread: pd.DataFrame | None) -> tuple[Rows, Rows]:
    """The rows of "turns" and of "stops" for one turn table. A stop is the one of its kind that most likely works."""
    names = list(dict.fromkeys(rows["segment"]))
    matrix = rows.pivot(index=COLUMN, columns="segment", values="swr_worst")[names].sort_index()
    turns, values = matrix.index.to_numpy(float), matrix.to_numpy(float)
    metres = rows.groupby(COLUMN)["wire_m"].first()
    at, lowest = best_stop_each(values)
    beside = neighbour_swr(values, at) if len(turns) > 1 else np.full(len(at), math.nan)
    stops = fewest_stops(values, level)
    bands = [str(b) for b in rows.drop_duplicates("segment").set_index("segment").loc[names, "band"]]
    give = {i: gives(spread, bands, COLUMN, turns[i]) for i in stops.chosen}  # of the stop itself
    likely = {i: _likeliest(i, stops, metres.to_numpy(float), values, level, give[i]) for i in stops.chosen}
    cells = rows.set_index([COLUMN, "segment"])
    shift = dips.set_index([COLUMN, "band"])["shift_khz_per_turn"] if len(dips) else {}
    best = []
    for j, name in enumerate(names):
        here = turns[at[j]]
        cell = cells.loc[(here, name)]
        serving = stops.serving[j]
        best.append({
            "segment": name,
            "band": cell["band"],
            COLUMN: here,
            "wire_m": float(metres[here]),
            "swr_best": float(cell["swr_best"]),
            "swr_worst": float(lowest[j]),
            "swr_neighbour": float(beside[j]),
            "shift_khz_per_turn": float(shift.get((here, cell["band"]), math.nan)) if len(dips) else math.nan,
            "served": bool(lowest[j] <= level),
            "stop_turns": math.nan if serving is None else float(turns[likely[serving][0]]),
            "stop_shift_khz_per_turn": math.nan if serving is None or not len(dips)
            else float(shift.get((float(turns[likely[serving][0]]), cell["band"]), math.nan)),
            "stop_swr_worst": math.nan if serving is None else float(values[likely[serving][0], j]),
            "at_range_end": bool(at[j] in (0, len(turns) - 1)),
            **{k: float(cell[k]) for k in TUNER_COLUMNS},
        })  # fmt: skip
    chosen = []
    for i in stops.chosen:
        served, (at_stop, works) = _served_by(stops, i), likely[i]
        chosen.append({
            COLUMN: turns[at_stop],
            "wire_m": float(metres[turns[at_stop]]),
            "segments": "; ".join(names[j] for j in served),
            "swr_worst": float(values[at_stop, served].max()),
            "chance": works,
        })  # fmt: skip
    return best, chosen


def _served_by(stops: Stops, i: int) -> list[int]:
    return [j for j, s in enumerate(stops.serving) if s == i]


def _likeliest(i: int, stops: Stops, wire: Real, swr: Real, level: float, give: Real | None) -> tuple[int, float]:
    """Of the settings that serve what stop i does, the one that most likely works, and how likely (nan: not known)."""
    served = _served_by(stops, i)
    if give is None:
        return i, math.nan
    works = chance(wire, swr[:, served], level, give[served])
    fit = np.flatnonzero((swr[:, served] <= level).all(axis=1))
    best = max(fit, key=lambda k: (round(float(works[k]), 2), -swr[k, served].max()))
    return int(best), float(works[best])
