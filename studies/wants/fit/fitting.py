"""Fit uncertain values of a set-up to measured sweeps, and look for what the fit left out.

The search behind a fit: wires are solved rarely, everything between wire and radio as often as needed.

Around the present values the wire's reflection coefficient is taken as linear in those that move the wire (slope,
length, soil ...); transformer and coax stay exact. The best values of that local model are found, the wires solved
there, and the slopes updated from what was learnt (Broyden) or measured again when the local model foretold badly.

Fit uncertain values of a set-up to measured sweeps: nonlinear least squares with bounds and priors.

Minimises  sum |gamma_model - gamma_measured|^2 / sigma^2 + sum ((value - prior)/sd)^2 ; where only SWR was measured,
|gamma| takes the place of gamma. sigma is the analyser's least error or, if larger, what the fit leaves unexplained.
The covariance is the inverse of the curvature at the minimum (any text on least squares); residuals that hang
together from point to point count as correspondingly fewer points, and what a small smooth error of the model, level
or sloping over each sweep, would do to the estimates is added.

What a fit left out: values tried beside those fitted, when noise does not explain what is left, and how much each
would explain.

Each group of values is freed by itself, from the fit found, with the wires' few best steps; its share is
(left before - left after)/(left before - what noise leaves), squared misfits in units of the noise.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy

from tautwire.model.basics import Complex, Real, impedance, reflection, size_of
from tautwire.model.errors import InputError, SolveError
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.study.measurement import PLANES, Sweep
from tautwire.studies.study.raw import USUAL
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.local_model import WireModel, radio_gamma, with_values
from tautwire.studies.wants.spread.values import start_of

# --- The search behind a fit.


STEP = 0.05  # of a parameter's scale, for its derivative; chosen by hand
REACH = 1.5  # scales that the first step may go; chosen by hand
HOPELESS = 1e9  # cost of a set-up that cannot be built


@dataclass(frozen=True)
class Parameter:
    """A value to fit. path: dotted key. start, low, high: SI. prior, sd: what is known beforehand, or None."""

    path: str
    start: float
    low: float
    high: float
    prior: float | None = None
    sd: float | None = None

    def __post_init__(self) -> None:
        name = f"fit.parameters.{self.path}"
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise InputError(name, f"{self.low:g} to {self.high:g}", "a range that rises (from, to)")
        if not self.low <= self.start <= self.high:
            raise InputError(name, f"{self.start:g}", f"a start from {self.low:g} to {self.high:g}, its range")
        if self.sd is not None and not self.sd > 0:
            raise InputError(f"{name}.sd", f"{self.sd:g}", "above 0")

    @property
    def scale(self) -> float:
        """What counts as a usual change: the prior's sd, else a quarter of the range."""
        return (self.high - self.low) / 4 if self.sd is None else self.sd


@dataclass(frozen=True)
class Fixture:
    """What a resistor in the wire's place has besides: capacitance (F) across it, inductance (H) of its leads."""

    capacitance: float
    inductance: float

    def impedance(self, ohm: float, f_hz: Real) -> Complex:
        """Impedance (n,), ohm, at f_hz (n,), Hz.

        >>> abs(Fixture(0.3e-12, 0.0).impedance(2400, np.array([30e6]))).round(0)
        array([2378.])
        """
        jw = 2j * np.pi * f_hz
        return np.asarray(jw * self.inductance + 1 / (1 / ohm + jw * self.capacitance))


BENCH = Fixture(0.3e-12, 30e-9)  # a small resistor with 2 cm of leads each side (common practice, no source)


@dataclass(frozen=True, eq=False)
class Measured:
    """A sweep, and values (path -> SI) in which its set-up differed from the others.

    load: resistor in place of wire and return conductors, ohm, with BENCH's strays; None for the antenna itself.
    """

    sweep: Sweep
    change: Mapping[str, float] = field(default_factory=dict)
    load: float | None = None

    @property
    def data(self) -> Complex | Real:
        """gamma (n,), or |gamma| if only SWR is known."""
        if self.sweep.gamma is not None:
            return self.sweep.gamma
        return size_of(self.sweep.swr)

    def difference(self, model: Complex) -> Complex | Real:
        """model - measured, of gamma or of |gamma|, (n,)."""
        return model - self.data if self.sweep.gamma is not None else np.abs(model) - self.data


@dataclass(frozen=True)
class Local:
    """The wires around x: reflection (n,) at REFERENCE and its slopes (n, p) for each sweep. cost: of the fit at x."""

    x: Real
    wires: tuple[Complex, ...]
    slopes: tuple[Complex, ...]
    cost: float

    def at(self, x: Real) -> list[Complex]:
        """Wire impedances (n,), ohm, at x; kept passive."""
        values: list[Complex] = []
        for g, slope in zip(self.wires, self.slopes, strict=True):
            here = g + slope @ (x - self.x)
            here = here / np.maximum(np.abs(here) / 0.9999, 1)
            values.append(impedance(here, REFERENCE))
        return values


@dataclass
class Problem:
    """Sweeps, parameters and errors. x (p,): changes from the start in units of the scales."""

    setup: Setup
    measured: tuple[Measured, ...]
    parameters: tuple[Parameter, ...]
    wires: WireModel
    sigma: Sequence[float]
    flipped: bool = False

    @property
    def bounds(self) -> tuple[Real, Real]:
        low = np.array([(p.low - p.start) / p.scale for p in self.parameters])
        high = np.array([(p.high - p.start) / p.scale for p in self.parameters])
        return low, high

    def values(self, x: Real) -> dict[str, float]:
        return {p.path: float(p.start + p.scale * v) for p, v in zip(self.parameters, x, strict=True)}

    def setups(self, x: Real) -> list[Setup]:
        """The set-up of each sweep."""
        return [with_values(self.setup, {**self.values(x), **m.change}) for m in self.measured]

    def solved(self, x: Real) -> list[Complex]:
        """Wire impedances (n,), ohm, solved. Raises InputError or SolveError."""
        self.ahead([x])
        return [
            self.wires.wire(s, m.sweep.f_hz) if m.load is None else BENCH.impedance(m.load, m.sweep.f_hz)
            for s, m in zip(self.setups(x), self.measured, strict=True)
        ]

    def ahead(self, places: Sequence[Real]) -> None:
        """Solves the wires at several x side by side, where that is possible. Raises InputError."""
        pairs = [(s, m) for x in places for s, m in zip(self.setups(x), self.measured, strict=True)]
        self.wires.ahead([(s, m.sweep.f_hz) for s, m in pairs if m.load is None])

    def model(self, x: Real, z_wire: Sequence[Complex]) -> list[Complex]:
        """Reflection at each sweep's plane (n,)."""
        values = []
        for m, setup, z in zip(self.measured, self.setups(x), z_wire, strict=True):
            plane = PLANES[PLANES.index(m.sweep.plane) ^ self.flipped]
            values.append(radio_gamma(setup, z, m.sweep.f_hz, plane, m.sweep.z0))
        return values

    def residual(self, x: Real, z_wire: Sequence[Complex]) -> Real:
        """Data part, in units of sigma."""
        rows = []
        for m, model, s in zip(self.measured, self.model(x, z_wire), self.sigma, strict=True):
            left = m.difference(model)
            rows.append(np.concatenate([left.real, left.imag]) / s if np.iscomplexobj(left) else left / s)
        return np.concatenate(rows)

    def prior(self, x: Real) -> Real:
        values = self.values(x)
        return np.array([(values[p.path] - p.prior) / p.sd for p in self.parameters
                         if p.prior is not None and p.sd is not None])  # fmt: skip

    def whole(self, x: Real, z_wire: Sequence[Complex]) -> Real:
        return np.concatenate([self.residual(x, z_wire), self.prior(x)])

    def moving(self) -> list[bool]:
        """Which parameters move the wires; the others only act between wire and radio."""
        start = np.zeros(len(self.parameters))
        still = [repr(s.build()) for s in self.setups(start)]
        flags = []
        for i in range(len(start)):
            moved = start.copy()
            moved[i] = self._step(start, i)
            flags.append([repr(s.build()) for s in self.setups(moved)] != still)
        return flags

    def _step(self, x: Real, i: int) -> float:
        return STEP if x[i] + STEP <= self.bounds[1][i] else -min(STEP, float(x[i] - self.bounds[0][i]))

    def local(self, x: Real, moving: Sequence[bool]) -> Local:
        """The local model around x, its slopes measured."""
        beside = {int(i): x + self._step(x, int(i)) * np.eye(len(x))[i] for i in np.flatnonzero(moving)}
        self.ahead([x, *beside.values()])
        z = self.solved(x)
        wires = tuple(reflection(one, REFERENCE) for one in z)
        slopes = [np.zeros((len(g), len(x)), dtype=complex) for g in wires]
        for i, moved in beside.items():
            for slope, g, there in zip(slopes, wires, self.solved(moved), strict=True):
                slope[:, i] = (reflection(there, REFERENCE) - g) / (moved[i] - x[i])
        return Local(x, wires, tuple(slopes), float(np.sum(self.whole(x, z) ** 2)))

    def best_near(self, local: Local, moving: Sequence[bool], reach: float) -> Real:
        """The best x of the local model, wires moved by no more than `reach` scales."""
        low, high = self.bounds
        near = np.where(moving, reach, np.inf)
        low, high = np.maximum(low, local.x - near), np.minimum(high, local.x + near)
        x = np.clip(local.x, low + 1e-9, high - 1e-9)
        found = scipy.optimize.least_squares(
            lambda v: self.whole(v, local.at(v)), x, bounds=(low, high), diff_step=1e-4, xtol=1e-6
        )
        return np.asarray(found.x)

    def cost(self, x: Real) -> tuple[float, list[Complex]]:
        """The fit's cost with wires solved at x; hopeless if they cannot be built."""
        try:
            z = self.solved(x)
            return float(np.sum(self.whole(x, z) ** 2)), z
        except (InputError, SolveError):
            return HOPELESS, []

    def search(self, x: Real, moving: Sequence[bool], rounds: int = 12, rough: bool = False) -> Local:
        """The best fit from x on. rounds: steps at the most. rough: the way is to go on from there, so that small gains
        with slopes that are not fresh are enough."""
        local, fresh, reach = self.local(x, moving), True, REACH
        for _ in range(rounds):
            new = self.best_near(local, moving, reach)
            predicted = float(np.sum(self.whole(new, local.at(new)) ** 2))
            cost, z = self.cost(new)
            step = float(np.abs(new - local.x).max(initial=0.0))
            gain = local.cost - cost
            enough = max((1e-2 if rough else 1e-3) * local.cost, 0.05)
            small = gain < enough and (gain >= 0 or step < 0.05) or step < 2e-3
            if small and (fresh or rough):
                break
            foretold = gain > 0.5 * (local.cost - predicted)
            if foretold:
                reach *= 1.5
            elif fresh and gain <= 0:
                reach = min(reach, step) / 4
            if gain > 0:
                local, fresh = _learnt(local, new, z, cost), False
            if small or not foretold:
                local, fresh = self.local(local.x, moving), True
        return local if fresh or rough else self.local(local.x, moving)


def _learnt(local: Local, x: Real, z: Sequence[Complex], cost: float) -> Local:
    """The local model moved to x, its slopes bent so that they explain the step taken (Broyden's update)."""
    step = x - local.x
    wires = tuple(reflection(one, REFERENCE) for one in z)
    size = float(step @ step)
    slopes = []
    for g, before, slope in zip(wires, local.wires, local.slopes, strict=True):
        missed = g - before - slope @ step
        slopes.append(slope + np.outer(missed, step) / size if size > 0 else slope)
    return Local(x, wires, tuple(slopes), cost)


# --- Fit uncertain values of a set-up to measured sweeps.


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


# --- What a fit left out.


ROUNDS = 5
WORTH = 0.2  # share of what is left from which a group is worth a word
COAX_LENGTH = "the coax's length"
STARTS = {COAX_LENGTH: (0.0, 0.8, -0.8)}  # scales from the set-up's value: a line's effect comes round again
Free = tuple[Setup, tuple[Parameter, ...]]


@dataclass(frozen=True, eq=False)
class Missing:
    """A group that the fit left out. name: in words. parameters: what was freed. estimate (k,): SI.
    share: of what noise does not explain, 1 for all of it; others: path -> what the fitted values would become, SI.
    """

    name: str
    parameters: tuple[Parameter, ...]
    estimate: Real
    share: float
    others: dict[str, float]


def missing(found: Fit, least_error: float = LEAST_ERROR, wires: WireModel | None = None) -> tuple[Missing, ...]:
    """Groups of values that the fit left out, the one that explains most first; none if noise explains what is left."""
    if not any(unexplained(m, rms, least_error) for m, rms in zip(found.measured, found.rms, strict=True)):
        return ()
    wires = wires or WireModel()
    sigma = [max(least_error, s) for s in found.scatter]
    plain = Problem(found.setup, found.measured, found.parameters, wires, sigma)
    x = np.array([(e - p.start) / p.scale for e, p in zip(found.estimate, found.parameters, strict=True)])
    residual = plain.residual(x, plain.solved(x))
    before, floor = float(residual @ residual), float(len(residual))
    known = {p.path for p in found.parameters} | {path for m in found.measured for path in m.change}
    gaps = []
    for name, group in GROUPS.items():
        free = group(found.setup)
        if free is None:
            continue
        setup, extra = free
        extra = tuple(p for p in extra if p.path not in known)
        if not extra or before <= floor:
            continue
        problem = Problem(setup, found.measured, (*found.parameters, *extra), wires, sigma)
        tries = [_search(problem, np.append(x, np.full(len(extra), s))) for s in STARTS.get(name, (0.0,))]
        best, left = min((t for t in tries if t is not None), key=lambda t: t[1], default=(None, math.inf))
        if best is None:
            continue
        values = problem.values(best)
        share = min((before - left) / (before - floor), 1.0)
        estimate = np.array([values[p.path] for p in extra])
        gaps.append(Missing(name, extra, estimate, share, {p.path: values[p.path] for p in found.parameters}))
    return tuple(sorted(gaps, key=lambda m: -m.share))


def _search(problem: Problem, start: Real) -> tuple[Real, float] | None:
    """The best fit from start on and its squared misfit; None if it cannot be solved."""
    try:
        best = problem.search(start, problem.moving(), rounds=ROUNDS).x
        residual = problem.residual(best, problem.solved(best))
    except (InputError, SolveError):
        return None
    return best, float(residual @ residual)


def _core(setup: Setup) -> Free | None:
    """The magnetising branch as an inductance and a resistance, from those of the set-up's transformer."""
    transformer = setup.transformer.transformer()
    admittance = complex(transformer.magnetising_admittance(10e6))
    if not admittance.imag < 0:
        return None
    inductance = -1 / (2 * math.pi * 10e6 * admittance.imag)
    loss = 1 / max(admittance.real, 1e-5)
    spec = setup.transformer.model_copy(
        update={"core": None, "magnetising_inductance": inductance, "loss_resistance": loss}
    )
    return setup.model_copy(update={"transformer": spec}), (
        Parameter("transformer.magnetising_inductance", inductance, inductance / 8, inductance * 8),
        Parameter("transformer.loss_resistance", loss, loss / 8, loss * 8),
    )


def _values(*ranges: tuple[str, float, float]) -> Callable[[Setup], Free | None]:
    """A group of values of the set-up, each with the range it may have (a factor of its own value, and added, SI)."""

    def free(setup: Setup) -> Free | None:
        free_values = []
        for path, factor, added in ranges:
            start = start_of(setup, path)
            if start is not None:
                free_values.append(Parameter(path, start, start / factor, start * factor + added))
        return (setup, tuple(free_values)) if free_values else None

    return free


def _counterpoises(setup: Setup) -> Free | None:
    ranges = [
        (f"counterpoise.{i}.{key}", *reach)
        for i, _ in enumerate(setup.counterpoise, 1)
        for key, reach in (("length", (1.5, 0.0)), ("height", (4.0, 0.0)))
    ]
    return _values(*ranges)(setup) if ranges else None


GROUPS: dict[str, Callable[[Setup], Free | None]] = {
    "the transformer's core (magnetising inductance and loss)": _core,
    "the transformer's compensation": _values(("transformer.compensation_capacitance", 4.0, 100e-12)),
    "the transformer's leakage": _values(("transformer.leakage_inductance", 4.0, 0.2e-6)),
    "the capacitance at the transformer's wire end": _values(("transformer.terminal_capacitance", 4.0, 2e-12)),
    "the wire's radius and jacket": _values(("wire.diameter", 2.0, 0.0), ("wire.jacket", 4.0, 0.2e-3)),
    "the counterpoise": _counterpoises,
    "how the coax lies": _values(("coax.height", 4.0, 0.0)),
    COAX_LENGTH: _values(("coax.length", 1.5, 0.0)),
    "the coax's loss": _values(("coax.loss_scale", 4.0, 0.0)),
    "the wire's length": _values(("antenna.length", 1.04, 0.0)),
}
