"""What is attached to the wire: choke, coil, load at its end, and on the other side of the feed counterpoise and coax
shield.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import C0, Complex
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import LOWEST, Point
from tautwire.model.wires.structure import MIN_LEG, Conductor, Load, Structure, WireType

# --- A choke on a wire: a lumped impedance at a place.


@dataclass(frozen=True)
class Choke:
    """A lumped impedance `position` metres from the transformer.

    Either resistance (ohm), inductance (H) and capacitance (F) in parallel, those given; or a table of (Hz, complex
    ohm) pairs, interpolated linearly in frequency and refused outside it.
    """

    position: float
    resistance: float | None = None
    inductance: float | None = None
    capacitance: float | None = None
    table: tuple[tuple[float, complex], ...] | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.position < math.inf:
            raise InputError("choke.position", f"{self.position} m", "0 m or more from the transformer")
        parts = {n: getattr(self, n) for n in ("resistance", "inductance", "capacitance")}
        given = {n: x for n, x in parts.items() if x is not None}
        for name, x in given.items():
            if not 0 < x < math.inf:
                raise InputError(f"choke.{name}", x, "above 0; leave out what the choke does not have")
        if bool(given) == (self.table is not None):
            raise InputError("choke", "no impedance" if not given else "two impedances", "R, L, C or a table, not both")
        if self.table is not None:
            f = [row[0] for row in self.table]
            if len(f) < 2 or f[0] <= 0 or any(b <= a for a, b in zip(f, f[1:], strict=False)):
                raise InputError("choke.table", f, "two or more frequencies above 0 Hz, rising")
            if not all(complex(z).real >= 0 and abs(z) < math.inf for _, z in self.table):
                raise InputError("choke.table", "an impedance", "finite, with a resistance of 0 ohm or more")

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz, any shape). Raises InputError outside the table."""
        f = np.asarray(f_hz, dtype=float)
        if self.table is not None:
            known, z = np.array([r[0] for r in self.table]), np.array([r[1] for r in self.table], dtype=complex)
            if np.any((f < known[0]) | (f > known[-1])):
                allowed = f"within the choke's table, {known[0] / 1e6:.6g} to {known[-1] / 1e6:.6g} MHz"
                raise InputError("choke.table", f"{np.atleast_1d(f).min() / 1e6:.6g} MHz and up", allowed)
            return np.asarray(np.interp(f, known, z))
        w = 2 * np.pi * f
        y: Complex = np.zeros(f.shape, dtype=complex)
        if self.resistance is not None:
            y = y + 1 / self.resistance
        if self.inductance is not None:
            y = y + 1 / (1j * w * self.inductance)
        if self.capacitance is not None:
            y = y + 1j * w * self.capacitance
        return 1 / y


# --- A coil in the wire: a loading coil, a compensation coil near the feed, or with more capacitance a trap.


MOST_H, MOST_F = 10e-3, 1e-9  # H and F; more is no coil in an antenna wire
ROOM = 0.05  # m of wire that are left on either side


@dataclass(frozen=True)
class Coil:
    """inductance: H. q: reactance over series resistance, the same at every frequency. capacitance: across it, F: its
    own, or with what was put in parallel for a trap.

    >>> Coil(110e-6, 200, 2e-12).resonance / 1e6
    10.7302...
    """

    inductance: float
    q: float = 200.0
    capacitance: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.inductance <= MOST_H:
            raise InputError("coil.inductance", f"{self.inductance * 1e6:g} uH", f"above 0, up to {MOST_H * 1e6:g} uH")
        if not 1 <= self.q <= 2000:
            raise InputError("coil.q", f"{self.q:g}", "from 1 to 2000")
        if not 0 <= self.capacitance <= MOST_F:
            raise InputError("coil.capacitance", f"{self.capacitance * 1e12:g} pF", f"0 to {MOST_F * 1e12:g} pF")

    @property
    def resonance(self) -> float:
        """Hz, where it blocks: its inductance with its capacitance; infinite without."""
        lc = self.inductance * self.capacitance
        return 1 / (2 * math.pi * math.sqrt(lc)) if lc else math.inf

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape: (1/q + j) w L, with the capacitance across it."""
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        z: Complex = (1 / self.q + 1j) * w * self.inductance
        return z / (1 + 1j * w * self.capacitance * z)


def with_coil(wires: Structure, at: float, coil: Coil) -> Structure:
    """The wires with a coil `at` metres along the radiating wire. Raises InputError within 5 cm of an end."""
    length = wires.conductors[0].length
    if not ROOM <= at <= length - ROOM:
        raise InputError(
            "coil.at", f"{at:.6g} m", f"from {ROOM} to {length - ROOM:.6g} m along the {length:.6g} m wire"
        )
    return replace(wires, loads=(*wires.loads, Load(0, at, coil)))


# --- Something at the wire's open end that is no wire: leaves that touch it, say, as a small capacitance with loss.


MOST = 20e-12  # F; more is no small thing at the end any more


@dataclass(frozen=True)
class Resistance:
    """A resistor. ohms: ohm."""

    ohms: float

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        return np.full(np.shape(f_hz), complex(self.ohms))


def with_end(wires: Structure, capacitance: float, resistance: float = 0.0) -> Structure:
    """The wires with a capacitance (F) and a resistance (ohm) in series with it from the wire's open end to ground.

    They become as much more wire as has that capacitance, straight on, behind a resistor. Metre by metre a thin wire
    of length L and radius a has 1/(c Z), Z = 60 (ln(2 L/a) - 1) ohm, the mean characteristic impedance of a wire
    (Schelkunoff 1941, from memory). A capacitance too small to be 2 cm of wire changes nothing.

    Raises InputError for values below 0 or above 20 pF.
    """
    if not 0 <= capacitance <= MOST:
        raise InputError("antenna.end_capacitance", f"{capacitance * 1e12:g} pF", f"from 0 to {MOST * 1e12:g} pF")
    if not 0 <= resistance < math.inf:
        raise InputError("antenna.end_resistance", f"{resistance:g} ohm", "0 ohm or more")
    wire, *rest = wires.conductors
    impedance = 60 * (math.log(2 * wire.length / wire.wire.radius) - 1)
    more = capacitance * C0 * impedance
    if more < max(MIN_LEG, 4 * wire.wire.radius):
        return wires
    before, end = np.array(wire.points[-2]), np.array(wire.points[-1])
    beyond = end + more * (end - before) / np.linalg.norm(end - before)
    tip: Point = (float(beyond[0]), float(beyond[1]), float(beyond[2]))
    longer = replace(wire, points=(*wire.points, tip))
    loss = Load(0, wire.length + more / 100, Resistance(resistance))
    return replace(wires, conductors=(longer, *rest), loads=(*wires.loads, *([loss] if resistance else [])))


# --- The way a counterpoise or a coax takes from the feed: down or up to its height, then level.


DROP_OFFSET = 0.2  # m, how far out the coax's drop from the feed reaches its run
SHORT_RUN = 0.05  # m, a run shorter than this is taken up by leaning the drop


def check_length(name: str, length: float, height: float | None, chokes: tuple[Choke, ...]) -> None:
    """Raises InputError, named after the study file's table, for a length or height (m) or a choke that cannot be."""
    if not 0.05 <= length <= 1000:
        raise InputError(f"{name}.length", f"{length} m", "from 0.05 to 1000 m")
    if height is not None and not LOWEST <= height <= 500:
        raise InputError(f"{name}.height", f"{height} m", f"from {LOWEST} to 500 m above soil")
    for choke in chokes:
        if choke.position > length:
            raise InputError(f"{name}.choke.position", f"{choke.position} m", f"at most its length of {length} m")


def check_reach(name: str, feed: Point, height: float, length: float) -> None:
    """Raises InputError for a height (m) that a conductor of that length (m) cannot rise to."""
    if height - feed[2] > length:
        allowed = f"at most {feed[2] + length:.6g} m, {length:.6g} m above the feed"
        raise InputError(f"{name}.height", f"{height:.6g} m", allowed)


def end_of_run(feed: Point, bearing: float, run: float, height: float) -> Point:
    """The point `run` metres out from the feed towards `bearing` (rad) at `height` (m)."""
    return feed[0] + run * math.sin(bearing), feed[1] + run * math.cos(bearing), height


def drop_and_run(
    feed: Point, bearing: float, height: float, length: float, lean: float = DROP_OFFSET
) -> tuple[Point, ...]:
    """Slant to a corner `lean` out at height, then level; a single slant when nothing is left to run."""
    fall = height - feed[2]
    drop = math.hypot(fall, lean)
    if length >= drop + SHORT_RUN:
        corner = end_of_run(feed, bearing, lean, height)
        return feed, corner, end_of_run(feed, bearing, lean + length - drop, height)
    if length > drop:
        return feed, end_of_run(feed, bearing, math.sqrt(length**2 - fall**2), height)
    part = length / drop
    return feed, end_of_run(feed, bearing, lean * part, feed[2] + fall * part)


# --- A counterpoise: a wire on the other side of the feed.


@dataclass(frozen=True)
class Counterpoise:
    """A wire of `length` (m) from the feed towards `bearing` (rad; None is opposite to the wire).

    height: it slants down (or up) to that height (m) at 45 degrees and runs level; end_height: it slopes straight to
    an end at that height; neither: it runs level at the feed's height. A steep drop beside the coax's would make a
    joint of three limbs that the engine gets wrong by up to 10 % of the power; 45 degrees leave up to 4 %.
    """

    length: float
    bearing: float | None = None
    height: float | None = None
    end_height: float | None = None
    wire: WireType = field(default_factory=WireType)
    chokes: tuple[Choke, ...] = ()

    def __post_init__(self) -> None:
        check_length("counterpoise", self.length, self.height, self.chokes)
        check_length("counterpoise", self.length, self.end_height, ())
        if self.height is not None and self.end_height is not None:
            raise InputError("counterpoise.end_height", f"{self.end_height} m", "height or end_height, not both")

    def conductor(self, feed: Point, wire_bearing: float) -> Conductor:
        """Its route from feed (m) for a wire towards wire_bearing (rad). Raises InputError if it cannot reach."""
        bearing = wire_bearing + math.pi if self.bearing is None else self.bearing
        if self.height is not None:
            lean = max(DROP_OFFSET, abs(self.height - feed[2]))
            check_reach("counterpoise", feed, self.height, self.length)
            return Conductor(drop_and_run(feed, bearing, self.height, self.length, lean), self.wire, "counterpoise")
        end = feed[2] if self.end_height is None else self.end_height
        fall = end - feed[2]
        if abs(fall) > self.length:
            allowed = f"within {self.length:.6g} m of the feed's height of {feed[2]:.6g} m"
            raise InputError("counterpoise.end_height", f"{end:.6g} m", allowed)
        run = math.sqrt(self.length**2 - fall**2)
        return Conductor((feed, end_of_run(feed, bearing, run, end)), self.wire, "counterpoise")


# --- How the outside of the coax becomes a wire on the other side of the feed.


RG58_OUTSIDE = WireType(diameter=3.55e-3, jacket=0.7e-3, jacket_er=3.5)
"""The shield of RG-58 and its PVC jacket: typical catalogue values, from memory."""


@dataclass(frozen=True)
class CoaxShield:
    """The outside of the coax: `length` (m) from the transformer down to `height` (m) and along `bearing`.

    bearing: rad; None is a quarter turn clockwise from the wire, which leaves a counterpoise its own side.
    wire: shield diameter as its conductor, and the jacket. A coax shorter than the drop just hangs.
    """

    length: float
    bearing: float | None = None
    height: float = 0.02
    wire: WireType = RG58_OUTSIDE
    chokes: tuple[Choke, ...] = ()

    def __post_init__(self) -> None:
        check_length("coax", self.length, self.height, self.chokes)

    def conductor(self, feed: Point, wire_bearing: float) -> Conductor:
        """Its route from feed (m) for a wire towards wire_bearing (rad)."""
        bearing = wire_bearing + math.pi / 2 if self.bearing is None else self.bearing
        check_reach("coax", feed, self.height, self.length)
        return Conductor(drop_and_run(feed, bearing, self.height, self.length), self.wire, "coax")
