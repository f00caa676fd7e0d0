"""What the far field meets beyond the soil under the antenna: a straight shore, ground that falls or rises, a hill.

A straight edge at distance p from a current at height z is seen at the angle a = atan2(z, p) below it; in the plane
across the edge a wave leaves at the angle b, and q = sqrt(1 - (its part along the edge)^2) of its wave number counts.
With r = sqrt(p^2 + z^2) and w = exp(j pi/4) sqrt(2 k q r) sin((b - a)/2),

    share beyond = erfc(w)/2      the Fresnel transition: 0 if the edge is far beyond the point of reflection, 1 before

Physical optics stops there. At low angles it is decibels off, since the wave that runs in from the shore grows or fades
over land as a surface wave does. For two impedance planes that meet at a line, take the wave from the far side as it is
over uniform ground there, and the near ground's own field of the current (compensation theorem, Monteath 1951, from
memory). With s = sin b, R = (s - d)/(s + d), d1 near and d2 far, what the far side adds to the reflected wave is

    (R2 - R1)/(2 pi j) int h(t) exp(-j k q r [cos(t - a) - cos(b - a)]) dt
    h(t) = (s + d1) sin t/[(sin t + d1)(cos t - cos b)]

with poles at t = b (reflection), -b (direct) and where sin t = -d1 (surface wave).

Each pole, written as 1/(2 sin((t - pole)/2)), gives an error function; the rest is smooth and taken at t = a. A wave
from the near side takes the two grounds in the other order. Against a numerical solution of the two-ground problem it
is within 0.05 of the direct wave, 0.09 where the edge passes a tenth of a wavelength from a low current
(tests/test_against_two_grounds.py). Where a wave runs along the shore the two orders
differ, and are blended. Left out: waves scattered back at the shore, exchange of polarisation where the wave crosses it
askew, the curved earth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy

from tautwire.model.basics import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import Ground

FARTHEST = 100e3  # m
STEEPEST = math.radians(45)
HIGHEST = 3000.0  # m
LOWEST = 1e-4  # rad: the horizon itself is taken at this elevation
LEAST_KR = 0.3  # of an edge's distance: an edge through the current itself has no asymptotic wave
ABEAM = 0.3  # cosine of the angle across the shore below which a wave runs along it
HARDEST = 1e6  # of an impedance over that of space
TURN = np.exp(0.25j * np.pi)


@dataclass(frozen=True)
class Shore:
    """Another ground beyond a straight line. distance: from the feed to the line, square to it, m. bearing: of that
    way, rad from north. ground: what lies beyond. drop: how far it lies below the ground at the feed, m.

    Raises InputError outside the ranges, and for free space beyond.
    """

    distance: float
    bearing: float
    ground: Ground
    drop: float = 0.0

    def __post_init__(self) -> None:
        _within("shore.distance", self.distance, 0, FARTHEST)
        _within("shore.drop", self.drop, 0, HIGHEST)
        if self.ground.is_free_space:
            raise InputError("shore.soil", repr(self.ground.name), "water or soil")


@dataclass(frozen=True)
class Slope:
    """Ground that falls towards a bearing (rad from north) by an angle (rad; below 0 it rises).

    distance: m from the feed to where it begins to fall, square to that line; None: all of the site slopes, and heights
    and slopes of wires count from it. Raises InputError outside the ranges.
    """

    bearing: float
    fall: float
    distance: float | None = None

    def __post_init__(self) -> None:
        if self.distance is not None:
            _within("slope.distance", self.distance, 0, FARTHEST)
        least = -STEEPEST if self.distance is None else 0.0
        if not least <= self.fall <= STEEPEST:
            allowed = f"from {math.degrees(least):.0f} to {math.degrees(STEEPEST):.0f} deg"
            rising = "" if self.distance is None else "; ground that rises from a distance on is a hill"
            raise InputError("slope.fall", f"{math.degrees(self.fall):g} deg", allowed + rising)


@dataclass(frozen=True)
class Hill:
    """A straight brow that waves must pass over. distance: m from the feed, square to it. bearing: of that way, rad
    from north. height: above the ground at the feed, m. Raises InputError outside the ranges.
    """

    distance: float
    bearing: float
    height: float

    def __post_init__(self) -> None:
        _within("hill.distance", self.distance, 1, FARTHEST)
        _within("hill.height", self.height, 0, HIGHEST)


def _within(field: str, metres: float, low: float, high: float) -> None:
    if not low <= metres <= high:
        raise InputError(field, f"{metres:g} m", f"from {low:g} m to {high:g} m")


@dataclass(frozen=True)
class Terrain:
    """What lies around the site. Raises InputError for a shore and a slope together."""

    shore: Shore | None = None
    slope: Slope | None = None
    hill: Hill | None = None

    def __post_init__(self) -> None:
        if self.shore is not None and self.slope is not None:
            raise InputError("slope", "a shore and a slope", "one of them; water below the site is the shore's drop")

    @property
    def is_level(self) -> bool:
        """Whether the ground is level, of one kind and without end."""
        return self.shore is None and self.hill is None and (self.slope is None or self.slope.fall == 0)

    @property
    def tilt(self) -> Real | None:
        """Axes (3, 3) of a site that slopes as a whole: rows along its east, its north, square to it; None if level."""
        if self.slope is None or self.slope.distance is not None or self.slope.fall == 0:
            return None
        along, down, up = axes(self.slope.bearing, self.slope.fall)
        turn = axes(self.slope.bearing)
        return np.asarray(turn.T @ np.stack([along, down, up]))

    def turned(self, angle: float) -> Terrain:
        """The same turned clockwise by an angle, rad."""
        parts = {"shore": self.shore, "slope": self.slope, "hill": self.hill}
        return Terrain(**{k: p and replace(p, bearing=p.bearing + angle) for k, p in parts.items()})  # type: ignore[arg-type]


LEVEL = Terrain()


def axes(bearing: float, fall: float = 0.0) -> Real:
    """Rows (3, 3): along an edge, away across it towards bearing, and up; away and up tilted by fall. Angles in rad."""
    sin, cos, low, level = math.sin(bearing), math.cos(bearing), math.sin(fall), math.cos(fall)
    away, up = np.array([sin * level, cos * level, -low]), np.array([sin * low, cos * low, level])
    return np.stack([np.cross(away, up), away, up])


def ways(up: Real, bearing: Real) -> Real:
    """Unit vectors (M, 3) of elevations and bearings (M,), rad: east, north, up."""
    cos = np.cos(up)
    return np.stack([np.sin(bearing) * cos, np.cos(bearing) * cos, np.sin(up)], axis=-1)


def beyond(away: Real, height: Real, out: Real, up: Real, k: float) -> Complex:
    """The Fresnel transition erfc(w)/2 of waves from currents to directions, (M, N).

    away, height (N,) or (M, N): m from the current to the edge, across it, and how far the edge lies above it (an image
    lies below). out, up (M, 1): parts of the direction across the edge and up. k: 1/m. 1: the edge lies below the ray.
    """
    a, b = np.arctan2(height, away), np.arctan2(up, out)
    v = 2 * np.sqrt(2 * np.hypot(away, height) * np.hypot(out, up) * k / (2 * np.pi)) * np.sin((b - a) / 2)
    s, c = scipy.special.fresnel(v)
    return np.asarray((1 + 1j) / 2 * ((0.5 - c) - 1j * (0.5 - s)))


def over_brow(hill: Hill, place: Real, way: Real, k: float) -> Complex:
    """Amplitude (M, N) that a wave from each place (N, 3) towards each way (M, 3) keeps over the hill: a knife edge."""
    rows = axes(hill.bearing)
    away = np.maximum(hill.distance - place @ rows[1], 0.1)
    part = way @ rows.T
    return 1 - beyond(away, hill.height - place[:, 2], part[:, 1:2], part[:, 2:], k)


@dataclass(frozen=True)
class Mix:
    """What of a current's image over the near ground is reflected, (M, N): rtm_along for currents along the bearing,
    rtm_up for upright ones, rte for those across the bearing."""

    rtm_along: Complex
    rtm_up: Complex
    rte: Complex


def at_shore(
    shore: Shore, near: tuple[Complex, Complex], far: tuple[Complex, Complex], place: Real, way: Real, k: float
) -> Mix:
    """Reflection of currents at place (N, 3), m, towards way (M, 3).

    near, far: Rtm and Rte (M,) of both grounds at these elevations. k: wave number, 1/m.
    """
    out = way @ axes(shore.bearing)[1]
    cos_b = out / np.hypot(out, way[:, 2])
    mix = _one_way(shore, near, far, place, way, k, out >= 0)
    abeam = np.flatnonzero(np.abs(cos_b) < ABEAM)
    if len(abeam):
        soils = (near[0][abeam], near[1][abeam]), (far[0][abeam], far[1][abeam])
        other = _one_way(shore, soils[0], soils[1], place, way[abeam], k, out[abeam] < 0)
        keep = (1 + np.sin(np.pi / 2 * np.abs(cos_b[abeam]) / ABEAM))[:, None] / 2
        for ours, theirs in zip(mix, other, strict=True):
            ours[abeam] = keep * ours[abeam] + (1 - keep) * theirs
    return Mix(*mix)


def _one_way(
    shore: Shore,
    near: tuple[Complex, Complex],
    far: tuple[Complex, Complex],
    place: Real,
    way: Real,
    k: float,
    towards: Any,
) -> list[Complex]:
    """As at_shore; towards (M,): whether the wave is taken as one that goes out over the far ground."""
    rows = axes(shore.bearing)
    out, up = way @ rows[1], way[:, 2]
    seaward = towards[:, None]
    away = np.where(seaward, 1, -1) * (shore.distance - place @ rows[1])
    height, out, up = place[:, 2], np.where(seaward, 1, -1) * out[:, None], up[:, None]
    over_near = beyond(away, height, out, up, k)
    over_far = over_near if shore.drop == 0 else beyond(away, height + shore.drop, out, up, k)
    # seaward the far ground lies beyond the line, landward the near one
    near_share, far_share = np.where(seaward, 1 - over_near, over_near), np.where(seaward, over_far, 1 - over_far)
    far_share = far_share * np.exp(-2j * k * shore.drop * up)
    parts = []
    for r_near, r_far, sides in zip(near, far, (("along", "up"), ("across",)), strict=True):
        r1, r2 = r_near[:, None], r_far[:, None]
        waves = _edge_waves(away, height, out, up, k, np.where(seaward, r1, r2), np.where(seaward, r2, r1), sides)
        parts += [r1 * near_share + r2 * far_share + wave for wave in waves]
    return parts


def _edge_waves(
    away: Real, height: Real, out: Real, up: Real, k: float, first: Complex, second: Complex, sides: tuple[str, ...]
) -> list[Complex]:
    """What the edge adds to physical optics, (M, N), for each of the currents named in sides.

    away (M, N), height (N,), out, up (M, 1): as in `beyond`. first, second (M, 1): reflection before and beyond it.
    """
    q = np.hypot(out, up)
    b, kr = np.arctan2(up, out), np.maximum(k * q * np.hypot(away, height), LEAST_KR)
    a = np.arctan2(height, away)
    a = np.where(np.abs(a - b) < 1e-4, b + 2e-4, a)
    sin, askew = np.sin(b), (1 - q * q) / (q * q)  # askew: of the level wave number along the edge over that across it
    level = np.cos(b) ** 2 + askew
    d = sin * (1 - first) / np.where(np.abs(1 + first) < 1 / HARDEST, 1 / HARDEST, 1 + first)
    d = np.where(np.abs(d - sin) < 1e-3, sin + 1e-3j, d)
    surface = -np.arcsin(d)
    lag, root = np.exp(-1j * kr * (1 - np.cos(b - a))), TURN * np.sqrt(2 * kr)

    def pole(t: Complex) -> tuple[Complex, Complex]:
        half = np.sin((t - a) / 2)
        w = root * half
        w = np.where(w.real >= 0, w, -w)
        return half, np.where(half.real * TURN.real - half.imag * TURN.imag >= 0, 0.5, -0.5) * lag * scipy.special.wofz(
            1j * w
        )

    half_b = np.sin((b - a) / 2)
    half_direct, direct = pole(-b)
    half_surface, running = pole(surface)
    c_direct = (sin + d) / (d - sin)
    c_surface = d * (sin + d) / (np.cos(surface) * (np.cos(surface) - np.cos(b)))
    h = -(sin + d) * np.sin(a) / ((np.sin(a) + d) * (np.cos(a) - np.cos(b)))
    smooth = lag * np.sqrt(2 * np.pi / kr) * TURN / (-2j * np.pi)
    weights = {  # of a wave that leaves the current at another angle than b, relative to one that leaves at b
        "along": (-1.0, -d / sin, np.sin(a) / sin),
        "up": tuple((np.cos(t) * np.cos(b) + askew) / level for t in (-b, surface, a)),
        "across": (1.0, 1.0, 1.0),
    }
    waves = []
    for side in sides:
        w_direct, w_surface, w_edge = weights[side]
        one, two = c_direct * w_direct, c_surface * w_surface
        rest = h * w_edge + 1 / (2 * half_b) + one / (2 * half_direct) + two / (2 * half_surface)
        waves.append((second - first) * (one * direct + two * running + smooth * rest))
    return waves
