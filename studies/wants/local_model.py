"""Set-ups whose values move: read and replace one value by its dotted path, and wire impedances kept per geometry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.reflection import reflection
from tautwire.model.remember import Remember, compute_always
from tautwire.model.solve.smooth_matrices import SPANS, Span, span_of
from tautwire.studies.study.paths import Opened, replaced_in, value_in
from tautwire.studies.study.raw import kind_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.soil import SoilSpec, spec_named
from tautwire.studies.study.units import Kind
from tautwire.studies.wants.ask import AskMany

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solver

WIDEST = 1.25  # upper over lower edge of a piece served by one rational response
FEW = 9  # up to this many frequencies in a piece are solved directly


def quantity_kind(path: str, field: str) -> Kind:
    """The kind of the quantity at a path. Raises InputError for a word or a whole number."""
    kind = kind_of(path)
    if kind is None:
        raise InputError(field, repr(path), "a key with a quantity, such as antenna.length, site.soil.er, coax.height")
    return kind


def value_at(setup: Setup, path: str) -> float | None:
    """The SI value at a dotted path; None if the set-up leaves it open. Transformer values include the defaults."""
    place = value_in(setup, path, _opening(path))
    if place is None and path.startswith("transformer.") and path.count(".") == 1:
        place = getattr(setup.transformer.transformer(), path.removeprefix("transformer."), None)
    return float(place) if isinstance(place, int | float) else None


def _opening(path: str) -> Opened:
    """How a soil on the path is opened: a name becomes its constants or layers."""

    def opened(place: Any, step: str) -> Any:
        if isinstance(place, str) and path.startswith("site.soil."):
            place = spec_named(place)
        return place.own(step) if isinstance(place, SoilSpec) else place

    return opened


def with_value(setup: Setup, path: str, value: float) -> Setup:
    """The set-up with the SI value at a dotted path replaced. A named soil becomes its er and sigma.

    Raises InputError for a part that the set-up does not have.
    """
    new: Setup = replaced_in(setup, path, value, _opening(path))
    return new


def with_values(setup: Setup, values: Mapping[str, float]) -> Setup:
    """Several with_value."""
    for path, value in values.items():
        setup = with_value(setup, path, value)
    return setup


def pieces(f_hz: Real) -> list[np.ndarray]:
    """Indices of rising frequencies (n,), Hz, cut where a span ends and where a piece gets wide."""
    groups: list[list[int]] = []
    first, span = 0.0, SPANS[0]
    for i, f in enumerate(f_hz):
        if not groups or f > span.upper or f > WIDEST * first:
            groups.append([])
            first = float(f)
            span = next((s for s in SPANS if s.lower <= f <= s.upper), SPANS[-1])
        groups[-1].append(i)
    return [np.array(p) for p in groups]


def wire_impedance(solver: Solver, f_hz: Real) -> Complex:
    """Impedance at the wire's feed, ohm, at rising frequencies (n,), Hz, from few solves."""
    z = np.empty(len(f_hz), dtype=complex)
    for piece in pieces(f_hz):
        f = f_hz[piece]
        if len(f) <= FEW:
            z[piece] = [solver.impedance(float(x)) for x in f]
        else:
            z[piece] = solver.response(float(f[0]), float(f[-1]), 3e-4).impedance(f)
    return z


def wires_of(setup: Setup, sweeps: Sequence[Real], remember: Remember) -> list[Complex]:
    """`wire_impedance` of a set-up at the frequencies of several sweeps."""
    solver = setup.build().solver(remember)
    return [wire_impedance(solver, f_hz) for f_hz in sweeps]


@dataclass
class WireModel:
    """Wire impedances of any set-up; what does not move the wires (transformer, coax loss) costs no new solve.

    solved: number of wires solved so far. ask: does several tasks side by side, if there are processes for it.
    """

    remember: Remember = compute_always
    ask: AskMany | None = None
    solved: int = 0
    _known: dict[tuple[str, bytes], Complex] = field(default_factory=dict, repr=False)
    _last: tuple[str, Solver] | None = field(default=None, repr=False)

    def wire(self, setup: Setup, f_hz: Real) -> Complex:
        """Impedance at the wire's feed, ohm, (n,). Raises InputError or SolveError."""
        built = setup.build()
        key = repr(built), f_hz.tobytes()
        if key not in self._known:
            if self._last is None or self._last[0] != key[0]:  # several sweeps share one solver
                self.solved += 1
                self._last = key[0], built.solver(self.remember)
            self._known[key] = wire_impedance(self._last[1], f_hz)
        return self._known[key]

    def ahead(self, asked: Sequence[tuple[Setup, Real]]) -> None:
        """Solves several side by side, where that is possible; `wire` then has them. Raises InputError."""
        if self.ask is None:
            return
        tasks: dict[tuple[str, Span], tuple[Setup, list[Real]]] = {}  # sweeps in one span share matrices
        for setup, f_hz in asked:
            wires = repr(setup.build())
            if (wires, f_hz.tobytes()) not in self._known:
                sweeps = tasks.setdefault((wires, span_of(float(f_hz[0]))), (setup, []))[1]
                if not any(np.array_equal(f_hz, f) for f in sweeps):
                    sweeps.append(f_hz)
        answers = self.ask(wires_of, [(*task, self.remember) for task in tasks.values()])
        for ((wires, _), (_, sweeps)), found in zip(tasks.items(), answers, strict=True):
            if isinstance(found, list):
                self._known.update({(wires, f.tobytes()): z for f, z in zip(sweeps, found, strict=True)})
        self.solved += len({wires for wires, _ in tasks})


def radio_gamma(setup: Setup, z_wire: Complex, f_hz: Real, plane: str, z0: float) -> Complex:
    """Reflection coefficient (n,) against z0 (ohm) at "radio" or "transformer", from the wire's impedance."""
    planes = setup.feed_system().impedances(z_wire, f_hz)
    return reflection(planes.radio if plane == "radio" else planes.primary, z0)
