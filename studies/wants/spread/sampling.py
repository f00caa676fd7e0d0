"""From uncertain values to the spread of a band's dip and SWR: samples, intervals, and the difference of two cases.

From uncertain values to the spread of a band's dip and SWR, with no solve beyond the set-up's own.

Wires. The currents at the band's dip say what a small change of each value does there (model/solve/neighbours.py): a
relative shift along the frequency, which for a return conductor changes along the band. Those of several values add up.
Transformer and coax are computed as they are, for every sample.

Quasi-random samples (Sobol points) of this model then give quantiles, chances and shares. The same points belong to the
same values in every set-up, so samples of two set-ups can be compared one by one.
tests/benchmarks/calibration.py compares it with exact solves.

Shifts of a case from those of its likes: along an axis whose matrices are blended, shifts are blended too.

Each shift changes smoothly along the axis as long as the dip does. So a polynomial through the shifts at the solved
places, each read at its own dip, gives those of the others, unless the dips jump to another mode between, or leaving
out the second nearest place changes the shifts too much: then they are read from the case's own currents.

How sure the difference of two cases is: from the same draws of what is uncertain in both.

A wire's jacket, its transformer and the soil move two slopes of one wire alike, so their difference is much surer than
either dip. Draw by draw, the samples of two cases have the same values off by as many standard deviations.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Arrays, Complex, Real, key_of, reflection
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.ferrite import Core
from tautwire.model.feed.transformer import MagnetisingInductance
from tautwire.model.operating.bands import Band
from tautwire.studies.study.setup import Built, Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.local_model import FURTHEST, shifted_impedance
from tautwire.studies.wants.spread.values import REACH, Joint, Uncertain, moved, reference

if TYPE_CHECKING:
    from tautwire.model.solve.response import Response
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.wants.want import Rows


# --- From uncertain values to the spread of a band's dip and SWR.


CURVED = ("coax.height", "counterpoise.", "antenna.slope")  # whose shifts are no straight line: two steps
TURNING = ("coax.", "counterpoise.")  # whose shifts change along the band: the return conductors resonate by themselves
BESIDE, FAR = 0.02, 0.06  # of the frequency: where that change is read, and how far it is followed
STEP = 0.5  # standard deviations at which the shift of another value is read; its slope there serves both ways
COUNT = 512
POINTS, INSIDE = 41, 13  # frequencies of a band's window, and of the band itself: twice as many move +- by 0.8 % of it


@dataclass(frozen=True, eq=False)
class Shifts:
    """How far each value moves the wire in one band: a relative complex shift at x standard deviations.

    curve (4, k): a, b, c and d of a x + b x^2 + (c x + d x^2) (f / f_hz - 1), f_hz in Hz; 0 for values that do not
    touch the wires. x ends where the value's own limits do.
    """

    values: tuple[Uncertain, ...]
    curve: Complex
    f_hz: float

    def of(self, u: Real, f: Real) -> Complex:
        """Sum of all shifts (m, n) at u (m, k) and f (n,), Hz."""
        x = np.empty(u.shape)
        for k, one in enumerate(self.values):
            x[:, k] = one.reached(u[:, k])
        away = np.clip(f / self.f_hz - 1, -FAR, FAR)
        line, bend, turn, twist = self.curve
        return np.asarray((x @ line + x**2 @ bend)[:, None] + (x @ turn + x**2 @ twist)[:, None] * away)

    @classmethod
    def none(cls) -> Shifts:
        return cls((), np.zeros((4, 0), dtype=complex), 1.0)


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
    from tautwire.model.solve.neighbours import Sensitivity  # with the engine, which stored answers spare

    near, moves = Sensitivity(solver, f_hz), _known(Moves(setup, tuple(values)))
    beside = Sensitivity(solver, f_hz * (1 + BESIDE)) if any(v.path.startswith(TURNING) for v in values) else near
    curve = np.zeros((4, len(values)), dtype=complex)

    def tried(k: int, x: float, near: Sensitivity = near) -> complex:
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
        x = np.array(steps)[known]
        curve[:2, k] = _curve(x, shifts[known])
        if one.path.startswith(TURNING):
            there = _curve(x, np.array([tried(k, at, beside) for at in x]))
            curve[2:, k] = np.nan_to_num(there - curve[:2, k]) / BESIDE
    return Shifts(tuple(values), curve, f_hz)


def _curve(x: Real, s: Complex) -> Complex:
    """a and b with s = a x + b x^2, at one place (b = 0) or two; 0 at none."""
    if len(x) == 2:
        return np.asarray(np.linalg.solve(np.stack([x, x**2], axis=1), s))
    return np.array([s[0] / x[0], 0]) if len(x) else np.zeros(2, dtype=complex)


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
    s = shifts.of(u, f)
    z = shifted_impedance(response, f, s / np.maximum(np.abs(s) / FURTHEST, 1))
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


# --- Shifts of a case from those of its likes.


SHARE = 0.35  # of the change without the second nearest place: the greatest error met with all of them
WORST = 0.02  # estimated error, of all shifts together, with which they are blended; it was 0.01 at the most
JUMP = 3e-4  # of the frequency: a dip that is farther from the blended ones is of another mode


@dataclass(frozen=True, eq=False)
class Likes:
    """What a case on a blended axis knows of the solved ones. place, places: on the axis.

    at(k): set-up and solver of the k-th. key: of what their answers depend on besides their set-up.
    """

    place: float
    places: tuple[float, ...]
    at: Callable[[int], tuple[Setup, Solver]]
    key: str


@dataclass(frozen=True, eq=False)
class Asked:
    """What is taken as uncertain. values(setup): of a set-up; key: of what these depend on besides the set-up."""

    values: Callable[[Setup], Sequence[Uncertain]]
    key: str


def shifts_in(band: Band, setup: Setup, solver: Solver, values: tuple[Uncertain, ...], asked: Asked | None) -> Shifts:
    """The shifts of a case in a band, blended where that is good enough. solver: of the same set-up. asked: what gave
    the values; without it, nothing is blended."""
    likes: Likes | None = solver.likes
    if likes is None or asked is None:
        return _own(setup, solver, band, values)
    if likes.place in likes.places:
        return _shifts(values, _kept(likes, likes.places.index(likes.place), band, asked))
    nodes = [_kept(likes, k, band, asked) for k in range(len(likes.places))]
    f_hz = dip_or_middle(setup, solver.response(*window(band)), band)
    blended = _blended(likes, nodes, f_hz, [v.path for v in values])
    return wire_shifts(setup, values, solver, f_hz) if blended is None else _shifts(values, blended)


def _own(setup: Setup, solver: Solver, band: Band, values: Sequence[Uncertain]) -> Shifts:
    return wire_shifts(setup, values, solver, dip_or_middle(setup, solver.response(*window(band)), band))


def _shifts(values: tuple[Uncertain, ...], known: Arrays) -> Shifts:
    return Shifts(values, known["curve"], float(known["f_hz"]))


def _kept(likes: Likes, k: int, band: Band, asked: Asked) -> Arrays:
    """Shifts, frequency (Hz) and the paths of the values at the k-th solved place, from the store if they are there."""
    setup, solver = likes.at(k)

    def compute() -> Arrays:
        values = tuple(asked.values(setup))
        f_hz = dip_or_middle(setup, solver.response(*window(band)), band)
        shifts, paths = wire_shifts(setup, values, solver, f_hz), np.array([v.path for v in values])
        return {"curve": shifts.curve, "f_hz": np.array(f_hz), "paths": paths}

    return solver.remember(
        key_of("turning shifts", likes.key, k, band.name, band.lower, band.upper, asked.key), compute
    )


def _blended(likes: Likes, nodes: Sequence[Arrays], f_hz: float, paths: list[str]) -> Arrays | None:
    """What `_kept` gives, between the nodes; None if it is not good enough."""
    from tautwire.model.solve.response import lagrange  # with the solver, which stored answers spare

    if any(n["paths"].tolist() != paths for n in nodes):
        return None
    places = np.array(likes.places)
    second = int(np.argsort(np.abs(places - likes.place))[1])
    fewer: Real = np.zeros(len(places))
    kept = np.arange(len(places)) != second
    fewer[kept] = lagrange(tuple(places[kept]), likes.place)[0]
    weights = np.stack([lagrange(likes.places, likes.place)[0], fewer])
    f = weights @ np.array([float(n["f_hz"]) for n in nodes])
    known, less = np.tensordot(weights, np.stack([n["curve"] for n in nodes]), axes=1)
    at_dip = slice(2)
    off, size = float(np.linalg.norm((known - less)[at_dip])), float(np.linalg.norm(known[at_dip]))
    if abs(f[0] - f_hz) > JUMP * f_hz or SHARE * off > WORST * size:
        return None
    return {"curve": known, "f_hz": np.array(f_hz)}


# --- Intervals, chances and shares of one band's dip and worst SWR.


SEED = 1
FARTHEST = 0.02  # of the frequency, by one value at a standard deviation: beyond it its shift is no small one
NEAR = "the coax or a counterpoise is near a resonance of its own, and another dip may take over"


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

    @property
    def withheld(self) -> str:
        """Why this is not to be printed; "" where it is."""
        sizes = np.abs(self.shifts.curve[0])
        if not len(sizes) or sizes.max() <= FARTHEST:
            return ""
        name = self.shifts.values[int(sizes.argmax())].name
        return f"{name} alone may move the antenna far along the band: {NEAR}"

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


# --- How sure the difference of two cases is.


DRAWS = "spread_draws"  # table of the samples, which `compare` makes into the table "differences"
FEW = 12  # cases, each compared with each; of more, each with the first, and the lowest dip with the highest
SAME_DIP = 5e-4  # of the frequency: a dip told elsewhere that is no farther off is the one these samples are of
UNSURE = (
    "dip_give_khz", "dip_minus_khz", "dip_plus_khz", "dip_median_mhz", "dip_low_mhz", "dip_high_mhz", "dip_swr_low",
    "dip_swr_high", "swr_worst_low", "swr_worst_high", "swr_worst_low_68", "swr_worst_high_68", "swr_worst_median",
    "chance_under_limit", "largest", "largest_khz", "measure", "measured_give_khz",
)  # fmt: skip
"""Columns of "spread" that are empty where the give or take is withheld."""


def draws_row(band: str, base: Samples, samples: Samples) -> dict[str, Any]:
    """A row of the samples: dip (Hz) and highest SWR of the set-up as it is, then of each draw."""
    dips = np.concatenate([base.dip, samples.dip])
    worst = np.concatenate([base.worst, samples.worst])
    return {"band": band, "dip_hz": np.round(dips).tolist(), "worst": np.round(worst, 5).tolist()}


@dataclass(frozen=True, eq=False)
class Drawn:
    """A case's samples in one band. name: in words. dip (m,): Hz. worst (m,). own: both of the set-up as it is."""

    name: str
    band: str
    dip: Real
    worst: Real
    own: tuple[float, float]

    @classmethod
    def of(cls, name: str, row: Mapping[str, Any]) -> Drawn:
        """From a row of `draws_row`."""
        dip, worst = np.array(row["dip_hz"], dtype=float), np.array(row["worst"], dtype=float)
        return cls(name, row["band"], dip[1:], worst[1:], (float(dip[0]), float(worst[0])))


def difference(a: Drawn, b: Drawn) -> dict[str, Any]:
    """A row of "differences": b less a; see columns.py. Draws without a dip in either are left out of the dips'."""

    row: dict[str, Any] = {"band": a.band, "case_a": a.name, "case_b": b.name}
    parts = (("dip_difference", "_khz", b.dip - a.dip, b.own[0] - a.own[0], 1e-3),
             ("swr_difference", "", b.worst - a.worst, b.own[1] - a.own[1], 1.0))  # fmt: skip
    for name, unit, values, own, factor in parts:
        row[f"{name}{unit}"] = own * factor
        for percent in (68, 95):
            low, high = held(values, percent, own)
            row[f"{name}_low_{percent}{unit}"], row[f"{name}_high_{percent}{unit}"] = low * factor, high * factor
        known = values[np.isfinite(values)]
        ahead = float(np.mean(known > 0) + np.mean(known == 0) / 2) if len(known) else math.nan
        row["dip_lower_share" if unit else "swr_lower_share"] = ahead
    return row


def differences(drawn: Sequence[Drawn]) -> Rows:
    """Rows for the cases of one band, in their order."""
    return [difference(drawn[i], drawn[j]) for i, j in _pairs(drawn)]


def _pairs(drawn: Sequence[Drawn]) -> Iterator[tuple[int, int]]:
    if len(drawn) <= FEW:
        yield from itertools.combinations(range(len(drawn)), 2)
        return
    yield from ((0, j) for j in range(1, len(drawn)))
    dips = np.array([d.own[0] for d in drawn])
    if np.isfinite(dips).any():
        lowest, highest = int(np.nanargmin(dips)), int(np.nanargmax(dips))
        if lowest and highest and lowest != highest:
            yield min(lowest, highest), max(lowest, highest)


def withhold(result: Result) -> None:
    """Empties the give or take of bands that the table "quality" marks, and of dips that are not the ones told, with
    the reason in the column "withheld"."""
    if not (rows := result.rows("spread")):
        return
    marks = {result.place(row): row["marks"] for row in result.rows("quality")}
    told = {result.place(row): row.get("dip_mhz") for row in result.rows("dips")}
    result.frames["spread"] = [_withheld(row, marks.get(key := result.place(row), ""), told.get(key)) for row in rows]


def _withheld(row: Mapping[str, Any], marks: str, told: float | None) -> dict[str, Any]:
    why = f"outside the model's validity: {marks}" if marks else ""
    why = row.get("withheld") or why
    if not why and told is not None and math.isfinite(told) and not abs(told - row["dip_mhz"]) <= SAME_DIP * told:
        why = "the dip shown is one followed from other cases, the samples are of the band's deepest or nearest"
    if not why:
        return dict(row)
    return {**row, **{k: "" if isinstance(row[k], str) else math.nan for k in UNSURE if k in row}, "withheld": why}


def compare(result: Result) -> None:
    """Makes the samples of all cases into the table "differences", of those whose give or take is not withheld."""
    rows = result.rows(DRAWS)
    if DRAWS in result.frames:
        del result.frames[DRAWS]
    sure = {result.place(row) for row in result.rows("spread") if not row.get("withheld")}
    by_band: dict[str, list[Drawn]] = {}
    for row in rows:
        if result.place(row) in sure:
            name = result.study.words_of({c: row[c] for c in result.axis_columns if c in row})
            by_band.setdefault(row["band"], []).append(Drawn.of(name, row))
    if found := [row for drawn in by_band.values() for row in differences(drawn)]:
        result.frames["differences"] = found
