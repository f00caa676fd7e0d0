"""What a fit left out: values tried beside those fitted, when noise does not explain what is left, and how much each
would explain.

Each group of values is freed by itself, from the fit found, with the wires' few best steps; its share is
(left before - left after)/(left before - what noise leaves), squared misfits in units of the noise.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError, SolveError
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.fitting import LEAST_ERROR, Fit, unexplained
from tautwire.studies.wants.fit.search import Parameter, Problem
from tautwire.studies.wants.local_model import WireModel
from tautwire.studies.wants.spread.values import start_of

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
