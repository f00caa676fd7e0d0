"""Exposure of people to radio-frequency fields: published limits as data, and where not to stand.

Published limits of exposure to radio-frequency fields, 0.3 to 300 MHz, as data.

Written down from memory: check against the text in force where you are before you rely on them.

Where people should not stand while the antenna transmits: fields at body height against a limit.

The field is sampled on a level grid at each height, near the conductors only; the grid grows until the quotient at its
rim is well below 1, and the farthest places where it passes 1 are then found between grid points by halving. Away from
conductors, where even the places around are well below 1, only every second row and column is computed.

Limits of the model: flat soil and bare ground; the body itself is absent (it bends the field, and a touch draws contact
currents and burns that no field limit covers); thin wires; all of the radio's power is taken to reach the feed system
as if perfectly matched; the highest field over the heights counts, not its average over the body, which is stricter.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.fields.near_field import CLOSE, LOWEST_POINT, Fields, NearField, distance
from tautwire.model.wires.segments import Segments
from tautwire.model.wires.structure import Structure

# --- Published limits of exposure to radio-frequency fields.


FCC = "47 CFR 1.1310, table 1, from memory"
ICNIRP = "ICNIRP, Health Physics 118(5), 2020, tables 5 (whole body), 6 (local) and 8 (instant), from memory"
GROUPS = ("general", "occupational")


@dataclass(frozen=True)
class Level:
    """A reference level at one frequency: e, V/m rms; h, A/m rms; minutes to average the squares over (0: none)."""

    kind: str
    e: float
    h: float
    minutes: float


@dataclass(frozen=True)
class _Row:
    """E = e f^-e_fall V/m and H = h f^-h_fall A/m from lower up to upper, all with f in MHz."""

    lower: float
    upper: float
    e: float
    e_fall: float
    h: float
    h_fall: float


@dataclass(frozen=True)
class _Table:
    kind: str
    minutes: float
    rows: tuple[_Row, ...]


@dataclass(frozen=True)
class Standard:
    """name: in full. source: where the figures stand. tables: group -> its tables."""

    name: str
    source: str
    tables: dict[str, tuple[_Table, ...]]


STANDARDS: dict[str, Standard] = {
    "fcc": Standard(
        "47 CFR 1.1310",
        FCC,
        {
            "general": (
                _Table(
                    "whole body",
                    30,
                    (
                        _Row(0.3, 1.34, 614, 0, 1.63, 0),
                        _Row(1.34, 30, 824, 1, 2.19, 1),
                        _Row(30, 300, 27.5, 0, 0.073, 0),
                    ),
                ),
            ),
            "occupational": (
                _Table(
                    "whole body",
                    6,
                    (
                        _Row(0.3, 3, 614, 0, 1.63, 0),
                        _Row(3, 30, 1842, 1, 4.89, 1),
                        _Row(30, 300, 61.4, 0, 0.163, 0),
                    ),
                ),
            ),
        },
    ),
    "icnirp": Standard(
        "ICNIRP 2020",
        ICNIRP,
        {
            "general": (
                _Table("whole body", 30, (_Row(0.1, 30, 300, 0.7, 2.2, 1), _Row(30, 400, 27.7, 0, 0.073, 0))),
                _Table("local", 6, (_Row(0.1, 30, 671, 0.7, 4.9, 1), _Row(30, 400, 62, 0, 0.163, 0))),
                _Table("instant", 0, (_Row(0.1, 10, 83, 0, 21, 0),)),
            ),
            "occupational": (
                _Table("whole body", 30, (_Row(0.1, 30, 660, 0.7, 4.9, 1), _Row(30, 400, 61, 0, 0.16, 0))),
                _Table("local", 6, (_Row(0.1, 30, 1504, 0.7, 10.8, 1), _Row(30, 400, 139, 0, 0.36, 0))),
                _Table("instant", 0, (_Row(0.1, 10, 170, 0, 80, 0),)),
            ),
        },
    ),
}


def levels(f_hz: float, standard: str, group: str = "general") -> tuple[Level, ...]:
    """Every level that applies at f_hz (Hz), that of the whole body first.

    standard: a key of STANDARDS. group: one of GROUPS. Raises InputError for others, or a frequency off the tables.
    """
    key, who = standard.strip().lower(), group.strip().lower()
    if key not in STANDARDS:
        raise InputError("exposure.standard", repr(standard), f"one of {', '.join(STANDARDS)}")
    if who not in GROUPS:
        raise InputError("exposure.group", repr(group), f"one of {', '.join(GROUPS)}")
    f, found = f_hz / 1e6, []
    for table in STANDARDS[key].tables[who]:
        for row in table.rows:
            if row.lower <= f < row.upper:
                found.append(Level(table.kind, row.e * f**-row.e_fall, row.h * f**-row.h_fall, table.minutes))
                break
    if not found or found[0].kind != "whole body":
        raise InputError("exposure.frequency", f"{f:.6g} MHz", "from 0.3 to 300 MHz")
    return tuple(found)


def limit(f_hz: float, standard: str, group: str = "general") -> tuple[float, float]:
    """The whole-body level: E (V/m rms) and H (A/m rms). Arguments and errors as for `levels`."""
    first = levels(f_hz, standard, group)[0]
    return first.e, first.h


def quotient(fields: Fields, limits: tuple[Level, ...], duty: float = 1.0) -> Real:
    """Greatest of E^2/E_limit^2 and H^2/H_limit^2 over the limits, (M,); above 1 is over a limit.

    duty: time average over peak power during the averaging time, 0 to 1; it does not help against an instant level.
    Raises InputError for a duty outside.
    """
    if not 0 < duty <= 1:
        raise InputError("radio.duty", duty, "above 0, up to 1")
    worst = np.zeros(len(fields.e))
    for level in limits:
        part = duty if level.minutes else 1.0
        worst = np.maximum(worst, part * np.maximum(fields.e2 / level.e**2, fields.h2 / level.h**2))
    return worst


# --- Where people should not stand while the antenna transmits.


HEIGHTS = (0.1, 0.5, 1.0, 1.5, 2.0)  # m
REACHES = (1.0, 1.6, 2.6, 4.2, 6.8, 11.0, 18.0, 30.0)  # m from any conductor, tried in turn
COARSEST = 0.5  # m; a coarser grid would miss places over the limit
RIM = 0.5  # greatest quotient at the rim of a grid that is large enough
QUIET, NEAR = 0.3, 2.0  # places are interpolated if all around are below QUIET, and conductors NEAR steps away; a field
# that falls with the 6th power of distance is there at most 1.4 times what it is around
STEPS = 4  # halvings of a grid cell
MOST_POINTS = 60_000
SIDEWAYS = 0.1  # m; a leg that goes less far sideways is upright


@dataclass(frozen=True, eq=False)
class FieldMap:
    """Quotients on a flat grid: value (B, A) at across (A,) and up (B,), m; nan beyond reach, inf closer than CLOSE.

    A plan has x and y, and the greatest value over the heights; a section has metres along the bearing and height.
    """

    across: Real
    up: Real
    value: Real


@dataclass(frozen=True, eq=False)
class StayAway:
    """How far to stay away. All distances in metres, 0 where the limit is nowhere passed.

    from_conductor: greatest level distance to the nearest conductor of any place over the limit. from_feed, from_end:
    greatest level distance of such places from the feed and from the wire's end, each counted for the places nearer to
    that one. from_any_part: greatest straight distance to a conductor, at body heights or in a section. worst (3,):
    the place at from_conductor. plan, sections: for maps, a section a plane. widest: number of the section in which the
    limit reaches farthest from a conductor. complete: False if the limit is passed even at the rim.
    """

    from_conductor: float
    from_feed: float
    from_end: float
    from_any_part: float
    worst: Real | None
    plan: FieldMap
    sections: tuple[FieldMap, ...]
    widest: int
    complete: bool


def check_sampling(heights: tuple[float, ...], reach: float | None = None, resolution: float | None = None) -> None:
    """Raises InputError for what stay_away (same arguments, m) would refuse at once."""
    if not heights or not all(LOWEST_POINT <= h <= 50 for h in heights):
        raise InputError("exposure.heights", list(heights), f"one height or more from {LOWEST_POINT} to 50 m")
    if reach is not None and not 0.2 <= reach <= 100:
        raise InputError("exposure.extent", f"{reach} m", "from 0.2 to 100 m")
    if resolution is not None and not 0.02 <= resolution <= COARSEST:
        raise InputError("exposure.resolution", f"{resolution} m", f"from 0.02 to {COARSEST} m")


Plane = tuple[Real, float]
"""an upright plane: a point in it (3,), m, from which metres along it are counted, and its bearing, rad"""


def planes_of(structure: Structure, bearing: float, highest: float) -> tuple[Plane, ...]:
    """The upright planes of the antenna's legs, each once; the first goes through the feed along `bearing` (rad).

    Legs that nowhere rise above `highest` (m) have none: the plans show them.
    """
    found: list[Plane] = [(np.array(structure.conductors[0].points[0]), bearing)]
    for conductor in structure.conductors:
        if conductor.role == "nearby":
            continue
        for start, end in conductor.legs:
            dx, dy = end[0] - start[0], end[1] - start[1]
            if max(start[2], end[2]) > highest and math.hypot(dx, dy) > SIDEWAYS:
                plane = np.array(start), math.atan2(dx, dy)
                if not any(_same(plane, other) for other in found):
                    found.append(plane)
    return tuple(found)


def _same(one: Plane, other: Plane) -> bool:
    (p, a), (q, b) = one, other
    aside = float((p - q)[:2] @ [math.cos(b), -math.sin(b)])
    return abs(math.sin(a - b)) < 0.02 and abs(aside) < SIDEWAYS


def stay_away(
    near: NearField,
    limits: tuple[Level, ...],
    duty: float,
    feed: Real,
    end: Real,
    planes: Sequence[Plane],
    heights: tuple[float, ...] = HEIGHTS,
    reach: float | None = None,
    resolution: float | None = None,
) -> StayAway:
    """Distances and maps for fields in rms of the full power (near), limits and a duty (0 to 1).

    feed, end (3,): the wire's two ends, m. planes: of the sections, one or more. heights: m above soil.
    reach: how far from conductors to look, m (default: as far as needed). resolution: of the grid, m (default: a tenth
    of that; never more than a quarter of it). Raises InputError for heights or a grid outside the ranges.
    """
    check_sampling(heights, reach, resolution)

    def value(points: Real) -> Real:
        return _values(near, limits, duty, points)

    seg, reaches = near.segments, REACHES if reach is None else (reach,)
    for far in reaches:
        step = min(resolution or max(far / 10, 0.1), COARSEST, far / 4)
        grids = [_plan(seg, heights, far, step), *(_section(seg, *plane, far, step) for plane in planes)]
        rims = [grid.sampled(value, grid.rim(far, step)) for grid in grids]
        complete = max(float(np.nanmax(rim, initial=0.0)) for rim in rims) < RIM
        if complete or far == reaches[-1]:  # only now the places within the rim
            break
    maps = [grid.filled(value, rim, far, step) for grid, rim in zip(grids, rims, strict=True)]
    flat = _flat(seg)

    def level(p: Real) -> Real:
        return _nearest(flat, p * [1, 1, 0])

    def ends(p: Real, slack: float = 0.0) -> tuple[Real, Real]:
        """Level distances from feed and end, each where it is the smaller, else nan."""
        to_feed, to_end = (np.hypot(*(p - at)[:, :2].T) for at in (feed, end))
        return (
            np.where(to_feed <= to_end + slack, to_feed, np.nan),
            np.where(to_end < to_feed + slack, to_end, np.nan),
        )

    def sizes(p: Real) -> list[Real]:
        return [_nearest(seg, p), level(p), *ends(p, 2 * step)]

    places = _crossings(grids[0].points, maps[0], value, sizes)
    cuts = [
        _crossings(g.points, m, value, lambda p: [_nearest(seg, p)]) for g, m in zip(grids[1:], maps[1:], strict=True)
    ]
    with np.errstate(all="ignore"):
        highest = np.fmax.reduce(maps[0], axis=0)
    plan = FieldMap(grids[0].across, grids[0].up, highest)
    sections = tuple(FieldMap(g.across, g.up, m) for g, m in zip(grids[1:], maps[1:], strict=True))
    parts = [float(_nearest(seg, p).max()) if len(p) else 0.0 for p in (places, *cuts)]
    widest = int(np.argmax(parts[1:]))
    if len(places) == 0:
        return StayAway(0.0, 0.0, 0.0, max(parts), None, plan, sections, widest, complete)
    clear, (from_feed, from_end) = level(places), ends(places)
    worst = int(clear.argmax())
    return StayAway(
        float(clear[worst]),
        float(np.fmax.reduce(from_feed, initial=0.0)),
        float(np.fmax.reduce(from_end, initial=0.0)),
        max(parts),
        places[worst],
        plan,
        sections,
        widest,
        complete,
    )


def _values(near: NearField, limits: tuple[Level, ...], duty: float, points: Real) -> Real:
    """Quotients at points (M, 3); inf closer than CLOSE."""
    values = np.full(len(points), np.inf)
    free = _nearest(near.segments, points) >= CLOSE
    if free.any():
        values[free] = quotient(near.at(points[free]), limits, duty)
    return values


def _flat(seg: Segments) -> Segments:
    """Segments seen from above; an upright one keeps a micrometre."""
    vector = seg.vector * [1, 1, 0]
    short = np.hypot(vector[:, 0], vector[:, 1]) < 1e-6
    vector[short] = [1e-6, 0, 0]
    return Segments(seg.centre * [1, 1, 0], vector, seg.current)


def _nearest(seg: Segments, points: Real) -> Real:
    """(M,) distance to the nearest conductor, m."""
    runs = _runs(seg)
    parts = np.array_split(points, max(1, len(points) * len(runs.centre) // 500_000))
    return np.concatenate([distance(p, runs).min(axis=1) for p in parts if len(p)] or [np.zeros(0)])


def _runs(seg: Segments) -> Segments:
    """The same conductors with as few segments as they have straight runs; for distances, so without currents."""
    start, end, way = seg.start, seg.end, seg.vector / seg.length[:, None]
    goes_on = (np.abs(start[1:] - end[:-1]).max(1) < 1e-6) & (np.abs(way[1:] - way[:-1]).max(1) < 1e-6)
    first, last = np.append(True, ~goes_on), np.append(~goes_on, True)
    return Segments((start[first] + end[last]) / 2, end[last] - start[first], np.zeros((int(first.sum()), 3, 0)))


@dataclass(frozen=True, eq=False)
class _Grid:
    """points (..., B, A, 3) at across (A,) and up (B,), and how far each is away from the nearest conductor, m."""

    across: Real
    up: Real
    points: Real
    away: Real

    def rim(self, reach: float, step: float) -> np.ndarray:
        """Which points lie within reach and near its rim; of these every second, as on a chess board."""
        rows, columns = np.ogrid[: len(self.up), : len(self.across)]
        return (self.away <= reach) & (self.away > reach - 1.5 * step) & ((rows + columns) % 2 == 0)

    def sampled(self, value: Callable[[Real], Real], which: np.ndarray) -> Real:
        """Values at those points, nan elsewhere."""
        values = np.full(self.away.shape, np.nan)
        values[which] = value(self.points[which])
        return values

    def filled(self, value: Callable[[Real], Real], known: Real, reach: float, step: float) -> Real:
        """Values within reach, nan elsewhere. known: those that are computed already, nan elsewhere."""
        inside = self.away <= reach
        coarse = np.zeros(inside.shape, dtype=bool)
        coarse[..., ::2, ::2] = True
        values = np.where(np.isnan(known), self.sampled(value, inside & coarse & np.isnan(known)), known)
        size = (1,) * (values.ndim - 2) + (3, 3)
        around = scipy.ndimage.maximum_filter(
            np.where(np.isnan(values), -1.0, values), size, mode="constant", cval=-1.0
        )
        plain = (around >= 0) & (around < QUIET) & (self.away > NEAR * step)
        values = np.where(np.isnan(values), self.sampled(value, inside & np.isnan(values) & ~plain), values)
        sums = [
            scipy.ndimage.convolve(part, np.reshape([[1, 2, 1], [2, 4, 2], [1, 2, 1]], size), mode="constant")
            for part in (np.where(np.isnan(values), 0.0, np.log(np.maximum(values, 1e-30))), ~np.isnan(values) * 1.0)
        ]
        with np.errstate(all="ignore"):
            between = np.exp(sums[0] / sums[1])
        return np.where(np.isnan(values) & inside, between, values)


def _grid(seg: Segments, across: Real, up: Real, points: Real, reach: float) -> _Grid:
    """Raises InputError if too many points lie within reach of a conductor."""
    away = _nearest(seg, points.reshape(-1, 3)).reshape(points.shape[:-1])
    if (count := int((away <= reach).sum())) > MOST_POINTS:
        allowed = f"at most {MOST_POINTS} points near the wires; make it coarser or exposure.extent smaller"
        raise InputError("exposure.resolution", f"{count} points", allowed)
    return _Grid(across, up, points, away)


def _axis(low: float, high: float, step: float) -> Real:
    return np.arange(math.floor(low / step), math.ceil(high / step) + 1) * step


def _plan(seg: Segments, heights: tuple[float, ...], reach: float, step: float) -> _Grid:
    """Level grids, points (Z, Y, X, 3), of what comes within reach of the conductors."""
    ends = np.concatenate([seg.start, seg.end])
    low, high = ends[:, :2].min(axis=0) - reach, ends[:, :2].max(axis=0) + reach
    x, y = _axis(low[0], high[0], step), _axis(low[1], high[1], step)
    z, yy, xx = np.meshgrid(np.array(heights), y, x, indexing="ij")
    whole = _grid(seg, x, y, np.stack([xx, yy, z], axis=-1), reach)
    inside = whole.away <= reach
    rows, columns = np.flatnonzero(inside.any((0, 2))), np.flatnonzero(inside.any((0, 1)))
    if len(rows) == 0:
        rows = columns = np.zeros(1, dtype=int)
    r, c = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    return _Grid(x[c], y[r], whole.points[:, r, c], whole.away[:, r, c])


def _section(seg: Segments, feed: Real, bearing: float, reach: float, step: float) -> _Grid:
    """The upright grid through `feed` (3,), points (B, A, 3); across is metres along the bearing."""
    ends = np.concatenate([seg.start, seg.end])
    s = (ends - feed)[:, :2] @ [math.sin(bearing), math.cos(bearing)]
    along = _axis(s.min() - reach, s.max() + reach, step)
    up = np.maximum(_axis(0, ends[:, 2].max() + reach, step), 2 * LOWEST_POINT)
    z, at = np.meshgrid(up, along, indexing="ij")
    points = np.stack([feed[0] + at * math.sin(bearing), feed[1] + at * math.cos(bearing), z], axis=-1)
    return _grid(seg, along, up, points, reach)


def _crossings(points: Real, values: Real, value: Callable[[Real], Real], sizes: Callable[[Real], list[Real]]) -> Real:
    """Places (K, 3), just inside, where a grid's values (..., B, A) at points (..., B, A, 3) pass 1: those that may be
    the farthest by one of the distances `sizes`, each of which (nan: does not count) changes by no more than a place is
    moved."""
    low: list[Real] = []
    high: list[Real] = []
    for axis in (-1, -2):
        v, p = np.moveaxis(values, axis, 0), np.moveaxis(points, axis - 1, 0)
        for a, b in ((slice(None, -1), slice(1, None)), (slice(1, None), slice(None, -1))):
            cross = (v[a] >= 1) & (v[b] < 1)
            low.append(p[a][cross])
            high.append(p[b][cross])
    lone = points[values >= 1]  # a place over the limit at the rim has no edge to cross
    inside, outside = np.concatenate([*low, lone]), np.concatenate([*high, lone])
    for _ in range(STEPS if len(inside) else 0):
        gap = np.linalg.norm(outside - inside, axis=1)
        far = np.any([size + gap >= np.fmax.reduce(size) for size in sizes(inside)], axis=0)
        inside, outside, wide = inside[far], outside[far], gap[far] > 0
        middle = (inside + outside) / 2
        over = np.zeros(len(middle), dtype=bool)
        over[wide] = value(middle[wide]) >= 1
        inside, outside = np.where(over[:, None], middle, inside), np.where(over[:, None], outside, middle)
    return inside
