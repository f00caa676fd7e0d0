"""The nonlinear regression sets of NIST's Statistical Reference Datasets (public domain), and the fitting core fed with
them.

Files: tests/data/nist_strd, as published: starts and certified values from line 41, data from line 61.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from tautwire.model.basics import impedance, reflection
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.wants.fit.fitting import Parameter, Problem, certainty, settled, togetherness
from tautwire.studies.wants.local_model import WireModel

FOLDER = Path(__file__).parent / "data" / "nist_strd"
exp, pi = np.exp, np.pi


def gauss(b, x):
    return (
        b[0] * exp(-b[1] * x) + b[2] * exp(-((x - b[3]) ** 2) / b[4] ** 2) + b[5] * exp(-((x - b[6]) ** 2) / b[7] ** 2)
    )


def lanczos(b, x):
    return b[0] * exp(-b[1] * x) + b[2] * exp(-b[3] * x) + b[4] * exp(-b[5] * x)


def enso(b, x):
    def wave(period, cos, sin):
        return cos * np.cos(2 * pi * x / period) + sin * np.sin(2 * pi * x / period)

    return b[0] + wave(12, b[1], b[2]) + wave(b[3], b[4], b[5]) + wave(b[6], b[7], b[8])


def ratio(over: int) -> Callable[[Any, Any], Any]:
    """A polynomial of `over` coefficients over one whose first is 1."""
    return lambda b, x: np.polyval(b[:over][::-1], x) / np.polyval([*b[over:][::-1], 1.0], x)


def chwirut(b, x):
    return exp(-b[0] * x) / (b[1] + b[2] * x)


MODELS: dict[str, Callable[[Any, Any], Any]] = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
    "BoxBOD": lambda b, x: b[0] * (1 - exp(-b[1] * x)),
    "Chwirut1": chwirut,
    "Chwirut2": chwirut,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": enso,
    "Eckerle4": lambda b, x: b[0] / b[1] * exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": gauss,
    "Gauss2": gauss,
    "Gauss3": gauss,
    "Hahn1": ratio(4),
    "Kirby2": ratio(3),
    "Lanczos1": lanczos,
    "Lanczos2": lanczos,
    "Lanczos3": lanczos,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * exp(-x * b[3]) + b[2] * exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1 - exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1 + b[1] * x),
    "Nelson": lambda b, x: b[0] - b[1] * x[:, 0] * exp(-b[2] * x[:, 1]),
    "Rat42": lambda b, x: b[0] / (1 + exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / pi,
    "Thurber": ratio(4),
}


@dataclass(frozen=True)
class Dataset:
    """starts (2, p), certified (p,), sd (p,), y (n,), x (n,) or (n, k); Nelson's y is the logarithm."""

    name: str
    starts: Any
    certified: Any
    sd: Any
    y: Any
    x: Any


def dataset(name: str) -> Dataset:
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [
        re.findall(r"[-+]?\d*\.?\d+(?:E[-+]?\d+)?", re.sub(r"^ *b\d+ *=", "", x))
        for x in lines
        if re.match(r" *b\d+ *=", x)
    ]
    values = np.array([[float(v) for v in row] for row in rows])
    data = np.array([[float(v) for v in line.split()] for line in lines[60:] if line.strip()])
    y, x = data[:, 0], data[:, 1] if data.shape[1] == 2 else data[:, 1:]
    return Dataset(name, values[:, :2].T, values[:, 2], values[:, 3], np.log(y) if name == "Nelson" else y, x)


class Curve(Problem):
    """A curve in place of an antenna. wires: whether the values move "the wires", so that each trial counts as a solve
    and is linear in between (Broyden), or only what lies between wire and radio, which is computed as often as needed.
    """

    def __init__(self, data: Dataset, start: Sequence[float], wires: bool) -> None:
        self.curve, self.x, self.wired = MODELS[data.name], data.x, wires
        self.size = 4 * float(np.abs(data.y).max())  # so that a curve is a reflection coefficient
        parameters = tuple(
            Parameter(f"b{i}", b, b - 1e6 * abs(b), b + 1e6 * abs(b), sd=abs(b) / 4) for i, b in enumerate(start, 1)
        )
        seen = SimpleNamespace(
            data=data.y, load=None, change={}, sweep=SimpleNamespace(f_hz=np.arange(1.0, len(data.y) + 1), gamma=None),
            difference=lambda model: model - data.y,
        )  # fmt: skip
        super().__init__(SimpleNamespace(), (seen,), parameters, WireModel(), [1.0])

    def values_at(self, v):
        with np.errstate(all="ignore"):
            y = self.curve([*self.values(v).values()], self.x)
        return np.nan_to_num(y, nan=1e6 * self.size, posinf=1e6 * self.size, neginf=-1e6 * self.size)

    def ahead(self, places):
        return None

    def solved(self, v):
        shown = self.values_at(v) if self.wired else np.zeros(len(self.x))
        return [impedance(np.clip(shown / self.size, -0.9999, 0.9999) + 0j, REFERENCE)]

    def model(self, v, z_wire):
        return [reflection(z_wire[0], REFERENCE).real * self.size if self.wired else self.values_at(v)]


@dataclass(frozen=True)
class Found:
    """estimate (p,). sd (p,): for independent errors, as certified. digits: correct ones of the worst estimate and of
    the worst standard deviation."""

    estimate: Any
    sd: Any
    digits: float
    sd_digits: float


def fitted(data: Dataset, start: int, wires: bool = False) -> Found:
    """What the fitting core makes of a set from its first or second start (0 or 1)."""
    problem = Curve(data, data.starts[start], wires)
    moving = [wires] * len(problem.parameters)
    local = settled(problem, np.zeros(len(problem.parameters)), moving, 1e-12 * problem.size)
    problem.sigma = [1e-6 * s for s in problem.sigma]  # as small as makes the scatter of the data decide
    model = problem.model(local.x, problem.solved(local.x))
    sd, _, _ = certainty(problem, local, model, 0.0)
    sd = sd / np.sqrt(togetherness(problem.measured, model))
    estimate = np.array([*problem.values(local.x).values()])
    return Found(estimate, sd, digits(estimate, data.certified), digits(sd, data.sd))


def digits(found: Any, right: Any) -> float:
    """Correct decimal digits of the worst value, 11 at most: those that are certified."""
    off = np.abs(np.asarray(found) - right) / np.abs(right)
    return float(-np.log10(np.clip(off.max(), 1e-11, 10.0)))
