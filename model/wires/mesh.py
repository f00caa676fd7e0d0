"""Cut the conductors into segments: fine and equal at the feed, growing smoothly to what the wavelength allows."""

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from tautwire.model.basics import C0, Real
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import Point
from tautwire.model.wires.structure import Conductor, Load, Structure

SHORTEST = 2.0  # least segment length, in radii that the engine computes with: it refuses shorter ones
STEP = 1.9  # most by which the segment at the feed is longer than the next, where others must be short
AT_CORNER = 2.2  # the same at low corners, with a margin for rounding
EngineWire = tuple[Point, Point, int, float]


@dataclass(frozen=True)
class MeshRules:
    """How finely to cut. Lengths in metres.

    segments_per_wavelength: at the highest frequency served. max_segment: longest segment whatever the wavelength.
    feed_segment: length of every segment that touches the feed (less if a first leg is under twice that, or others
    there must be much shorter): a fixed length, so that results for different wires and bands compare.
    growth: ratio of neighbours where lengths change; nowhere, corners included, does a ratio exceed 2.
    min_segments: on every leg of three feed segments or more.
    heights: longest segment at a corner or end of a leg that is not level, in clearances of the conductor's surface
    above soil: there it meets its image, and its charge changes over that distance (level runs need no such care).
    radii: least segment length in conductor radii; at those corners 2.2 of the radius that the engine computes with
    (Structure.engine_radius). NEC-2 manual, part III, section II, from memory: 8 or more for errors below 1 % with the
    plain thin-wire kernel; below 2 is refused. max_segments: in all.

    What the defaults cost, measured on a 20.4 m sloper over average soil (tests/benchmarks/mesh_error.py): segments
    four times as fine move the dip by 0.6, 2.8 and 6.2 kHz on 40, 20 and 10 m, and the reflection coefficient at the
    radio by 0.0021, 0.0030 and 0.0037 at most. Low set-ups: tests/benchmarks/low_set_ups.py.
    """

    segments_per_wavelength: float = 24.0
    max_segment: float = 1.0
    feed_segment: float = 0.1
    growth: float = 1.4
    min_segments: int = 3
    heights: float = 1.0
    radii: float = 4.0
    max_segments: int = 1200

    def __post_init__(self) -> None:
        ranges = {
            "segments_per_wavelength": (8, 400),
            "max_segment": (1e-3, 100),
            "feed_segment": (1e-3, 10),
            "growth": (1.05, 2),
            "min_segments": (1, 100),
            "heights": (0.05, 1e9),
            "radii": (2, 100),
            "max_segments": (2, 10_000),
        }
        for name, (low, high) in ranges.items():
            if not low <= getattr(self, name) <= high:
                raise InputError(f"mesh.{name}", getattr(self, name), f"from {low} to {high}")

    def finer(self, factor: float) -> "MeshRules":
        """The same rules with segments shorter by that factor: a convergence check.

        Not those at the feed, whose length is part of the model: they stay, unless others become much shorter
        (up to a factor of 4 at 50 MHz, where a 96th of a wavelength is 0.06 m).
        """
        return replace(
            self,
            segments_per_wavelength=self.segments_per_wavelength * factor,
            max_segment=self.max_segment / factor,
            min_segments=math.ceil(self.min_segments * factor),
            growth=max(1.05, 1 + (self.growth - 1) / factor),
            heights=max(0.05, self.heights / factor),
        )

    @property
    def coarse(self) -> "MeshRules":
        """Rules for half as many segments: what they get wrong they get wrong alike for two set-ups that differ little,
        so differences are right to a few per cent (tests/benchmarks/calibration.py)."""
        return replace(self, segments_per_wavelength=12.0, max_segment=1.6, growth=1.75)


@dataclass(frozen=True, eq=False)
class Mesh:
    """N segments, conductor after conductor, each from its first point on.

    start, end: (N, 3) m. radius: (N,) m; engine_radius: (N,) m, the one that the engine computes with.
    conductor: (N,) index into structure.conductors. leg: (N,) index into legs.
    along: (N,) m from the conductor's first point to the segment's centre. legs: the engine's wires (start, end, number
    of equal segments, radius), whose segments follow each other in the same order.
    feed: (N,) port vector, +0.5 on the wire's first segment and -0.5 on every return's first one. Segment currents I
    are positive from start to end; the port's current is feed @ I (by Kirchhoff the wire's current at the feed) and a
    port voltage V drives the segments with feed * V.
    """

    start: Real
    end: Real
    radius: Real
    engine_radius: Real
    conductor: np.ndarray
    leg: np.ndarray
    along: Real
    feed: Real
    legs: tuple[EngineWire, ...]

    @property
    def length(self) -> Real:
        """(N,) segment lengths, m."""
        return np.linalg.norm(self.end - self.start, axis=1)

    @property
    def centre(self) -> Real:
        """(N, 3) segment centres, m."""
        return (self.start + self.end) / 2

    def load_segments(self, structure: Structure) -> list[tuple[int, Load]]:
        """Each load with the index of the segment that contains it."""
        found = []
        for load in structure.loads:
            mine = np.flatnonzero(self.conductor == load.conductor)
            stops = np.cumsum(self.length[mine])
            inside = min(int(np.searchsorted(stops, load.at)), len(mine) - 1)
            found.append((int(mine[inside]), load))
        return found

    def quality(self, f_hz: float) -> dict[str, float]:
        """Worst figures at f_hz: the longest segment in wavelengths, the least length in radii that the engine computes
        with and the least height in the conductor's own, the largest ratio of neighbouring lengths (along a conductor
        and across the feed)."""
        size = self.length
        same = np.flatnonzero(np.diff(self.conductor) == 0)
        pairs = [size[same + 1] / size[same], size[self.feed != 0] / size[0]]
        ratio = np.concatenate([np.maximum(r, 1 / r) for r in pairs])
        return {
            "max_length_wavelengths": float(size.max() * f_hz / C0),
            "min_length_radii": float((size / self.engine_radius).min()),
            "min_height_radii": float((np.minimum(self.start[:, 2], self.end[:, 2]) / self.radius).min()),
            "max_neighbour_ratio": float(ratio.max()),
        }


def mesh(structure: Structure, f_hz: float, rules: MeshRules = MeshRules()) -> Mesh:  # noqa: B008
    """Segments that serve every frequency up to f_hz (Hz).

    Raises InputError for a frequency that is not positive, a conductor too thick for its shortest segment or for the
    wavelength, or more segments than rules.max_segments.
    """
    target = longest_segments(structure, f_hz, rules)
    shortest = min(math.dist(*c.legs[0]) for c in structure.conductors if c.role != "nearby")
    loads = [[x.at for x in structure.loads if x.conductor == i] for i in range(len(structure.conductors))]
    roomy = tuple(_room_for(c, at, rules) for c, at in zip(structure.conductors, loads, strict=True))
    structure = replace(structure, conductors=roomy)
    thin = [AT_CORNER * structure.engine_radius(i) for i in range(len(structure.conductors))]
    cuts = [*zip(structure.conductors, target, thin, strict=True)]
    at_feed = [_longest_at_feed(c, h, rules, least) for c, h, least in cuts if c.role != "nearby"]
    feed = min(rules.feed_segment, shortest / 2, *at_feed)
    parts = [_cut(c, h, rules, None if c.role == "nearby" else feed, least) for c, h, least in cuts]
    _check_count(structure, sum(len(leg) for legs in parts for leg in legs), f_hz, rules)
    return assembled(structure, parts)


def longest_segments(structure: Structure, f_hz: float, rules: MeshRules) -> list[float]:
    """The longest segment (m) that each conductor may have at f_hz (Hz).

    Raises InputError as `mesh` does, where that can be seen without cutting: a cheap check before anything is computed.
    """
    if not (f_hz > 0 and math.isfinite(f_hz)):
        raise InputError("frequency", f"{f_hz} Hz", "above 0 Hz")
    wave = C0 / f_hz
    longest = min(wave / rules.segments_per_wavelength, rules.max_segment)
    target = [max(min(longest / _slowness(c), _lying(c)), rules.radii * c.wire.radius) for c in structure.conductors]
    for i, c in enumerate(structure.conductors):
        if target[i] > wave / 8:
            allowed = f"a radius of {wave / 8 / rules.radii:.3g} m at most at {f_hz / 1e6:.6g} MHz"
            raise InputError(f"{structure.name(i)}, radius", f"{c.wire.radius:.3g} m", allowed)
    count = sum(c.length / h for c, h in zip(structure.conductors, target, strict=True))
    _check_count(structure, math.ceil(count), f_hz, rules)
    return target


def _check_count(structure: Structure, count: int, f_hz: float, rules: MeshRules) -> None:
    if count <= rules.max_segments:
        return
    usual, most = MeshRules(), f"at most {rules.max_segments} segments, not {count}"
    if rules.max_segment < min(usual.max_segment, C0 / f_hz / rules.segments_per_wavelength):
        raise InputError("mesh.max_segment", f"{rules.max_segment:g} m", f"longer: {most}")
    if rules.segments_per_wavelength > usual.segments_per_wavelength:
        raise InputError("mesh.segments_per_wavelength", rules.segments_per_wavelength, f"fewer: {most}")
    size = [c.length for c in structure.conductors]
    allowed = f"shorter: at {f_hz / 1e6:.6g} MHz all conductors take {count} segments, {rules.max_segments} at most"
    raise InputError(f"{structure.name(size.index(max(size)))}, length", f"{max(size):.6g} m", allowed)


def _slowness(c: Conductor) -> float:
    """How much shorter to cut a conductor with a level run close to the soil: from 1 to 2 where it touches the soil.

    There it holds more charge and its wave is slower; with no care taken a coax at 2.5 mm moves a 20 m dip by 8 kHz.
    """
    low = min((p[2] for p, q in c.legs if p[2] == q[2]), default=math.inf)
    clear = max(low - c.wire.radius, 0.5 * c.wire.radius)
    return 1 + min(1.0, (c.wire.radius / clear) ** 2 / 2) if low > 0 else 1.0


def _lying(c: Conductor) -> float:
    """Longest segment of a conductor by its height: the engine joins to a perfect ground what ends within a thousandth
    of its length above it."""
    low = min(p[2] for p in c.points)
    return 800 * low if low > 0 else math.inf


def _room_for(c: Conductor, loads: list[float], rules: MeshRules) -> Conductor:
    """The same route with two more corners around each load, so that a segment of its own, centred on it, holds it.

    loads: places along the conductor, m. That segment is as long as a feed segment (not shorter than `radii` allows).
    Without it, a load would act at the centre of the ordinary segment around it, up to half a metre off. Where less
    than one such length would be left between a load's segment and the feed, a corner or the next load, the segment
    moves by up to half its length to touch it, or leaves a whole one. A load in the feed's segment, or on a leg too
    short for a segment of its own, acts in the segment it lies in.
    """
    size = max(rules.feed_segment, rules.radii * c.wire.radius)
    points, done = [c.points[0]], 0.0
    for k, (p, q) in enumerate(c.legs):
        span = math.dist(p, q)
        stops = [size if k == 0 and c.role != "nearby" else 0.0]
        for at in sorted(x - done for x in loads if stops[0] <= x - done <= span):
            before = _none_or_whole(at - size / 2 - stops[-1], size)
            after = _none_or_whole(span - stops[-1] - before - size, size)
            low = span - after - size if after <= size else stops[-1] + before
            if low > stops[-1] - 1e-9:
                stops += [low, low + size]
        stops = [x for x, y in itertools.pairwise([*stops[1:], span]) if x > 1e-6 and y - x > 1e-6]
        points += [_between(p, q, x / span) for x in stops]
        points.append(q)
        done += span
    return replace(c, points=tuple(points))


def _joints(c: Conductor, target: float, rules: MeshRules, feed: float | None, least: float) -> list[float]:
    """Longest segment allowed at each corner (and both ends) so that lengths can grow smoothly between corners.

    least: what low corners need not go below, m.
    """
    spans = [math.dist(p, q) for p, q in c.legs]
    cap = [natural(span, target, rules) for span in spans]
    size = [min(pair) for pair in itertools.pairwise([cap[0], *cap, cap[-1]])]
    for k, (p, q) in enumerate(c.legs):
        if p[2] != q[2]:
            for corner, z in ((k, p[2]), (k + 1, q[2])):
                if z > 0:
                    size[corner] = min(size[corner], max(rules.heights * (z - c.wire.radius), least))
    if feed is not None:
        size[0] = min(size[0], feed)
    for order in (range(len(spans)), reversed(range(len(spans)))):
        for k in order:
            for a, b in ((k, k + 1), (k + 1, k)):
                reach = (spans[k] * (rules.growth - 1) + size[a]) / rules.growth
                size[b] = min(size[b], max(size[a], reach))
    return size


def _longest_at_feed(c: Conductor, target: float, rules: MeshRules, least: float) -> float:
    """Longest segment at the feed with which the next one, grown from the leg's end, is not too much shorter."""
    span, after = math.dist(*c.legs[0]), _joints(c, target, rules, None, least)[1]
    more = rules.growth - 1
    grown = STEP * (span * more + after) / (rules.growth + STEP * more)  # of the leg without the feed's segment
    return min(STEP * natural(span, target, rules), grown)


def natural(span: float, target: float, rules: MeshRules) -> float:
    """Segment length a leg would have by itself."""
    least = rules.min_segments if span >= 3 * rules.feed_segment else 1
    return min(target, span / least)


def _cut(c: Conductor, target: float, rules: MeshRules, feed: float | None, least: float) -> list[list[float]]:
    """Segment lengths of each leg, m."""
    size = _joints(c, target, rules, feed, least)
    parts = []
    for k, (p, q) in enumerate(c.legs):
        span = math.dist(p, q)
        cap = natural(span, target, rules)
        if k == 0 and feed is not None:
            parts.append([feed, *_after_feed(span - feed, feed, size[1], cap, rules.growth)])
        else:
            parts.append(graded(span, size[k], size[k + 1], cap, rules.growth))
    return parts


def _after_feed(span: float, feed: float, last: float, cap: float, growth: float) -> list[float]:
    """The rest of the leg at the feed: as `graded`, but falling evenly where its segments are shorter than the feed's,
    so that the first one is not the shorter for what it takes to fill the leg."""
    if span < 1e-9:
        return []
    sizes = graded(span, min(feed * growth, cap), last, cap, growth)
    low, high, down = 1.0, growth, np.arange(len(sizes))[::-1]
    if sizes[0] < feed and len(sizes) * last < span <= last * (high**down).sum():
        for _ in range(50):
            ratio = (low + high) / 2
            low, high = (low, ratio) if last * (ratio**down).sum() > span else (ratio, high)
        falling = last * high**down
        if falling[0] <= min(feed * growth, cap):
            return [float(x) for x in falling * (span / falling.sum())]
    return sizes


def graded(span: float, first: float, last: float, cap: float, growth: float) -> list[float]:
    """Lengths that fill span: at most first and last at its ends, cap between, and as few as growth allows.

    The longest of them are cut down together to a common length, so all vary continuously with span for a given count.
    """
    count = 1
    while True:
        steps = float(growth) ** np.minimum(np.arange(count), 300)  # 300 steps outgrow any cap, and do not overflow
        most = np.minimum(cap, np.minimum(first * steps, last * steps[::-1]))
        if most.sum() >= span * (1 - 1e-9):
            break
        count += 1
    rising = np.sort(most)
    below = np.concatenate([[0.0], np.cumsum(rising)[:-1]])
    level = (span - below) / np.arange(count, 0, -1)
    pick = np.flatnonzero(level <= rising * (1 + 1e-9))
    longest = level[pick[0]] if len(pick) else math.inf  # none: they fill the span as they are, but for rounding
    return [float(x) for x in np.minimum(most, longest)]


def assembled(structure: Structure, parts: list[list[list[float]]]) -> Mesh:
    wires: list[EngineWire] = []
    start, end, owner, along, feed = [], [], [], [], []
    for i, (c, legs) in enumerate(zip(structure.conductors, parts, strict=True)):
        shortest, radius = min(map(min, legs)), structure.engine_radius(i)
        if shortest < SHORTEST * radius * (1 - 1e-9):
            allowed = f"at most half of the shortest segment, {shortest:.3g} m, of the {structure.name(i)}"
            whose = structure.name(i if c.role == "nearby" else 0)
            raise InputError(f"{whose}, radius", f"{radius:.3g} m", allowed)
        done = 0.0
        feed.append({"wire": 0.5, "nearby": 0.0}.get(c.role, -0.5))
        for (p, q), sizes in zip(c.legs, legs, strict=True):
            stops = np.concatenate([[0.0], np.cumsum(sizes)]) / sum(sizes)
            nodes = (1 - stops)[:, None] * np.array(p) + stops[:, None] * np.array(q)
            start.append(nodes[:-1])
            end.append(nodes[1:])
            along.append(done + (stops[1:] + stops[:-1]) / 2 * math.dist(p, q))
            done += math.dist(p, q)
            owner += [i] * len(sizes)
            wires += engine_wires(nodes, sizes, c.wire.radius)
        feed += [0.0] * (len(owner) - len(feed))
    return Mesh(
        start=np.concatenate(start),
        end=np.concatenate(end),
        radius=np.array([structure.conductors[i].wire.radius for i in owner]),
        engine_radius=np.array([structure.engine_radius(i) for i in owner]),
        conductor=np.array(owner),
        leg=np.repeat(np.arange(len(wires)), [w[2] for w in wires]),
        along=np.concatenate(along),
        feed=np.array(feed),
        legs=tuple(wires),
    )


def engine_wires(nodes: Real, sizes: list[float], radius: float) -> list[EngineWire]:
    """Runs of equal segments of one leg; nodes (n + 1, 3)."""
    edges = [0] + [k for k in range(1, len(sizes)) if abs(sizes[k] / sizes[k - 1] - 1) > 1e-9] + [len(sizes)]
    return [(_point(nodes[a]), _point(nodes[b]), b - a, radius) for a, b in itertools.pairwise(edges)]


def _none_or_whole(left: float, size: float) -> float:
    """left, unless it is shorter than size: then 0 or size, whichever is nearer."""
    return left if left >= size else 0.0 if left < size / 2 else size


def _between(p: Point, q: Point, part: float) -> Point:
    """A point on the way from p to q; as high as both where they are level."""
    return _point(np.array(p) + part * (np.array(q) - np.array(p)))


def _point(row: Real) -> Point:
    return float(row[0]), float(row[1]), float(row[2])
