"""The uncertain values of a set-up: the usual ones of its parts, or the user's own, and how they hang together."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.model.wires.mesh import MeshRules
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.spread import ADDED, FACTOR, ONE_SIDED, USUAL, Law, usual_of
from tautwire.studies.wants.known import Known
from tautwire.studies.wants.local_model import value_at, with_value
from tautwire.studies.wants.spread.points import sobol

REACH = 4.0  # standard deviations beyond which nothing is tried
LIMITS = {"site.soil.er": (1.5, 90.0), "wire.jacket_er": (1.05, 20.0), "coax.height": (0.011, math.inf),
          "counterpoise.height": (0.011, math.inf)}  # fmt: skip
POSITIVE = 1e-15


@dataclass(frozen=True)
class Uncertain:
    """A value that may be off. path: dotted key. value: SI, as the set-up has it. sd: as in `Usual`, by law.

    low, high: SI, never passed. name, measure, measured: see `Usual`.
    """

    path: str
    value: float
    sd: float
    law: Law
    name: str
    measure: str = ""
    measured: float = 0.0
    low: float = -math.inf
    high: float = math.inf

    def at(self, u: float | Real) -> Real:
        """The value (SI) at u standard deviations from the set-up's."""
        x = np.asarray(u, dtype=float)
        if self.law == FACTOR:
            values = self.value * np.exp(self.sd * x)
        else:
            values = self.value + self.sd * (np.abs(x) if self.law == ONE_SIDED else x)
        return np.asarray(np.clip(values, self.low, self.high))


def start_of(setup: Setup, path: str) -> float | None:
    """The SI value at a path, also where the set-up leaves it to a default; None where there is no such part."""
    value = value_at(setup, path)
    if value is not None:
        return value
    bearing = setup.antenna.bearing or 0.0
    defaults = {
        "wire.diameter": setup.wire.wire().diameter,
        "mesh.feed_segment": MeshRules().feed_segment,
        "coax.bearing": bearing + math.pi / 2 if setup.coax is not None else None,
    }
    if path == "antenna.feed_height" and setup.antenna.slope is not None:  # not if heights alone fix the wire
        return float(setup.antenna.build().points[0][2])
    return defaults.get(path)


def uncertain(setup: Setup, own: Mapping[str, Known] | None = None) -> tuple[Uncertain, ...]:
    """The uncertain values of a set-up: every usual one that it has a part for, changed and added to by `own`.

    An sd of 0 leaves a value out. Raises InputError for a path that the set-up has no value for.
    """
    given = dict(own or {})
    paths = [p for base in USUAL for p in _written(setup, base)]
    sources = []
    for path in dict.fromkeys([*paths, *given]):
        value, mine = start_of(setup, path), given.get(path)
        if value is None:
            if mine is not None:
                raise InputError(f"spread.{path}", "nothing", "a value that the set-up has")
            continue
        one = _usual(setup, path, value)
        if mine is not None:
            one = _owned(path, value, mine, one)
        if one is not None and one.sd > 0 and one.low < one.high and (one.law != FACTOR or value > 0):
            sources.append(one)
    return tuple(sources)


def _written(setup: Setup, base: str) -> list[str]:
    if base.startswith("counterpoise."):
        return [base.replace(".", f".{i}.") for i in range(1, len(setup.counterpoise) + 1)]
    return [base]


def _usual(setup: Setup, path: str, value: float) -> Uncertain | None:
    row = usual_of(path)
    if row is None or _without_meaning(setup, path):
        return None
    low, high = LIMITS.get(path, (-math.inf, math.inf))
    if row.law != ADDED or path.startswith("transformer.") or path.endswith(("length", "height")):
        low = max(low, POSITIVE)
    law: Law = ADDED if row.law == ONE_SIDED and value > row.sd else row.law
    if row.law == ONE_SIDED:
        low = 0.0
    return Uncertain(path, value, row.sd, law, row.name, row.measure, row.measured, low, high)


def _without_meaning(setup: Setup, path: str) -> bool:
    """Whether a usual value says nothing here: the soil of free space, the core of a transformer without one."""
    ground, transformer = setup.site.ground(), setup.transformer
    if path.startswith("site.soil."):
        return ground.is_free_space or ground.is_perfect
    if path == "wire.diameter":
        return setup.wire.awg is not None
    if path == "wire.jacket_er":
        return setup.wire.jacket == 0
    if transformer.two_port is not None and path.startswith("transformer."):
        return True
    if path == "transformer.core_scale":
        return transformer.magnetising_inductance is not None or (transformer.ideal and transformer.core is None)
    if path == "transformer.terminal_capacitance":
        return transformer.ideal and not transformer.terminal_capacitance
    if path == "antenna.feed_height":
        return setup.antenna.feed_height is None and setup.antenna.end_height is not None
    if path == "coax.bearing":
        return setup.coax is None or setup.coax.length < 1.5
    return False


def _owned(path: str, value: float, mine: Known, usual: Uncertain | None) -> Uncertain:
    name = path if usual is None else usual.name
    one = Uncertain(path, value, 0.0, ADDED, name) if usual is None else usual
    if mine.sd is not None:
        relative = one.law == FACTOR and value > 0
        sd = mine.sd / value if relative else mine.sd
        one = replace(one, sd=sd, law=one.law if relative or one.law == ONE_SIDED else ADDED)
    elif mine.low is not None and mine.high is not None:
        one = replace(one, sd=(mine.high - mine.low) / math.sqrt(12), law=ADDED)
    low = one.low if mine.low is None else max(one.low, mine.low)
    high = one.high if mine.high is None else min(one.high, mine.high)
    return replace(one, low=low, high=high)


@dataclass(frozen=True, eq=False)
class Joint:
    """Uncertain values and the correlation (k, k) of what they are off by, in standard deviations."""

    values: tuple[Uncertain, ...]
    correlation: Real

    @classmethod
    def of(cls, values: Sequence[Uncertain], pairs: Mapping[tuple[str, str], float] | None = None) -> "Joint":
        """pairs: (path, path) -> correlation; others are independent. Raises InputError for one that cannot be."""
        place = {v.path: i for i, v in enumerate(values)}
        matrix = np.eye(len(values))
        for (a, b), r in (pairs or {}).items():
            if a in place and b in place and a != b:
                matrix[place[a], place[b]] = matrix[place[b], place[a]] = r
        if len(values) and np.linalg.eigvalsh(matrix)[0] < -1e-6:
            raise InputError("spread.correlation", "a matrix", "correlations that can be true together")
        return cls(tuple(values), matrix)

    @property
    def root(self) -> Real:
        """(k, k) L with L L^T = correlation."""
        size, axes = np.linalg.eigh(self.correlation)
        return np.asarray(axes * np.sqrt(np.maximum(size, 0.0)))

    def draw(self, count: int, seed: int = 1) -> Real:
        """(count, k) standard deviations off, from Sobol's points."""
        if not self.values:
            return np.zeros((count, 0))
        normal = scipy.special.ndtri(np.clip(sobol(count, len(self.values), seed), 1e-6, 1 - 1e-6))
        return np.asarray(np.clip(normal @ self.root.T, -REACH, REACH))


def with_offsets(setup: Setup, values: Sequence[Uncertain], u: Real) -> Setup:
    """The set-up with each value moved by u (k,) standard deviations."""
    for one, off in zip(values, u, strict=True):
        if off:
            setup = with_value(setup, one.path, float(one.at(float(off))))
    return setup
