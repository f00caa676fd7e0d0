"""The far field over soil, and the figures of a pattern.

Far field of the solved currents: direct wave plus the wave the ground reflects; gain in any direction.

With p = t I ds a current moment at (x, y, z), h the horizontal unit vector towards the bearing b and e the elevation,

    E_theta = c sum[ sin e (p.h) (D - Rtm M) - cos e p_z (D + Rtm M) ]        c = -j k eta/(4 pi)
    E_phi   = c sum[ (p.phi) (D + Rte M) ]
    D, M    = exp(j k (x h_x + y h_y) cos e) exp(+-j k z sin e)

Rtm and Rte are the plane-wave coefficients (Fresnel's; of layers: ground.py): perfect ground 1 and -1, free space 0.
Over real soil the field falls to zero at the horizon: what is left there is a surface wave, no part of the far field.
A shore, a slope or a hill (terrain.py) changes M segment by segment, or turns the directions.
(Two-ray far field over a plane earth: Jordan and Balmain, 2nd ed., ch. 16, from memory.)

Directions: elevation up from the horizon, azimuth clockwise from north, rad. Volts and amps are rms throughout.

Figures of a pattern: cuts, where the gain peaks, how wide the lobe is, what goes backward.

Gains are dBi relative to the power that enters the wire (far_field.gain). Directions: elevation up from the horizon,
azimuth clockwise from north, rad.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import ETA0, Complex, Real, legendre, wave_number
from tautwire.model.errors import InputError
from tautwire.model.fields.terrain import LEVEL, LOWEST, Terrain, at_shore, axes, beyond, over_brow, ways
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.segments import Segments, shape

# --- Far field of the solved currents.


POINTS = 3  # Gauss points a segment; segments are far below a wavelength
BLOCK = 1_000_000  # directions times points handled at once
TOGETHER = 1 / 12  # wavelengths of wire that share what an edge does to them


def moments(seg: Segments, current: Complex, points: int = POINTS) -> tuple[Real, Complex]:
    """Point moments that stand for a current, quadratic along each segment.

    current (N,): A at segment centres. Returns places (N points, 3), m, and moments (N points, 3), A m.
    """
    x, w = legendre(points)
    amps = (seg.current @ current) @ shape(x) * (w / 2)
    place = seg.centre[:, None] + seg.vector[:, None] * (x / 2)[:, None]
    return place.reshape(-1, 3), (amps[..., None] * seg.vector[:, None]).reshape(-1, 3)


def fresnel(ground: Ground, f_hz: float, elevation: Real) -> tuple[Complex, Complex]:
    """Rtm, Rte of plane waves that leave the ground at these elevations (rad), f_hz in Hz; shape of elevation.

    Rtm is that of the magnetic field (vertical polarisation), Rte that of the electric field (horizontal).
    """
    sin, cos = np.sin(elevation), np.cos(elevation)
    if ground.is_free_space:
        return np.zeros(sin.shape, complex), np.zeros(sin.shape, complex)
    if ground.is_perfect:
        return np.ones(sin.shape, complex), -np.ones(sin.shape, complex)
    return ground.stack(f_hz).scaled(wave_number(f_hz)).reflection(cos.astype(complex), 1j * sin)


def far_field(
    solution: Solution, elevation: ArrayLike, azimuth: ArrayLike, terrain: Terrain = LEVEL
) -> tuple[Complex, Complex]:
    """E_theta, E_phi: r E exp(jkr) for 1 V at the feed, volts, in the broadcast shape of elevation and azimuth (rad).

    theta grows from the zenith down, phi anticlockwise seen from above. terrain: what lies around; it shapes the far
    field only, so the currents stay those over the solution's ground. Raises InputError for a direction below the
    horizon unless in free space, or beyond 90 degrees.
    """
    ground, k = solution.ground, wave_number(solution.f_hz)
    up, bearing = np.broadcast_arrays(np.asarray(elevation, dtype=float), np.asarray(azimuth, dtype=float))
    lowest = -np.pi / 2 if ground.is_free_space else 0.0
    if up.size and not (up.min() >= lowest - 1e-9 and up.max() <= np.pi / 2 + 1e-9 and np.isfinite(bearing).all()):
        bad = up.min() if up.min() < lowest else up.max()
        allowed = f"from {np.degrees(lowest):g} to 90 degrees, with a finite azimuth"
        raise InputError("elevation", f"{np.degrees(bad):.6g} degrees", allowed)
    shape, up, bearing = up.shape, np.clip(up.ravel(), lowest, np.pi / 2), bearing.ravel()
    place, p = moments(solution.segments, solution.current)
    theta, phi = np.empty(up.size, complex), np.empty(up.size, complex)
    level = terrain.is_level or ground.is_free_space
    step = max(1, BLOCK // len(place) // (1 if level else 4))
    for at in range(0, up.size, step):
        some = slice(at, at + step)
        if level:
            theta[some], phi[some] = _block(ground, solution.f_hz, k, place, p, up[some], bearing[some])
        else:
            theta[some], phi[some] = _over_terrain(terrain, ground, solution.f_hz, place, p, up[some], bearing[some])
    return theta.reshape(shape), phi.reshape(shape)


def _block(
    ground: Ground, f_hz: float, k: float, place: Real, p: Complex, up: Real, bearing: Real
) -> tuple[Complex, Complex]:
    sin, cos, hx, hy = np.sin(up), np.cos(up), np.sin(bearing), np.cos(bearing)
    across = np.exp(1j * k * cos[:, None] * (np.outer(hx, place[:, 0]) + np.outer(hy, place[:, 1])))
    rise = np.exp(1j * k * np.outer(sin, place[:, 2]))
    sums = (across * rise) @ p
    c = -1j * k * ETA0 / (4 * np.pi)
    along, round_, vertical = _parts(sums, hx, hy)
    theta, phi = sin * along - cos * vertical, round_
    if not ground.is_free_space:
        rtm, rte = fresnel(ground, f_hz, up)
        along, round_, vertical = _parts((across * rise.conj()) @ p, hx, hy)
        theta = theta - rtm * (sin * along + cos * vertical)
        phi = phi + rte * round_
    return c * theta, c * phi


def _parts(sums: Complex, hx: Real, hy: Real) -> tuple[Complex, Complex, Complex]:
    """Components of moment sums (M, 3) along the bearing, anticlockwise across it, and up."""
    return sums[:, 0] * hx + sums[:, 1] * hy, sums[:, 1] * hx - sums[:, 0] * hy, sums[:, 2]


def _over_terrain(
    terrain: Terrain, ground: Ground, f_hz: float, place: Real, p: Complex, up: Real, bearing: Real
) -> tuple[Complex, Complex]:
    """As _block, with what the terrain makes of it. On a site that slopes, places and moments are in its own axes."""
    k, tilt = wave_number(f_hz), terrain.tilt
    way = ways(np.maximum(up, LOWEST), bearing)
    basis = np.stack([-_rise(way), _round(way)])  # theta and phi, (2, M, 3)
    if tilt is not None:
        way, basis = way @ tilt.T, basis @ tilt.T
    starts = _groups(place, TOGETHER * 2 * np.pi / k)
    centre = np.add.reduceat(place, starts) / np.diff([*starts, len(place)])[:, None]
    mirrored = centre * [1, 1, -1]
    # sums of each group's moments, (M, N, 3)
    direct, image = (_group_sums(k, way, at, p, starts) for at in (place, place * [1, 1, -1]))
    reach = np.arcsin(np.clip(way[:, 2], np.sin(LOWEST), 1))
    rtm, rte = fresnel(ground, f_hz, reach)
    along, up_, across = rtm[:, None], rtm[:, None], rte[:, None]
    slope = terrain.slope
    if terrain.shore is not None:
        mix = at_shore(terrain.shore, (rtm, rte), fresnel(terrain.shore.ground, f_hz, reach), centre, way, k)
        along, up_, across = mix.rtm_along, mix.rtm_up, mix.rte
    elif slope is not None and slope.distance is not None:
        rows = axes(slope.bearing)
        share = 1 - beyond(slope.distance - centre @ rows[1], centre[:, 2], *_across(way, rows), k)
        along, up_, across = along * share, up_ * share, across * share
    over: tuple[Complex | float, Complex | float] = (1.0, 1.0)
    if terrain.hill is not None:
        turn = np.eye(3) if tilt is None else tilt  # the brow is level in the true axes
        over = (
            over_brow(terrain.hill, centre @ turn, way @ turn, k),
            over_brow(terrain.hill, mirrored @ turn, way @ turn, k),
        )
    field = (direct * _column(over[0])).sum(axis=1)
    field = field + _reflected(way, image, *(_column(x * over[1]) for x in (along, up_, across)))
    if slope is not None and slope.distance is not None:
        rows, start = axes(slope.bearing, slope.fall), slope.distance * axes(slope.bearing)[1]
        inner, turned = (centre - start) @ rows.T, way @ rows.T
        low = (((place - start) @ rows.T) * [1, 1, -1]) @ rows + start  # its image in the falling plane
        sums = _group_sums(k, way, low, p, starts) @ rows.T
        share = beyond(-inner[:, 1], inner[:, 2], turned[:, 1:2], np.maximum(turned[:, 2:], np.sin(LOWEST)), k)
        rtm, rte = fresnel(ground, f_hz, np.arcsin(np.clip(turned[:, 2], np.sin(LOWEST), 1)))
        more = (_column(x[:, None] * share * over[1]) for x in (rtm, rtm, rte))
        field = field + _reflected(turned, sums, *more) @ rows
    if tilt is not None:
        field = np.where(way[:, 2:] > 0, field, 0)
    c = -1j * k * ETA0 / (4 * np.pi)
    theta, phi = (c * (field * axis).sum(axis=-1) for axis in basis)
    return theta, phi


def _groups(place: Real, reach: float) -> list[int]:
    """Where groups of neighbouring points (P, 3) begin, none of them farther than reach, m, from its first."""
    starts = [0]
    for i, at in enumerate(place):
        if np.linalg.norm(at - place[starts[-1]]) > reach:
            starts.append(i)
    return starts


def _group_sums(k: float, way: Real, place: Real, p: Complex, starts: list[int]) -> Complex:
    waves = np.exp(1j * k * (way @ place.T))
    return np.stack([np.add.reduceat(waves * p[:, i], starts, axis=1) for i in range(3)], axis=-1)


def _column(share: Complex | float) -> Any:
    return share if isinstance(share, float) else share[..., None]


def _across(way: Real, rows: Real) -> tuple[Real, Real]:
    part = way @ rows.T
    return part[:, 1:2], part[:, 2:]


def _rise(way: Real) -> Real:
    """Unit vectors opposite to theta, that is, upwards across each way; (M, 3)."""
    level = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-30)
    return np.stack([-way[:, 0] * way[:, 2] / level, -way[:, 1] * way[:, 2] / level, level], axis=-1)


def _round(way: Real) -> Real:
    """Unit vectors along phi, anticlockwise; (M, 3)."""
    level = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-30)
    return np.stack([-way[:, 1] / level, way[:, 0] / level, np.zeros(len(way))], axis=-1)


def _reflected(way: Real, sums: Complex, along: Any, up: Any, across: Any) -> Complex:
    """Reflected moments as vectors (M, 3) across each way. sums (M, N, 3): of images; along, up, across: reflection of
    their parts, with a last axis of one."""
    level = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-30)
    h = way[:, :2] / level[:, None]
    ahead = sums[..., 0] * h[:, 0:1] + sums[..., 1] * h[:, 1:2]
    aside = sums[..., 1] * h[:, 0:1] - sums[..., 0] * h[:, 1:2]
    sin, cos = way[:, 2:], level[:, None]
    theta = -(along[..., 0] * sin * ahead + up[..., 0] * cos * sums[..., 2]).sum(axis=1)
    phi = (across[..., 0] * aside).sum(axis=1)
    return np.asarray(-theta[:, None] * _rise(way) + phi[:, None] * _round(way))


def intensity(solution: Solution, elevation: ArrayLike, azimuth: ArrayLike, terrain: Terrain = LEVEL) -> Real:
    """Power per solid angle, W/sr, for 1 V at the feed; arguments as in far_field."""
    theta, phi = far_field(solution, elevation, azimuth, terrain)
    return (np.abs(theta) ** 2 + np.abs(phi) ** 2) / ETA0


def gain(
    solution: Solution,
    elevation: ArrayLike,
    azimuth: ArrayLike,
    power: float | None = None,
    terrain: Terrain = LEVEL,
) -> Real:
    """Power gain, a ratio: 4 pi intensity over the power that enters the wire at its feed.

    power: what to count as that power, W for 1 V at the feed (default V times I; PowerBalance.accounted is better
    where the two differ). Soil, wire and choke loss are counted; transformer, coax and mismatch are not: for the gain
    from the radio multiply by feed.PowerSplit.wire. Directions and terrain as in far_field.
    """
    watts = solution.admittance.real if power is None else power
    return 4 * np.pi * intensity(solution, elevation, azimuth, terrain) / watts


def sphere(ground: Ground, f_hz: float, reach: float) -> tuple[Real, Real, Real]:
    """Quadrature over all directions power can leave to: elevation (E, 1), azimuth (1, A), weight (E, A) in sr.

    reach: greatest distance of a current from the vertical axis through the origin or from the ground, m. Elevations
    crowd towards the horizon, where soil bends the pattern sharply.
    """
    waves = wave_number(f_hz) * reach
    count = int(24 + waves)
    x, w = legendre(count)
    if ground.is_free_space:
        sin, weight = x, w
    else:
        t = (x + 1) / 2
        sin, weight = t * t, t * w  # sin e = t^2: d(sin e) = 2 t dt
    around = int(16 + 2 * np.ceil(waves) + 2)
    azimuth = 2 * np.pi * np.arange(around) / around
    return np.arcsin(sin)[:, None], azimuth[None, :], np.tile(weight[:, None] * 2 * np.pi / around, (1, around))


def radiated(solution: Solution) -> float:
    """Power in the far field, W for 1 V at the feed: the intensity integrated over the sky (free space: all round)."""
    c = solution.segments.centre
    reach = float(max(np.hypot(c[:, 0], c[:, 1]).max(), np.abs(c[:, 2]).max())) + float(solution.segments.length.max())
    elevation, azimuth, weight = sphere(solution.ground, solution.f_hz, reach)
    return float((intensity(solution, elevation, azimuth) * weight).sum())


def directivity(solution: Solution, elevation: ArrayLike, azimuth: ArrayLike) -> Real:
    """4 pi intensity over radiated power, a ratio; arguments as in far_field."""
    return 4 * np.pi * intensity(solution, elevation, azimuth) / radiated(solution)


# --- Figures of a pattern.


HALF = 10 * np.log10(2)  # dB
STEP = np.radians(0.5)  # of the cuts that widths are read from
ROUND = 0.1  # dB: a cut that varies by no more has no direction


@dataclass(frozen=True, eq=False)
class Pattern:
    """power: W for 1 V at the feed that gains are relative to; None for V times I. terrain: what lies around."""

    solution: Solution
    power: float | None = None
    terrain: Terrain = LEVEL

    def dbi(self, elevation: ArrayLike, azimuth: ArrayLike) -> Real:
        """Gain, dBi, broadcast shape; -inf where there is no field, as at the horizon over soil."""
        with np.errstate(divide="ignore"):
            return 10 * np.log10(gain(self.solution, elevation, azimuth, self.power, self.terrain))

    @property
    def lowest(self) -> float:
        """Lowest elevation there is, rad."""
        return -np.pi / 2 if self.solution.ground.is_free_space else 0.0

    def elevation_cut(self, bearing: float, step: float = np.radians(1)) -> tuple[Real, Real]:
        """Angle (M,) from the horizon at bearing through the zenith to the horizon behind, 0 to pi; gain (M,), dBi.

        In free space all round, 0 to 2 pi.
        """
        round_ = (2 if self.solution.ground.is_free_space else 1) * np.pi
        angle = np.linspace(0, round_, round(round_ / step) + 1)
        return angle, self.dbi(np.arcsin(np.sin(angle).clip(-1, 1)), bearing + np.pi * (np.cos(angle) < 0))

    def azimuth_cut(self, elevation: float, step: float = np.radians(2)) -> tuple[Real, Real]:
        """Azimuth (M,) from 0 to 2 pi and gain (M,), dBi."""
        azimuth = np.linspace(0, 2 * np.pi, round(2 * np.pi / step) + 1)
        return azimuth, self.dbi(elevation, azimuth)

    @cached_property
    def peak(self) -> tuple[float, float, float]:
        """Gain (dBi), elevation and azimuth (rad) of the strongest direction; azimuth nan if all are as strong."""
        up = np.arange(self.lowest, np.pi / 2 + 1e-9, np.radians(2))
        round_ = np.arange(0, 2 * np.pi, np.radians(4))
        best, e, a, reach = -np.inf, up, round_, np.radians([2, 4])
        for _ in range(6):
            grid = self.dbi(e[:, None], a[None, :])
            i, j = np.unravel_index(strongest(grid), grid.shape)
            best, at, bearing = float(grid[i, j]), float(e[i]), float(a[j])
            e = np.clip(at + reach[0] * np.linspace(-1, 1, 7), self.lowest, np.pi / 2)
            a = bearing + reach[1] * np.linspace(-1, 1, 7)
            reach = reach / 3
        around = self.azimuth_cut(at)[1]
        return best, at, np.nan if np.ptp(around) < ROUND else bearing % (2 * np.pi)

    def front_to_back(self, bearing: float, elevation: float) -> float:
        """Gain at that elevation towards bearing over the gain behind, dB; nan where there is neither."""
        front, back = self.dbi(elevation, np.array([bearing, bearing + np.pi]))
        return float(front - back) if np.isfinite([front, back]).any() else np.nan

    @cached_property
    def half_power_elevation(self) -> float:
        """Width of the strongest lobe in the vertical plane through its peak, rad; through the zenith if it goes so."""
        _, at, bearing = self.peak
        angle, dbi = self.elevation_cut(0.0 if np.isnan(bearing) else bearing, STEP)
        return _width(angle, dbi, at % (2 * np.pi), self.solution.ground.is_free_space)

    @cached_property
    def half_power_azimuth(self) -> float:
        """Width of the strongest lobe at the peak's elevation, rad; 2 pi if it never falls by half."""
        _, at, bearing = self.peak
        if np.isnan(bearing):
            return 2 * np.pi
        azimuth, dbi = self.azimuth_cut(at, STEP)
        return _width(azimuth, dbi, bearing, closed=True)


def strongest(dbi: Real) -> int:
    """Flat index of the greatest gain (dB); of directions as strong but for rounding, such as mirrored ones, the first.

    >>> strongest(np.array([0.0, 2.0, 1.0, 2.0 + 1e-12]))
    1
    """
    return int((dbi >= dbi.max() - 1e-9).argmax())


def _width(angle: Real, dbi: Real, at: float, closed: bool) -> float:
    """How far around `at` the cut stays within 3 dB of its value there; linear between samples.

    closed: the cut goes once round, its last sample being the first.
    """
    middle = int(np.abs(angle - at).argmin())
    down = dbi[middle] - HALF
    step = angle[1] - angle[0]
    if closed:
        one = dbi[:-1]
        if (one > down).all():
            return 2 * np.pi
        right = np.roll(one, -middle)
        left = right[np.r_[0, len(one) - 1 : 0 : -1]]
    else:
        right, left = dbi[middle:], dbi[middle::-1]
    return float(step * (_fall(right, down) + _fall(left, down)))


def _fall(side: Real, level: float) -> float:
    """Samples from the start to where a side first falls to level; its whole length if it does not."""
    under = np.flatnonzero(side <= level)
    if not len(under):
        return len(side) - 1.0
    i = int(under[0])
    if i == 0 or not np.isfinite(side[i]):
        return float(i)
    return i - 1 + float((side[i - 1] - level) / (side[i - 1] - side[i]))
