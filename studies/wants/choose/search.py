"""The search: exact solves blended into a smooth surrogate, a global optimiser on it, and its finds solved exactly.

Candidates that share words (layout, soil, kind of coax) and a range of wire lengths form a branch. In a branch the
reflection coefficient at each electrical length (frequency times wire length) hardly moves with lengths, heights and
slopes, so a cubic radial basis function through a few solved candidates gives it everywhere. What stands between wire
and radio is never blended: it is computed for every candidate. The optimiser (differential evolution) asks the
surrogate only; its best candidates are solved exactly and join the surrogate, until both agree and nothing improves.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import scipy

from tautwire.model.basics import Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose.candidates import Knob, Measures, Problem, Solved, electrical_grid, measures
from tautwire.studies.wants.local_model import with_values

RATIO = 1.2  # most that wire lengths in one branch differ
BROKEN = 50.0  # cost of each unit by which a wish is missed, against aims of the order of 1
IMPOSSIBLE = 1e4  # cost of what cannot be built
PENALTY_REACH = 0.05  # of a branch's box round a candidate that could not be solved
BATCH = 4  # candidates solved at once
AGREE = 0.01  # of cost, between surrogate and exact solve
PROBE, PROBED = 0.1, 0.03  # of a branch's box beside the best; of cost, between surrogate and exact solve there
PATIENCE = 2  # rounds without an improvement of AGREE
BEGINNING = 0.5  # part of the solves spent before the first optimum is asked for
TRADED = 0.4  # part of the solves kept for the curve between two aims
POLISHED = 0.25  # part of the solves kept for the last moves downhill
STARTS, NEAR, FLAT_REACH, FLAT = 3, 0.15, 0.004, 0.001  # candidates polished; of a branch's box; of cost
WEIGHTS = (0.02, 0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 0.95)  # of the first of two aims along that curve
APART = 1e-3  # of a branch's box: closer is the same candidate
DIFFER = 0.2  # of a branch's box: closer is not really another candidate
LEAD_BRANCHES = 4  # branches searched in a round
GENERATIONS, POPULATION = 30, 12
MOST_FEEDS = 5000  # kept

Place = tuple[float, ...]
"""a value a knob: SI, or the index of a listed value"""
SolveMany = Callable[[list[tuple[Place, tuple[float, float]]]], Iterable[tuple[int, Solved | str]]]
"""candidates, each with its branch's shortest and longest wire -> as they come, the number of one and what is kept of
it, or why it cannot be solved"""
Progress = Callable[[int, int], None]
"""progress(solved, budget)"""


@dataclass
class Candidate:
    """A candidate solved exactly. cost: to be small; below 0 or of the order of 1 if all that is wished holds."""

    place: Place
    measures: Measures
    cost: float
    misses: dict[str, float]


@dataclass
class Branch:
    """Candidates that share words and a cell of wire lengths. fixed: knob index -> its index into texts. cell: m.

    solved: wire places (n, d) and what is kept of each; bad: places that could not be solved.
    """

    problem: Problem
    fixed: dict[int, int]
    cell: tuple[float, float]
    solved: dict[Place, Solved] = field(default_factory=dict)
    bad: dict[Place, str] = field(default_factory=dict)
    _blend: Any = None

    def __post_init__(self) -> None:
        low = tuple(float(self.fixed.get(i, k.low)) for i, k in enumerate(self.problem.knobs))
        self.base = Setup.read(self.problem.candidate(low))

    @property
    def free(self) -> list[int]:
        """Knobs that are not fixed here, by index."""
        return [i for i in range(len(self.problem.knobs)) if i not in self.fixed]

    def bounds(self) -> list[tuple[float, float]]:
        """Of each free knob; the wire's length only as far as the cell goes."""
        pairs = []
        for i in self.free:
            knob = self.problem.knobs[i]
            low, high = knob.low, knob.high
            if knob.path == "antenna.length":
                if knob.places:
                    inside = [k for k, v in enumerate(knob.places) if self.cell[0] <= v <= self.cell[1]]
                    low, high = inside[0], inside[-1]
                else:
                    low, high = max(low, self.cell[0]), min(high, self.cell[1])
            pairs.append((low, high))
        return pairs

    def place(self, values: Sequence[float]) -> Place:
        """All knobs, from the values of the free ones."""
        full = dict(self.fixed) | dict(zip(self.free, values, strict=True))
        return tuple(
            float(round(full[i])) if knob.listed else float(f"{full[i]:.6g}")
            for i, knob in enumerate(self.problem.knobs)
        )

    def scaled(self, place: Place) -> Real:
        """The part of a place that the wires depend on and that varies here, each knob from 0 to 1."""
        return np.array([self.problem.knobs[i].place(place[i]) for i in self.moving])

    def add(self, place: Place, answer: Solved | str) -> None:
        self._blend = None
        if isinstance(answer, str):
            self.bad[place] = answer
        else:
            self.solved[place] = answer

    @property
    def least(self) -> int:
        """Candidates to begin with."""
        return 2 * len(self.moving) + 1

    @cached_property
    def moving(self) -> list[int]:
        """Knobs, by index, that what the wires do depends on smoothly and that vary here."""
        pairs = zip(self.free, self.bounds(), strict=True)
        return [i for i, (lo, hi) in pairs if hi > lo and self.problem.knobs[i].moves_wire]

    @property
    def ready(self) -> bool:
        """Whether there are enough solved candidates to blend."""
        return len(self.solved) > len(self.moving)

    def wires(self, places: list[Place]) -> list[Solved]:
        """What the surrogate expects of places; exact where they are solved."""
        first = next(iter(self.solved.values()))
        points = np.array([self.scaled(p) for p in places])
        if points.shape[1] == 0:
            return [first] * len(places)
        if self._blend is None:
            known = {tuple(self.scaled(p).round(12)): s for p, s in self.solved.items()}
            rows, at = np.array([_row(s) for s in known.values()]), np.array(list(known))
            spans = np.linalg.matrix_rank(at - at[0], tol=1e-6) == at.shape[1]  # listed values may lie on one line
            kernel, degree = ("cubic", 1) if spans else ("linear", 0)
            self._blend = scipy.interpolate.RBFInterpolator(at, rows, kernel=kernel, degree=degree)
        return [_solved(row, first) for row in self._blend(points)]

    def is_near_bad(self, place: Place) -> bool:
        here = self.scaled(place)
        return any(np.abs(here - self.scaled(b)).max(initial=0.0) < PENALTY_REACH for b in self.bad)


def _row(s: Solved) -> Real:
    return np.concatenate([[s.length, s.highest], s.gamma.real.ravel(), s.gamma.imag.ravel(), s.gain, s.shield])


def _solved(row: Real, like: Solved) -> Solved:
    n = like.gamma.size
    gamma = (row[2 : 2 + n] + 1j * row[2 + n : 2 + 2 * n]).reshape(like.gamma.shape)
    rest = row[2 + 2 * n :]
    return Solved(float(row[0]), float(row[1]), gamma, rest[: len(like.gain)], rest[len(like.gain) :])


@dataclass
class Search:
    """A search in progress. moves: from candidates.shifts. candidates: solved exactly so far."""

    problem: Problem
    moves: Real
    solve_many: SolveMany
    progress: Progress | None = None
    candidates: dict[Place, Candidate] = field(default_factory=dict)
    homes: dict[Place, Branch] = field(default_factory=dict)
    weights: dict[str, float] = field(default_factory=dict)
    _feeds: dict[tuple[float, ...], FeedSystem] = field(default_factory=dict)
    _wires: set[tuple[Any, ...]] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.problem.spec.seed)
        self.weights = dict(self.problem.spec.aims)
        self.branches = list(_branches(self.problem))
        if not self.branches:
            raise InputError("choose.vary", "no candidate", "ranges in which the antenna can be built")

    # what a candidate costs

    def setup(self, branch: Branch, place: Place) -> Setup:
        """A candidate's set-up, quickly: not checked as a study file's would be."""
        numbers = {
            k.path: k.places[round(x)] if k.places else x
            for k, x in zip(self.problem.knobs, place, strict=True)
            if not k.is_words
        }
        return with_values(branch.base, numbers)

    def feed(self, setup: Setup, place: Place) -> tuple[tuple[float, ...], FeedSystem]:
        """Feed of a candidate, and its key; kept, as most knobs do not touch it."""
        key = tuple(x for x, k in zip(place, self.problem.knobs, strict=True) if _touches_feed(k))
        if key not in self._feeds:
            if len(self._feeds) > MOST_FEEDS:
                self._feeds.clear()
            self._feeds[key] = setup.feed_system()
        return key, self._feeds[key]

    def judged(self, branch: Branch, places: list[Place], wires: list[Solved], dropped: str = "") -> list[Candidate]:
        """Candidates with what they cost. dropped: a wish that does not count."""
        grid = electrical_grid(self.problem, *branch.cell)
        groups: dict[tuple[float, ...], list[int]] = {}
        setups = [self.setup(branch, p) for p in places]
        for i, p in enumerate(places):
            groups.setdefault(self.feed(setups[i], p)[0], []).append(i)
        candidates: dict[int, Candidate] = {}
        for mine in groups.values():
            first = mine[0]
            feed = self.feed(setups[first], places[first])[1]
            found = measures(self.problem, [wires[i] for i in mine], grid, feed, setups[first].radio, self.moves)
            for i, m in zip(mine, found, strict=True):
                misses = self.misses(m)
                candidates[i] = Candidate(places[i], m, self.cost(m, misses, dropped), misses)
        return [candidates[i] for i in range(len(places))]

    def cost(self, m: Measures, misses: dict[str, float], dropped: str = "") -> float:
        aims = sum(self.weights[name] * value for name, value in m.aims.items())
        return aims + BROKEN * sum(by for name, by in misses.items() if name != dropped)

    def misses(self, m: Measures) -> dict[str, float]:
        """By how much a candidate misses each wish that it misses."""
        limits, problem = self.problem.spec.limits, self.problem
        by = {"SWR": m.sure_swr - problem.swr}
        if limits.highest is not None:
            by["highest"] = m.highest - limits.highest
        if limits.wire is not None:
            by["wire"] = m.wire - limits.wire
        if limits.heat is not None:
            by["heat"] = m.heat - limits.heat
        return {name: v for name, v in by.items() if v > 1e-9}

    def expected(self, branch: Branch, values: Real, dropped: str = "") -> list[Candidate | None]:
        """What the surrogate expects of candidates, (n, free knobs); None where they cannot be built."""
        places = [branch.place(v) for v in values]
        fits = [not branch.is_near_bad(p) and self.fits(branch, p) for p in places]
        asked = [p for p, ok in zip(places, fits, strict=True) if ok]
        found = iter(self.judged(branch, asked, branch.wires(asked), dropped) if asked else [])
        return [next(found) if ok else None for ok in fits]

    def fits(self, branch: Branch, place: Place) -> bool:
        """Whether the antenna can be built; the rest is checked when it is solved."""
        try:
            self.setup(branch, place).antenna.build()
        except InputError:
            return False
        return True

    # the search

    def run(self) -> list[Candidate]:
        """All candidates solved exactly, the best first. Raises InputError for more branches than it may look into."""
        budget = int(self.problem.spec.solves * (1 - (TRADED if len(self.weights) == 2 else POLISHED)))
        self.begin(budget)
        quiet, best, done = 0, math.inf, False
        while self.count < budget and not done:
            probing = quiet >= PATIENCE
            room = budget - self.count
            asked = self.probes()[:room] if probing else self.next_batch(min(BATCH, room))
            if not asked:
                break
            forecast = {p: c for branch, p, c in asked}
            self.solve([(branch, p) for branch, p, _ in asked])
            found = [self.candidates[p] for p in forecast if p in self.candidates]
            if probing:
                agrees = all(abs(c.cost - forecast[c.place]) < PROBED for c in found if not c.misses)
            else:
                agrees = all(abs(c.cost - forecast[c.place]) < AGREE * max(1.0, abs(c.cost)) for c in found[:1])
            now = min((c.cost for c in self.candidates.values()), default=math.inf)
            quiet = quiet + 1 if agrees and now > best - AGREE else 0
            done = probing and quiet > 0
            best = min(best, now)
        if len(self.weights) == 2:
            self.trade()
        elif self.problem.knobs:
            self.polish()
        return self.ranked()

    def polish(self) -> None:
        """The best that really differ, each moved downhill until the slope is flat: a simplex search (Nelder and Mead)
        on the surrogate close by, its find solved exactly, again from there."""
        for start in really_different(self.ranked(), self.problem, STARTS) if self.candidates else []:
            here, reach = start, NEAR
            while self.count < self.problem.spec.solves and reach > FLAT_REACH:
                branch = self.homes[here.place]
                found = self.downhill(branch, here, reach)
                if found is None or found.cost > here.cost - FLAT or found.place in self.candidates:
                    reach /= 3
                    continue
                self.solve([(branch, found.place)])
                exact = self.candidates.get(found.place)
                if exact is not None and exact.cost < here.cost:
                    here = exact
                else:
                    reach /= 3

    def downhill(self, branch: Branch, here: Candidate, reach: float) -> Candidate | None:
        """The best expected within `reach` of a branch's box about a candidate; listed values stay."""
        bounds, free = branch.bounds(), branch.free
        move = [j for j, i in enumerate(free) if not self.problem.knobs[i].listed and bounds[j][1] > bounds[j][0]]
        if not move or not branch.ready:
            return None
        at = np.array([here.place[i] for i in free])
        wide = np.array([bounds[j][1] - bounds[j][0] for j in move])
        low = np.maximum([bounds[j][0] for j in move], at[move] - reach * wide)
        high = np.minimum([bounds[j][1] for j in move], at[move] + reach * wide)

        def cost(t: Real) -> float:
            values = at.copy()
            values[move] = np.clip(low + t * (high - low), low, high)
            found = self.expected(branch, values[None])[0]
            return IMPOSSIBLE if found is None else found.cost

        t = (at[move] - low) / (high - low)
        simplex = np.vstack([t, t + np.where(t < 0.5, 0.4, -0.4) * np.eye(len(move))])
        done = scipy.optimize.minimize(
            cost, t, method="Nelder-Mead", bounds=[(0.0, 1.0)] * len(move),
            options={"initial_simplex": simplex, "maxfev": 60 * len(move), "fatol": FLAT / 4, "xatol": 1e-3},
        )  # fmt: skip
        values = at.copy()
        values[move] = np.clip(low + done.x * (high - low), low, high)
        return self.expected(branch, values[None])[0]

    def begin(self, budget: int) -> None:
        """Some candidates of every branch; where that would take too many solves, one of each, and more of the best."""
        branches = self.branches
        if 2 * len(branches) > budget:
            allowed = f"at least {2 * len(branches)}, as words and wire lengths make {len(branches)} kinds of candidate"
            raise InputError("choose.solves", self.problem.spec.solves, allowed)
        least = sum(branch.least for branch in branches)
        if least > BEGINNING * budget:
            self.solve([p for branch in branches for p in self.first(branch, 1)])
            cost = {id(self.homes[p]): c.cost for p, c in self.candidates.items()}
            branches = sorted(branches, key=lambda b: cost.get(id(b), math.inf))
            kept: list[Branch] = []
            room = BEGINNING * budget - self.count
            for branch in branches:
                room -= branch.least - 1
                kept += [branch] if room >= 0 or not kept else []
            branches = kept
        share = int(BEGINNING * budget / len(branches))
        self.solve([p for branch in branches for p in self.first(branch, max(branch.least, share))])

    def trade(self) -> None:
        """For two aims: candidates along the curve between them."""
        own, (one, two) = dict(self.weights), self.weights
        known = [c.measures.aims for c in self.candidates.values() if not c.misses] or [
            c.measures.aims for c in self.candidates.values()
        ]
        scale = {a: max(max(k[a] for k in known) - min(k[a] for k in known), 1e-6) for a in (one, two)}
        try:
            for t in WEIGHTS:
                if self.count >= self.problem.spec.solves:
                    break
                self.weights = {one: t / scale[one], two: (1 - t) / scale[two]}
                self.judge_again()
                self.solve([(b, p) for b, p, _ in self.next_batch(2)])
        finally:  # a search that is stopped here is left as it was
            self.weights = own
            self.judge_again()

    def curve(self) -> list[Candidate]:
        """Of the candidates solved exactly, those of which none is better in both of two aims, along the first."""
        one, two = self.weights
        good = sorted((c for c in self.candidates.values() if not c.misses), key=lambda c: c.measures.aims[one])
        kept: list[Candidate] = []
        for c in good:
            if not kept or c.measures.aims[two] < kept[-1].measures.aims[two] - 1e-9:
                kept.append(c)
        return kept

    def judge_again(self) -> None:
        """Costs of all candidates by the weights of now."""
        for c in self.candidates.values():
            c.cost = self.cost(c.measures, c.misses)

    def without(self, wish: str) -> Candidate | None:
        """The best that could be expected if a wish were dropped."""
        lead = sorted((b for b in self.branches if b.ready), key=self.promise)[:LEAD_BRANCHES]
        found = [c for b in lead if (c := self.optimum(b, wish))]
        return min(found, key=lambda c: c.cost, default=None)

    def ranked(self) -> list[Candidate]:
        """Candidates solved so far, the best first."""
        return sorted(self.candidates.values(), key=lambda c: c.cost)

    def first(self, branch: Branch, count: int) -> list[tuple[Branch, Place]]:
        """Candidates to begin with: the middle of the branch's box, and others spread evenly over it."""
        bounds = branch.bounds()
        most = min(count, 4 * branch.least)
        sample = scipy.stats.qmc.LatinHypercube(len(bounds) or 1, rng=self.rng).random(max(most, 2))
        places = [branch.place([lo + t * (hi - lo) for t, (lo, hi) in zip(row, bounds, strict=False)])
                  for row in sample]  # fmt: skip
        middle = branch.place([(lo + hi) / 2 for lo, hi in bounds])
        return [(branch, p) for p in dict.fromkeys([middle, *places]) if self.fits(branch, p)][:most]

    def solve(self, asked: list[tuple[Branch, Place]]) -> None:
        """Solve candidates exactly and add them to their branches; those that came count, wherever it is stopped."""
        asked = list({p: (b, p) for b, p in asked if p not in self.candidates}.values())
        answers: dict[Place, Solved | str] = {}
        for i, answer in self.solve_many([(p, b.cell) for b, p in asked]):
            branch, place = asked[i]
            answers[place] = answer
            self._wires.add((branch.cell, *branch.fixed.values(), *branch.scaled(place)))
            self.homes[place] = branch
            if not isinstance(answer, str):
                self.candidates[place] = self.judged(branch, [place], [answer])[0]
            if self.progress:
                self.progress(self.count, self.problem.spec.solves)
        for branch, place in asked:  # in this order whichever came first: the same seed gives the same search
            branch.add(place, answers[place])
            if place in self.candidates:
                self.candidates[place] = self.candidates.pop(place)

    @property
    def count(self) -> int:
        """Distinct wires solved exactly."""
        return len(self._wires)

    def next_batch(self, most: int) -> list[tuple[Branch, Place, float]]:
        """Candidates worth an exact solve, with the cost expected: each leading branch's best, and where little is
        known among the promising."""
        ready = [b for b in self.branches if b.ready]
        lead = sorted(ready, key=self.promise)[:LEAD_BRANCHES]
        asked: list[tuple[Branch, Place, float]] = []
        for branch in lead:
            best = self.optimum(branch)
            if best and self.is_new(branch, best.place, asked):
                asked.append((branch, best.place, best.cost))
        asked.sort(key=lambda a: a[2])
        for branch in lead[:2]:
            if len(asked) < most and (far := self.unknown(branch, asked)):
                asked.append((branch, far.place, far.cost))
        return asked[:most]

    def probes(self) -> list[tuple[Branch, Place, float]]:
        """Candidates on either side of the best, knob by knob, with the cost expected: is it so round it as thought?"""
        best = self.ranked()[0]
        branch = self.homes[best.place]
        asked: list[tuple[Branch, Place, float]] = []
        for i, (low, high) in zip(branch.free, branch.bounds(), strict=True):
            for way in (-1, 1):
                step = max(PROBE * (high - low), 1.0 if self.problem.knobs[i].listed else 0.0)
                values = list(best.place)
                values[i] = min(max(values[i] + way * step, low), high)
                place = branch.place([values[k] for k in branch.free])
                if self.is_new(branch, place, asked) and self.problem.knobs[i].moves_wire:
                    expected = self.expected(branch, np.array([[values[k] for k in branch.free]]))[0]
                    asked += [(branch, expected.place, expected.cost)] if expected else []
        return asked

    def promise(self, branch: Branch) -> float:
        """Lowest cost known or expected in a branch."""
        known = [c.cost for p, c in self.candidates.items() if p in branch.solved]
        return min(known + [c.cost for c in self.sampled(branch, 64)], default=math.inf)

    def sampled(self, branch: Branch, count: int, dropped: str = "") -> list[Candidate]:
        bounds = branch.bounds()
        if not bounds:
            return []
        rows = scipy.stats.qmc.scale(
            scipy.stats.qmc.Halton(len(bounds), rng=self.problem.spec.seed).random(count), *_edges(bounds)
        )
        return [c for c in self.expected(branch, rows, dropped) if c]

    def optimum(self, branch: Branch, dropped: str = "") -> Candidate | None:
        """The best candidate that the surrogate expects in a branch."""
        bounds = branch.bounds()
        wide = [i for i, (lo, hi) in enumerate(bounds) if hi > lo]
        if not wide:
            return next(iter(self.expected(branch, np.array([[lo for lo, _ in bounds]]), dropped)), None)
        fixed = np.array([lo for lo, _ in bounds], dtype=float)

        def cost(x: Real) -> Real:
            rows = np.tile(fixed, (x.shape[-1] if x.ndim > 1 else 1, 1))
            rows[:, wide] = np.atleast_2d(x.T)
            found = self.expected(branch, rows, dropped)
            return np.array([IMPOSSIBLE if c is None else c.cost for c in found])

        free = branch.free
        done = scipy.optimize.differential_evolution(
            cost, [bounds[i] for i in wide], maxiter=GENERATIONS, popsize=POPULATION, init="sobol", vectorized=True,
            updating="deferred", integrality=[self.problem.knobs[free[i]].listed for i in wide], polish=False,
            rng=self.problem.spec.seed, tol=1e-4,
        )  # fmt: skip
        rows = fixed[None, :].copy()
        rows[0, wide] = done.x
        return self.expected(branch, rows, dropped)[0]

    def is_new(self, branch: Branch, place: Place, asked: list[tuple[Branch, Place, float]]) -> bool:
        if place in self.candidates or place in branch.bad or any(p == place for _, p, _ in asked):
            return False
        others = [p for p in (*branch.solved, *(p for b, p, _ in asked if b is branch))]
        if any(k.listed or not k.moves_wire for k in self.problem.knobs):
            return True
        here = branch.scaled(place)
        return all(np.abs(here - branch.scaled(p)).max(initial=0.0) > APART for p in others)

    def unknown(self, branch: Branch, asked: list[tuple[Branch, Place, float]]) -> Candidate | None:
        """Of the promising half of a sample, the candidate furthest from all that is solved."""
        found = sorted(self.sampled(branch, 128), key=lambda c: c.cost)[:32]
        known = [branch.scaled(p) for p in (*branch.solved, *(p for b, p, _ in asked if b is branch))]
        if not found or not known or not len(known[0]):
            return None
        far = [min(float(np.linalg.norm(branch.scaled(c.place) - k)) for k in known) for c in found]
        return found[int(np.argmax(far))]


def _edges(bounds: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Lower and upper bounds, apart where they are equal, as qmc.scale wants them."""
    return [lo for lo, _ in bounds], [hi if hi > lo else lo + 1e-9 for lo, hi in bounds]


def _touches_feed(knob: Knob) -> bool:
    return knob.path.partition(".")[0] in ("transformer", "radio", "coax")


def _branches(problem: Problem) -> Iterator[Branch]:
    """A branch for every combination of words and every cell of wire lengths that can be built at all."""
    words = [i for i, k in enumerate(problem.knobs) if k.is_words]
    for picked in itertools.product(*(range(len(problem.knobs[i].texts)) for i in words)):
        fixed = dict(zip(words, picked, strict=True))
        for cell in _cells(problem, fixed):
            yield Branch(problem, fixed, cell)


def _cells(problem: Problem, fixed: dict[int, int]) -> list[tuple[float, float]]:
    """Ranges of wire length, each of a ratio of at most RATIO, that hold what a combination of words can have."""
    lengths = _lengths(problem, fixed)
    if not lengths:
        return []
    if listed := next((k.places for k in problem.knobs if k.path == "antenna.length" and k.places), None):
        groups: list[list[float]] = []
        for length in listed:  # rising
            if groups and length <= RATIO * groups[-1][0]:
                groups[-1].append(length)
            else:
                groups.append([length])
        return [(group[0], group[-1]) for group in groups]
    low, high = min(lengths), max(lengths)
    count = max(1, math.ceil(math.log(high / low) / math.log(RATIO) - 1e-9))
    edges = np.geomspace(low, high, count + 1)
    return [(float(a), float(b)) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def _lengths(problem: Problem, fixed: dict[int, int]) -> list[float]:
    """Wire lengths, m, of candidates at the corners and the middle of what may vary, as far as they can be built."""
    ends = [
        [fixed[i]]
        if i in fixed
        else list(dict.fromkeys((k.low, (k.low + k.high) / 2 if not k.listed else k.low, k.high)))
        for i, k in enumerate(problem.knobs)
    ]
    values = []
    for place in itertools.product(*ends):
        try:
            values.append(Setup.read(problem.candidate(place)).antenna.build().length)
        except (InputError, SolveError):
            continue
    length = next((k for k in problem.knobs if k.path == "antenna.length"), None)
    if length and values:
        values += [length.low, length.high]
    return values


def really_different(candidates: list[Candidate], problem: Problem, most: int) -> list[Candidate]:
    """The best of each combination of words, then the next best that differ from all before in a word or by a fifth of
    a range; in the order of `candidates`, the best first. One that misses a wish comes only where the best does too."""
    words = [i for i, k in enumerate(problem.knobs) if k.is_words]
    fair = [c for c in candidates if not c.misses] or candidates
    firsts = list({tuple(c.place[i] for i in words): c for c in reversed(fair)}.values())[::-1] if words else []
    kept: list[Candidate] = []
    for c in [fair[0], *sorted(firsts, key=lambda c: c.cost), *candidates]:
        if len(kept) < most and all(_differ(problem.knobs, c.place, k.place) for k in kept):
            kept.append(c)
    return sorted(kept, key=candidates.index)


def _differ(knobs: tuple[Knob, ...], a: Place, b: Place) -> bool:
    return any(
        round(x) != round(y) if k.is_words else abs(k.place(x) - k.place(y)) > DIFFER
        for k, x, y in zip(knobs, a, b, strict=True)
    )
