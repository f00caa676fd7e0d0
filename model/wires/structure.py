"""The conductors of a set-up: the wire itself, and all of them joined at the feed."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import scipy
from numpy.typing import ArrayLike

from tautwire.model.basics import MU0, Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import LOWEST, Layout, Point

# --- The wire itself: conductor, jacket, and what they add to each metre of a bare perfect wire.


WATER_ER = 80.0
COPPER = 5.8e7  # S/m, IACS annealed copper


def awg_diameter(gauge: float) -> float:
    """Conductor diameter in metres of an American wire gauge number (0 to 40); ASTM B258."""
    if not 0 <= gauge <= 40:
        raise InputError("wire.awg", gauge, "a gauge number from 0 to 40")
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


@dataclass(frozen=True)
class WireType:
    """A round wire. diameter: conductor, m. jacket: thickness of the insulation, m (0 = bare).

    jacket_er: relative permittivity of the jacket. conductivity: S/m (inf = no loss). jacket_loss: loss tangent of the
    jacket (polyethylene 0.0002, PVC 0.02 to 0.06 at HF, from memory).

    Examples
    --------
    Half a millimetre of copper at 14 MHz, ohm per metre:

    >>> round(float(WireType(diameter=0.5e-3).impedance_per_metre(14e6).real), 2)
    0.64
    """

    diameter: float = 1e-3
    jacket: float = 0.0
    jacket_er: float = 2.3
    conductivity: float = COPPER
    jacket_loss: float = 0.0

    def __post_init__(self) -> None:
        if not 1e-5 <= self.diameter <= 0.1:
            raise InputError("wire.diameter", f"{self.diameter} m", "from 0.01 mm to 100 mm")
        if not 0 <= self.jacket <= 0.05:
            raise InputError("wire.jacket", f"{self.jacket} m", "a thickness from 0 to 50 mm")
        if not 1 <= self.jacket_er <= 100:
            raise InputError("wire.jacket_er", self.jacket_er, "relative permittivity from 1 to 100")
        if not self.conductivity > 0:
            raise InputError("wire.conductivity", self.conductivity, "above 0 S/m")
        if not 0 <= self.jacket_loss <= 1:
            raise InputError("wire.jacket_loss", self.jacket_loss, "a loss tangent from 0 to 1")

    @property
    def radius(self) -> float:
        return self.diameter / 2

    @property
    def jacket_permittivity(self) -> complex:
        """Complex relative permittivity of the jacket."""
        return self.jacket_er * (1 - 1j * self.jacket_loss)

    @property
    def jacket_log(self) -> complex:
        """(1 - 1/er) ln(b/a), b the outer radius of the jacket: what it takes off 2 pi eps0/C of the bare wire."""
        return (1 - 1 / self.jacket_permittivity) * math.log(1 + self.jacket / self.radius)

    def impedance_per_metre(self, f_hz: ArrayLike) -> Complex:
        """Series impedance, ohm/m, that skin effect adds to a perfect wire; f_hz in Hz.

        Z = g/(2 pi a sigma) I0(g a)/I1(g a), g = sqrt(j w mu0 sigma) (Stratton 1941, sect. 9.17, from memory).
        """
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        a = self.radius
        if not math.isfinite(self.conductivity):
            return np.zeros(w.shape, dtype=complex)
        g = np.sqrt(1j * w * MU0 * self.conductivity)
        z: Complex = (
            g / (2 * math.pi * a * self.conductivity) * scipy.special.ive(0, g * a) / scipy.special.ive(1, g * a)
        )
        return z


def wet_wire(wire: WireType, film: float) -> WireType:
    """The wire in a film of water (m) round its jacket: a thicker jacket with the same (1 - 1/er) ln(b/a) in all.

    >>> wet = wet_wire(WireType(0.8e-3, 0.3e-3), 20e-6)
    >>> round(wet.jacket * 1e3, 2), round(wet.jacket_er, 2)
    (0.32, 2.41)
    """
    if film <= 0:
        return wire
    outer = wire.radius + wire.jacket
    more = (1 - 1 / WATER_ER) * math.log1p(film / outer)
    inside = (1 - 1 / wire.jacket_er) * math.log(outer / wire.radius) + more
    share = inside / math.log((outer + film) / wire.radius)
    return replace(wire, jacket=wire.jacket + film, jacket_er=1 / (1 - share))


# --- All conductors of one set-up, joined at the feed: the wire, its return conductors, and metal that stands nearby.


ROLES = ("wire", "counterpoise", "coax", "nearby")
RETURNS = ("counterpoise", "coax")
CLEARANCE = 0.01  # m, least distance between the axes of conductors that are not joined
MIN_ANGLE = math.radians(5)  # between two legs that meet
MIN_LEG = 0.02  # m
SAME_POINT = 1e-6  # m, ends closer than this are joined
TOUCH = 1e-5  # m, how far the axis of a wire that lies on the soil may be below its outer radius, for rounding


class Impedance(Protocol):
    """Anything with a lumped impedance; hashable, so that solved cases can be cached."""

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        ...


@dataclass(frozen=True)
class Conductor:
    """A bent wire through points (m; the first is the feed unless nearby). role: one of ROLES."""

    points: tuple[Point, ...]
    wire: WireType
    role: str

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise InputError("conductor.role", repr(self.role), f"one of {', '.join(ROLES)}")
        if len(self.points) < 2 or not all(len(p) == 3 and all(map(math.isfinite, p)) for p in self.points):
            raise InputError(f"{self.role}.points", self.points, "two or more points of three finite coordinates")

    @property
    def legs(self) -> list[tuple[Point, Point]]:
        return list(itertools.pairwise(self.points))

    @property
    def length(self) -> float:
        return sum(math.dist(p, q) for p, q in self.legs)

    @property
    def outer_radius(self) -> float:
        """Conductor and jacket, m."""
        return self.wire.radius + self.wire.jacket


@dataclass(frozen=True)
class Load:
    """A lumped part (a choke, say) in conductor number `conductor`, `at` metres along it from its first point.

    part: anything with impedance(f_hz), ohm.

    Examples
    --------
    >>> from tautwire.model.wires.geometry import Lumped
    >>> complex(Load(conductor=0, at=3.0, part=Lumped(resistance=50.0)).impedance(14e6))
    (50+0j)
    """

    conductor: int
    at: float
    part: Impedance

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        return self.part.impedance(f_hz)


@dataclass(frozen=True)
class Structure:
    """conductors[0] is the radiating wire, from the feed; returns start at the feed too; nearby ones are isolated."""

    conductors: tuple[Conductor, ...]
    loads: tuple[Load, ...] = ()

    @property
    def feed(self) -> Point:
        return self.conductors[0].points[0]

    @property
    def lengths(self) -> dict[str, float]:
        """Total conductor length of each role present, m."""
        found: dict[str, float] = {}
        for c in self.conductors:
            found[c.role] = found.get(c.role, 0.0) + c.length
        return found

    def name(self, index: int) -> str:
        """Role of a conductor, numbered when there are several of it."""
        role = self.conductors[index].role
        alike = [i for i, c in enumerate(self.conductors) if c.role == role]
        return role if len(alike) == 1 else f"{role} {alike.index(index) + 1}"

    def engine_radius(self, index: int) -> float:
        """The radius that the engine computes a conductor with, m: the wire's for all that are joined to it, its own
        for one that stands apart (model/solve/corrections.py says why)."""
        c = self.conductors[index]
        return c.wire.radius if c.role == "nearby" else self.conductors[0].wire.radius

    def to_points(self) -> list[tuple[str, Real]]:
        """For plotting: name and corner points (n, 3) of each conductor, m."""
        return [(self.name(i), np.array(c.points)) for i, c in enumerate(self.conductors)]


class Return(Protocol):
    """A return conductor as described by its owner (attachments.py, attachments.py)."""

    def conductor(self, feed: Point, wire_bearing: float) -> Conductor:
        """Its route from the feed point, m."""
        ...

    @property
    def chokes(self) -> Sequence[Any]:
        """Lumped impedances in it, each with a position in metres from the feed."""
        ...


def structure(
    layout: Layout,
    wire: WireType,
    returns: Sequence[Return],
    nearby: Sequence[Conductor] = (),
    over_soil: bool = True,
) -> Structure:
    """Join the wire and its return conductors at the feed and check the result with `check`.

    Raises InputError when there is no return conductor, and for everything `check` refuses.
    """
    feed = layout.points[0]
    conductors = [Conductor(layout.points, wire, "wire")]
    loads = []
    for r in returns:
        loads += [Load(len(conductors), c.position, c) for c in r.chokes]
        conductors.append(r.conductor(feed, layout.bearing))
    built = Structure((*conductors, *nearby), tuple(loads))
    check(built, over_soil)
    return built


def check(s: Structure, over_soil: bool = True) -> None:
    """Refuse (InputError) what cannot be solved or was hardly meant: no return conductor; legs under 2 cm or 4 radii;
    legs that meet at less than 5 degrees; conductors that are not joined yet closer than 1 cm or twice their radii;
    over soil, conductors whose jacket would be in it, or joined ones closer to it than the radius of the wire,
    with which the engine computes them all; loads off their conductor.
    """
    if not s.conductors or s.conductors[0].role != "wire":
        raise InputError("structure", "no wire", "the radiating wire comes first")
    if not any(c.role in RETURNS for c in s.conductors):
        raise InputError("returns", "none", "a counterpoise or a coax shield: the current needs a return conductor")
    for i, c in enumerate(s.conductors):
        name = s.name(i)
        if c.role == "wire" and i:
            raise InputError("structure", name, "one radiating wire only")
        if c.role != "nearby" and math.dist(c.points[0], s.feed) > SAME_POINT:
            raise InputError(f"{name}.points", c.points[0], f"starts at the feed point {s.feed}")
        _check_legs(name, c)
        if over_soil:
            _check_height(name, c, s.conductors[0].wire.radius)
    _check_spacing(s)
    for load in s.loads:
        if not 0 <= load.conductor < len(s.conductors):
            raise InputError("load.conductor", load.conductor, f"from 0 to {len(s.conductors) - 1}")
        reach = s.conductors[load.conductor].length
        if not 0 <= load.at <= reach + SAME_POINT:
            raise InputError(f"{s.name(load.conductor)}.choke", f"{load.at:.6g} m", f"from 0 to {reach:.6g} m along it")


def _check_legs(name: str, c: Conductor) -> None:
    shortest = max(MIN_LEG, 4 * c.wire.radius)
    for k, (p, q) in enumerate(c.legs, 1):
        if math.dist(p, q) < shortest - 1e-9:
            allowed = f"{shortest:.3g} m or more of straight wire between corners"
            raise InputError(f"{name}, leg {k}", f"{math.dist(p, q):.3g} m long", allowed)


def _check_height(name: str, c: Conductor, thin: float) -> None:
    """thin: radius of the radiating wire, m."""
    low, least = min(p[2] for p in c.points), max(LOWEST, c.outer_radius)
    if low < least - TOUCH:
        allowed = f"{1e3 * least:.3g} mm or more above soil, its outer radius: it lies on the soil then"
        raise InputError(f"{name}, height", f"{low:.4g} m", allowed)
    if c.role != "nearby" and low < thin:
        allowed = f"{1e3 * thin:.3g} mm or more above soil, the radius of the radiating wire; or a thinner wire"
        raise InputError(f"{name}, height", f"{low:.4g} m", allowed)


def _check_spacing(s: Structure) -> None:
    legs = [(i, k, np.array(p), np.array(q)) for i, c in enumerate(s.conductors) for k, (p, q) in enumerate(c.legs)]
    for (i, k, p, q), (j, m, u, v) in itertools.combinations(legs, 2):
        a, b = s.conductors[i], s.conductors[j]
        one, two = f"{s.name(i)} leg {k + 1}", f"{s.name(j)} leg {m + 1}"
        if i == j and m == k + 1:
            angle = _angle(p - q, v - u)
        elif i != j and k == m == 0 and "nearby" not in (a.role, b.role):
            angle = _angle(q - p, v - u)
        else:
            least = max(CLEARANCE, 2 * (a.outer_radius + b.outer_radius))
            reach = (math.dist(p, q) + math.dist(u, v)) / 2
            if math.dist((p + q) / 2, (u + v) / 2) - reach > least:  # most pairs: no need to look closer
                continue
            apart = leg_distance(p, q, u, v)
            if apart < least:
                allowed = f"{least:.3g} m or more apart, as they are not joined; they touch or cross by accident"
                raise InputError(f"{one} and {two}", f"{apart:.3g} m apart", allowed)
            continue
        if angle < MIN_ANGLE:
            allowed = "5 degrees or more between legs that meet; give them different bearings or heights"
            raise InputError(f"{one} and {two}", f"{math.degrees(angle):.2g} degrees apart", allowed)


def _angle(a: Real, b: Real) -> float:
    return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b))


def leg_distance(p: Real, q: Real, u: Real, v: Real) -> float:
    """Least distance (m) between straight legs p-q and u-v, each end of shape (3,).

    A convex quadratic on a square is least on an edge (an end point against the other leg) or where its gradient is 0.
    """
    d, e, w = q - p, v - u, p - u
    ends = [(p, u, e), (q, u, e), (u, p, d), (v, p, d)]
    found = [float(np.linalg.norm(x - o - np.clip((x - o) @ t / (t @ t), 0, 1) * t)) for x, o, t in ends]
    dd, de, ee = d @ d, d @ e, e @ e
    det = dd * ee - de * de
    if det > 1e-12 * dd * ee:
        s, t = (de * (e @ w) - ee * (d @ w)) / det, (dd * (e @ w) - de * (d @ w)) / det
        if 0 < s < 1 and 0 < t < 1:
            found.append(float(np.linalg.norm(w + s * d - t * e)))
    return min(found)
