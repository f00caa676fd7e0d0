"""Wires as one draws them: bent wires through any points, joined where they meet, with sources, loads and lines.

The layouts (layout.py) are one wire and its return conductors. Here any wires may meet, at ends or anywhere along, and
stand apart. Metres, ohms, henries, farads, siemens; x east, y north, z up from the soil.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import C0, Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import Point
from tautwire.model.wires.mesh import Mesh, MeshRules, engine_wires, graded, natural
from tautwire.model.wires.structure import SAME_POINT, Conductor, Load, Structure, WireType

JOINED = 1e-3  # of a segment: the engine joins what ends as close, to a perfect ground too
LYING = 0.8 / JOINED  # heights above soil, longest segment of a low wire


@dataclass(frozen=True)
class OwnWire:
    """A bent wire of a geometry of one's own.

    Parameters
    ----------
    points : sequence of (float, float, float)
        Corners, m: east, north, up. Two or more.
    wire : WireType
        Diameter, jacket, metal; 1 mm bare copper by default.
    segments : int, optional
        Equal segments on every straight leg. By default they follow `MeshRules`: short at sources, loads and joints,
        growing from there.
    name : str
        For messages.

    Examples
    --------
    >>> round(OwnWire([(0, 0, 1.2), (0, 10, 6), (0, 18, 2)]).length, 2)
    20.04
    """

    points: Sequence[Point]
    wire: WireType = WireType()
    segments: int | None = None
    name: str = ""

    def __post_init__(self) -> None:
        name = self.name or "wire"
        try:
            points = tuple((float(p[0]), float(p[1]), float(p[2])) for p in self.points if len(p) == 3)
        except (TypeError, ValueError, IndexError):
            points = ()
        if len(points) < 2 or len(points) != len(self.points) or not all(map(math.isfinite, itertools.chain(*points))):
            raise InputError(f"{name}.points", self.points, "two or more points of three finite coordinates, m")
        if any(math.dist(p, q) <= SAME_POINT for p, q in itertools.pairwise(points)):
            raise InputError(f"{name}.points", self.points, "points that differ from their neighbours")
        if self.segments is not None and not (isinstance(self.segments, int) and self.segments >= 1):
            raise InputError(f"{name}.segments", self.segments, "a whole number, 1 or more")
        object.__setattr__(self, "points", points)

    @property
    def length(self) -> float:
        """m."""
        return sum(math.dist(p, q) for p, q in itertools.pairwise(self.points))


@dataclass(frozen=True)
class Source:
    """Volts (complex amplitude) in series with wire number `wire`, `at` metres along it.

    On a wire with given segments it drives the segment that holds the place. Elsewhere the place becomes a joint, and
    the voltage is shared half and half by the segments that meet there: the wire's own against all others, or, along a
    wire, the one before and the one after.

    Examples
    --------
    >>> Source(wire=0, at=2.5)
    Source(wire=0, at=2.5, volts=1.0)
    """

    wire: int
    at: float
    volts: complex = 1.0


@dataclass(frozen=True)
class Line:
    """A transmission line without loss between two places (wire, metres along it) on wires with given segments.

    impedance: ohm. length: m of electrical length. crossed: its conductors change sides. ends: shunt admittance at
    either end, S.

    Examples
    --------
    A quarter wave of 300 ohm carries 1 V at one end as 1/300 A at the other:

    >>> line = Line(((0, 1.0), (1, 1.0)), impedance=300.0, length=5.0)
    >>> round(300 * float(abs(line.admittance(299.792458e6 / 20)[0, 1])), 6)
    1.0
    """

    ends: tuple[tuple[int, float], tuple[int, float]]
    impedance: float
    length: float
    crossed: bool = False
    shunt: tuple[complex, complex] = (0j, 0j)

    def admittance(self, f_hz: float) -> Complex:
        """Y (2, 2), S, of voltages across and currents into the two ends (any text on transmission lines)."""
        angle = 2 * math.pi * f_hz * self.length / C0
        if abs(math.sin(angle)) < 1e-9:
            allowed = f"not a whole number of half-waves at {f_hz / 1e6:.6g} MHz"
            raise InputError("line, length", f"{self.length:g} m", allowed)
        own = -1j / (self.impedance * math.tan(angle))
        across = 1j / (self.impedance * math.sin(angle)) * (-1 if self.crossed else 1)
        return np.array([[own + self.shunt[0], across], [across, own + self.shunt[1]]])


@dataclass(frozen=True)
class Lumped:
    """R, L and C in series or in parallel (those that are not 0), and a fixed reactance. ohm, H, F, ohm.

    Examples
    --------
    >>> complex(Lumped(resistance=50.0, reactance=20.0).impedance(14e6))
    (50+20j)
    """

    resistance: float = 0.0
    inductance: float = 0.0
    capacitance: float = 0.0
    parallel: bool = False
    reactance: float = 0.0

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        w = 2 * np.pi * np.asarray(f_hz, dtype=float)
        fixed = np.zeros(w.shape, complex) + 1j * self.reactance
        parts = [np.full(w.shape, complex(self.resistance))] if self.resistance else []
        parts += [1j * w * self.inductance] if self.inductance else []
        parts += [1 / (1j * w * self.capacitance)] if self.capacitance else []
        if not parts:
            return fixed
        return fixed + (1 / sum(1 / z for z in parts) if self.parallel else sum(parts))


@dataclass(frozen=True)
class Geometry:
    """Wires of one's own, with what drives and loads them.

    Parameters
    ----------
    wires : sequence of OwnWire
        In any order. Ends that meet (within 1e-6 m) are joined, also to the middle of another wire.
    sources : sequence of Source
        One or more. Several are one port whose volt they share by their `volts`, if these are real.
    loads : sequence of Load
        Load(conductor=number of the wire, at=metres along it, part=anything with impedance(f_hz), such as Lumped).
    lines : sequence of Line
        Transmission lines between segments.

    Raises
    ------
    InputError
        For places off their wires, wires without a source, or lines on wires whose segments are not given.

    Examples
    --------
    A vertical of 10 m on four sloping radials:

    >>> radials = [OwnWire([(0, 0, 3), (x, y, 1)]) for x, y in ((5, 0), (0, 5), (-5, 0), (0, -5))]
    >>> geometry = Geometry([OwnWire([(0, 0, 3), (0, 0, 8)]), *radials], [Source(0, 0.0)])
    >>> cut = geometry.cut(14.2e6)
    >>> len(cut.structure.conductors), float(cut.ports.sum())
    (5, -1.5)
    """

    wires: Sequence[OwnWire]
    sources: Sequence[Source]
    loads: Sequence[Load] = ()
    lines: Sequence[Line] = ()
    _cuts: dict[object, "Cut"] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        for name in ("wires", "sources", "loads", "lines"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        if not self.wires or not self.sources:
            raise InputError("geometry", f"{len(self.wires)} wires, {len(self.sources)} sources", "one or more of each")
        places = [("source", s.wire, s.at) for s in self.sources] + [("load", x.conductor, x.at) for x in self.loads]
        places += [("line", *end) for line in self.lines for end in line.ends]
        for what, number, at in places:
            if not 0 <= number < len(self.wires):
                raise InputError(f"{what}.wire", number, f"from 0 to {len(self.wires) - 1}")
            if not 0 <= at <= self.wires[number].length + SAME_POINT:
                raise InputError(f"{what}.at", f"{at:g} m", f"from 0 to {self.wires[number].length:g} m along its wire")
        if any(self.wires[number].segments is None for what, number, _ in places if what == "line"):
            raise InputError("line", "a wire with segments of its own choice", "wires with given segments")
        if all(s.volts == 0 for s in self.sources):
            raise InputError("source.volts", 0, "not 0 everywhere")

    def name(self, number: int) -> str:
        """Of a wire."""
        return self.wires[number].name or f"wire {number}"

    def cut(self, f_hz: float, rules: MeshRules = MeshRules(), over_soil: bool = True) -> "Cut":  # noqa: B008
        """Segments that serve frequencies up to f_hz (Hz). Raises InputError for what cannot be solved."""
        wanted = None if all(w.segments for w in self.wires) else f_hz, rules
        if wanted not in self._cuts:
            self._cuts[wanted] = _Cutter(self, f_hz, rules).cut()
        found = self._cuts[wanted]
        if over_soil:
            _check_heights(self, found)
        return found


@dataclass(frozen=True, eq=False)
class Cut:
    """A geometry in segments.

    mesh: its feed vector holds the sources' volts, their real parts. structure: the conductors, each a run of wires of
    one kind that ends where three or more meet. wire (N,), along (N,): number of the wire of each segment, and metres
    along it to the segment's middle. ports (S, N): share of each source's volt of every segment, positive from the
    segment's start to its end.
    """

    mesh: Mesh
    structure: Structure
    wire: np.ndarray
    along: Real
    ports: Real

    def segment_at(self, wire: int, at: float) -> int:
        """Index of the segment that holds the place `at` metres along a wire."""
        mine = np.flatnonzero(self.wire == wire)
        stops = self.along[mine] + self.mesh.length[mine] / 2
        return int(mine[min(int(np.searchsorted(stops, at)), len(mine) - 1)])


@dataclass
class _Piece:
    """A straight run between two nodes of a wire. sizes: lengths of its segments, m, once they are settled."""

    wire: int
    start: Point
    end: Point
    along: float
    fixed: int | None
    sizes: list[float] = field(default_factory=list)

    @property
    def span(self) -> float:
        return math.dist(self.start, self.end)


class _Cutter:
    """Cuts a geometry's wires."""

    def __init__(self, geometry: Geometry, f_hz: float, rules: MeshRules) -> None:
        if not (f_hz > 0 and math.isfinite(f_hz)):
            raise InputError("frequency", f"{f_hz} Hz", "above 0 Hz")
        self.geometry, self.rules = geometry, rules
        self.longest = min(C0 / f_hz / rules.segments_per_wavelength, rules.max_segment)
        self.pieces = [p for number in range(len(geometry.wires)) for p in self._pieces(number)]

    def _joints(self, p: Point, q: Point) -> Iterator[float]:
        """Places along the leg p-q where a wire ends, m from p."""
        for other in self.geometry.wires:
            for end in (other.points[0], other.points[-1]):
                if (at := _place_on(p, q, end)) is not None:
                    yield at

    def _stops(self, number: int, p: Point, q: Point, done: float) -> Iterator[float]:
        """Places along the leg p-q, `done` metres along its wire, where a segment must end: sources, joints, both
        sides of loads; on a wire with given segments those joints that are at an end of one."""
        wire, span = self.geometry.wires[number], math.dist(p, q)
        if wire.segments:
            size = span / wire.segments
            for at in self._joints(p, q):
                if abs(at / size - round(at / size)) < JOINED:
                    yield round(at / size) * size
            return
        yield from self._joints(p, q)
        half = max(self.rules.feed_segment, self.rules.radii * wire.wire.radius) / 2
        yield from (s.at - done for s in self.geometry.sources if s.wire == number)
        for load in self.geometry.loads:
            if load.conductor == number:
                yield from (load.at - done - half, load.at - done + half)

    def _pieces(self, number: int) -> Iterator[_Piece]:
        wire, done = self.geometry.wires[number], 0.0
        for p, q in itertools.pairwise(wire.points):
            span = math.dist(p, q)
            inner = sorted(s for s in self._stops(number, p, q, done) if SAME_POINT < s < span - SAME_POINT)
            edges = [0.0, *(a for a, b in itertools.pairwise([*inner, span]) if b - a > SAME_POINT), span]
            for a, b in itertools.pairwise(edges):
                fixed = wire.segments and round((b - a) / span * wire.segments)
                yield _Piece(number, _between(p, q, a / span), _between(p, q, b / span), done + a, fixed)
            done += span

    def cut(self) -> Cut:
        self._size()
        count = sum(len(p.sizes) for p in self.pieces)
        if count > self.rules.max_segments:
            raise InputError("geometry", f"{count} segments", f"at most {self.rules.max_segments}")
        conductors, group = self._conductors()
        start, end, along, legs = [], [], [], []
        for piece in self.pieces:
            stops = np.concatenate([[0.0], np.cumsum(piece.sizes)]) / sum(piece.sizes)
            nodes = (1 - stops)[:, None] * np.array(piece.start) + stops[:, None] * np.array(piece.end)
            start.append(nodes[:-1])
            end.append(nodes[1:])
            along.append(piece.along + (stops[1:] + stops[:-1]) / 2 * piece.span)
            radius = self.geometry.wires[piece.wire].wire.radius
            if min(piece.sizes) < 2 * radius * (1 - 1e-9):
                name = self.geometry.name(piece.wire)
                allowed = f"at most half of its shortest segment, {min(piece.sizes):.3g} m"
                raise InputError(f"{name}, radius", f"{radius:.3g} m", allowed)
            legs += engine_wires(nodes, piece.sizes, radius)
        sizes = [len(p.sizes) for p in self.pieces]
        conductor, before = np.repeat(group, sizes), dict.fromkeys(group, 0.0)
        offset = []
        for piece, number in zip(self.pieces, group, strict=True):
            offset.append(before[number] - piece.along)
            before[number] += piece.span
        wire, on_wire = np.repeat([p.wire for p in self.pieces], sizes), np.concatenate(along)
        grid = Mesh(
            start=np.concatenate(start),
            end=np.concatenate(end),
            radius=np.array([conductors[n].wire.radius for n in conductor]),
            engine_radius=np.array([conductors[n].wire.radius for n in conductor]),
            conductor=conductor,
            leg=np.repeat(np.arange(len(legs)), [w[2] for w in legs]),
            along=on_wire + np.repeat(offset, sizes),
            feed=np.zeros(count),
            legs=tuple(legs),
        )
        made = Cut(grid, Structure(tuple(conductors)), wire, on_wire, np.zeros((0, count)))
        ports = np.array([self._port(s, made) for s in self.geometry.sources])
        volts = np.array([np.real(s.volts) for s in self.geometry.sources])
        loads = tuple(self._load(x, made) for x in self.geometry.loads)
        structure = Structure(tuple(conductors), loads)
        return Cut(replace(grid, feed=volts @ ports), structure, wire, on_wire, ports)

    def _load(self, load: Load, made: Cut) -> Load:
        """A load of a wire as one of the conductor that holds its place."""
        k = made.segment_at(load.conductor, load.at)
        at = made.mesh.along[k] + load.at - made.along[k]
        return Load(int(made.mesh.conductor[k]), max(0.0, float(at)), load.part)

    def _port(self, source: Source, made: Cut) -> Real:
        wire, grid, share = self.geometry.wires[source.wire], made.mesh, np.zeros(len(made.mesh.feed))
        if wire.segments:
            share[made.segment_at(source.wire, source.at)] = 1.0
            return share
        place = np.array(_at(wire, source.at))
        own = made.wire == source.wire
        leaving = np.linalg.norm(grid.start - place, axis=1) < SAME_POINT
        coming = np.linalg.norm(grid.end - place, axis=1) < SAME_POINT
        if (own & leaving).any() and (own & coming).any():
            share[own & (leaving | coming)] = 0.5
            return share
        away = np.where(leaving, 1.0, 0.0) - np.where(coming, 1.0, 0.0)
        if not (~own & (away != 0)).any():
            raise InputError("source.at", f"{source.at:g} m", "a place along the wire, or where it meets another one")
        sign = float(away[own & (away != 0)][0])
        return 0.5 * sign * np.where(own, away, -away)

    def _size(self) -> None:
        """Settles the segments of every piece: short where wires meet, growing from there."""
        rules, wires = self.rules, self.geometry.wires
        lowest = [min(z for _, _, z in w.points) for w in wires]
        longest = [max(min(self.longest, LYING * z if z > 0 else math.inf), rules.radii * w.wire.radius)
                   for w, z in zip(wires, lowest, strict=True)]  # fmt: skip
        natural_of = [natural(p.span, longest[p.wire], rules) for p in self.pieces]
        caps = [n if p.fixed is None else p.span / p.fixed for p, n in zip(self.pieces, natural_of, strict=True)]
        size: dict[Point, float] = {}
        for piece, cap in zip(self.pieces, caps, strict=True):
            for node in (piece.start, piece.end):
                low = max(rules.heights * node[2], rules.radii * wires[piece.wire].wire.radius)
                near = low if node[2] > 0 and piece.start[2] != piece.end[2] else math.inf
                size[_key(node)] = min(size.get(_key(node), math.inf), cap, near)
        for source in self.geometry.sources:
            node = _key(_at(wires[source.wire], source.at))
            if wires[source.wire].segments is None:
                size[node] = min(size.get(node, math.inf), rules.feed_segment)
        for _ in range(4):
            for piece in self.pieces:
                for a, b in ((piece.start, piece.end), (piece.end, piece.start)):
                    reach = (piece.span * (rules.growth - 1) + size[_key(a)]) / rules.growth
                    size[_key(b)] = min(size[_key(b)], max(size[_key(a)], reach))
        for piece, cap in zip(self.pieces, caps, strict=True):
            if piece.fixed is not None:
                piece.sizes = [piece.span / piece.fixed] * piece.fixed
            else:
                piece.sizes = graded(piece.span, size[_key(piece.start)], size[_key(piece.end)], cap, rules.growth)

    def _conductors(self) -> tuple[list[Conductor], list[int]]:
        """Conductors, and the one of each piece: runs of one kind that end where three or more wires meet."""
        limbs: dict[Point, int] = {}
        for p in self.pieces:
            for node in (p.start, p.end):
                limbs[_key(node)] = limbs.get(_key(node), 0) + 1
        joined, wires = self._joined_to_first(), self.geometry.wires
        group: list[int] = []
        runs: list[tuple[list[Point], WireType, str]] = []
        before: _Piece | None = None
        for piece in self.pieces:
            own = wires[piece.wire].wire, piece.wire in joined
            goes_on = before is not None and _key(before.end) == _key(piece.start) and limbs[_key(piece.start)] == 2
            if not (before and goes_on and (wires[before.wire].wire, before.wire in joined) == own):
                role = "wire" if not runs else "counterpoise" if own[1] else "nearby"
                runs.append(([piece.start], own[0], role))
            runs[-1][0].append(piece.end)
            group.append(len(runs) - 1)
            before = piece
        return [Conductor(tuple(way), kind, role) for way, kind, role in runs], group

    def _joined_to_first(self) -> set[int]:
        """Wires that the engine computes with the first one's radius: those joined to it, directly or through others,
        and those joined to wires of another radius."""
        meet: dict[Point, set[int]] = {}
        for p in self.pieces:
            for node in (p.start, p.end):
                meet.setdefault(_key(node), set()).add(p.wire)
        joined, wires = {0}, self.geometry.wires
        joined |= {w for group in meet.values() if len({wires[w].wire.radius for w in group}) > 1 for w in group}
        while more := {w for group in meet.values() if group & joined for w in group} - joined:
            joined |= more
        return joined


def _check_heights(geometry: Geometry, made: Cut) -> None:
    """Raises InputError for wires in the soil, or so close to it that the engine would join them to it."""
    grid = made.mesh
    outer = np.array([w.wire.radius + w.wire.jacket for w in geometry.wires])[made.wire]
    low, least = np.minimum(grid.start[:, 2], grid.end[:, 2]), np.maximum(outer, JOINED * grid.length)
    if len(bad := np.flatnonzero(low < least * (1 - 1e-6))):
        k = int(bad[0])
        allowed = f"{1e3 * least[k]:.3g} mm or more above soil: wires in the ground or joined to it are not computed"
        raise InputError(f"{geometry.name(int(made.wire[k]))}, height", f"{low[k]:.4g} m", allowed)


def _place_on(p: Point, q: Point, place: Point) -> float | None:
    """Metres from p to a place inside the leg p-q; None if it is not on it."""
    a, b, x = np.array(p), np.array(q), np.array(place)
    span = float(np.linalg.norm(b - a))
    at = float((x - a) @ (b - a)) / span
    on = SAME_POINT < at < span - SAME_POINT and np.linalg.norm(x - a - (b - a) * (at / span)) < SAME_POINT
    return at if on else None


def _at(wire: OwnWire, at: float) -> Point:
    """The place `at` metres along a wire."""
    for p, q in itertools.pairwise(wire.points):
        span = math.dist(p, q)
        if at <= span + SAME_POINT:
            return _between(p, q, min(at / span, 1.0))
        at -= span
    return wire.points[-1]


def _between(p: Point, q: Point, part: float) -> Point:
    x = np.array(p) + part * (np.array(q) - np.array(p))
    return float(x[0]), float(x[1]), float(x[2])


def _key(p: Point) -> Point:
    """The same for places that are joined, but for those that rounding parts."""
    return round(p[0], 5), round(p[1], 5), round(p[2], 5)
