"""Intervals, chances and shares of one band's dip and worst SWR."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.operating.bands import Band
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.spread.along import Asked, shifts_in
from tautwire.studies.wants.spread.sampling import COUNT, Samples, Shifts, sampled
from tautwire.studies.wants.spread.values import REACH, Joint, Uncertain

if TYPE_CHECKING:
    from tautwire.model.solve.response import Response
    from tautwire.model.solve.solver import Solver

SEED = 1


@dataclass(frozen=True, eq=False)
class Spread:
    """The spread of a band of one set-up. shifts: of the wires; joint: what is uncertain."""

    setup: Setup
    response: Response
    band: Band
    joint: Joint
    shifts: Shifts
    count: int = COUNT
    seed: int = SEED

    def at(self, u: Real) -> Samples:
        """Dip and SWR for u (m, k) standard deviations off."""
        return sampled(self.setup, self.response, self.shifts, u, window(self.band), self.band)

    @cached_property
    def _all(self) -> Samples:
        """As the set-up has it; each value alone a standard deviation up, then down; and the samples: all at once."""
        alone = np.eye(len(self.joint.values))
        drawn = self.joint.draw(self.count, self.seed)
        return self.at(np.concatenate([np.zeros((1, len(alone))), alone, -alone, drawn]))

    @property
    def base(self) -> Samples:
        """As the set-up has it, (1,)."""
        return self._all[:1]

    @cached_property
    def samples(self) -> Samples:
        return self._all[1 + 2 * len(self.joint.values) :]

    def interval(self, name: str, percent: float) -> tuple[float, float]:
        """The range of "dip" (Hz), "dip_swr" or "worst" that holds `percent` of the samples and the set-up's own."""
        return held(getattr(self.samples, name), percent, float(getattr(self.base, name)[0]))

    def median(self, name: str) -> float:
        """The middle one of the samples."""
        values = getattr(self.samples, name)
        values = values[np.isfinite(values)]
        return float(np.median(values)) if len(values) else math.nan

    def half_width(self, name: str, percent: float = 68) -> float:
        """Half the width of that range: the number after +-."""
        low, high = self.interval(name, percent)
        return (high - low) / 2

    def chance(self, limit: float) -> float:
        """Share of the samples whose worst SWR across the band stays at or under the limit."""
        return float(np.mean(self.samples.worst <= limit))

    @cached_property
    def shares(self) -> Real:
        """How far each value alone, one standard deviation either way, moves the dip: Hz, (k,), with its sign."""
        k = len(self.joint.values)
        there = self._all.dip[1 : 1 + 2 * k]
        swing = (there[:k] - there[k:]) / 2
        one_sided = np.array([v.law == "one-sided" for v in self.joint.values], dtype=bool)
        swing = np.where(one_sided, 0.6 * (there[:k] - self.base.dip[0]), swing)  # sd of half a normal law
        return np.nan_to_num(swing)


def held(values: Real, percent: float, own: float = math.nan) -> tuple[float, float]:
    """The range that holds `percent` of the values (m,), NaN left out: their middle, slid as far as it must to reach
    `own`, the value of the set-up as it is, so that what is told first never lies outside its own range.

    >>> held(np.arange(101.0), 80), [round(x) for x in held(np.arange(101.0), 80, own=4.0)]
    ((10.0, 90.0), [4, 84])
    """
    values = values[np.isfinite(values)]
    if not len(values):
        return math.nan, math.nan
    first = 50 - percent / 2
    if math.isfinite(own):
        below, above = (100 * float(np.mean(kept)) for kept in (values < own, values <= own))
        first = min(max(first, above - percent), below)
    first = min(max(first, 0.0), 100 - percent)
    low, high = np.percentile(values, [first, first + percent])
    return (float(np.fmin(low, own)), float(np.fmax(high, own)))


def spread_of(
    setup: Setup,
    solver: Solver,
    band: Band,
    joint: Joint,
    count: int = COUNT,
    seed: int = SEED,
    asked: Asked | None = None,
) -> Spread:
    """The spread of a band. solver: of the same set-up; asked: what gave `joint`, for others like this set-up too."""
    shifts = shifts_in(band, setup, solver, joint.values, asked)
    return Spread(setup, solver.response(*window(band)), band, joint, shifts, count, seed)


def measured_sd(one: Uncertain) -> float:
    """Share of its sd that is left after it was measured as its row says."""
    return min(one.measured / one.sd, 1.0) if one.measure else 1.0


def narrowed(spreads: Sequence[Spread]) -> list[tuple[str, list[float]]]:
    """For each measurement: words and the sd of every band's dip (Hz) that would be left, the most helpful first."""
    values = spreads[0].joint.values
    variances = [_parts(s) for s in spreads]
    now = [float(v.sum()) for v in variances]
    measures = []
    for what in dict.fromkeys(v.measure for v in values if v.measure):
        left = np.array([measured_sd(v) if v.measure == what else 1.0 for v in values])
        measures.append((what, [math.sqrt(max(float((v * np.outer(left, left)).sum()), 0)) for v in variances]))
    return sorted(measures, key=lambda m: sum(a**2 / max(b, 1e-9) for a, b in zip(m[1], now, strict=True)))


def _parts(spread: Spread) -> Real:
    """Covariance parts (k, k) of the dip, Hz^2; their sum is its variance to first order."""
    return np.outer(spread.shares, spread.shares) * spread.joint.correlation


def sobol_shares(spread: Spread, count: int = 1024) -> tuple[Real, Real]:
    """Sobol's first and total shares (2, k) of dip and worst SWR, values taken as independent (scipy.stats)."""
    from scipy.stats import norm, sobol_indices

    def answers(u: Real) -> Real:
        there = spread.at(np.clip(u.T, -REACH, REACH))
        dip = np.where(np.isfinite(there.dip), there.dip, spread.base.dip[0])
        return np.stack([dip / 1e6, there.worst])

    laws = [norm() for _ in spread.joint.values]
    found = sobol_indices(func=answers, n=count, dists=laws, rng=spread.seed)
    return np.asarray(found.first_order), np.asarray(found.total_order)
