"""Set-ups near a known one: what is known of a value, the value moved, and its solve.

Wires near known ones, each from one coarse solve.

A change of geometry, wire or soil moves the wire's resonances and their damping, so near a dip the changed wire does at
f what the known one does at a complex frequency close by, f (1 - s). One solve at the dip, on a coarse mesh, gives s;
what that mesh gets wrong it gets wrong alike for both wires, so the difference is right to a few per cent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Complex, Real, Remember, compute_always, impedance, reflection
from tautwire.model.errors import InputError
from tautwire.model.solve.response import SPANS, Span, span_of
from tautwire.studies.study.parts import Opened, Part, entry, replaced_in, value_in
from tautwire.studies.study.raw import kind_of
from tautwire.studies.study.setup import Setup, SoilSpec, spec_named
from tautwire.studies.study.units import Kind
from tautwire.studies.wants.want import AskMany

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from tautwire.model.solve.response import Response
    from tautwire.model.solve.solver import Solver


# --- Set-ups whose values move: read and replace one value by its dotted path, and wire impedances kept per geometry.


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


# --- What is known of a value of the set-up, as people write it: { prior, sd, from, to }; for fits and spreads alike.


KEYS = ("prior", "sd", "from", "to")


class Known(Part):
    """What is known of a value before it is fitted or drawn: { prior, sd, from, to }; in the model in SI."""

    prior: float | None = entry("best guess; the set-up's value if left out", "20.1 m", "in the unit of the key")
    sd: float | None = entry(
        "uncertainty, as a standard deviation; the usual spread of the key if left out", "0.2 m", "0 or more"
    )
    low: float | None = entry("lowest value allowed", "19 m", "in the unit of the key", written="from")
    high: float | None = entry("highest value allowed", "21 m", "in the unit of the key", written="to")


def read_known(path: str, given: Any, table: str) -> Known:
    """A value of the table `table`. Raises InputError for anything but prior, sd, from and to of the right kind."""
    name = f"{table}.{path}"
    kind = quantity_kind(path, name)
    if isinstance(given, Known):
        return given
    if not isinstance(given, Mapping) or not set(given) <= set(KEYS):
        raise InputError(name, repr(given), "a table of prior, sd, from and to")
    value = {k: kind(v, f"{name}.{k}") for k, v in given.items()}
    if value.get("sd", 0.0) < 0:
        raise InputError(f"{name}.sd", repr(given["sd"]), "0 or more (0: known exactly)")
    if {"from", "to"} <= set(value) and not value["from"] < value["to"]:
        raise InputError(name, repr(dict(given)), "a range that rises (from, to)")
    return Known(prior=value.get("prior"), sd=value.get("sd"), low=value.get("from"), high=value.get("to"))


# --- Wires near known ones.


FURTHEST = 0.08  # of the frequency: shifts beyond are not taken from the rational response
NEWTON = 30
STRAIGHT = 1e-6  # m of sag: a straight wire, cut into the pieces of one that hangs through
SURE = 0.9999  # greatest reflection of a passive wire: far shifts may leave it


class Shifted:
    """Set-ups beside a known one, whose response is `response`, near f_hz (Hz)."""

    def __init__(self, setup: Setup, response: Response, f_hz: float) -> None:
        from tautwire.model.solve.neighbours import OneFrequency  # with the engine, which stored answers spare

        self.setup, self.response, self.f_hz = setup, response, f_hz
        self._once = OneFrequency(f_hz)
        self._own = self._to(self._coarse(setup))

    def shift(self, changed: Setup) -> complex:
        """s of a changed set-up. Raises InputError for one that cannot be built, SolveError."""
        own = self._in_pieces if changed.antenna.sag and not self.setup.antenna.sag else self._own
        return self._to(self._coarse(changed)) - own

    @cached_property
    def _in_pieces(self) -> complex:
        """The known set-up's own, its straight wire cut as a sagging one is."""
        antenna = self.setup.antenna.model_copy(update={"sag": STRAIGHT})
        return self._to(self._coarse(self.setup.model_copy(update={"antenna": antenna})))

    def _coarse(self, setup: Setup) -> complex:
        built = setup.build()
        return self._once.impedance(built.structure, built.ground, built.rules.coarse)

    def _to(self, z: complex) -> complex:
        """s with response(f (1 - s)) = z, by Newton's method on the reflection coefficient; kept within FURTHEST."""
        response, s, step = self.response, 0j, 1e-6
        g = complex(reflection(z, response.reference))
        for _ in range(NEWTON):
            here, beside = (complex(response.reflection(self.f_hz * (1 - x))) for x in (s, s + step))
            change = (g - here) / ((beside - here) / step)
            s += change * min(1.0, 0.02 / max(abs(change), 1e-12))
            if abs(s) > FURTHEST:
                return s / abs(s) * FURTHEST
            if abs(change) < 1e-9:
                break
        return s


def shifted_impedance(response: Response, f_hz: ArrayLike, shift: Complex | complex) -> Complex:
    """Impedance (ohm) at f_hz (Hz) of wires that are shifted so; f_hz and shift broadcast."""
    g = response.reflection(np.asarray(f_hz) * (1 - shift))
    return impedance(g / np.maximum(np.abs(g) / SURE, 1), response.reference)
