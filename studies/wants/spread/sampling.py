"""From uncertain values to the spread of a band's dip and SWR, with few solves.

Wires. One solve a value, at the band's dip, gives the shift that it makes (shifted.py); those of several values add up.
Transformer and coax are computed as they are, for every sample.

Quasi-random samples (Sobol points) of this model then give quantiles, chances and shares without further solves.
tests/benchmarks/calibration.py compares it with exact solves.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.ferrite import Core
from tautwire.model.feed.transformer import MagnetisingInductance
from tautwire.model.operating.bands import Band
from tautwire.model.reflection import reflection
from tautwire.model.solve.response import Response
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.local_model import with_value
from tautwire.studies.wants.shifted import FURTHEST, Shifted, shifted_impedance
from tautwire.studies.wants.spread.values import Uncertain

STEPS = (-1.0, 1.0)  # standard deviations at which a value's shift is known
CURVED = ("coax.height", "counterpoise.")  # solved at both steps; of others the lower is the upper's negative
COUNT = 512
POINTS, INSIDE = 41, 13  # frequencies of a band's window, and of the band itself: twice as many move +- by 0.8 % of it


@dataclass(frozen=True, eq=False)
class Shifts:
    """How far each value moves the wire in one band: relative complex shifts (k, steps) at STEPS; 0 for those that do
    not touch the wires."""

    values: tuple[Uncertain, ...]
    at: Complex

    def of(self, u: Real) -> Complex:
        """Sum of all shifts (m,) at u (m, k): a parabola through 0 and both steps for each value."""
        minus, plus = self.at[:, 0], self.at[:, 1]
        line, bend = (plus - minus) / 2, (plus + minus) / 2
        one_sided = np.array([v.law == "one-sided" for v in self.values], dtype=bool)
        x = np.where(one_sided, np.abs(u), u)
        return np.asarray(x @ np.where(one_sided, plus, line) + x**2 @ np.where(one_sided, 0, bend))


def moves_wires(setup: Setup, one: Uncertain) -> bool:
    """Whether the value does anything outside transformer and coax."""
    return not one.path.startswith(("transformer.", "coax.loss_scale", "radio."))


def wire_shifts(setup: Setup, values: Sequence[Uncertain], response: Response, f_hz: float) -> Shifts:
    """Shifts in the band of `response` (of the same set-up), solved at f_hz (Hz)."""
    near = Shifted(setup, response, f_hz)

    def tried(one: Uncertain, step: float) -> complex:
        try:
            return near.shift(with_value(setup, one.path, float(one.at(step))))
        except (InputError, SolveError):  # such as an end in the ground: the other way must do
            return complex(np.nan)

    out = np.zeros((len(values), len(STEPS)), dtype=complex)
    for k, one in enumerate(values):
        if not moves_wires(setup, one):
            continue
        for j, step in enumerate(STEPS):
            if step < 0 and not one.path.startswith(CURVED):
                out[k, j] = np.nan
                continue
            out[k, j] = tried(one, step)
        if np.isnan(out[k]).all():
            out[k, 0] = tried(one, -1.0)
        out[k] = np.nan_to_num(np.where(np.isnan(out[k]), -out[k, ::-1], out[k]))
    return Shifts(tuple(values), out)


@dataclass(frozen=True, eq=False)
class Samples:
    """dip (m,) Hz, NaN where there is none; dip_swr (m,); worst (m,): greatest SWR across the band."""

    dip: Real
    dip_swr: Real
    worst: Real

    def __getitem__(self, which: slice) -> "Samples":
        return Samples(self.dip[which], self.dip_swr[which], self.worst[which])


def sampled(
    setup: Setup, response: Response, shifts: Shifts, u: Real, window: tuple[float, float], band: Band
) -> Samples:
    """Dip and SWR at the radio for u (m, k) standard deviations off."""
    f = np.unique(np.concatenate([np.linspace(*window, POINTS), np.linspace(band.lower, band.upper, INSIDE)]))
    size = np.abs(radio_reflection(setup, response, shifts, u, f))
    return _read(f, size, band)


def radio_reflection(setup: Setup, response: Response, shifts: Shifts, u: Real, f: Real) -> Complex:
    """Reflection coefficient at the radio (m, n) at f (n,), Hz."""
    s = shifts.of(u)
    s = s / np.maximum(np.abs(s) / FURTHEST, 1)
    z = shifted_impedance(response, f, s[:, None])
    feed, loss = feed_samples(setup.feed_system(), shifts.values, u)
    at_radio = reflection(feed.impedances(z, f).radio, feed.reference)
    if feed.coax is not None and np.any(loss != 1):
        matched = feed.coax.loss_db(feed.coax_length, f)
        at_radio = at_radio * 10 ** (-2 * matched * (loss[:, None] - 1) / 20)  # a matched line's: real Z0
    return np.asarray(at_radio)


def feed_samples(feed: FeedSystem, values: Sequence[Uncertain], u: Real) -> tuple[FeedSystem, Real]:
    """The feed with its transformer's values as (m, 1) arrays, and the coax's loss over the set-up's (m,)."""
    transformer = feed.transformer
    loss: Any = np.ones(len(u))
    changes: dict[str, Any] = {}
    for k, one in enumerate(values):
        table, _, name = one.path.partition(".")
        sample: Any = one.at(u[:, k])[:, None]
        if one.path == "coax.loss_scale":
            loss = sample[:, 0] / one.value
        elif table == "transformer" and transformer is not None:
            magnetising = changes.get("magnetising", transformer.magnetising)
            if name == "core_scale" and isinstance(magnetising, Core):
                changes["magnetising"] = replace(magnetising, scale=magnetising.scale * sample / one.value)
            elif name == "magnetising_inductance" and isinstance(magnetising, MagnetisingInductance):
                changes["magnetising"] = replace(magnetising, inductance=sample)
            elif name == "loss_resistance" and isinstance(magnetising, MagnetisingInductance):
                changes["magnetising"] = replace(magnetising, resistance=sample)
            else:
                changes[name] = sample
    if changes and transformer is not None:
        feed = replace(feed, transformer=replace(transformer, **changes))
    return feed, loss


def _read(f: Real, size: Real, band: Band) -> Samples:
    """Dips and worst SWR of |reflection| (m, n) at f (n,): the deepest minimum inside the band, else the nearest."""
    inner = size[:, 1:-1]
    low = (inner <= size[:, :-2]) & (inner < size[:, 2:])
    middle = f[1:-1]
    inside = (middle >= band.lower) & (middle <= band.upper)
    outside = np.maximum(band.lower - middle, middle - band.upper)
    # inside: by depth; outside: after all inside ones, by distance
    rank = np.where(low, np.where(inside, inner, 10 + np.maximum(outside, 0) / 1e6), np.inf)
    best = rank.argmin(axis=1)
    found = np.isfinite(rank[np.arange(len(size)), best])
    rows = np.arange(len(size))
    x = np.stack([f[best], f[best + 1], f[best + 2]])
    y = np.stack([size[rows, best], size[rows, best + 1], size[rows, best + 2]]) ** 2
    first, second = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
    bend = (second - first) / (x[2] - x[0])
    with np.errstate(divide="ignore", invalid="ignore"):
        dip = np.where(bend > 0, (x[0] + x[1]) / 2 - first / (2 * bend), x[1])
    dip = np.clip(dip, x[0], x[2])
    least = np.sqrt(np.maximum(y[1] - np.where(bend > 0, bend, 0) * (dip - x[1]) ** 2, 0))
    in_band = size[:, (f >= band.lower - 1) & (f <= band.upper + 1)].max(axis=1)
    swr = [np.where(found, _swr(least), math.nan), _swr(in_band)]
    return Samples(np.where(found, dip, math.nan), swr[0], swr[1])


def _swr(size: Real) -> Real:
    capped = np.minimum(size, 0.9999)
    return np.asarray((1 + capped) / (1 - capped))
