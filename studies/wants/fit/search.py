"""The search behind a fit: wires are solved rarely, everything between wire and radio as often as needed.

Around the present values the wire's reflection coefficient is taken as linear in those that move the wire (slope,
length, soil ...); transformer and coax stay exact. The best values of that local model are found, the wires solved
there, and the slopes updated from what was learnt (Broyden) or measured again when the local model foretold badly.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.reflection import impedance, reflection, size_of
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.study.measurement import PLANES, Sweep
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.local_model import WireModel, radio_gamma, with_values

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
