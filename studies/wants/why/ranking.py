"""Why did the dip move? For every cause, and every few causes together, the change that explains all bands best, and
how likely it is that this is what changed.

A cause changed by c usual changes moves each band's dip and its SWR. Beforehand c is N(0, 1), and one more cause is
MORE_ODDS times as likely to have changed at all as not. The chance of a set of causes is then in proportion to

    MORE_ODDS^(causes)  x  mean over c of exp(-misfit/2),   misfit = sum over bands of (predicted - seen)^2/error^2

with shifts of the dip taken relative to its frequency and SWR as |reflection|. The mean is taken by Laplace's
approximation (any text on Bayesian statistics); a set that needs a lucky change, or many causes, is less likely by
itself. What a cause does is first taken from coarse solves (local_model.py), and of several together as the sum; the
likely ones are then solved at their best change. Differences from the set-up as it was are compared, so a set-up that
is a little off does little harm.
"""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import Any, NamedTuple

import numpy as np
import scipy

from tautwire.model.basics import Complex, Real, size_of, swr, swr_of
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import Band, band_named, band_of, bands
from tautwire.model.solve.response import Response, span_of
from tautwire.model.solve.solver import Remember, compute_always
from tautwire.studies.study.measurement import Sweep, dips
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import GRID, minima
from tautwire.studies.wants.local_model import Shifted, shifted_impedance
from tautwire.studies.wants.want import AskMany, in_turn
from tautwire.studies.wants.why.causes import Cause, causes, together

DIP_ERROR = 1e-3  # of the frequency: reading a dip (common practice, no source); the mesh moves it by < 2e-4
GAMMA_ERROR = 0.03  # of |reflection| at the dip: an SWR of 1.5 read as 1.4 to 1.6; common practice, no source
MODEL_SHARE, MODEL_SIZE_SHARE = 0.05, 0.2  # of a modelled move of the dip, and of |reflection|: the model's own error
WINDOW = 0.13  # searched either side of where the dip was, as a fraction: MATCH and room for the dip's flanks
MATCH = 0.09  # a dip moves less than this from one sweep to the next, as a fraction; chosen by hand
OUTSIDE = 0.1  # a dip may lie this far outside the band it is told for, as a fraction
MORE_ODDS = 0.2  # odds that one more cause has changed; chosen by hand
STEPS = (241, 41, 13)  # changes of each cause that are tried first, of one, two and three together
NEWTON = 4  # steps from the best of those to the best there is
WIDENED = 8  # pairs that are tried with a third cause
SOLVED_FROM = 0.04  # chance from which a set of causes is solved in full
SHOWN_FROM = 0.01  # chance from which several causes together are a row
APART_FROM = 0.05  # chance of a cause that is worth telling apart from another
MOST_LOG_ODDS = 10.0
UNCHANGED = 0.02  # usual changes, below which a cause has not changed
MOST_CLOSE, CLOSE = 6, 4.5  # likewise, if nothing is enough: so many whose log of the weight is so near to the best
NEARLY, ROUNDS = 0.1, 6  # usual changes, as a share: near enough to where it was solved; rounds of such solves
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
    """A cause, or several together. change: in usual changes, at its best. chi2: misfit of all bands. chance: that this
    and nothing else changed, of all that was tried. explains: whether it is enough. at_end: whether still more change
    would be better. count: how many causes it is. told_hz, told_swr: where it puts each band's dip.
    """

    cause: Cause
    change: float
    chi2: float
    chance: float
    explains: bool
    at_end: bool
    told_hz: tuple[float, ...]
    told_swr: tuple[float, ...]
    count: int = 1

    @property
    def pair(self) -> bool:
        """Whether it is more than one cause."""
        return self.count > 1


@dataclass(frozen=True)
class Apart:
    """A dip that was not read: where it was in the set-up, and where the two likeliest causes (first, second) would put
    it, Hz. odds: of the right one to the other, once it is read."""

    band: str
    was_hz: float
    first: str
    first_hz: float
    second: str
    second_hz: float
    odds: float


@dataclass(frozen=True, eq=False)
class Why:
    """All explanations, best first. base_hz: the set-up's own dips. wire: log frequency change of each band for one
    usual change of wire out; wire_cause: what that change is; apart: what to read
    next; nothing: the chance that nothing changed."""

    shifts: tuple[Shift, ...]
    base_hz: tuple[float, ...]
    explanations: tuple[Explanation, ...]
    wire: Real
    wire_cause: Cause
    failed: dict[str, str] = field(default_factory=dict)
    apart: tuple[Apart, ...] = ()
    nothing: float = 0.0


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
    unread: Sequence[Band] = (),
) -> Why:
    """Rank the causes of shifts seen at `plane`, and sets of causes.

    unread: bands whose dips could be read to tell the likeliest causes apart. exclude: words in the names of causes
    that cannot be. ask: does several tasks, by default one after the other. Raises InputError if the set-up has no dip
    where one was seen, or for a word that is in no cause's name.
    """
    shifts, ask = tuple(shifts), ask or in_turn
    if not shifts:
        raise InputError("why", "nothing", "at least one dip: where it was, where it is now")
    check_errors(dip_error, gamma_error)
    base = _base(setup, [s.was_hz for s in shifts], plane, remember, ask)
    near = tuple(Shifted(setup, band.response, band.dip) for band in base)
    track = Track(setup, shifts, base, near, dip_error, gamma_error, plane, remember)
    every = causes(setup)
    candidates = [every.index(cause) for cause in remaining(every, exclude)]
    told, failed = {}, {}
    for number, nodes in zip(candidates, ask(attempt, [(track, n) for n in candidates]), strict=True):
        if isinstance(nodes, str):
            failed[every[number].name] = nodes
        else:
            told[number] = Told(nodes)
    joint: dict[Names, Joint] = {}
    for most in (1, 2, 3):
        sets = track.weighed(told, joint, most)
        for _ in range(ROUNDS):
            due = [s for s in track.close(sets, most) if not _is_solved(s, told, joint)]
            if not due:
                break
            for one, there in zip(due, ask(solve_at, [(track, s.names, s.solve_at) for s in due]), strict=True):
                if len(one.names) > 1:
                    joint[one.names] = Joint(one.solve_at, None if isinstance(there, str) else track.moves_of(there))
                elif isinstance(there, str):
                    failed[every[one.names[0]].name] = there
                    del told[one.names[0]]
                else:
                    told[one.names[0]].add(one.solve_at[0], there)
            sets = track.weighed(told, joint, most)
        if most >= track.readings or (most > 1 and any(track.enough(s) for s in sets)):
            break
    shown = [s for s in sets if len(s.names) == 1 or (s.chance > SHOWN_FROM and s.sizes.all())]
    found = [track.explanation(s, every) for s in shown]
    wire = told[0].nodes if 0 in told else attempt(track, 0)
    slope = np.full(len(shifts), math.nan)
    if not isinstance(wire, str):
        c = min((k for k in wire if k), key=abs)
        slope = np.log(wire[c][:, 0] / track.base[:, 0]) / c
    apart = _apart(track, shown, [b for b in unread if b.name not in {s.band for s in shifts}], ask)
    return Why(
        shifts,
        tuple(map(float, track.base[:, 0])),
        tuple(found),
        slope,
        every[0],
        failed,
        apart,
        1 - sum(s.chance for s in sets),
    )


def _apart(track: "Track", sets: Sequence["Weighed"], unread: Sequence[Band], ask: AskMany) -> tuple[Apart, ...]:
    """Dips not read yet that would tell the two likeliest causes that explain all apart; the most telling first."""
    alike = [s for s in sets if track.enough(s) and s.chance > APART_FROM][:2]
    rows = ask(read_apart, [(track, band, *alike) for band in unread]) if len(alike) == 2 else []
    return tuple(sorted((row for row in rows if isinstance(row, Apart)), key=lambda row: -row.odds))


def read_apart(track: "Track", band: Band, first: "Weighed", second: "Weighed") -> Apart | str:
    """Where two sets of causes would put a dip that was not read; or why that cannot be said."""
    every, centre = causes(track.setup), (band.lower + band.upper) / 2
    two = [_explained(s, every) for s in (first, second)]
    try:
        (seen,) = _solved(track.setup, [centre], [centre], track.plane, track.remember)
        if math.isnan(seen.dip):
            return "no dip"
        here = replace(track, shifts=(Shift(band.name, seen.dip, seen.dip),), seen=(seen,),
                       near=(Shifted(track.setup, seen.response, seen.dip),))  # fmt: skip
        at = np.array([here.told(cause, size, np.array([seen.dip]))[0, 0] for cause, size in two])
    except (InputError, SolveError) as fault:
        return str(fault)
    if not np.isfinite(at).all():
        return "no dip is left to follow"
    moves = np.log(at / seen.dip)
    error = math.hypot(track.dip_error, MODEL_SHARE * float(np.abs(moves).max()))
    odds = math.exp(min((moves[0] - moves[1]) ** 2 / error**2 / 2, MOST_LOG_ODDS))
    return Apart(band.name, seen.dip, two[0][0].name, float(at[0]), two[1][0].name, float(at[1]), odds)


Names = tuple[int, ...]
"""Causes by number, rising"""
Curve = Any
"""A scipy.interpolate.PPoly: moves (..., bands, 2) by a cause's size"""


@dataclass(eq=False)
class Told:
    """What a cause does. nodes: dips (bands, 2) by its size; solved: the sizes solved in full, the rest is from coarse
    solves."""

    nodes: Nodes
    solved: list[float] = field(default_factory=list)
    _curves: tuple[Curve, Curve] | None = None

    def curves(self, track: "Track") -> tuple[Curve, Curve]:
        """Moves (..., bands, 2) by its size, through the nodes; and their slope."""
        if self._curves is None:
            at = np.array(sorted(self.nodes))
            curve = scipy.interpolate.PchipInterpolator(at, np.array([track.moves_of(self.nodes[c]) for c in at]))
            self._curves = curve, curve.derivative()
        return self._curves

    def add(self, size: float, there: Real) -> None:
        """A solve in full: it shifts the coarse ones, in proportion to the size."""
        missed = self._missed(size, there)
        for c in self.nodes:
            if c and c not in self.solved:
                ratio, more = np.array(missed) * c / size
                self.nodes[c] = np.stack([self.nodes[c][:, 0] * np.exp(ratio), self.nodes[c][:, 1] + more], axis=1)
        self.nodes[size] = there
        self.solved.append(size)
        self._curves = None

    def _missed(self, size: float, there: Real) -> tuple[Real, Real]:
        """Log ratio of the dips, and difference of |reflection|, of a solve to what the nodes tell."""
        at = np.array(sorted(self.nodes))
        known = scipy.interpolate.PchipInterpolator(at, np.array([self.nodes[c] for c in at]))(size)
        return np.log(there[:, 0] / known[:, 0]), there[:, 1] - known[:, 1]


class Joint(NamedTuple):
    """A solve in full of several causes at sizes: its moves (bands, 2), None if it failed."""

    sizes: Real
    moves: Real | None

    def beyond(self, curves: Sequence[Curve]) -> Real:
        """Moves (count, bands, 2) for one more usual change of each, to add to the sum of each alone: in proportion,
        along the line from nothing to where it was solved."""
        alone = _sum_of(curves, self.sizes)
        more = np.zeros_like(alone) if self.moves is None else self.moves - alone
        return np.asarray(np.multiply.outer(self.sizes / float(self.sizes @ self.sizes), more))


def _sum_of(curves: Sequence[Callable[[Real], Real]], sizes: Sequence[Real] | Real) -> Real:
    """Moves (..., bands, 2) of causes at sizes (...) of each, added up."""
    return np.asarray(sum(curve(size) for curve, size in zip(curves, sizes, strict=True)))


@dataclass(frozen=True, eq=False)
class Weighed:
    """A set of causes: the sizes (n,) of each at its best, moves (bands, 2) and misfit there, how likely it is (log,
    and as a chance among all), and the sizes at which it is to be solved."""

    names: Names
    sizes: Real
    moves: Real
    misfit: float
    at_end: bool
    log_weight: float
    solve_at: Real
    chance: float = math.nan


def _explained(one: Weighed, every: Sequence[Cause]) -> tuple[Cause, float]:
    """The cause that a set of causes is, and its change in usual changes."""
    if len(one.names) == 1:
        return every[one.names[0]], float(one.sizes[0])
    return together([every[n] for n in one.names], one.sizes.tolist()), float(np.linalg.norm(one.sizes))


def _is_solved(one: Weighed, told: dict[int, Told], joint: dict[Names, Joint]) -> bool:
    """Whether a set was solved in full at about its sizes."""
    if len(one.names) == 1:
        done = [np.array([c]) for c in told[one.names[0]].solved]
    else:
        done = [joint[one.names].sizes] if one.names in joint else []
    return any(np.linalg.norm(one.solve_at - c) <= NEARLY * np.linalg.norm(one.solve_at) for c in done)


def attempt(track: "Track", number: int) -> Nodes | str:
    """`Track.nodes` of the cause of this number, or why there are none."""
    try:
        return track.nodes(causes(track.setup)[number])
    except (InputError, SolveError) as error:
        return str(error)


def solve_at(track: "Track", names: Names, sizes: Real) -> Real | str:
    """`Track.solved` of the causes of these numbers together; or why there is none."""
    every = causes(track.setup)
    try:
        return track.solved(together([every[n] for n in names], sizes.tolist()), float(np.linalg.norm(sizes)))
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

    def nodes(self, cause: Cause) -> Nodes:
        """`told` at c = 0 and at the cause's sizes, as far as they can be built. Raises what no size can do."""
        known = {0.0: self.base}
        fault: InputError | SolveError | None = None
        for sign in (1.0,) if cause.one_way else (1.0, -1.0):
            before = 0.0
            for size in cause.sizes:
                c = sign * size
                try:
                    there = self.told(cause, c, known[before][:, 0])
                except (InputError, SolveError) as error:
                    fault = error
                    break
                if np.isnan(there).any():
                    break
                known[c], before = there, c
        if len(known) == 1:
            raise fault or SolveError("no dip is left to follow")
        return known

    def moves_of(self, dips: Real) -> Real:
        """Log frequency ratio and change of |reflection| (bands, 2) of dips (bands, 2)."""
        return np.stack([np.log(dips[:, 0] / self.base[:, 0]), dips[:, 1] - self.base[:, 1]], axis=1)

    def weighed(self, told: dict[int, Told], joint: dict[Names, Joint], most: int) -> list[Weighed]:
        """Every cause, every two, and the likeliest three, up to `most` together; the likeliest first."""
        found = [self._weigh((n,), told, joint) for n in told]
        if most > 1:
            found += [self._weigh(two, told, joint) for two in itertools.combinations(sorted(told), 2)]
        if most > 2:
            wide = sorted((s for s in found if len(s.names) == 2), key=lambda s: -s.log_weight)[:WIDENED]
            sets = {tuple(sorted((*s.names, n))) for s in wide for n in told if n not in s.names}
            found += [self._weigh(three, told, joint) for three in sorted(sets)]
        nothing = self.misfit(np.zeros((len(self.shifts), 2)))
        weights = np.array([s.log_weight for s in found] + [-float(nothing) / 2])
        chances = np.exp(weights - scipy.special.logsumexp(weights))
        found = [replace(s, chance=float(c)) for s, c in zip(found, chances[:-1], strict=True)]
        return sorted(found, key=lambda s: -s.chance)

    def close(self, sets: Sequence[Weighed], most: int) -> list[Weighed]:
        """What is to be solved in full: what is likely; and, where nothing is enough, the best of so many together."""
        likely = [s for s in sets if s.chance > SOLVED_FROM]
        alike = [s for s in sets if len(s.names) == most and s.log_weight > -math.inf]
        if alike and (most == 1 or not any(self.enough(s) for s in sets)):
            likely += [s for s in alike[:MOST_CLOSE] if s.log_weight > alike[0].log_weight - CLOSE and s not in likely]
        return likely

    def _weigh(self, names: Names, told: dict[int, Told], joint: dict[Names, Joint]) -> Weighed:
        n = len(names)
        curves, slopes = zip(*(told[name].curves(self) for name in names), strict=True)
        more = joint.get(names, Joint(np.ones(n), None)).beyond(curves)
        ends = np.array([[curve.x[0], curve.x[-1]] for curve in curves]).T

        def moves(sizes: Sequence[Real] | Real) -> Real:
            """(..., bands, 2) at sizes (...) of each."""
            return _sum_of(curves, sizes) + sum(np.multiply.outer(x, m) for x, m in zip(sizes, more, strict=True))

        grids = np.meshgrid(*(np.linspace(low, high, STEPS[n - 1]) for low, high in ends.T), indexing="ij")
        score = self.misfit(moves(grids)) + np.asarray(sum(g**2 for g in grids))
        at = np.unravel_index(int(score.argmin()), score.shape)
        sizes, best = np.array([g[at] for g in grids]), float(score[at])
        for _ in range(NEWTON):
            left, error = self.left(moves(sizes))
            rows = np.stack([(d(c) + m) / error for d, c, m in zip(slopes, sizes, more, strict=True)])
            was_seen = np.isfinite(left.ravel())
            rows, seen = rows.reshape(n, -1)[:, was_seen], left.ravel()[was_seen]
            whole = rows @ rows.T + np.eye(n)
            step = np.linalg.solve(whole, -rows @ seen - sizes)
            tried = np.clip(sizes + step, *ends)
            score_there = float(self.misfit(moves(tried)) + tried @ tried)
            if score_there >= best:
                break
            sizes, best = tried, score_there
        log_weight = -best / 2 - float(np.linalg.slogdet(whole)[1]) / 2 + n * math.log(MORE_ODDS)
        if n > 1 and np.abs(sizes).min() < UNCHANGED:  # that is fewer causes
            log_weight = -math.inf
        at_end = n == 1 and bool(sizes[0] in ends[:, 0] and sizes[0] != 0)
        solve_at = sizes
        if n == 1 and abs(sizes[0]) < UNCHANGED:  # it moves them the other way: solved where its slope is seen
            solve_at = np.array([min((c for c in told[names[0]].nodes if c), key=abs)])
        there = moves(sizes)
        return Weighed(names, sizes, there, float(self.misfit(there)), at_end, log_weight, solve_at)

    def enough(self, one: Weighed) -> bool:
        """Whether a set of causes explains what was seen."""
        free = max(self.readings - len(one.names), 1)
        return bool(scipy.special.gammaincc(free / 2, one.misfit / 2) > UNLIKELY)

    def left(self, moves: Real) -> tuple[Real, Real]:
        """Moves (..., bands, 2) less those seen, in errors, NaN for what was not seen; and the errors."""
        share = np.array([MODEL_SHARE, MODEL_SIZE_SHARE])
        error = np.hypot(np.array([self.dip_error, self.gamma_error]), share * moves)
        return (moves - self.moved) / error, error

    @cached_property
    def moved(self) -> Real:
        """What was seen to move (bands, 2): log frequency ratio, |reflection|; NaN for an SWR not read."""
        sizes = [size_of(s.now_swr) - size_of(s.was_swr) if s.has_swr else math.nan for s in self.shifts]
        return np.array([[math.log(s.now_hz / s.was_hz), size] for s, size in zip(self.shifts, sizes, strict=True)])

    def misfit(self, moves: Real) -> Real:
        """Sum over the bands of squared misfits in errors, of moves (..., bands, 2)."""
        return np.asarray(np.nansum(self.left(moves)[0] ** 2, axis=(-2, -1)))

    @property
    def readings(self) -> int:
        """How many numbers were seen."""
        return len(self.shifts) + sum(s.has_swr for s in self.shifts)

    def explanation(self, one: Weighed, every: Sequence[Cause]) -> Explanation:
        """A set of causes as an explanation."""
        cause, change = _explained(one, every)
        now = tuple(float(s.was_hz * math.exp(one.moves[i, 0])) for i, s in enumerate(self.shifts))
        g = np.clip(self.base[:, 1] + one.moves[:, 1], 0, 0.999)
        low = tuple(map(float, swr_of(g)))
        return Explanation(
            cause, change, one.misfit, one.chance, self.enough(one), one.at_end, now, low, len(one.names)
        )
