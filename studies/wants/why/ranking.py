"""Why did the dip move? For every cause the change that explains all bands best, and how well and how small it is.

For a cause changed by c usual changes the model tells each band's dip and its SWR. The best c is the least of
    sum over bands of (predicted - seen)^2/error^2   +   c^2
with shifts of the dip taken relative to its frequency and SWR as |reflection|; causes are ranked by that least sum,
so one that explains everything by a small change comes first. What a cause does is first told from coarse solves
(shifted.py); those that come close to the best are then solved at their best change. Where no single cause explains the
shifts, pairs are tried, with their shifts added up, and the best pairs solved. Differences from the set-up as it was
are compared, so a set-up that is a little off does little harm.
"""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import band_named, band_of, bands
from tautwire.model.reflection import size_of, swr
from tautwire.model.solve.response import Response
from tautwire.model.solve.smooth_matrices import span_of
from tautwire.model.solve.solver import Remember, compute_always
from tautwire.studies.study.measurement import Sweep, dips
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.ask import AskMany, in_turn
from tautwire.studies.wants.dips.reading import GRID, minima
from tautwire.studies.wants.shifted import Shifted, shifted_impedance
from tautwire.studies.wants.why.causes import Cause, both, causes

DIP_ERROR = 1e-3  # of the frequency: reading a dip (common practice, no source); the mesh moves it by < 2e-4
GAMMA_ERROR = 0.03  # of |reflection| at the dip: an SWR of 1.5 read as 1.4 to 1.6; common practice, no source
MODEL_SHARE, MODEL_SIZE_SHARE = 0.05, 0.2  # of a modelled move of the dip, and of |reflection|: the model's own error
WINDOW = 0.13  # searched either side of where the dip was, as a fraction: MATCH and room for the dip's flanks
MATCH = 0.09  # a dip moves less than this from one sweep to the next, as a fraction; chosen by hand
OUTSIDE = 0.1  # a dip may lie this far outside the band it is told for, as a fraction
PAIR_STEPS = 81  # changes of each cause of a pair that are tried
MOST_PAIRS = 6  # pairs that are solved
CLOSE = 9.0  # a cause whose score is the best one's and this is solved in full
NEARLY, ROUNDS = 0.1, 3  # as a share of the change: near enough to where it was solved; rounds of such solves
UNLIKELY = 0.02  # chance of so great a misfit below which a cause is said not to explain; chosen by hand


Nodes = dict[float, Real]
"""size of a cause, in usual changes -> dips (bands, 2): Hz, |reflection|"""


@dataclass(frozen=True)
class Shift:
    """What was seen in a band: dip before and after, Hz, and its SWR or NaN. band: a name for tables."""

    band: str
    was_hz: float
    now_hz: float
    was_swr: float = math.nan
    now_swr: float = math.nan

    def __post_init__(self) -> None:
        for name in ("was", "now"):
            low = getattr(self, f"{name}_swr")
            _check_dip(name, getattr(self, f"{name}_hz"))
            if low < 1:
                raise InputError(f"why.{name}_swr", low, "1 or more")
        if abs(math.log(self.now_hz / self.was_hz)) > MATCH:
            raise InputError("why.now", f"{self.now_hz / 1e6:g} MHz", f"within {MATCH:.0%} of where the dip was")

    @property
    def has_swr(self) -> bool:
        return not math.isnan(self.was_swr + self.now_swr)


def _check_dip(name: str, f_hz: float) -> None:
    if not 1.8e6 <= f_hz <= 54e6:
        raise InputError(f"why.{name}", f"{f_hz / 1e6:g} MHz", "a dip from 1.8 to 54 MHz")


@dataclass(frozen=True, eq=False)
class Explanation:
    """One cause. change: in usual changes, at its best. chi2: misfit of all bands. explains: whether it is enough.
    at_end: whether still more change would be better. pair: whether it is two
    causes together. told_hz, told_swr: where it puts each band's dip.
    """

    cause: Cause
    change: float
    chi2: float
    explains: bool
    at_end: bool
    told_hz: tuple[float, ...]
    told_swr: tuple[float, ...]
    pair: bool = False

    @property
    def score(self) -> float:
        return self.chi2 + self.change**2


@dataclass(frozen=True, eq=False)
class Why:
    """All explanations, best first. base_hz: the set-up's own dips. wire: log frequency change of each band for one
    usual change of wire out; wire_cause: what that change is."""

    shifts: tuple[Shift, ...]
    base_hz: tuple[float, ...]
    explanations: tuple[Explanation, ...]
    wire: Real
    wire_cause: Cause
    failed: dict[str, str] = field(default_factory=dict)


def shift_of(was_hz: float, now_hz: float, band: str = "", was_swr: float = math.nan, now_swr: float = math.nan,
             region: object = 1) -> Shift:  # fmt: skip
    """A Shift with its band's name: the band given, else the one nearest to where the dip was.

    Raises InputError for a band that is unknown or that the dip was more than 10 % outside of.
    """
    _check_dip("was", was_hz)
    if band:
        named = band_named(band, region)
        if not named.lower * (1 - OUTSIDE) <= was_hz <= named.upper * (1 + OUTSIDE):
            allowed = f"a band within {OUTSIDE:.0%} of where the dip was, {was_hz / 1e6:.6g} MHz"
            raise InputError("why.band", repr(band), allowed)
        band = named.name
    else:
        here = band_of(was_hz, region) or min(
            bands(region), key=lambda b: abs(math.log(was_hz / math.sqrt(b.lower * b.upper)))
        )
        band = here.name
    return Shift(band, was_hz, now_hz, was_swr, now_swr)


def shifts_between(before: Sequence[Sweep], after: Sequence[Sweep], region: object = 1) -> tuple[Shift, ...]:
    """The dips of the sweeps before, each with its nearest one after. Raises InputError if none match."""
    old = sorted(d for s in before for d in dips(s))
    new = sorted(d for s in after for d in dips(s))
    moved = []
    for was, was_swr in old:
        near = min(new, key=lambda d: abs(math.log(d[0] / was)), default=None)
        if near is not None and abs(math.log(near[0] / was)) < MATCH:
            moved.append(shift_of(was, near[0], "", was_swr, near[1], region))
    if not moved:
        raise InputError("why.after", f"{len(old)} dips before, {len(new)} after", "sweeps with a dip in common")
    return tuple(moved)


@dataclass(frozen=True, eq=False)
class Seen:
    """A band as it is in the set-up. response: around it; dip, gamma: Hz and |reflection| there, NaN without one."""

    response: Response
    dip: float
    gamma: float


def _read(wire: Callable[[Real], Complex], feed: FeedSystem, response: Response, near: float, plane: str) -> Real:
    """Dip (Hz) and |reflection| there, (2,), of a wire's impedance (ohm) in a response's range; NaN if there is none.
    near: Hz, which to follow."""

    def at(f: float | Real) -> Real:
        planes = feed.impedances(wire(np.asarray(f)), f)
        return swr(planes.radio if plane == "radio" else planes.primary, feed.reference)

    found = minima(at, np.linspace(response.lower, response.upper, GRID))
    if not found:
        return np.full(2, math.nan)
    f, low = min(found, key=lambda m: abs(math.log(m[0] / near)) + 0.02 * (m[1] - 1))
    return np.array([f, size_of(low)])


def _solved(
    setup: Setup, centres: Sequence[float], near: Sequence[float], plane: str, remember: Remember
) -> list[Seen]:
    """Each band solved; see `_read`."""
    solver, feed = setup.build().solver(remember), setup.feed_system()
    seen = []
    for centre, target in zip(centres, near, strict=True):
        span = span_of(centre)
        low, high = max(centre * (1 - WINDOW), span.lower), min(centre * (1 + WINDOW), span.upper)
        response = solver.response(low, high)
        seen.append(Seen(response, *map(float, _read(response.impedance, feed, response, target, plane))))
    return seen


def _base(setup: Setup, was: Sequence[float], plane: str, remember: Remember, ask: AskMany) -> tuple[Seen, ...]:
    """The set-up's own dips, by their frequencies before (Hz); spans side by side. Raises SolveError; InputError where
    there is no dip."""
    spans = list(dict.fromkeys(map(span_of, was)))
    shares = [[f_hz for f_hz in was if span_of(f_hz) == span] for span in spans]
    found: dict[float, Seen] = {}
    for share, seen in zip(shares, ask(_solved, [(setup, s, s, plane, remember) for s in shares]), strict=True):
        if isinstance(seen, str):
            raise SolveError(seen)
        found |= dict(zip(share, seen, strict=True))
    for f_hz in was:
        if math.isnan(found[f_hz].dip):
            allowed = f"a dip within {WINDOW:.0%} of it in the set-up too: check its wire length, or fit it first"
            raise InputError("why.was", f"{f_hz / 1e6:.3f} MHz", allowed)
    return tuple(found[f_hz] for f_hz in was)


def check_errors(dip_error: float, gamma_error: float) -> None:
    """Raises InputError for an error that is not above 0."""
    for name, value in (("dip_error", dip_error), ("gamma_error", gamma_error)):
        if not value > 0:
            raise InputError(f"why.{name}", f"{value:g}", "above 0")


def explain(
    setup: Setup,
    shifts: Sequence[Shift],
    dip_error: float = DIP_ERROR,
    gamma_error: float = GAMMA_ERROR,
    plane: str = "radio",
    remember: Remember = compute_always,
    exclude: Sequence[str] = (),
    ask: AskMany | None = None,
) -> Why:
    """Rank the causes of shifts seen at `plane`; where no single one explains them, pairs of causes too.

    exclude: words in the names of causes that cannot be. ask: does several tasks, by default one after the other.
    Raises InputError if the set-up has no dip where one was seen, or for a word that is in no cause's name.
    """
    shifts, ask = tuple(shifts), ask or in_turn
    if not shifts:
        raise InputError("why", "nothing", "at least one dip: where it was, where it is now")
    check_errors(dip_error, gamma_error)
    base = _base(setup, [s.was_hz for s in shifts], plane, remember, ask)
    near = tuple(Shifted(setup, band.response, band.dip) for band in base)
    track = Track(setup, shifts, base, near, dip_error, gamma_error, plane, remember)
    every = causes(setup)
    candidates = remaining(every, exclude)
    wire = every[0]
    for thorough in (False, True):
        tried = ask(attempt, [(track, every.index(cause), thorough) for cause in candidates])
        told, failed = {}, {}
        for cause, nodes in zip(candidates, tried, strict=True):
            if isinstance(nodes, str):
                failed[cause.name] = nodes
            else:
                told[cause] = Told(nodes)
        _solve_close(track, every, told, failed, ask)
        found = [track.best(cause, one.nodes) for cause, one in told.items()]
        if any(e.explains for e in found):
            break
    else:
        found += track.pairs({cause: one.nodes for cause, one in told.items()}, every, ask)
    alone = told[wire].nodes if wire in told else attempt(track, 0, False)
    slope = np.full(len(shifts), math.nan)
    if not isinstance(alone, str):
        c = min((k for k in alone if k), key=abs)
        slope = np.log(alone[c][:, 0] / track.base[:, 0]) / c
    ranked = tuple(sorted(found, key=lambda e: e.score))
    return Why(shifts, tuple(map(float, track.base[:, 0])), ranked, slope, wire, failed)


@dataclass(eq=False)
class Told:
    """What a cause does. nodes: dips (bands, 2) by its size; solved: the sizes solved in full, the rest is told from
    coarse solves."""

    nodes: Nodes
    solved: list[float] = field(default_factory=list)

    def is_solved_near(self, size: float) -> bool:
        """Whether it was solved in full at about this size."""
        return any(abs(size - c) <= NEARLY * abs(size) for c in self.solved)

    def add(self, size: float, there: Real) -> None:
        """A solve in full: it shifts what was told, in proportion to the size."""
        missed = self._missed(size, there)
        for c in self.nodes:
            if c and c not in self.solved:
                ratio, more = np.array(missed) * c / size
                self.nodes[c] = np.stack([self.nodes[c][:, 0] * np.exp(ratio), self.nodes[c][:, 1] + more], axis=1)
        self.nodes[size] = there
        self.solved.append(size)

    def _missed(self, size: float, there: Real) -> tuple[Real, Real]:
        """Log ratio of the dips, and difference of |reflection|, of a solve to what the nodes tell."""
        at = np.array(sorted(self.nodes))
        known = scipy.interpolate.PchipInterpolator(at, np.array([self.nodes[c] for c in at]))(size)
        return np.log(there[:, 0] / known[:, 0]), there[:, 1] - known[:, 1]


def _solve_close(
    track: "Track", every: Sequence[Cause], told: dict[Cause, Told], failed: dict[str, str], ask: AskMany
) -> None:
    """Solves the causes that come close to the best, and the wire's length, at their best change, until each is solved
    near where it is best."""
    for _ in range(ROUNDS):
        best = {cause: track.best(cause, one.nodes) for cause, one in told.items()}
        least = min((e.score for e in best.values()), default=0.0)
        close = {c: e for c, e in best.items() if e.explains or e.score < least + CLOSE or c == every[0]}
        sizes = {c: e.change or min((size for size in told[c].nodes if size), key=abs) for c, e in close.items()}
        due = {c: size for c, size in sizes.items() if not told[c].is_solved_near(size)}
        if not due:
            break
        solved = ask(solve_at, [(track, every.index(cause), size) for cause, size in due.items()])
        for (cause, size), there in zip(due.items(), solved, strict=True):
            if isinstance(there, str):
                failed[cause.name] = there
                del told[cause]
            else:
                told[cause].add(size, there)


def attempt(track: "Track", number: int, thorough: bool) -> Nodes | str:
    """`Track.nodes` of the cause of this number, or why there are none."""
    try:
        return track.nodes(causes(track.setup)[number], thorough)
    except (InputError, SolveError) as error:
        return str(error)


def solve_at(track: "Track", number: int, size: float, other: int = -1, more: float = 0.0) -> Real | str:
    """`Track.solved` of the cause of this number, or of two; or why there is none."""
    every = causes(track.setup)
    cause = every[number]
    if other >= 0:
        cause, size = both(cause, size, every[other], more), math.hypot(size, more)
    try:
        return track.solved(cause, size)
    except (InputError, SolveError) as error:
        return str(error)


def remaining(every: Sequence[Cause], exclude: Sequence[str]) -> tuple[Cause, ...]:
    """The causes whose names hold none of the words. Raises InputError for a word that none holds, or if none is left.

    >>> from tautwire.studies.study.setup import Setup
    >>> raw = {"antenna": {"layout": "sloper", "length": "20 m", "slope": "30 deg"}, "coax": {"length": "5 m"}}
    >>> [c.name for c in remaining(causes(Setup.read(raw)), ["nearby", "coax", "height"])][:3]
    ['wire out', 'slope', 'soil']
    """
    names = ", ".join(c.name for c in every)
    for word in exclude:
        if not any(word in c.name for c in every):
            raise InputError("why.exclude", repr(word), f"words in the name of a cause: {names}")
    left = tuple(c for c in every if not any(word in c.name for word in exclude))
    if not left:
        raise InputError("why.exclude", repr(list(exclude)), f"fewer: no cause is left of {names}")
    return left


@dataclass(frozen=True)
class Track:
    """Where the dips of a set-up go as it changes. seen: its bands; near: what is beside it in each."""

    setup: Setup
    shifts: tuple[Shift, ...]
    seen: tuple[Seen, ...]
    near: tuple[Shifted, ...]
    dip_error: float
    gamma_error: float
    plane: str
    remember: Remember

    @cached_property
    def base(self) -> Real:
        """Its own dips (bands, 2): Hz, |reflection|."""
        return np.array([[band.dip, band.gamma] for band in self.seen])

    def told(self, cause: Cause, size: float, near: Real) -> Real:
        """Dips (bands, 2) after so much of a cause, from coarse solves; NaN where there is none. near (bands,): Hz,
        which to follow. Raises InputError or SolveError."""
        changed = cause.apply(self.setup, size)
        feed, rows = changed.feed_system(), []
        for band, wires, target in zip(self.seen, self.near, near, strict=True):
            wire = partial(shifted_impedance, band.response, shift=wires.shift(changed))
            rows.append(_read(wire, feed, band.response, target, self.plane))
        return np.array(rows)

    def solved(self, cause: Cause, size: float) -> Real:
        """`told`, solved in full. Raises SolveError where there is no dip, too."""
        centres = [s.was_hz for s in self.shifts]
        near = [s.now_hz for s in self.shifts]
        seen = _solved(cause.apply(self.setup, size), centres, near, self.plane, self.remember)
        there = np.array([[band.dip, band.gamma] for band in seen])
        if np.isnan(there).any():
            raise SolveError("no dip is left to follow")
        return there

    def nodes(self, cause: Cause, thorough: bool) -> Nodes:
        """`told` at c = 0 and at the sizes needed to find the best. Raises what no size can do.

        thorough: at more sizes and up to the largest, for what does not go one way only.
        """
        known = {0.0: self.base}
        fault: InputError | SolveError | None = None
        for sign in (1.0,) if cause.one_way else (1.0, -1.0):
            before = 0.0
            between = tuple(cause.sizes[-1] * k / 4 for k in range(1, 5))
            for size in between if thorough else cause.sizes:
                c = sign * size
                try:
                    there = self.told(cause, c, known[before][:, 0])
                except (InputError, SolveError) as error:
                    fault = error
                    break
                if np.isnan(there).any():
                    break
                known[c], before = there, c
                if not thorough and sign * self.best(cause, known).change < 0.85 * size:
                    break
        if len(known) == 1:
            raise fault or SolveError("no dip is left to follow")
        return known

    def best(self, cause: Cause, nodes: Nodes) -> Explanation:
        """The change that explains the shifts best, from curves through the nodes."""
        fine, log_dips, told_gamma = self.curves(nodes, 1201)
        misfit = self.misfit(log_dips, told_gamma)
        k = int((misfit + fine**2).argmin())
        change = float(fine[k])
        at_end = bool(k in (0, len(fine) - 1) and change != 0)
        return self.explanation(cause, change, float(misfit[k]), log_dips[k], told_gamma[k], 1, at_end)

    def curves(self, nodes: Nodes, count: int) -> tuple[Real, Real, Real]:
        """Curves through the nodes at `count` changes: those changes (count,), log frequency ratio and change of
        |reflection| of each band there, (count, bands)."""
        at = np.array(sorted(nodes))
        ratio = np.log(np.array([nodes[c][:, 0] for c in at]) / self.base[:, 0])
        gamma = np.array([nodes[c][:, 1] for c in at]) - self.base[:, 1]
        fine = np.linspace(at[0], at[-1], count)
        return (
            fine,
            scipy.interpolate.PchipInterpolator(at, ratio)(fine),
            scipy.interpolate.PchipInterpolator(at, gamma)(fine),
        )

    def misfit(self, log_dips: Real, told_gamma: Real) -> Real:
        """Sum over the bands (last axis) of squared misfits in errors."""
        total = np.zeros(log_dips.shape[:-1])
        for i, s in enumerate(self.shifts):
            told = log_dips[..., i]
            error = np.hypot(self.dip_error, MODEL_SHARE * told)
            total += ((told - math.log(s.now_hz / s.was_hz)) / error) ** 2
            if s.has_swr:
                seen = (s.now_swr - 1) / (s.now_swr + 1) - (s.was_swr - 1) / (s.was_swr + 1)
                error = np.hypot(self.gamma_error, MODEL_SIZE_SHARE * told_gamma[..., i])
                total += ((told_gamma[..., i] - seen) / error) ** 2
        return total

    @property
    def readings(self) -> int:
        """How many numbers were seen."""
        return len(self.shifts) + sum(s.has_swr for s in self.shifts)

    def explanation(
        self, cause: Cause, change: float, misfit: float, log_dips: Real, gamma: Real, free: int, at_end: bool = False
    ) -> Explanation:
        """An explanation from what it tells of each band; free: how many causes were adjusted."""
        now = tuple(float(s.was_hz * math.exp(log_dips[i])) for i, s in enumerate(self.shifts))
        g = np.clip(self.base[:, 1] + gamma, 0, 0.999)
        enough = bool(scipy.special.gammaincc(max(self.readings - free, 1) / 2, misfit / 2) > UNLIKELY)
        return Explanation(cause, change, misfit, enough, at_end, now, tuple(map(float, (1 + g) / (1 - g))), free > 1)

    def pairs(self, known: dict[Cause, Nodes], every: Sequence[Cause], ask: AskMany) -> list[Explanation]:
        """The best pairs of causes, their shifts taken to add up, then solved together, twice: the second time where
        the first leaves the best. None for fewer than two readings: two causes explain any one."""
        if self.readings < 2:
            return []
        curves = {every.index(cause): self.curves(nodes, PAIR_STEPS) for cause, nodes in known.items()}

        def best(one: int, other: int, missed: Real | float = 0.0, more: Real | float = 0.0) -> _Pair:
            """missed, more (bands,): what a solve tells beyond the sum of both."""
            (x, t1, g1), (y, t2, g2) = curves[one], curves[other]
            log_dips, gamma = t1[:, None] + t2 + missed, g1[:, None] + g2 + more
            score = self.misfit(log_dips, gamma) + x[:, None] ** 2 + y**2
            i, k = np.unravel_index(int(score.argmin()), score.shape)
            return _Pair(float(score[i, k]), one, float(x[i]), other, float(y[k]), log_dips[i, k], gamma[i, k])

        every_pair = [best(*two) for two in itertools.combinations(curves, 2)]
        tried = sorted((p for p in every_pair if p.size and p.more), key=lambda p: p.score)[:MOST_PAIRS]
        solved: dict[tuple[int, int], Explanation] = {}
        for _ in range(2):
            answers = ask(solve_at, [(self, p.one, p.size, p.other, p.more) for p in tried])
            pairs, tried = tried, []
            for pair, there in zip(pairs, answers, strict=True):
                if isinstance(there, str):
                    continue
                log_dips, gamma = np.log(there[:, 0] / self.base[:, 0]), there[:, 1] - self.base[:, 1]
                cause = both(every[pair.one], pair.size, every[pair.other], pair.more)
                found = self.explanation(cause, math.hypot(pair.size, pair.more),
                                         float(self.misfit(log_dips, gamma)), log_dips, gamma, 2)  # fmt: skip
                names = pair.one, pair.other
                if names not in solved or found.score < solved[names].score:
                    solved[names] = found
                again = best(*names, log_dips - pair.log_dips, gamma - pair.gamma)
                if again.size and again.more and (again.size, again.more) != (pair.size, pair.more):
                    tried.append(again)
        return list(solved.values())


@dataclass(frozen=True, eq=False)
class _Pair:
    """Two causes by number, so many usual changes of each, and what their sum tells (bands,)."""

    score: float
    one: int
    size: float
    other: int
    more: float
    log_dips: Real
    gamma: Real
