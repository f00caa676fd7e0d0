"""All outings together: the most likely values of antenna, sites and hangings, how sure they are, and predictions.

Readings y of a hanging depend on hidden values g (antenna and sites, shared) and h (its own), each N(0, 1) beforehand:

    y = m(g, h) + noise          linearised:  y = Jg g + Jh h + noise,  so  y ~ N(Jg g, R),  R = 1 + Jh Jh'

and what is known of g adds up over hangings: precision P + sum Jg' R^-1 Jg (Gauss and Newton's method, damped, with the
whole log replayed each time). How far this user is off the usual table is not known either, so all is done for each
cell of a small grid of spreads, model errors and leaves (layers.GRID), and the cells are weighed by their evidence
(Laplace's approximation, any text on Bayesian statistics). Nothing is added to yesterday's answer: that would be wrong
where the model bends.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy

from tautwire.model.basics import Complex, Real, Remember, compute_always, size_of
from tautwire.model.operating.bands import Band
from tautwire.studies.learned.nearby import CLOSE, Nearby, nearby
from tautwire.studies.learned.outing import (
    GRID,
    LEAVES,
    READ_DIP,
    READ_SIZE,
    SWEEP_NOISE,
    SWEEP_SMOOTH,
    Cell,
    Dip,
    Kinds,
    Layer,
    Outing,
    layer_of,
    model_error,
    off_values,
    together,
)
from tautwire.studies.study.measurement import Sweep
from tautwire.studies.study.raw import ONE_SIDED
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.spread.values import Uncertain

Key = tuple[Hashable, ...]
"""What tells one unknown from another: its layer, what it belongs to, and its name."""

ERROR = "error"
SMALL = 0.05  # of a standard deviation, for slopes
ROUNDS, MORE_ROUNDS, HALVINGS = 8, 2, 4
LONGEST = 2.5  # step of a hidden value
SETTLED = 0.02  # greatest step of a hidden value at which the search ends
WEIGHTY = 0.01  # of the likeliest cell's weight, from which a cell is searched by itself
MOST_POINTS = 41  # of a sweep in one band
LEAST_POINTS = 5
DRAWS = 1024
UNLIKELY = 1e-3  # chance from which readings do not fit what was typed


def part_of(setup: Setup, path: str, place: str) -> Hashable:
    """What an unknown belongs to: a piece of equipment as typed, or a place. Another piece is another unknown."""
    table = path.partition(".")[0]
    if table == "site":
        return place, repr(setup.site)
    if table == "coax" and setup.coax is not None:
        return repr((setup.coax.type, setup.coax.length))
    if table == "transformer":
        return repr(setup.transformer)
    if table == "counterpoise":
        one = setup.counterpoise[int(path.split(".")[1]) - 1]
        return repr((one.length, one.wire))
    return repr(setup.wire)


def key_of(setup: Setup, one: Uncertain, place: str, hang: Hashable) -> Key:
    layer = layer_of(one.path)
    if layer == "hang":
        return layer, hang, one.path
    return layer, part_of(setup, one.path, place), one.path, one.sd


def error_keys(setup: Setup, layer: Layer, place: str, hang: Hashable, bands: Sequence[Band]) -> list[Key]:
    """The model's own error in each band that belongs to a layer."""
    whose: Hashable = {"antenna": repr(setup.wire), "site": place, "hang": hang}[layer]
    return [(layer, whose, ERROR, band.name) for band in bands]


def kind_of(one: Uncertain) -> int:
    if one.path == LEAVES and one.law == ONE_SIDED:
        return 2
    return 1 if one.law == ONE_SIDED else 0


@dataclass(frozen=True, eq=False)
class Local:
    """One outing's model: its values, the unknowns they are (own, in order: values, then the errors of three layers),
    and its bands."""

    outing: Outing
    values: tuple[Uncertain, ...]
    keys: tuple[Key, ...]
    kinds: Kinds
    bands: tuple[Band, ...]
    models: Mapping[str, Nearby]
    mixing: Mapping[str, Real]
    """band -> (3 nb,): what its error is of the errors' unknowns"""

    @classmethod
    def of(cls, outing: Outing, bands: tuple[Band, ...], used: Sequence[Band], remember: Remember) -> Local:
        """bands: all that errors are kept for; used: those to be modelled."""
        values = off_values(outing.setup, outing.known)
        keys = [key_of(outing.setup, v, outing.place, (outing.place, outing.hang)) for v in values]
        kinds = [kind_of(v) for v in values]
        for layer in ("antenna", "site", "hang"):
            keys += error_keys(outing.setup, layer, outing.place, (outing.place, outing.hang), bands)
        root = together(len(bands))
        mixing = {
            band.name: np.concatenate([model_error(band, layer) * root[i] for layer in ("antenna", "site", "hang")])
            for i, band in enumerate(bands)
        }
        models = {b.name: nearby(outing.setup, b, values, remember) for b in used}
        every = np.array(kinds + [3] * (3 * len(bands)))
        return cls(outing, values, tuple(keys), Kinds(every), bands, models, mixing)

    def split(self, band: Band, x: Real) -> tuple[Real, Real]:
        """What is off (m, k), and the resonances' own error (m,), of x (m, all)."""
        k = len(self.values)
        return x[:, :k], x[:, k:] @ self.mixing[band.name]

    def readings(self, x: Real) -> tuple[Real, Real]:
        """What was read less what is modelled (c, n), in errors, and the model's slopes (c, n, all) at x (c, all)."""
        found = [self._dip(d, x) for d in self.outing.dips if d.band.name in self.models]
        found += [self._sweep(s, m, x) for s in self.outing.sweeps for m in self.models.values()
                  if len(_inside(s, m.band)) >= LEAST_POINTS]  # fmt: skip
        if not found:
            return np.zeros((len(x), 0)), np.zeros((len(x), 0, x.shape[1]))
        return np.concatenate([r for r, _ in found], axis=1), np.concatenate([j for _, j in found], axis=1)

    def _around(self, model: Nearby, x: Real, more: float, f: Real) -> Complex:
        """Reflection (c, k + 2, n) at f (n,) or (c, n), Hz: at x (c, all), with each value SMALL more, and with the
        resonances `more` higher."""
        k = len(self.values)
        off, error = self.split(model.band, np.repeat(x, k + 2, axis=0))
        steps = np.concatenate([np.zeros((1, k)), SMALL * np.eye(k), np.zeros((1, k))])
        off = off + np.tile(steps, (len(x), 1))
        error = error + np.tile(np.eye(k + 2)[-1] * more, len(x))
        at = np.repeat(f, k + 2, axis=0) if np.ndim(f) == 2 else f
        there: Complex = model.gamma(off, error, at).reshape(len(x), k + 2, -1)
        return there

    def _slopes(self, model: Nearby, change: Real, by_error: Real) -> Real:
        """(c, n, all) of the change with each value's step (c, k, n) and the slope by the resonances' error (c, n)."""
        return np.concatenate(
            [change.transpose(0, 2, 1) / SMALL, by_error[:, :, None] * self.mixing[model.band.name]], axis=2
        )

    def _dip(self, dip: Dip, x: Real) -> tuple[Real, Real]:
        model = self.models[dip.band.name]
        at, _ = model.dips(*self.split(dip.band, x), dip.f_hz)
        gone = ~np.isfinite(at)
        low, high = window(dip.band)
        at = np.where(gone, low if dip.f_hz - low < high - dip.f_hz else high, at)
        f = at[:, None] * (1 + CLOSE * np.array([-1.0, 0.0, 1.0]))
        y = np.abs(self._around(model, x, 0.0, f)) ** 2
        bend, slope = y[..., 0] - 2 * y[..., 1] + y[..., 2], (y[..., 2] - y[..., 0]) / 2
        bend = np.maximum(bend, 1e-9)
        place = np.clip(-CLOSE * slope / bend, -0.01, 0.01)
        size = np.sqrt(np.maximum(y[..., 1] - slope**2 / (2 * bend), 1e-8))
        seen = math.log(dip.f_hz) - np.log(at) - place[:, 0]
        left = [np.where(gone, seen + np.copysign(0.1, seen), seen)[:, None] / READ_DIP]  # none there: further than any
        moves = np.where(gone[:, None], 0.0, place[:, 1:-1] - place[:, :1])
        rows = [self._slopes(model, moves[..., None] / READ_DIP, np.where(gone, 0.0, 1 / READ_DIP)[:, None])]
        if dip.swr is not None and math.isfinite(dip.swr):
            left.append((float(size_of(dip.swr)) - size[:, :1]) / READ_SIZE)
            moves = np.where(gone[:, None], 0.0, size[:, 1:-1] - size[:, :1])
            rows.append(self._slopes(model, moves[..., None] / READ_SIZE, np.zeros((len(x), 1))))
        return np.concatenate(left, axis=1), np.concatenate(rows, axis=1)

    def _sweep(self, sweep: Sweep, model: Nearby, x: Real) -> tuple[Real, Real]:
        pick = _inside(sweep, model.band)
        more = 1e-4
        there = self._around(model, x, more, sweep.f_hz[pick])
        if sweep.gamma is None:
            seen, modelled = np.asarray(size_of(sweep.swr[pick])), np.abs(there)
        else:
            seen = np.concatenate([sweep.gamma[pick].real, sweep.gamma[pick].imag])
            modelled = np.concatenate([there.real, there.imag], axis=2)
        white = _sweep_white(len(pick), len(seen) // len(pick))
        left = (seen - modelled[:, 0]) @ white.T
        change = (modelled[:, 1:] - modelled[:, :1]) @ white.T
        return left, self._slopes(model, change[:, :-1], change[:, -1] / more)


def _inside(sweep: Sweep, band: Band) -> np.ndarray:
    """Points of a sweep in a band's window, thinned out."""
    low, high = window(band)
    reach = 0.4 * (band.lower - low), 0.4 * (high - band.upper)
    inside = np.flatnonzero((sweep.f_hz >= band.lower - reach[0]) & (sweep.f_hz <= band.upper + reach[1]))
    if len(inside) <= MOST_POINTS:
        return inside
    return inside[np.unique(np.linspace(0, len(inside) - 1, MOST_POINTS).round().astype(int))]


def _sweep_white(count: int, parts: int) -> Real:
    """What makes a sweep's errors independent, each of size 1: white ones, and smooth ones alike in each part."""
    t = np.linspace(-1, 1, count)
    shapes = np.stack([np.ones(count), t * math.sqrt(3), (3 * t**2 - 1) * math.sqrt(5) / 2], axis=1)
    one = SWEEP_NOISE**2 * np.eye(count) + SWEEP_SMOOTH**2 * shapes @ shapes.T
    return np.asarray(np.linalg.inv(np.linalg.cholesky(np.kron(np.eye(parts), one))))


class Line(NamedTuple):
    """A hanging's readings, linear in what is off: left (n,) at the place x, slopes by shared (n, G) and own (n, H)."""

    left: Real
    shared: Real
    own: Real


class Found(NamedTuple):
    """One cell: hidden shared values' mean (G,) and covariance (G, G); each hanging's own mean; how likely all of it
    is; misfit: chi squared of the readings with what was known beforehand."""

    cell: Cell
    mean: Real
    covariance: Real
    own: tuple[Real, ...]
    lines: tuple[Line, ...]
    targets: tuple[Real, ...]
    evidence: float
    misfit: float


@dataclass
class Log:
    """Outings made ready: unknowns shared by hangings, and each hanging's own.

    bands: all that errors are kept for. Raises InputError or SolveError for a set-up that cannot be built or solved.
    """

    outings: Sequence[Outing]
    bands: tuple[Band, ...]
    remember: Remember = compute_always
    pairs: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.shared: dict[Key, int] = {}
        self.shared_kinds: list[int] = []
        self.hangs: dict[Hashable, tuple[dict[Key, int], list[int], list[Local]]] = {}
        for outing in self.outings:
            local = self.local(outing)
            own, kinds, locals_ = self.hangs.setdefault((outing.place, outing.hang), ({}, [], []))
            for key, kind in zip(local.keys, local.kinds.kind, strict=True):
                place, list_ = (own, kinds) if key[0] == "hang" else (self.shared, self.shared_kinds)
                if key not in place:
                    place[key] = len(place)
                    list_.append(int(kind))
            locals_.append(local)

    def local(self, outing: Outing) -> Local:
        """The model of one outing. Raises InputError or SolveError."""
        used = [b for b in self.bands if any(d.band.name == b.name for d in outing.dips)
                or any(len(_inside(s, b)) >= LEAST_POINTS for s in outing.sweeps)]  # fmt: skip
        return Local.of(outing, self.bands, used, self.remember)

    @cached_property
    def kinds(self) -> Kinds:
        return Kinds(np.array(self.shared_kinds, dtype=int))

    @cached_property
    def own_kinds(self) -> list[Kinds]:
        return [Kinds(np.array(kinds, dtype=int)) for _, kinds, _ in self.hangs.values()]

    def linear(self, shared: Real, own: Sequence[Real]) -> list[tuple[Line, ...]]:
        """Every hanging's readings about several places: shared (c, G), own (c, H) each; a tuple a place."""
        every: list[list[Line]] = []
        for (places, kinds, locals_), there in zip(self.hangs.values(), own, strict=True):
            parts: list[tuple[Real, Real, Real]] = []
            for local in locals_:
                held = np.array([key[0] == "hang" for key in local.keys])
                index = np.array([(places if h else self.shared)[k] for k, h in zip(local.keys, held, strict=True)])
                x = np.zeros((len(shared), len(held)))
                x[:, held], x[:, ~held] = there[:, index[held]], shared[:, index[~held]]
                left, slopes = local.readings(x)
                by_shared = np.zeros((*left.shape, shared.shape[1]))
                by_own = np.zeros((*left.shape, len(kinds)))
                by_shared[:, :, index[~held]], by_own[:, :, index[held]] = slopes[:, :, ~held], slopes[:, :, held]
                parts.append((left, by_shared, by_own))
            whole = [np.concatenate(p, axis=1) for p in zip(*parts, strict=True)]
            every.append([Line(*one) for one in zip(*whole, strict=True)])
        return [tuple(hang[c] for hang in every) for c in range(len(shared))]

    @cached_property
    def precision(self) -> Real:
        """P (G, G) of the shared hidden values before anything was read: 1, but for what a fit found together."""
        together_ = np.eye(len(self.shared))
        places: dict[str, list[int]] = {}
        for key, i in self.shared.items():
            places.setdefault(str(key[2]), []).append(i)
        for (a, b), r in self.pairs.items():
            for i, j in zip(places.get(a, []), places.get(b, []), strict=False):
                together_[i, j] = together_[j, i] = r
        if len(together_) and np.linalg.eigvalsh(together_)[0] < 1e-6:
            together_ = together_ * (1 - 1e-5) + 1e-5 * np.eye(len(together_))
        return np.asarray(np.linalg.inv(together_))


class Point(NamedTuple):
    """Where the search is: what is off of shared and own, and the readings about it."""

    shared: Real
    own: tuple[Real, ...]
    lines: tuple[Line, ...]


def _solved(log: Log, at: Point, cell: Cell) -> Found:
    """The best hidden values of a cell with readings linear about a point, and the evidence there."""
    kinds = log.kinds
    z = kinds.hidden(at.shared, cell)
    slope = kinds.slope(z, cell)
    precision = log.precision.copy()
    _, before = np.linalg.slogdet(precision)
    pull = np.zeros(len(z))
    logs = misfit = 0.0
    kept = []
    for kind, off, line in zip(log.own_kinds, at.own, at.lines, strict=True):
        h = kind.hidden(off, cell)
        by_own = line.own * kind.slope(h, cell)
        by_shared = line.shared * slope
        target = line.left + by_shared @ z + by_own @ h
        root = np.linalg.cholesky(np.eye(len(target)) + by_own @ by_own.T)
        white = scipy.linalg.solve_triangular(root, np.column_stack([by_shared, target]), lower=True)
        precision += white[:, :-1].T @ white[:, :-1]
        pull += white[:, :-1].T @ white[:, -1]
        logs += 2 * float(np.log(np.diag(root)).sum())
        misfit += float(white[:, -1] @ white[:, -1])
        kept.append((root, by_shared, by_own, target))
    _, after = np.linalg.slogdet(precision)
    covariance = np.linalg.inv(precision)
    mean = covariance @ pull
    misfit -= float(pull @ mean)
    own = tuple(
        by_own.T @ scipy.linalg.cho_solve((root, True), target - by_shared @ mean)
        for root, by_shared, by_own, target in kept
    )
    lines = tuple(Line(target, by_shared, by_own) for _, by_shared, by_own, target in kept)
    evidence = -(misfit + logs + after - before) / 2 + math.log(cell.weight)
    return Found(cell, mean, covariance, own, lines, tuple(k[3] for k in kept), evidence, misfit)


def _cost(log: Log, at: Point, cell: Cell) -> float:
    """Chi squared of readings and hidden values at a point."""
    z = log.kinds.hidden(at.shared, cell)
    total = float(z @ log.precision @ z)
    for kind, off, line in zip(log.own_kinds, at.own, at.lines, strict=True):
        h = kind.hidden(off, cell)
        total += float(line.left @ line.left + h @ h)
    return total


def _steps(log: Log, points: Sequence[Point], founds: Sequence[Found]) -> list[tuple[Point, float]]:
    """For each cell the point that its linear answer leads to, shortened until it is no worse, and how far it is."""
    ways = []
    for at, found in zip(points, founds, strict=True):
        z = log.kinds.hidden(at.shared, found.cell)
        hs = [k.hidden(o, found.cell) for k, o in zip(log.own_kinds, at.own, strict=True)]
        steps = [found.mean - z, *(o - h for o, h in zip(found.own, hs, strict=True))]
        size = max((float(np.abs(s).max(initial=0.0)) for s in steps), default=0.0)
        ways.append((z, hs, steps, size, _cost(log, at, found.cell)))
    parts = [min(1.0, LONGEST / size) if size > 0 else 1.0 for _, _, _, size, _ in ways]
    done: list[tuple[Point, float]] = [(at, 0.0) for at in points]
    open_ = [i for i, way in enumerate(ways) if way[3] > 0]
    for _ in range(HALVINGS):
        if not open_:
            break
        places = []
        for i in open_:
            z, hs, steps, _, _ = ways[i]
            cell = founds[i].cell
            own = [k.off(h + parts[i] * s, cell) for k, h, s in zip(log.own_kinds, hs, steps[1:], strict=True)]
            places.append((log.kinds.off(z + parts[i] * steps[0], cell), own))
        shared = np.stack([p[0] for p in places])
        owns = [np.stack([p[1][j] for p in places]) for j in range(len(log.own_kinds))]
        lines = log.linear(shared, owns)
        still = []
        for i, place, line in zip(open_, places, lines, strict=True):
            new = Point(place[0], tuple(place[1]), line)
            if _cost(log, new, founds[i].cell) < ways[i][4] + 1e-6:
                done[i] = new, ways[i][3] * parts[i]
            else:
                parts[i] /= 3
                still.append(i)
        open_ = still
    return done


def _searched(log: Log, points: Sequence[Point], cells: Sequence[Cell], rounds: int) -> list[tuple[Point, Found]]:
    """The best point and answer of each cell, all searched side by side from where each begins."""
    at = list(points)
    found = [_solved(log, p, c) for p, c in zip(at, cells, strict=True)]
    moving = list(range(len(cells)))
    for _ in range(rounds):
        steps = _steps(log, [at[i] for i in moving], [found[i] for i in moving])
        for i, (point, _) in zip(moving, steps, strict=True):
            at[i], found[i] = point, _solved(log, point, cells[i])
        moving = [i for i, (_, size) in zip(moving, steps, strict=True) if size >= SETTLED]
        if not moving:
            break
    return list(zip(at, found, strict=True))


def _began(log: Log, cell: Cell) -> Point:
    shared = log.kinds.off(np.zeros(len(log.shared)), cell)
    own = tuple(k.off(np.zeros(len(k.kind)), cell) for k in log.own_kinds)
    return Point(shared, own, log.linear(shared[None], [o[None] for o in own])[0])


@dataclass(frozen=True, eq=False)
class Posterior:
    """What is known after some outings: each cell of the grid with its weight."""

    log: Log
    cells: tuple[Found, ...]
    weights: Real

    @property
    def usual(self) -> Found:
        """The cell that takes the usual table as it is."""
        return next(f for f in self.cells if (f.cell.model, f.cell.spread, f.cell.leaves) == (1.0, 1.0, 1.0))

    @property
    def readings(self) -> int:
        """Numbers read."""
        return sum(len(t) for t in self.usual.targets)

    @property
    def chance(self) -> float:
        """How often readings would fit what was typed as badly as these, or worse, with all off by usual amounts."""
        return float(scipy.special.gammaincc(max(self.readings, 1) / 2, self.usual.misfit / 2))

    @property
    def fits(self) -> bool:
        """Whether the readings fit what was typed; if not, something is typed wrong, or not as usual."""
        return self.chance >= UNLIKELY

    def suspects(self) -> list[tuple[str, float]]:
        """Shared values by how much better the readings would fit if nothing were known of one: dotted key, and the
        drop of chi squared, the greatest first.

        With mean m and variance c of a hidden value, N(0, 1) beforehand, to forget that saves m^2/(1 - c).
        """
        found = self.usual
        saved = found.mean**2 / np.maximum(1 - np.diag(found.covariance), 1e-9)
        named = [(str(key[2]), float(saved[i])) for key, i in self.log.shared.items() if key[2] != ERROR]
        return sorted(named, key=lambda one: -one[1])


def learned(log: Log, grid: Sequence[Cell] = GRID) -> Posterior:
    """The posterior of a log. Raises InputError for a grid without the usual cell."""
    usual = next(c for c in grid if (c.model, c.spread, c.leaves) == (1.0, 1.0, 1.0))
    ((at, found),) = _searched(log, [_began(log, usual)], [usual], ROUNDS)
    cells = {usual: found, **{c: _solved(log, at, c) for c in grid if c != usual}}
    done = {usual}
    for _ in range(2):
        best = max(f.evidence for f in cells.values())
        near = [c for c, f in cells.items() if c not in done and f.evidence > best + math.log(WEIGHTY)]
        for cell, (_, better) in zip(near, _searched(log, [at] * len(near), near, MORE_ROUNDS), strict=True):
            cells[cell] = better
        done |= set(near)
    evidence = np.array([f.evidence for f in cells.values()])
    weights = np.exp(evidence - evidence.max())
    return Posterior(log, tuple(cells.values()), weights / weights.sum())


@dataclass(frozen=True, eq=False)
class Predicted:
    """A band's dip as predicted: draws (m,) Hz of it and of |reflection| there."""

    band: Band
    dip: Real
    size: Real

    def _percentile(self, *percents: float) -> list[float]:
        good = self.dip[np.isfinite(self.dip)]
        return [math.nan] * len(percents) if not len(good) else np.percentile(good, percents).tolist()

    @property
    def middle(self) -> float:
        """The median, Hz; nan where no draw has a dip."""
        return self._percentile(50)[0]

    def interval(self, percent: float) -> tuple[float, float]:
        """The middle range, Hz, that holds so many per cent."""
        low, high = self._percentile(50 - percent / 2, 50 + percent / 2)
        return low, high

    @property
    def sd(self) -> float:
        """Half the width of the range that holds 68 %, Hz."""
        low, high = self.interval(68.27)
        return (high - low) / 2


def predict(
    posterior: Posterior, outing: Outing, bands: Sequence[Band], draws: int = DRAWS, seed: int = 1
) -> list[Predicted]:
    """Where dips will be at an outing: what is known of the antenna goes along, of the site if it is the same, and of
    the hanging if it is one of the log's. Raises InputError or SolveError."""
    log = posterior.log
    local = Local.of(outing, log.bands, bands, log.remember)
    x = drawn(posterior, local, draws, seed)
    found = []
    for band in bands:
        at, size = local.models[band.name].dips(*local.split(band, x))
        found.append(Predicted(band, at, size))
    return found


def drawn(posterior: Posterior, local: Local, draws: int, seed: int = 1) -> Real:
    """Samples (m, all) of what is off at an outing."""
    log, rng = posterior.log, np.random.default_rng(seed)
    hang = (local.outing.place, local.outing.hang)
    which = [*log.hangs].index(hang) if hang in log.hangs else None
    edges = np.round(np.cumsum(np.concatenate([[0.0], posterior.weights])) * draws).astype(int)
    x = np.zeros((draws, len(local.keys)))
    for found, begin, end in zip(posterior.cells, edges[:-1], edges[1:], strict=True):
        if end > begin:
            normal = rng.standard_normal(((end - begin + 1) // 2, len(local.keys)))
            normal = np.concatenate([normal, -normal])[: end - begin]
            mean, covariance = hidden_of(posterior, found, local, which)
            size, axes = np.linalg.eigh(covariance)
            z = mean + normal @ (axes * np.sqrt(np.maximum(size, 0))).T
            x[begin:end] = local.kinds.off(z, found.cell)
    return x


def hidden_of(posterior: Posterior, found: Found, local: Local, which: int | None) -> tuple[Real, Real]:
    """Mean (all,) and covariance (all, all) of an outing's hidden values in one cell. which: its hanging in the log."""
    log = posterior.log
    mean, covariance, places = found.mean, found.covariance, dict(log.shared)
    if which is not None:
        line = found.lines[which]
        root = np.linalg.cholesky(np.eye(len(line.left)) + line.own @ line.own.T)
        back = scipy.linalg.cho_solve((root, True), np.column_stack([line.shared, line.own]))
        by_shared, by_own = line.own.T @ back[:, : len(mean)], line.own.T @ back[:, len(mean) :]
        across = -by_shared @ covariance
        covariance = np.block([
            [covariance, across.T],
            [across, np.eye(len(by_own)) - by_own + by_shared @ covariance @ by_shared.T],
        ])  # fmt: skip
        mean = np.concatenate([mean, found.own[which]])
        own = [*log.hangs.values()][which][0]
        places |= {key: len(log.shared) + i for key, i in own.items()}
    index = np.array([places.get(key, -1) for key in local.keys])
    known = index >= 0
    out, whole = np.zeros(len(index)), np.eye(len(index))
    out[known] = mean[index[known]]
    whole[np.ix_(known, known)] = covariance[np.ix_(index[known], index[known])]
    return out, whole
