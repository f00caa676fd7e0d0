"""Dips and sweeps of set-ups near the one typed, from solves made once for each typed set-up and band.

What moves the wires shifts their response along a complex frequency (wants/local_model.py); here the shift is solved at
three frequencies about the dip, each value alone to second order (how high the coax lies to fourth), and the values
that move most also in pairs. Transformer and cable are computed as they are. tests/benchmarks/seasons.py says how far
this is off solves in full.
"""

from __future__ import annotations

import hashlib
import itertools
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from tautwire.model.basics import Complex, Real, Remember, reflection
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import Response
from tautwire.studies.learned.outing import LEAVES, moved
from tautwire.studies.study.raw import FACTOR, ONE_SIDED
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.local_model import FURTHEST, Shifted, shifted_impedance
from tautwire.studies.wants.spread.sampling import dip_or_middle, feed_samples, through_coax
from tautwire.studies.wants.spread.values import Uncertain

ASIDE = 0.03  # of the dip's frequency: where shifts are solved besides
STEP = 1.5  # standard deviations at which a value is tried
HEIGHTS = (-3.0, -0.8, 1.25, 2.5)  # likewise, of how high something lies
LEAFY = (3.0, 7.0, 13.0)  # likewise, of leaves: few of them are small beside a piece of wire
IN_PAIRS = 10  # values that move most, tried in pairs
SCAN = 101  # frequencies at which a dip is looked for
CLOSE = 0.0015  # of the frequency: three points so far apart give a dip's place
STEPS = 8
BEYOND = 1e3  # standard deviations: where a value has met its limit, if it has one


@dataclass(frozen=True, eq=False)
class Nearby:
    """One band of set-ups near `setup`. values (k,): what may be off. response: of the wires as typed, solved at f_hz.

    powers (k, 4, 3): shift for each power of a value's x, at the three frequencies; pairs: which two values, and
    bend (p,): the shift for the product of both.
    """

    setup: Setup
    band: Band
    values: tuple[Uncertain, ...]
    response: Response
    f_hz: float
    powers: Complex
    pairs: np.ndarray
    bend: Complex

    @cached_property
    def feed(self) -> FeedSystem:
        return self.setup.feed_system()

    @cached_property
    def limits(self) -> tuple[Real, Real]:
        """How far below and above each value can go at all, (k,) each."""
        low = [0.0 if one.law == ONE_SIDED else _reached(one, -BEYOND) for one in self.values]
        return np.array(low), np.array([_reached(one, BEYOND) for one in self.values])

    def within(self, x: Real) -> Real:
        """x (m, k) as far as the values can go at all."""
        return np.clip(x, *self.limits)

    def shifts(self, x: Real) -> Complex:
        """Shifts (m, 3) of the wires at the three frequencies."""
        total = sum(x**p @ self.powers[:, p - 1] for p in range(1, 5))
        if len(self.pairs):
            total = total + ((x[:, self.pairs[:, 0]] * x[:, self.pairs[:, 1]]) @ self.bend)[:, None]
        return np.asarray(total, dtype=complex)

    def gamma(self, x: Real, error: Real, f: Real) -> Complex:
        """Reflection coefficient (m, n) at the radio, at f (n,) or (m, n), Hz, for x (m, k) and the wires' resonances
        off by error (m,), relative."""
        x = self.within(x)
        at = self.shifts(x) + error[:, None]
        t = np.clip((f / self.f_hz - 1) / ASIDE, -2, 2)
        low, mid, high = (at[:, i : i + 1] for i in range(3))
        s = low * (t * (t - 1) / 2) + mid * (1 - t**2) + high * (t * (t + 1) / 2)
        s = s / np.maximum(np.abs(s) / FURTHEST, 1)
        z = shifted_impedance(self.response, f, s)
        feed = feed_samples(self.setup, self.values, x)
        primary = replace(feed, coax=None, coax_length=0.0).impedances(z, f).primary
        return through_coax(feed, self.values, x, reflection(primary, feed.reference), f)

    def dips(self, x: Real, error: Real, near: Real | float | None = None) -> tuple[Real, Real]:
        """Dip (m,), Hz, and |reflection| there, (m,): the minimum nearest to `near` (Hz), or the band's own. NaN where
        there is none."""
        f = np.linspace(*window(self.band), SCAN)
        size = np.abs(self.gamma(x, error, f))
        low = (size[:, 1:-1] <= size[:, :-2]) & (size[:, 1:-1] < size[:, 2:])
        middle = f[1:-1]
        if near is None:
            outside = np.maximum(np.maximum(self.band.lower - middle, middle - self.band.upper), 0)
            rank = np.where(low, np.where(outside > 0, 10 + outside / 1e6, size[:, 1:-1]), np.inf)
        else:
            rank = np.where(low, np.abs(middle - np.reshape(near, (-1, 1))), np.inf)
        best = rank.argmin(axis=1)
        found = np.isfinite(rank[np.arange(len(x)), best])
        at, depth = self.refined(x, error, middle[best])
        return np.where(found, at, math.nan), np.where(found, depth, math.nan)

    def refined(self, x: Real, error: Real, start: Real) -> tuple[Real, Real]:
        """The minimum (m,), Hz, that lies next to start (m,), and |reflection| there."""
        at = np.array(start, dtype=float)
        lowest, highest = window(self.band)
        for _ in range(STEPS):
            f = at[:, None] * (1 + CLOSE * np.array([-1.0, 0.0, 1.0]))
            y = np.abs(self.gamma(x, error, f)) ** 2
            bend = y[:, 0] - 2 * y[:, 1] + y[:, 2]
            slope = (y[:, 2] - y[:, 0]) / 2
            with np.errstate(divide="ignore", invalid="ignore"):
                step = np.where(bend > 1e-12, -slope / bend, -np.sign(slope) * 3)
            step = np.clip(step, -4, 4)
            at = np.clip(at * (1 + CLOSE * step), lowest, highest)
            if np.abs(step).max(initial=0.0) < 0.02:
                break
        least = y[:, 1] - np.where(bend > 1e-12, slope**2 / (2 * np.maximum(bend, 1e-12)), 0.0)
        return at, np.sqrt(np.maximum(least, 0.0))


def nearby(setup: Setup, band: Band, values: tuple[Uncertain, ...], remember: Remember) -> Nearby:
    """The model near a set-up. Raises InputError for one that cannot be built, SolveError."""
    facts = [(v.path, v.value, v.sd, v.law, v.low, v.high) for v in values]
    told = repr((setup.build(), setup.feed_system(), facts, band))
    key = f"nearby-{hashlib.sha256(told.encode()).hexdigest()}"
    kept = remember(key, lambda: _solved(setup, band, values, remember))
    lower, upper, error, reference, f_hz = kept["about"].tolist()
    response = Response(lower, upper, kept["samples"], kept["gamma"], kept["support"], kept["value"], kept["weight"],
                        error, reference)  # fmt: skip
    return Nearby(setup, band, values, response, f_hz, kept["powers"], kept["pairs"].astype(int), kept["bend"])


def _solved(setup: Setup, band: Band, values: tuple[Uncertain, ...], remember: Remember) -> dict[str, Any]:
    response = setup.build().solver(remember).response(*window(band))
    f_hz = dip_or_middle(setup, response, band)
    k = len(values)
    powers = np.zeros((k, 4, 3), dtype=complex)
    moving = [i for i, v in enumerate(values) if _moves(setup, v)]
    single: dict[int, complex] = {}
    place = [Shifted(setup, response, f_hz * (1 + a)) for a in (-ASIDE, 0.0, ASIDE)]
    for j, near in enumerate(place):
        for i in moving:
            xs = _tried(values[i])
            there = np.array([_shift(near, setup, (values[i], x)) for x in xs])
            good = np.isfinite(there)
            if not good.any():
                continue
            at = np.array([_reached(values[i], x) for x in xs])[good]
            at, which = np.unique(at, return_index=True)
            rows = np.stack([at**p for p in range(1, len(at) + 1)], axis=1)
            powers[i, : len(at), j] = np.linalg.solve(rows, there[good][which])
    for i in moving:
        single[i] = _shift(place[1], setup, (values[i], _step(values[i])))
    most = sorted((i for i in moving if np.isfinite(single[i])), key=lambda i: -abs(single[i]))[:IN_PAIRS]
    pairs, bend = [], []
    for a, b in itertools.combinations(sorted(most), 2):
        x, y = _step(values[a]), _step(values[b])
        both = _shift(place[1], setup, (values[a], x), (values[b], y))
        if np.isfinite(both):
            pairs.append((a, b))
            bend.append((both - single[a] - single[b]) / (_reached(values[a], x) * _reached(values[b], y)))
    return {
        "about": np.array([response.lower, response.upper, response.error, response.reference, f_hz]),
        "samples": response.samples, "gamma": response.gamma, "support": response.support, "value": response.value,
        "weight": response.weight, "powers": powers, "pairs": np.array(pairs, dtype=float).reshape(-1, 2),
        "bend": np.array(bend, dtype=complex),
    }  # fmt: skip


def _moves(setup: Setup, one: Uncertain) -> bool:
    """Whether a value does anything to the wires."""
    feed_only = ("transformer.", "coax.loss_scale", "coax.velocity_scale", "coax.z0_scale", "radio.")
    return not one.path.startswith(feed_only)


def _tried(one: Uncertain) -> tuple[float, ...]:
    if one.law == ONE_SIDED:
        return LEAFY if one.path == LEAVES else (STEP, 2 * STEP)
    return HEIGHTS if one.path.endswith(".height") and one.law == FACTOR else (-STEP, STEP)


def _step(one: Uncertain) -> float:
    return LEAFY[1] if one.path == LEAVES and one.law == ONE_SIDED else STEP


def _reached(one: Uncertain, x: float) -> float:
    """How far off the value is when x is asked, within its limits."""
    value = float(one.at(x))
    return math.log(value / one.value) / one.sd if one.law == FACTOR else (value - one.value) / one.sd


def _shift(near: Shifted, setup: Setup, *steps: tuple[Uncertain, float]) -> complex:
    """The shift with some values off; NaN if that cannot be built or solved."""
    try:
        for one, x in steps:
            setup = moved(setup, one, x)
        return near.shift(setup)
    except (InputError, SolveError):
        return complex(np.nan)
