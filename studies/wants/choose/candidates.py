"""One candidate solved exactly, kept in few numbers; and what those numbers say about it through any feed."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.pattern import Pattern
from tautwire.model.fields.power_balance import power_balance
from tautwire.model.fields.terrain import Terrain
from tautwire.model.reflection import impedance, swr
from tautwire.model.solve.response import REFERENCE, respond
from tautwire.model.solve.solver import Arrays, Remember, Solver
from tautwire.studies.study.setup import RadioSpec, Setup
from tautwire.studies.wants.choose.problem import Problem

POINTS = 41  # frequencies at which a segment's SWR is read
GRID = 240  # electrical lengths at which a segment's reflection is kept
TOLERANCE = 3e-4  # of the reflection coefficient
MOST_SAMPLES = 24
LOW_ANGLES = np.radians([10.0, 15.0, 20.0, 25.0, 30.0])
ALL_ROUND = np.radians(np.arange(0.0, 360.0, 10.0))
WIDEN = 0.05  # beyond a segment's edges, relative, for shifts of the curve


@dataclass(frozen=True)
class Solved:
    """What is kept of a candidate's wires.

    length: m of wire. highest: m. gamma (segments, GRID): reflection coefficient at REFERENCE ohm on the problem's grid
    of electrical lengths. gain (segments,): dBi at the segment's centre, relative to the power into the wire.
    shield (segments,): greatest current on the coax's shield, A for 1 W into the wire.
    """

    length: float
    highest: float
    gamma: Complex
    gain: Real
    shield: Real

    def arrays(self) -> Arrays:
        sizes = np.array([self.length, self.highest])
        return {"sizes": sizes, "gamma": self.gamma, "gain": self.gain, "shield": self.shield}

    @classmethod
    def of(cls, arrays: Arrays) -> Solved:
        length, highest = map(float, arrays["sizes"])
        return cls(length, highest, arrays["gamma"], arrays["gain"], arrays["shield"])


def electrical_grid(problem: Problem, shortest: float, longest: float) -> list[Real]:
    """For each segment the values of frequency times wire length (Hz m) at which reflection is kept."""
    return [
        np.linspace(s.lower * (1 - WIDEN) * shortest, s.upper * (1 + WIDEN) * longest, GRID) for s in problem.segments
    ]


def solve_candidate(problem: Problem, x: tuple[float, ...], cell: tuple[float, float], remember: Remember) -> Solved:
    """The candidate at x, solved exactly or read from where it is kept. cell: shortest and longest wire, m, of the
    candidates that it is compared with. Raises InputError or SolveError.
    """
    raw = {k: v for k, v in problem.candidate(x).items() if k not in ("transformer", "radio", "reel")}
    asked = [[s.lower, s.upper] for s in problem.segments]
    wanted = [problem.spec.toward, problem.study.options["target"].model_dump_json()] if _gains(problem) else []
    text = json.dumps([raw, asked, cell, wanted, _shields(problem)], sort_keys=True, default=str)
    key = f"choose-{hashlib.sha256(text.encode()).hexdigest()}"
    return Solved.of(remember(key, lambda: _solve(problem, x, cell, remember).arrays()))


def _gains(problem: Problem) -> bool:
    return "gain" in problem.spec.aims


def _shields(problem: Problem) -> bool:
    return "shield" in problem.spec.aims


def _solve(problem: Problem, x: tuple[float, ...], cell: tuple[float, float], remember: Remember) -> Solved:
    built = Setup.read(problem.candidate(x)).build()
    solver, length = built.solver(remember), built.layout.length
    gamma, gain, shield = [], [], []
    for segment, grid in zip(problem.segments, electrical_grid(problem, *cell), strict=True):
        f = grid / length
        response = respond(solver.port_of_one_mesh(segment.centre), f[0], f[-1], TOLERANCE, most=MOST_SAMPLES)
        gamma.append(response.reflection(f))
        if _gains(problem) or _shields(problem):
            more = _currents(problem, solver, segment.centre, built.terrain)
            gain.append(more[0])
            shield.append(more[1])
    highest = max(p[2] for p in built.layout.points)
    return Solved(length, highest, np.array(gamma), np.array(gain), np.array(shield))


def _currents(problem: Problem, solver: Solver, f_hz: float, terrain: Terrain) -> tuple[float, float]:
    """Gain (dBi, relative to the power into the wire) towards what is aimed at, and the greatest shield current (A) for
    1 W into the wire."""
    solution = solver.solve(f_hz)
    on_coax = [solver.structure.conductors[i].role == "coax" for i in solution.mesh.conductor]
    watts = solution.admittance.real  # for 1 V, effective value
    shield = float(np.abs(solution.current[on_coax]).max(initial=0.0) / math.sqrt(watts))
    if not _gains(problem):
        return math.nan, shield
    pattern = Pattern(solution, power_balance(solution, solver.structure).accounted, terrain)
    if problem.spec.toward == "low":
        return _mean(pattern.dbi(LOW_ANGLES[:, None], ALL_ROUND[None, :])), shield
    target, gains = problem.study.options["target"], []
    for region in (r.region() for r in target.region):
        for hops in sorted(target.hops):
            elevations = region.elevations(target.height, hops)
            if len(elevations):
                gains.append(_mean(pattern.dbi(elevations[:, None], region.bearings[None, :])))
                break
    if not gains:
        raise InputError("target.region", "no region", "a region that the hops of [target] reach")
    return float(np.mean(gains)), shield


def _mean(dbi: Any) -> float:
    return float(10 * np.log10((10 ** (np.asarray(dbi) / 10)).mean()))


@dataclass(frozen=True)
class Measures:
    """What counts about a candidate.

    swr (segments,): highest across each segment. sure_swr: the SWR that the wanted chance stays below (the highest of
    `swr` if no chance is wanted). aims: name of an aim -> what is to be small (a gain with its sign turned). highest,
    wire: m. heat: W in the core; nan if nobody asks.
    """

    swr: Real
    sure_swr: float
    aims: dict[str, float]
    highest: float
    wire: float
    heat: float


def shifts(problem: Problem, spread: Real) -> Real:
    """Relative shifts of frequency (count, segments), equally likely, that stand for all that is not known.

    spread (segments,): standard deviation of each segment's dip, relative. The shifts go together.
    """
    if problem.spec.certainty is None:
        return np.zeros((1, len(problem.segments)))
    steps = scipy.special.ndtri((np.arange(21) + 0.5) / 21)
    values: Real = np.clip(steps[:, None] * spread[None, :], -WIDEN, WIDEN)
    return values


def measures(
    problem: Problem, solved: list[Solved], grid: list[Real], feed: FeedSystem, radio: RadioSpec, moves: Real
) -> list[Measures]:
    """What counts, from solved (or blended) candidates that share their feed and radio. moves: from `shifts`."""
    n, count = len(solved), len(problem.segments)
    length = np.array([s.length for s in solved])
    f = np.array([segment.frequencies(POINTS) for segment in problem.segments])
    at = f * (1 - moves[:, :, None])  # a curve shifted up by a part is read that part lower
    z = np.empty((n, len(moves), count, POINTS), dtype=complex)
    for i, u in enumerate(grid):
        gamma = np.array([s.gamma[i] for s in solved])
        places = (at[:, i] * length[:, None, None]).reshape(n, -1)
        z[:, :, i] = _ohm(_between(places, u, gamma)).reshape(n, len(moves), POINTS)
    seen = swr(feed.impedances(z, f).radio, feed.reference).max(axis=-1)  # (n, shifts, segments)
    middle = len(moves) // 2  # no shift
    worst, sure = seen[:, middle].T, seen.transpose(2, 0, 1)
    nothing = np.zeros((count, n))
    loss: Real = nothing
    heat: Real = nothing
    efficiency: Real = nothing
    watts: Real = nothing
    if problem.needs_power:
        split = feed.power_split(z[:, middle], f)
        loss = (split.coax_db + split.transformer_db).max(axis=-1).T
        heat = split.core.max(axis=-1).T * radio.power * radio.duty
        efficiency = split.wire[..., POINTS // 2].T
        watts = efficiency * radio.power
    together = np.sort(sure.max(axis=0), axis=-1)  # (n, shifts)
    chance = problem.spec.certainty
    sure_swr = worst.max(axis=0)
    if chance is not None:
        k = np.arange(together.shape[-1])
        sure_swr = np.array([np.interp(chance * len(k) - 0.5, k, row) for row in together])
    measured = []
    for j, s in enumerate(solved):
        every = {
            "swr": float(sure_swr[j]),
            "gain": -float(np.mean(s.gain + 10 * np.log10(np.maximum(efficiency[:, j], 1e-9)))) if len(s.gain) else 0.0,
            "loss": float(loss[:, j].max()),
            "heat": float(heat[:, j].max()),
            "shield": float((s.shield * np.sqrt(np.maximum(watts[:, j], 0))).max()) if len(s.shield) else 0.0,
        }
        aims = {name: every[name] for name in problem.spec.aims if name in every}
        measured.append(Measures(worst[:, j], float(sure_swr[j]), aims, s.highest, s.length, every["heat"]))
    return measured


def _between(x: Real, grid: Real, values: Complex) -> Complex:
    """Values (n, GRID) on an even grid, read at x (n, m) by a cubic through four neighbours."""
    t = (x - grid[0]) / (grid[1] - grid[0])
    k = np.clip(np.floor(t).astype(int), 1, len(grid) - 3)
    s = t - k
    rows = np.arange(len(values))[:, None]
    a, b, c, d = (values[rows, k + j] for j in (-1, 0, 1, 2))
    out: Complex = (
        -s * (s - 1) * (s - 2) / 6 * a
        + (s + 1) * (s - 1) * (s - 2) / 2 * b
        - (s + 1) * s * (s - 2) / 2 * c
        + (s + 1) * s * (s - 1) / 6 * d
    )
    return out


def _ohm(gamma: Complex) -> Complex:
    """Impedance, ohm; a blended reflection a hair beyond 1 is taken back to 1."""
    size = np.abs(gamma)
    gamma = np.where(size > 0.999999, gamma / np.maximum(size, 1e-9) * 0.999999, gamma)
    return impedance(gamma, REFERENCE)
