"""Fit uncertain values of a set-up to measured sweeps: nonlinear least squares with bounds and priors.

Minimises  sum |gamma_model - gamma_measured|^2 / sigma^2 + sum ((value - prior)/sd)^2 ; where only SWR was measured,
|gamma| takes the place of gamma. sigma is the analyser's least error or, if larger, what the fit leaves unexplained.
The covariance is the inverse of the curvature at the minimum (any text on least squares); residuals that hang
together from point to point count as correspondingly fewer points, and what a small smooth error of the model, level
or sloping over each sweep, would do to the estimates is added.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.reflection import reflection
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.spread import USUAL
from tautwire.studies.wants.fit.search import BENCH, Local, Measured, Parameter, Problem
from tautwire.studies.wants.local_model import WireModel, with_values

# of gamma at the radio, smooth over a sweep: a mesh four times as fine moves it by at most 0.0017 on 40 m, 0.0027 on
# 20 m, 0.0031 on 10 m (tests/benchmarks/mesh_error.py), by less than that over most of a sweep
MODEL_ERROR = 0.002
LEAST_ERROR = 0.003  # of gamma, each of its parts: a calibrated hand-held analyser (common practice, no source)

CABLE_SD = {name: USUAL[f"coax.{row}"].sd for name, row in
            (("z0", "z0_scale"), ("velocity_factor", "velocity_scale"), ("length", "length"))}  # fmt: skip
"""how far a cable's constants usually are off, relative"""

STRAY_SD = {
    "capacitance": 0.2e-12,
    "inductance": 20e-9,
}  # F, H: how far off BENCH usually is (common practice, no source)


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted set-up.

    estimate, sd (p,): SI. correlation (p, p). directions: (weights (p,) in units of the parameters' scales, strength)
    of each combination; strength 1: the data say as much about it as the scale does. model, start_model: reflection
    at each sweep's points as fitted and as started. sigma: error taken for each sweep. scatter: its noise. rms: what
    is left, each part of gamma. other_plane: squared misfit of the best fit with all planes exchanged over this one's;
    NaN if not tried, because there is no coax or nothing is left to explain. solved: wires solved.
    """

    setup: Setup
    parameters: tuple[Parameter, ...]
    measured: tuple[Measured, ...]
    estimate: Real
    sd: Real
    correlation: Real
    directions: tuple[tuple[Real, float], ...]
    model: tuple[Complex, ...]
    start_model: tuple[Complex, ...]
    sigma: tuple[float, ...]
    scatter: tuple[float, ...]
    rms: tuple[float, ...]
    other_plane: float
    solved: int


def scatter(measured: Measured) -> float:
    """Noise of one part of gamma, from fourth differences of neighbouring points (0 below 9 points).

    The median keeps out what is not noise; 70 is the sum of the squared coefficients 1, 4, 6, 4, 1.
    """
    data = measured.data
    if len(data) < 9:
        return 0.0
    d = np.diff(data, 4)
    both = np.concatenate([d.real, d.imag]) if np.iscomplexobj(d) else d
    return float(np.median(np.abs(both)) / 0.6745 / math.sqrt(70))


def fit(
    setup: Setup,
    measured: Sequence[Measured],
    parameters: Sequence[Parameter],
    least_error: float = LEAST_ERROR,
    model_error: float = MODEL_ERROR,
    wires: WireModel | None = None,
    cable: Mapping[str, float] = CABLE_SD,
) -> Fit:
    """Fit the parameters to all sweeps at once.

    least_error: smallest error of each part of gamma. model_error: size of the model's own smooth error;
    cable: how far its constants may be off, relative (z0, velocity_factor, length); they are not fitted.
    wires: what solves the wires.
    Raises InputError for nothing to fit, too few points, or a start that cannot be built; SolveError if it cannot be
    solved.
    """
    measured, parameters = tuple(measured), tuple(parameters)
    _check(measured, parameters)
    problem = Problem(setup, measured, parameters, wires or WireModel(), [least_error] * len(measured))
    zero = np.zeros(len(parameters))
    start_wires = problem.solved(zero)
    start_model = problem.model(zero, start_wires)
    moving = problem.moving()
    first = _stretched(problem, zero, start_model)
    local = settled(problem, first, moving, least_error)
    x = local.x
    model = problem.model(x, problem.solved(x))
    rms = _rms(problem, x)
    sd, correlation, directions = certainty(problem, local, model, model_error, cable)
    values = problem.values(x)
    return Fit(
        setup=with_values(setup, values),
        parameters=parameters,
        measured=measured,
        estimate=np.array([values[p.path] for p in parameters]),
        sd=sd,
        correlation=correlation,
        directions=directions,
        model=tuple(model),
        start_model=tuple(start_model),
        sigma=tuple(problem.sigma),
        scatter=tuple(scatter(m) for m in measured),
        rms=tuple(rms),
        other_plane=_other_plane(problem, x, first, moving, rms),
        solved=problem.wires.solved,
    )


def settled(problem: Problem, first: Real, moving: Sequence[bool], least_error: float) -> Local:
    """The best fit from `first` on, with errors as large as what is left unexplained; sets problem.sigma."""
    x = problem.search(first, moving, rough=True).x
    problem.sigma = [max(least_error, r) for r in _rms(problem, x)]
    return problem.search(x, moving)


def _check(measured: Sequence[Measured], parameters: Sequence[Parameter]) -> None:
    points = sum(len(m.sweep.f_hz) for m in measured)
    if not parameters:
        raise InputError("fit.parameters", "none", 'a table such as "antenna.length" = { sd = "20 cm" }')
    if points <= len(parameters):
        raise InputError("fit.sweeps", f"{points} points", f"more points than the {len(parameters)} parameters")
    for m in measured:
        if clash := set(m.change) & {p.path for p in parameters}:
            raise InputError("fit.sweeps.change", sorted(clash)[0], "a value that is not fitted at the same time")


def _stretched(problem: Problem, start: Real, model: Sequence[Complex]) -> Real:
    """A start in the right dip: the length at which the |gamma| of the start, stretched in frequency, fits best."""
    paths = [p.path for p in problem.parameters]
    if "antenna.length" not in paths or all(m.load is not None for m in problem.measured):
        return start
    i = paths.index("antenna.length")
    parameter = problem.parameters[i]

    def misfit(length: float) -> float:
        stretch = length / parameter.start  # a longer wire does at f what the start does at f * stretch
        total = count = 0.0
        for m, g in ((m, g) for m, g in zip(problem.measured, model, strict=True) if m.load is None):
            at = m.sweep.f_hz * stretch
            inside = (at >= m.sweep.f_hz[0]) & (at <= m.sweep.f_hz[-1])
            if inside.sum() < 0.4 * len(at):
                return math.inf
            there = np.interp(at[inside], m.sweep.f_hz, np.abs(g))
            total += float(np.sum((there - np.abs(m.data)[inside]) ** 2))
            count += int(inside.sum())
        return total / count

    tried = np.append(np.linspace(parameter.low, parameter.high, 81)[1:-1], parameter.start)
    best = tried[int(np.argmin([misfit(float(v)) for v in tried]))]
    out = start.copy()
    out[i] = (best - parameter.start) / parameter.scale
    return out


def _rms(problem: Problem, x: Real) -> list[float]:
    """What is left in each part of gamma, a number a sweep."""
    values = []
    for m, g in zip(problem.measured, problem.model(x, problem.solved(x)), strict=True):
        left = m.difference(g)
        mean = float(np.mean(np.abs(left) ** 2))
        values.append(math.sqrt(mean / 2 if np.iscomplexobj(left) else mean))
    return values


def togetherness(measured: Sequence[Measured], model: Sequence[Complex]) -> float:
    """How many neighbouring points count as one: (1 + r)/(1 - r) for a lag-one correlation r of the residuals."""
    over = under = 0.0
    for m, g in zip(measured, model, strict=True):
        left = m.difference(g)
        over += float(np.sum(left[1:] * left[:-1].conj()).real)
        under += float(np.sum(np.abs(left) ** 2))
    r = min(max(over / under if under else 0.0, 0.0), 0.98)
    return (1 + r) / (1 - r)


def certainty(
    problem: Problem,
    local: Local,
    model: Sequence[Complex],
    model_error: float,
    cable: Mapping[str, float] | None = None,
) -> tuple[Real, Real, tuple[tuple[Real, float], ...]]:
    """Standard deviations (SI), correlations, and what the data alone say in each direction."""
    x = local.x
    left = problem.residual(x, local.at(x))
    slope = scipy.optimize.approx_fprime(x, lambda v: problem.whole(v, local.at(v)), 1e-4)
    data, known = slope[: len(left)], slope[len(left) :]
    spread = float(left @ left) / max(len(left) - len(x), 1) * togetherness(problem.measured, model)
    curvature = data.T @ data / max(spread, 1.0)
    values, vectors = np.linalg.eigh(curvature)
    directions = tuple((vectors[:, k], math.sqrt(max(float(values[k]), 0.0))) for k in range(len(x)))
    whole = curvature + known.T @ known
    floor = 1e-12 * max(np.trace(whole), 1e-12) * np.eye(len(x))  # what nothing determines gets a huge but finite sd
    covariance = np.linalg.inv(whole + floor)
    errors = model_error * _smooth_errors(problem)
    if cable:
        errors = np.concatenate([errors, _cable_errors(problem, x, local.at(x), cable)], axis=1)
    if any(m.load is not None for m in problem.measured):
        errors = np.concatenate([errors, _stray_errors(problem, x, local.at(x))], axis=1)
    swayed = covariance @ data.T @ errors / max(spread, 1.0)
    covariance = covariance + swayed @ swayed.T
    sd = np.sqrt(np.diag(covariance))
    return sd * np.array([p.scale for p in problem.parameters]), covariance / np.outer(sd, sd), directions


def unexplained(measured: Measured, rms: float, least_error: float = LEAST_ERROR) -> bool:
    """Whether more is left of a sweep than its noise and the analyser's error account for."""
    return rms > 1.5 * max(scatter(measured), least_error)


def _smooth_errors(problem: Problem) -> Real:
    """Residuals (m, k) that an error of size 1, level or sloping over one sweep and part of gamma, would make."""
    columns: list[Real] = []
    parts = [(m, s) for m, s in zip(problem.measured, problem.sigma, strict=True)
             for _ in range(2 if m.sweep.gamma is not None else 1)]  # fmt: skip
    total, begin = sum(len(m.sweep.f_hz) for m, _ in parts), 0
    for m, s in parts:
        slope = m.sweep.f_hz - m.sweep.f_hz.mean()
        for shape in (np.ones(len(slope)), slope / np.sqrt(np.mean(slope**2))):
            column = np.zeros(total)
            column[begin : begin + len(slope)] = shape / s
            columns.append(column)
        begin += len(slope)
    return np.stack(columns, axis=1)


def _cable_errors(problem: Problem, x: Real, z_wire: Sequence[Complex], cable: Mapping[str, float]) -> Real:
    """Residuals (m, 3) that a cable makes whose impedance, speed or length is off by so much (relative).

    These are not fitted, as a sweep of a few bands hardly tells them from soil and transformer; so they widen the rest.
    """
    columns = []
    for name, sd in cable.items():
        rows = []
        setups = problem.setups(x)
        for m, setup, z, s in zip(problem.measured, setups, z_wire, problem.sigma, strict=True):
            feed = setup.feed_system()
            left = np.zeros(len(m.sweep.f_hz), dtype=complex)
            if feed.coax is not None and m.sweep.plane == "radio":
                off = (
                    replace(feed, coax_length=feed.coax_length * (1 + sd)) if name == "length"
                    else replace(feed, coax=replace(feed.coax, **{name: getattr(feed.coax, name) * (1 + sd)}))
                )  # fmt: skip
                there, here = (reflection(f.impedances(z, m.sweep.f_hz).radio, m.sweep.z0) for f in (off, feed))
                left = there - here if m.sweep.gamma is not None else (np.abs(there) - np.abs(here)).astype(complex)
            rows.append(np.concatenate([left.real, left.imag]) / s if m.sweep.gamma is not None else left.real / s)
        columns.append(np.concatenate(rows))
    return np.stack(columns, axis=1)


def _stray_errors(problem: Problem, x: Real, z_wire: Sequence[Complex]) -> Real:
    """Residuals (m, 2) that resistors make whose own capacitance or leads are off by STRAY_SD. The capacitance lies
    across the transformer's terminal one, so no sweep tells the two apart: it widens that.
    """
    here = problem.residual(x, z_wire)
    columns = []
    for name, sd in STRAY_SD.items():
        off = replace(BENCH, **{name: getattr(BENCH, name) + sd})
        there = [z if m.load is None else off.impedance(m.load, m.sweep.f_hz)
                 for z, m in zip(z_wire, problem.measured, strict=True)]  # fmt: skip
        columns.append(problem.residual(x, there) - here)
    return np.stack(columns, axis=1)


def _other_plane(problem: Problem, x: Real, first: Real, moving: Sequence[bool], rms: Sequence[float]) -> float:
    """Squared misfit of the best fit with the planes exchanged over that of x; NaN if there is no need to try."""
    if problem.setup.coax is None or not any(map(unexplained, problem.measured, rms)):
        return math.nan
    here = float(np.sum(problem.residual(x, problem.solved(x)) ** 2))
    other = Problem(problem.setup, problem.measured, problem.parameters, problem.wires, problem.sigma, flipped=True)
    there = math.inf
    for begin in (x, first):  # x costs nothing to try: its wires are solved
        try:
            found = other.search(begin, moving, rounds=4, rough=True).x
            there = min(there, float(np.sum(other.residual(found, other.solved(found)) ** 2)))
        except (InputError, SolveError):
            continue
        if there < 0.6 * here:
            break
    return there / here if here > 0 else math.inf
