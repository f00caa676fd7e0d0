"""Dips, bandwidths and resonances of one band, read off the continuous response."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.tuner import tuner_loss_db
from tautwire.model.operating.bands import OWN, Band, bands
from tautwire.model.reflection import swr
from tautwire.model.solve.response import Response
from tautwire.model.solve.smooth_matrices import span_of

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

    (nan, nan) if there is none. Along an axis of a study one dip is followed instead: see modes.py.
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
