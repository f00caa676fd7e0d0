"""The dips of a band: read off the response, followed by their modes, and what the feed loses there.

Every dip with the mode it belongs to, and the one dip of a band that is followed along the axes of a study.

A dip's mode is the number of half-waves of current on the wire there (model/wires/segments.py). One mode may have two
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
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Complex, Real, swr
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.tuner import tuner_loss_db
from tautwire.model.operating.bands import OWN, Band, bands
from tautwire.model.solve.response import Response, span_of
from tautwire.model.wires.segments import half_waves
from tautwire.studies.study.result import Result, Rows

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.model.solve.solver import Solver


# --- Dips, bandwidths and resonances of one band, read off the continuous response.


REACH = 0.10  # a dip is looked for this far beyond the band's edges, as a fraction of the frequency
SWEEP_POINTS = 201  # of a sampled sweep
GRID = 801
NEEDS_TUNER = 2.0  # SWR from which radios reduce their power (common practice, no source)
PLACES = 65  # at which a place is looked for, again and again, until they are ..
FLAT, STRAIGHT = 1.0, 200.0  # Hz apart: close enough for a minimum, and for a zero on the straight line between two


def window(band: Band) -> tuple[float, float]:
    """The range searched for a band's dip, Hz: the band and a tenth beyond, inside one solver span."""
    span = span_of((band.lower + band.upper) / 2)
    return max(band.lower * (1 - REACH), span.lower), min(band.upper * (1 + REACH), span.upper)


def territory(band: Band) -> tuple[float, float]:
    """The range in which a dip is the band's own, Hz: up to half way (as a ratio) to the next band on either side.

    So no dip is told for two bands, whichever are asked for. A range of the user's own takes any dip in its window.
    """
    others = () if band.source == OWN else bands()
    below = max((b.upper for b in others if b.upper < band.lower), default=0.0)
    above = min((b.lower for b in others if b.lower > band.upper), default=math.inf)
    return math.sqrt(below * band.lower), math.sqrt(above * band.upper)


def owned(found: list[tuple[float, float]], band: Band) -> list[tuple[float, float]]:
    """Of minima (place Hz, SWR), those in the band's territory."""
    low, high = territory(band)
    return [m for m in found if low <= m[0] < high]


def swr_at_radio(response: Response, feed: FeedSystem) -> Callable[[Any], Real]:
    """SWR at the radio's end of the coax as a function of frequency, Hz."""

    def at(f: Any) -> Real:
        return swr(feed.impedances(response.impedance(f), f).radio, feed.reference)

    return at


def _known_on(f: Real, at: Callable[[Any], Real]) -> Callable[[Any], Real]:
    """The same function, computed on the grid f once."""
    y = at(f)
    return lambda x: y if x is f else at(x)


def minima(at: Callable[[Any], Real], f: Real) -> list[tuple[float, float]]:
    """Local minima of a function inside the grid f (M,): (place, value) each, refined."""
    y = at(f)
    inner = np.flatnonzero((y[1:-1] <= y[:-2]) & (y[1:-1] < y[2:])) + 1
    return lowest(at, f[inner - 1], f[inner + 1])


def lowest(at: Callable[[Any], Real], low: Real, high: Real) -> list[tuple[float, float]]:
    """The one minimum (place, value) between each of low (m,) and high (m,), Hz."""
    row = np.arange(len(low))
    while len(row):
        x = np.linspace(low, high, PLACES, axis=-1)
        y = at(x)
        k = y.argmin(axis=-1)
        if (x[:, 1] - x[:, 0]).max() < FLAT:
            return [*zip(map(float, x[row, k]), map(float, y[row, k]), strict=True)]
        low, high = x[row, np.maximum(k - 1, 0)], x[row, np.minimum(k + 1, PLACES - 1)]
    return []


def the_dip(found: list[tuple[float, float]], band: Band) -> tuple[float, float]:
    """Of minima (place Hz, SWR) in the band's territory, the band's dip: the deepest inside it, else the nearest to it.

    (nan, nan) if there is none. Along an axis of a study one dip is followed instead: see reading.py.
    """
    inside = [m for m in found if band.lower <= m[0] <= band.upper]
    if inside:
        return min(inside, key=lambda m: m[1])
    return min(found, key=lambda m: max(band.lower - m[0], m[0] - band.upper), default=(math.nan, math.nan))


def roots(at: Callable[[Any], Real], f: Real) -> list[float]:
    """Places where a continuous function changes its sign inside the grid f (M,)."""
    y = at(f)
    cell = np.flatnonzero(np.signbit(y[1:]) != np.signbit(y[:-1]))
    low, high, row = f[cell], f[cell + 1], np.arange(len(cell))
    while len(row):
        x = np.linspace(low, high, PLACES, axis=-1)
        y = at(x)
        k = (np.signbit(y) != np.signbit(y[:, :1])).argmax(axis=-1)
        low, high, below, above = x[row, k - 1], x[row, k], y[row, k - 1], y[row, k]
        if (x[:, 1] - x[:, 0]).max() < STRAIGHT:
            return [*map(float, low - below * (high - low) / (above - below))]
    return []


def width(at: Callable[[Any], Real], f: Real, dip: float, level: float) -> float:
    """Hz around the dip in which the function stays below level; 0 if the dip does not reach it.

    Counted only as far as the grid goes.
    """
    if at(dip) >= level:
        return 0.0
    edges = [f[0], *roots(lambda x: at(x) - level, f), f[-1]]
    return min(e for e in edges if e >= dip) - max(e for e in edges if e <= dip)


AT_DIP = {
    "f_mhz": "dip_mhz",
    "swr": "dip_swr",
    "mode": "dip_mode",
    "width_2to1_khz": "width_2to1_khz",
    "width_user_khz": "width_user_khz",
    "feed_r_ohm": "feed_r_ohm",
    "feed_x_ohm": "feed_x_ohm",
    "swr_transformer": "dip_swr_transformer",
    "coax_loss_db": "dip_coax_db",
    "transformer_loss_db": "dip_transformer_db",
    "loss_db": "dip_loss_db",
    "tuner_loss_db": "dip_tuner_db",
}
"""Columns of the table of all dips -> columns of a band's row, which hold the same of the band's dip."""


@dataclass(frozen=True)
class BandReading:
    """What a band's response says. row: of the table "dips". all: a row for each minimum in the search window, of the
    table "all_dips", without its mode; the band's own dip has chosen = True."""

    row: dict[str, Any]
    all: list[dict[str, Any]]


def read_band(band: Band, response: Response, feed: FeedSystem, threshold: float) -> BandReading:
    """A band read off its response; see columns.py for the meaning of each column."""
    f = np.linspace(response.lower, response.upper, GRID)
    at = _known_on(f, swr_at_radio(response, feed))
    centre = (band.lower + band.upper) / 2
    found = minima(at, f)
    own = owned(found, band)
    chosen = the_dip(own, band)
    inside = np.linspace(band.lower, band.upper, GRID)
    inside_swr = at(inside)
    rows = [_dip_row(m, at, f, response, feed, threshold) | {"chosen": m == chosen} for m in found]
    row: dict[str, Any] = {"band": band.name, **dict.fromkeys(AT_DIP.values(), math.nan)}
    row |= next((band_columns(r) for r in rows if r["chosen"]), {})
    row |= {
        "swr_lower_edge": float(inside_swr[0]),
        "swr_upper_edge": float(inside_swr[-1]),
        "swr_best": float(min([v for p, v in found if band.lower <= p <= band.upper] + [inside_swr.min()])),
        "swr_worst": float(inside_swr.max()),
    }
    z = response.impedance(centre)
    row["centre_r_ohm"], row["centre_x_ohm"] = float(z.real), float(z.imag)
    resonances = roots(lambda x: np.imag(response.impedance(x)), f)
    row["resonances_mhz"] = " ".join(f"{x / 1e6:.4f}" for x in resonances)
    row["fit_error"] = response.error
    row["samples"] = len(response.samples)
    return BandReading(row, rows)


def band_row(band: Band, response: Response, feed: FeedSystem, threshold: float) -> dict[str, Any]:
    """One row of the dips table, without the dip's mode."""
    return read_band(band, response, feed, threshold).row


def band_columns(dip: Mapping[str, Any]) -> dict[str, Any]:
    """What a row of "all_dips" says, as columns of "dips"."""
    return {ours: dip[theirs] for theirs, ours in AT_DIP.items() if theirs in dip}


def _dip_row(
    dip: tuple[float, float], at: Callable[[Any], Real], f: Real, response: Response, feed: FeedSystem, threshold: float
) -> dict[str, Any]:
    place, lowest = dip
    z = response.impedance(place)
    split = feed.power_split(z, place)
    planes = feed.impedances(z, place)
    tuned = float(tuner_loss_db(planes.radio, feed.reference)) if lowest > NEEDS_TUNER else 0.0
    return {
        "f_mhz": place / 1e6,
        "swr": lowest,
        "width_2to1_khz": width(at, f, place, 2.0) / 1e3,
        "width_user_khz": width(at, f, place, threshold) / 1e3,
        "feed_r_ohm": float(z.real),
        "feed_x_ohm": float(z.imag),
        "swr_transformer": float(swr(planes.primary, feed.reference)),
        "coax_loss_db": float(split.coax_db),
        "transformer_loss_db": float(split.transformer_db),
        "loss_db": float(split.coax_db + split.transformer_db),
        "tuner_loss_db": tuned,
    }


def sweep(response: Response, feed: FeedSystem, points: int = SWEEP_POINTS) -> dict[str, Real]:
    """The sampled sweep over the search window: `columns_of`."""
    f = np.linspace(response.lower, response.upper, points)
    return columns_of(f, response.impedance(f), feed)


def columns_of(f: Real, z: Complex, feed: FeedSystem) -> dict[str, Real]:
    """Columns of the table "sweeps" at f (n,), Hz: wire impedance z (n,), ohm, and what radio and transformer see."""
    planes = feed.impedances(z, f)
    at_radio, at_primary = swr(planes.radio, feed.reference), swr(planes.primary, feed.reference)
    return {
        "f_mhz": f / 1e6, "feed_r_ohm": z.real, "feed_x_ohm": z.imag, "radio_r_ohm": planes.radio.real,
        "radio_x_ohm": planes.radio.imag, "swr": at_radio, "swr_transformer": at_primary,
    }  # fmt: skip


# --- Every dip with the mode it belongs to.


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


# --- Where the radio's power goes between radio and wire, in words and numbers: of the dips, and of single
# frequencies.


PARTS = ("mismatch", "coax", "core", "winding", "wire")


def shares(feed: FeedSystem, z: complex, f_hz: float) -> dict[str, float]:
    """Percent of the radio's forward power that each of PARTS takes; they add up to 100. z: ohm, at the wire's end.

    >>> from tautwire.model.feed.transformer import IDEAL_49_TO_1
    >>> shares(FeedSystem(IDEAL_49_TO_1), 2450 + 0j, 14e6)["wire"]
    100.0
    """
    split = feed.power_split(z, f_hz)
    return {part: 100 * float(getattr(split, part)) for part in PARTS}


def at_frequency(solver: Solver, feed: FeedSystem, f_hz: float) -> dict[str, Any]:
    """What the radio sees at one frequency, Hz, and where its power goes; columns as in columns.py, shares in percent.

    Raises SolveError.
    """
    z = solver.impedance(f_hz)
    planes = feed.impedances(z, f_hz)
    split = feed.power_split(z, f_hz)
    return {
        "f_mhz": f_hz / 1e6,
        "swr": float(swr(planes.radio, feed.reference)),
        "radio_r_ohm": float(planes.radio.real),
        "radio_x_ohm": float(planes.radio.imag),
        "feed_r_ohm": z.real,
        "feed_x_ohm": z.imag,
        "coax_loss_db": float(split.coax_db),
        "transformer_loss_db": float(split.transformer_db),
        **{f"{part}_percent": share for part, share in shares(feed, z, f_hz).items()},
    }
