"""What dips say on the pocket page, and the stops that it then chooses.

A reading is the logarithm of its frequency over that of the dip as typed; slopes (slopes.py) say what each value does
to it. So a phone needs no solver; search, cells and covariance are those of learned/posterior.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import scipy

from tautwire.model.basics import Real, size_of, swr_of
from tautwire.model.operating.reel import fewest_stops
from tautwire.studies.learned.outing import READ_DIP, READ_SIZE, Kinds, Layer, layer_of, model_error, together
from tautwire.studies.learned.posterior import ERROR, Found, Key, Local, Log, Posterior, hidden_of, kind_of, learned
from tautwire.studies.pocket.basis import ALONG, Hung, Model, Nominal, Wanted

# --- What dips say on the pocket page: the posterior of studies/learned with readings linear in what is off.


LAYERS: tuple[Layer, ...] = ("antenna", "site", "hang")
LEAST_WEIGHT = 1e-4  # of a cell, to count in a prediction


@dataclass(frozen=True, eq=False)
class Linear:
    """One outing: its unknowns, and its readings. seen (n,) and rows (n, all): in errors of the readings."""

    outing: Hung
    keys: tuple[Key, ...]
    kinds: Kinds
    seen: Real
    rows: Real

    def readings(self, x: Real) -> tuple[Real, Real]:
        """What was read less what is modelled (c, n), and slopes (c, n, all), at x (c, all)."""
        return self.seen - x @ self.rows.T, np.broadcast_to(self.rows, (len(x), *self.rows.shape))


def mixing(model: Model, band: int) -> dict[Layer, Real]:
    """What a band's error is of the errors' unknowns, (bands,) a layer."""
    root = together(len(model.bands))[band]
    return {layer: model_error(model.bands[band], layer) * root for layer in LAYERS}


def kinds_of(model: Model) -> Kinds:
    return Kinds(np.array([kind_of(v) for v in model.values] + [3] * (3 * len(model.bands))))


def linear(model: Model, outing: Hung) -> Linear:
    """An outing made ready."""
    site = outing.place, tuple(outing.picked[i] for i in model.site)
    whose = {"antenna": "", "site": site, "hang": outing.hang}
    keys: list[Key] = [(layer_of(v.path), whose[layer_of(v.path)], v.path) for v in model.values]
    keys += [(layer, whose[layer], ERROR, b.name) for layer in LAYERS for b in model.bands]
    seen, rows = [], []
    for dip in outing.dips:
        base = model.nominal(outing.setting, outing.picked)[dip.band]
        if not np.isfinite(base.dip):
            continue
        by_dip, by_size = model.slopes_at(outing.setting, outing.picked, dip.band)
        seen.append(np.log(dip.f_mhz / base.dip) / READ_DIP)
        rows.append(np.concatenate([by_dip, *mixing(model, dip.band).values()]) / READ_DIP)
        if dip.swr:
            seen.append((float(size_of(dip.swr)) - base.least) / READ_SIZE)
            rows.append(np.concatenate([by_size, np.zeros(3 * len(model.bands))]) / READ_SIZE)
    return Linear(outing, tuple(keys), kinds_of(model), np.array(seen), np.reshape(rows, (len(seen), len(keys))))


@dataclass
class LinearLog(Log):
    """A log whose readings are linear. model: set before its outings are read."""

    model: Model | None = None

    def local(self, outing: Any) -> Local:
        assert self.model is not None
        return cast("Local", linear(self.model, outing))


def learned_from(model: Model, outings: Sequence[Hung]) -> Posterior:
    """The posterior of some outings."""
    return learned(LinearLog(cast("Any", outings), model.bands, model=model))


@dataclass(frozen=True, eq=False)
class Ahead:
    """Dips at an outing. shift, sd (bands,): relative; size (bands,): how much |reflection| at the dip differs."""

    shift: Real
    sd: Real
    size: Real


def _hidden(posterior: Posterior, found: Found, here: Linear) -> tuple[Real, Real]:
    place = here.outing.place, here.outing.hang
    which = [*posterior.log.hangs].index(place) if place in posterior.log.hangs else None
    return hidden_of(posterior, found, cast("Local", here), which)


def predicted(model: Model, posterior: Posterior, outing: Hung) -> Ahead:
    """Dips at an outing, mixed over the cells of the posterior."""
    here, k = linear(model, outing), len(model.values)
    slopes = [model.slopes_at(outing.setting, outing.picked, b) for b in range(len(model.bands))]
    rows = np.array([np.concatenate([dip, *mixing(model, b).values()]) for b, (dip, _) in enumerate(slopes)])
    by_size = np.array([size for _, size in slopes])
    weights, shifts, variances, sizes = [], [], [], []
    for found, weight in zip(posterior.cells, posterior.weights, strict=True):
        if weight < LEAST_WEIGHT:
            continue
        mean, covariance = _hidden(posterior, found, here)
        x = here.kinds.off(mean, found.cell)
        moved = rows * here.kinds.slope(mean, found.cell)
        weights.append(weight)
        shifts.append(rows @ x)
        sizes.append(by_size @ x[:k])
        variances.append(np.einsum("bi,ij,bj->b", moved, covariance, moved))
    w = np.array(weights) / np.sum(weights)
    shift = w @ np.array(shifts)
    sd = np.sqrt(np.maximum(w @ (np.array(variances) + np.array(shifts) ** 2) - shift**2, 0))
    return Ahead(shift, sd, w @ np.array(sizes))


def causes(model: Model, posterior: Posterior, outing: Hung) -> list[tuple[int, float]]:
    """(number of a value, standard deviations off) by how much of the shifts of the dips read it explains."""
    here, found = linear(model, outing), posterior.usual
    mean, _ = _hidden(posterior, found, here)
    x = here.kinds.off(mean, found.cell)[: len(model.values)]
    slopes = [model.slopes_at(outing.setting, outing.picked, d.band)[0] for d in outing.dips]
    size = np.abs(np.array(slopes) * x).sum(axis=0)
    return [(int(i), float(x[i])) for i in np.argsort(-size, kind="stable")]


# --- Stops as the pocket page chooses them: SWR across each wanted segment at every stop, with what was learned.


PLACES, LEVELS = 9, 61  # frequencies of a segment; places of a dip of which the share that serves is the chance


def shifted_size(f_mhz: Real, base: Nominal, at: Real, shift: float, more: float) -> Real:
    """|reflection| at `at` (MHz) with the dip `shift` higher, relative, and |reflection| there more by `more`.

    Cubic through four points of its square on f_mhz; 1 stays 1.
    """
    n = len(f_mhz)
    t = np.clip((at * np.exp(-shift) - f_mhz[0]) / (f_mhz[1] - f_mhz[0]), 0, n - 1)
    first = np.clip(np.floor(t).astype(int) - 1, 0, n - 4)
    u = t - first
    y0, y1, y2, y3 = (base.size[first + i] ** 2 for i in range(4))
    square = (-y0 * (u - 1) * (u - 2) * (u - 3) / 6 + y1 * u * (u - 2) * (u - 3) / 2
              - y2 * u * (u - 1) * (u - 3) / 2 + y3 * u * (u - 1) * (u - 2) / 6)  # fmt: skip
    least, there = base.least**2, float(np.clip(base.least + more, 0, 0.999)) ** 2
    return np.asarray(np.sqrt(np.clip(square + (there - least) * (1 - square) / (1 - least), 0, 0.9998)))


@dataclass(frozen=True)
class Served:
    """One of the fewest stops. stop: its number; segments: which it serves; chance: that it serves them all."""

    stop: int
    segments: tuple[int, ...]
    worst: float
    chance: float


@dataclass(frozen=True, eq=False)
class Chosen:
    """matrix (stops, segments): greatest SWR. stops: the fewest. at (segments,): number of the stop for each, its best
    where none serves it; chance (segments,): that it does."""

    matrix: Real
    stops: tuple[Served, ...]
    at: tuple[int, ...]
    chance: tuple[float, ...]


def choose(model: Model, posterior: Posterior, outing: Hung) -> Chosen:
    """Stops for an outing. Of those that serve the same segments the one that most likely does."""
    ahead = predicted(model, posterior, outing)
    places = [model.nominal({**outing.setting, ALONG: s.metres}, outing.picked) for s in model.stops]
    normal = scipy.special.ndtri((np.arange(LEVELS) + 0.5) / LEVELS)

    def worst(stop: int, one: Wanted, q: float) -> float:
        f, at = model.surface.frequencies[one.band] / 1e6, np.linspace(one.lower, one.upper, PLACES)
        shift, more = ahead.shift[one.band] + q * ahead.sd[one.band], ahead.size[one.band]
        most = float(shifted_size(f, places[stop][one.band], at, float(shift), float(more)).max())
        return float(swr_of(most))

    def works(stop: int, which: Sequence[int]) -> float:
        some = [model.segments[j] for j in which]
        return float(np.mean([all(worst(stop, s, q) <= model.threshold for s in some) for q in normal]))

    matrix = np.array([[worst(i, s, 0.0) for s in model.segments] for i in range(len(places))])
    found = fewest_stops(matrix, model.threshold)
    stops = []
    for i in found.chosen:
        which = tuple(j for j, s in enumerate(found.serving) if s == i)
        can = np.flatnonzero((matrix[:, which] <= model.threshold).all(axis=1))
        each = [Served(int(k), which, float(matrix[k, which].max()), works(int(k), which)) for k in can]
        stops.append(max(each, key=lambda s: (round(s.chance, 9), -s.worst)))
    of = {j: s.stop for s in stops for j in s.segments}
    at = tuple(of.get(j, int(matrix[:, j].argmin())) for j in range(len(model.segments)))
    return Chosen(matrix, tuple(stops), at, tuple(works(i, [j]) for j, i in enumerate(at)))
