"""The uncertain values of a set-up: the usual ones of its parts, or the user's own, and how they hang together."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.wires.mesh import MeshRules
from tautwire.studies.study.raw import ADDED, FACTOR, ONE_SIDED, USUAL, Law, usual_over
from tautwire.studies.study.setup import SOIL_AT, Setup
from tautwire.studies.wants.local_model import Known, value_at, with_value
from tautwire.studies.wants.spread.points import DIMENSIONS, sobol

REACH = 4.0  # standard deviations beyond which nothing is tried
LIMITS = {"site.soil.er": (1.5, 90.0), "wire.jacket_er": (1.05, 20.0)}
POSITIVE = 1e-15
TURN = "reel.turn_length"
COUNTED = 10  # turns whose length was measured, from which a turn is known as in raw.py's row


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

    def reached(self, u: float | Real) -> Real:
        """Standard deviations of it really taken at u: without sign if one-sided, and within the limits."""
        x = np.asarray(u, dtype=float)
        return np.clip(np.abs(x) if self.law == ONE_SIDED else x, self.least, self._at_limit(self.high))

    @property
    def least(self) -> float:
        """Standard deviations (0 or below) down to which it can be moved."""
        return 0.0 if self.law == ONE_SIDED else min(self._at_limit(self.low), 0.0)

    def _at_limit(self, limit: float) -> float:
        if self.law != FACTOR:
            return (limit - self.value) / self.sd
        return math.log(limit / self.value) / self.sd if limit > 0 and math.isfinite(limit) else math.copysign(
            math.inf, limit - self.value)  # fmt: skip

    def steps(self, curved: bool, usual: float) -> tuple[float, ...]:
        """Where its effect is read, standard deviations: at two places if it is curved, within the limits."""
        if self.law == ONE_SIDED:
            return (2.0,) if self.path == "antenna.end_capacitance" else (1.0,)  # what is 2 cm of wire at least
        if not curved:
            return (usual,)
        return (-1.0, 1.0) if self.least <= -1 else (1.0, 2.0)


def moved(setup: Setup, one: Uncertain, u: float) -> Setup:
    """The set-up with one value u standard deviations off.

    A longer turn on the reel is more wire out. Raises InputError for what the set-up cannot have.
    """
    if one.path == TURN:
        out = setup.build().layout.length
        return with_value(setup, "antenna.length", out * float(one.at(u)) / one.value)
    return with_value(setup, one.path, float(one.at(u)))


def reference(setup: Setup, one: Uncertain) -> Setup:
    """The set-up as it is, its soil written as `moved` writes it."""
    return with_value(setup, one.path, one.value) if one.path.startswith("site.soil.") else setup


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
    if path == TURN and setup.reel is not None and setup.antenna.length is not None:
        reel = setup.reel.reel()
        out = min(setup.antenna.length, reel.wire_length)
        return out / max(float(reel.turns_out(out)), 1e-9)
    if path == "antenna.feed_height" and setup.antenna.slope is not None:  # not if heights alone fix the wire
        return float(setup.antenna.build().points[0][2])
    return defaults.get(path)


def uncertain(setup: Setup, own: Mapping[str, Known] | None = None, turns: bool = False) -> tuple[Uncertain, ...]:
    """The uncertain values of a set-up: every usual one that it has a part for, changed and added to by `own`.

    turns: whether the wire is measured out by turns of its reel.

    An sd of 0 leaves a value out. Raises InputError for a path that the set-up has no value for.
    """
    given = dict(own or {})
    paths = [p for base in USUAL if turns or base != TURN for p in _written(setup, base)]
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
    if _without_meaning(setup, path):
        return None
    er, sigma = setup.site.ground().constants(SOIL_AT) if path.startswith("site.soil.") else (0.0, 0.0)
    row = usual_over(path, er, sigma)
    if row is None:
        return None
    low, high = LIMITS.get(path, (-math.inf, math.inf))
    if path.endswith(".height") and path.startswith(("coax.", "counterpoise.")):
        low = min(_lying(setup, path), value)
    if row.law != ADDED or path.startswith("transformer.") or path.endswith(("length", "height")):
        low = max(low, POSITIVE)
    if path == TURN and setup.reel is not None and max((c.turns for c in setup.reel.counted), default=0) >= COUNTED:
        row = replace(row, sd=row.measured)
    law: Law = ADDED if row.law == ONE_SIDED and value > row.sd else row.law
    if row.law == ONE_SIDED:
        low = 0.0
    return Uncertain(path, value, row.sd, law, row.name, row.measure, row.measured, low, high)


def _lying(setup: Setup, path: str) -> float:
    """Height (m) at which a return conductor lies on the soil: its outer radius."""
    if path.startswith("coax.") and setup.coax is not None:
        wire = setup.coax.cable().shield_wire()
    else:
        wire = setup.counterpoise[int(path.split(".")[1]) - 1].wire.wire()
    return wire.radius + wire.jacket


def _without_meaning(setup: Setup, path: str) -> bool:
    """Whether a usual value says nothing here: the soil of free space, the core of a transformer without one."""
    ground, transformer = setup.site.ground(), setup.transformer
    if path.startswith("site.soil."):
        return ground.is_free_space or ground.is_perfect
    if path == "antenna.sag":  # a wire that stands upright hangs straight
        return setup.antenna.layout == "vertical"
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
    if path == "coax.loss_scale":
        return setup.coax is not None and not any(db for _, db in setup.coax.cable().loss)
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
        """(k, k) L with L L^T = correlation, symmetric, so that values that stand alone keep their own draws."""
        size, axes = np.linalg.eigh(self.correlation)
        return np.asarray((axes * np.sqrt(np.maximum(size, 0.0))) @ axes.T)

    def draw(self, count: int, seed: int = 1) -> Real:
        """(count, k) standard deviations off, from Sobol's points: of a value the same in every set-up that has it."""
        if not self.values:
            return np.zeros((count, 0))
        columns = _columns([v.path for v in self.values])
        # the first of the points' dimensions belong to the rows of the table of spreads, others to what users add
        points = sobol(count, max(DIMENSIONS, max(columns) + 1), seed)[:, columns]
        normal = scipy.special.ndtri(np.clip(points, 1e-6, 1 - 1e-6))
        return np.asarray(np.clip(normal @ self.root.T, -REACH, REACH))


def _columns(paths: Sequence[str]) -> list[int]:
    """Sobol's dimension of each value: its row in the table of spreads; second counterpoises and users' own values
    take those behind, in the order of their names."""
    rows = {base: i for i, base in enumerate(USUAL)}
    taken = {p: rows[p.replace(".1.", ".")] for p in paths if p.replace(".1.", ".") in rows}
    others = sorted(set(paths) - set(taken))
    return [taken[p] if p in taken else len(rows) + others.index(p) for p in paths]


def with_offsets(setup: Setup, values: Sequence[Uncertain], u: Real) -> Setup:
    """The set-up with each value moved by u (k,) standard deviations."""
    for one, off in zip(values, u, strict=True):
        if off:
            setup = moved(setup, one, float(off))
    return setup
