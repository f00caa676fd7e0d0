"""Stops as the pocket page chooses them: SWR across each wanted segment at every stop, with what was learned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from tautwire.model.arrays import Real
from tautwire.model.operating.stop_choice import fewest_stops
from tautwire.studies.learned.posterior import Posterior
from tautwire.studies.pocket.linear import predicted
from tautwire.studies.pocket.model import ALONG, Hung, Model, Nominal, Wanted

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
        return (1 + most) / (1 - most)

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
