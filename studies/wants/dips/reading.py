"""Dips, bandwidths and resonances of one band, read off the continuous response."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import scipy

from tautwire.model.arrays import Real
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import Band
from tautwire.model.reflection import swr
from tautwire.model.solve.response import Response
from tautwire.model.solve.smooth_matrices import span_of

REACH = 0.10  # a dip is looked for this far beyond the band's edges, as a fraction of the frequency
GRID = 801


def window(band: Band) -> tuple[float, float]:
    """The range searched for a band's dip, Hz: the band and a tenth beyond, inside one solver span."""
    span = span_of((band.lower + band.upper) / 2)
    return max(band.lower * (1 - REACH), span.lower), min(band.upper * (1 + REACH), span.upper)


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
    out = []
    for i in inner:
        best = scipy.optimize.minimize_scalar(at, bounds=(f[i - 1], f[i + 1]), method="bounded", options={"xatol": 1.0})
        out.append((float(best.x), float(best.fun)))
    return out


def the_dip(found: list[tuple[float, float]], band: Band) -> tuple[float, float]:
    """Of several minima (place Hz, SWR), the one that is the band's: the deepest inside it, else the nearest to it.

    (nan, nan) if there is none.
    """
    inside = [m for m in found if band.lower <= m[0] <= band.upper]
    if inside:
        return min(inside, key=lambda m: m[1])
    return min(found, key=lambda m: max(band.lower - m[0], m[0] - band.upper), default=(math.nan, math.nan))


def roots(at: Callable[[Any], Real], f: Real) -> list[float]:
    """Places where a smooth function is zero inside the grid f (M,): those of its cubic spline."""
    y = at(f)
    crossed = np.flatnonzero(np.signbit(y[1:]) != np.signbit(y[:-1]))
    if not len(crossed):
        return []
    spline = scipy.interpolate.CubicSpline(f, y)
    out = []
    for i in crossed:
        piece = scipy.interpolate.PPoly(spline.c[:, i : i + 1], f[i : i + 2])
        found = piece.roots(extrapolate=False)
        out.append(float(found[0] if len(found) else f[i + int(abs(y[i + 1]) < abs(y[i]))]))  # a zero at the very end
    return out


def width(at: Callable[[Any], Real], f: Real, dip: float, level: float) -> float:
    """Hz around the dip in which the function stays below level; 0 if the dip does not reach it.

    Counted only as far as the grid goes.
    """
    if at(dip) >= level:
        return 0.0
    edges = [f[0], *roots(lambda x: at(x) - level, f), f[-1]]
    return min(e for e in edges if e >= dip) - max(e for e in edges if e <= dip)


def band_row(band: Band, response: Response, feed: FeedSystem, threshold: float) -> dict[str, Any]:
    """One row of the dips table; see columns.py for the meaning of each column."""
    f = np.linspace(response.lower, response.upper, GRID)
    at = _known_on(f, swr_at_radio(response, feed))
    centre = (band.lower + band.upper) / 2
    found = minima(at, f)
    dip, dip_swr = the_dip(found, band)
    inside = np.linspace(band.lower, band.upper, GRID)
    inside_swr = at(inside)
    row: dict[str, Any] = {
        "band": band.name,
        "dip_mhz": dip / 1e6,
        "dip_swr": dip_swr,
        "width_2to1_khz": math.nan,
        "width_user_khz": math.nan,
        "swr_lower_edge": float(inside_swr[0]),
        "swr_upper_edge": float(inside_swr[-1]),
        "swr_best": float(min([v for p, v in found if band.lower <= p <= band.upper] + [inside_swr.min()])),
        "swr_worst": float(inside_swr.max()),
        "feed_r_ohm": math.nan,
        "feed_x_ohm": math.nan,
        "dip_swr_transformer": math.nan,
        "dip_loss_db": math.nan,
    }
    if found:
        z = response.impedance(dip)
        row["width_2to1_khz"] = width(at, f, dip, 2.0) / 1e3
        row["width_user_khz"] = width(at, f, dip, threshold) / 1e3
        row["feed_r_ohm"], row["feed_x_ohm"] = float(z.real), float(z.imag)
        row["dip_swr_transformer"] = float(swr(feed.impedances(z, dip).primary, feed.reference))
        split = feed.power_split(z, dip)
        row["dip_loss_db"] = float(split.coax_db + split.transformer_db)
    z = response.impedance(centre)
    row["centre_r_ohm"], row["centre_x_ohm"] = float(z.real), float(z.imag)
    resonances = roots(lambda x: np.imag(response.impedance(x)), f)
    row["resonances_mhz"] = " ".join(f"{x / 1e6:.4f}" for x in resonances)
    row["fit_error"] = response.error
    row["samples"] = len(response.samples)
    return row


def sweep_rows(band: Band, response: Response, feed: FeedSystem, points: int = 201) -> list[dict[str, Any]]:
    """The sampled sweep over the search window: frequency, wire impedance, SWR at the radio and transformer."""
    f = np.linspace(response.lower, response.upper, points)
    z = response.impedance(f)
    planes = feed.impedances(z, f)
    at_radio, at_primary = swr(planes.radio, feed.reference), swr(planes.primary, feed.reference)
    columns = (f / 1e6, z.real, z.imag, planes.radio.real, planes.radio.imag, at_radio, at_primary)
    names = ("f_mhz", "feed_r_ohm", "feed_x_ohm", "radio_r_ohm", "radio_x_ohm", "swr", "swr_transformer")
    return [
        {"band": band.name, **dict(zip(names, map(float, values), strict=True))}
        for values in zip(*columns, strict=True)
    ]
