"""From uncertain values to the spread of a band's dip and SWR, with no solve beyond the set-up's own.

Wires. The currents at the band's dip say what a small change of each value does there (model/solve/sensitivity.py): a
relative shift along the frequency. Those of several values add up. Transformer and coax are computed as they are, for
every sample.

Quasi-random samples (Sobol points) of this model then give quantiles, chances and shares. The same points belong to the
same values in every set-up, so samples of two set-ups can be compared one by one.
tests/benchmarks/calibration.py compares it with exact solves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.ferrite import Core
from tautwire.model.feed.transformer import MagnetisingInductance
from tautwire.model.operating.bands import Band
from tautwire.model.reflection import reflection
from tautwire.studies.study.setup import Built, Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.shifted import FURTHEST, shifted_impedance
from tautwire.studies.wants.spread.values import Uncertain, moved, reference

if TYPE_CHECKING:
    from tautwire.model.solve.response import Response
    from tautwire.model.solve.solver import Solver

CURVED = ("coax.height", "counterpoise.", "antenna.slope")  # whose shifts are no straight line: two steps
STEP = 0.5  # standard deviations at which the shift of another value is read; its slope there serves both ways
COUNT = 512
POINTS, INSIDE = 41, 13  # frequencies of a band's window, and of the band itself: twice as many move +- by 0.8 % of it


@dataclass(frozen=True, eq=False)
class Shifts:
    """How far each value moves the wire in one band: a relative complex shift line x + bend x^2 (k,) at x standard
    deviations; 0 for those that do not touch the wires. x ends where the value's own limits do."""

    values: tuple[Uncertain, ...]
    line: Complex
    bend: Complex

    def of(self, u: Real) -> Complex:
        """Sum of all shifts (m,) at u (m, k)."""
        x = np.empty(u.shape)
        for k, one in enumerate(self.values):
            x[:, k] = one.reached(u[:, k])
        return np.asarray(x @ self.line + x**2 @ self.bend)

    @classmethod
    def none(cls) -> Shifts:
        return cls((), np.zeros(0, dtype=complex), np.zeros(0, dtype=complex))


def dip_or_middle(setup: Setup, response: Response, band: Band) -> float:
    """Where the wires' shifts are read: at the dip, or at the band's middle if there is none; Hz."""
    at = float(sampled(setup, response, Shifts.none(), np.zeros((1, 0)), window(band), band).dip[0])
    return at if math.isfinite(at) else (band.lower + band.upper) / 2


def moves_wires(one: Uncertain) -> bool:
    """Whether the value does anything outside transformer and coax."""
    inside = ("transformer.", "coax.loss_scale", "coax.velocity_scale", "coax.z0_scale", "radio.")
    return not one.path.startswith(inside)


class Moves:
    """A set-up with one value off, built once for all bands. values: what may be off."""

    def __init__(self, setup: Setup, values: tuple[Uncertain, ...]) -> None:
        self.setup, self.values = setup, values
        self._built: dict[tuple[int, float], tuple[Built, Built] | None] = {}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Moves) and self.setup is other.setup and self.values == other.values

    def __hash__(self) -> int:
        return id(self.setup)

    @cached_property
    def own(self) -> Built:
        return self.setup.build()

    def at(self, k: int, x: float) -> tuple[Built, Built] | None:
        """With value k at x standard deviations, and as it is, written the same way; None if it cannot be built, such
        as with an end in the ground."""
        if (k, x) not in self._built:
            self._built[k, x] = self._new(self.values[k], x)
        return self._built[k, x]

    def _new(self, one: Uncertain, x: float) -> tuple[Built, Built] | None:
        try:
            was = reference(self.setup, one)
            return moved(self.setup, one, x).build(), self.own if was is self.setup else was.build()
        except InputError:
            return None


@lru_cache(maxsize=8)
def _known(moves: Moves) -> Moves:
    """The one that is equal and may have built some already."""
    return moves


def wire_shifts(setup: Setup, values: Sequence[Uncertain], solver: Solver, f_hz: float) -> Shifts:
    """Shifts from the currents at f_hz (Hz). solver: of the same set-up."""
    from tautwire.model.solve.sensitivity import Sensitivity  # with the engine, which stored answers spare

    near, moves = Sensitivity(solver, f_hz), _known(Moves(setup, tuple(values)))
    line, bend = np.zeros((2, len(values)), dtype=complex)

    def tried(k: int, x: float) -> complex:
        if values[k].path == "mesh.feed_segment":
            return near.gap_shift(float(values[k].at(x)) - values[k].value)
        built = moves.at(k, x)
        try:
            return complex(np.nan) if built is None else near.shift(
                built[0].structure, built[0].ground, built[1].ground)  # fmt: skip
        except (InputError, SolveError):  # the other way must do
            return complex(np.nan)

    for k, one in enumerate(values):
        if not moves_wires(one):
            continue
        steps = one.steps(one.path.startswith(CURVED), STEP)
        shifts = np.array([tried(k, x) for x in steps])
        known = np.isfinite(shifts)
        if not known.any() and one.least < 0:
            steps = (-STEP,)
            shifts = np.array([tried(k, -STEP)])
            known = np.isfinite(shifts)
        x, s = np.array(steps)[known], shifts[known]
        if len(x) == 2:
            line[k], bend[k] = np.linalg.solve(np.stack([x, x**2], axis=1), s)
        elif len(x):
            line[k] = s[0] / x[0]
    return Shifts(tuple(values), line, bend)


@dataclass(frozen=True, eq=False)
class Samples:
    """dip (m,) Hz, NaN where there is none; dip_swr (m,); worst (m,): greatest SWR across the band."""

    dip: Real
    dip_swr: Real
    worst: Real

    def __getitem__(self, which: slice) -> Samples:
        return Samples(self.dip[which], self.dip_swr[which], self.worst[which])


def sampled(
    setup: Setup, response: Response, shifts: Shifts, u: Real, searched: tuple[float, float], band: Band
) -> Samples:
    """Dip and SWR at the radio for u (m, k) standard deviations off."""
    f = np.unique(np.concatenate([np.linspace(*searched, POINTS), np.linspace(band.lower, band.upper, INSIDE)]))
    size = np.abs(radio_reflection(setup, response, shifts, u, f))
    return _read(f, size, band)


def radio_reflection(setup: Setup, response: Response, shifts: Shifts, u: Real, f: Real) -> Complex:
    """Reflection coefficient at the radio (m, n) at f (n,), Hz."""
    s = shifts.of(u)
    s = s / np.maximum(np.abs(s) / FURTHEST, 1)
    z = shifted_impedance(response, f, s[:, None])
    feed = feed_samples(setup, shifts.values, u)
    primary = replace(feed, coax=None, coax_length=0.0).impedances(z, f).primary
    return np.asarray(through_coax(feed, shifts.values, u, reflection(primary, feed.reference), f))


def through_coax(feed: FeedSystem, values: Sequence[Uncertain], u: Real, load: Complex, f: Real) -> Complex:
    """Reflection coefficient (m, n) at the radio's end of coax whose constants differ from sample to sample.

    load (m, n): at its far end; both against the feed's reference. f (n,): Hz.
    """
    if feed.coax is None or not feed.coax_length:
        return load
    factor = {"length": 1.0, "loss_scale": 1.0, "velocity_scale": 1.0, "z0_scale": 1.0}
    changed: dict[str, Any] = dict(factor)
    for one, off in zip(values, u.T, strict=True):
        table, _, name = one.path.partition(".")
        if table == "coax" and name in factor:
            changed[name] = one.at(off)[:, None] / one.value
    gamma, zc = feed.coax.propagation(f)
    gamma = (gamma.real * changed["loss_scale"] + 1j * gamma.imag / changed["velocity_scale"]) * changed["length"]
    zc = zc * changed["z0_scale"]
    step = reflection(zc, feed.reference)  # of the line against the reference, and back
    inside = (load - step) / (1 - load * step) * np.exp(-2 * gamma * feed.coax_length)
    return np.asarray((inside + step) / (1 + inside * step))


def feed_samples(setup: Setup, values: Sequence[Uncertain], u: Real) -> FeedSystem:
    """The feed with its transformer's values as (m, 1) arrays; its coax as the set-up has it."""
    feed = setup.feed_system()
    transformer = feed.transformer
    changes: dict[str, Any] = {}
    for k, one in enumerate(values):
        table, _, name = one.path.partition(".")
        if table == "transformer" and transformer is not None:
            sample: Any = one.at(u[:, k])[:, None]
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
    return feed


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
