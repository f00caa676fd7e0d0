"""Far field of the solved currents: direct wave plus the wave the ground reflects; gain in any direction.

With p = t I ds a current moment at (x, y, z), h the horizontal unit vector towards the bearing b and e the elevation,

    E_theta = c sum[ sin e (p.h) (D - Rtm M) - cos e p_z (D + Rtm M) ]        c = -j k eta/(4 pi)
    E_phi   = c sum[ (p.phi) (D + Rte M) ]
    D, M    = exp(j k (x h_x + y h_y) cos e) exp(+-j k z sin e)

Rtm and Rte are the plane-wave coefficients (Fresnel's; of layers: stack.py): perfect ground 1 and -1, free space 0.
Over real soil the field falls to zero at the horizon: what is left there is a surface wave, no part of the far field.
(Two-ray far field over a plane earth: Jordan and Balmain, 2nd ed., ch. 16, from memory.)

Directions: elevation up from the horizon, azimuth clockwise from north, rad. Volts and amps are rms throughout.
"""

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import ETA0
from tautwire.model.errors import InputError
from tautwire.model.frequencies import wave_number
from tautwire.model.quadrature import legendre
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.segments import Segments, shape

POINTS = 3  # Gauss points a segment; segments are far below a wavelength
BLOCK = 1_000_000  # directions times points handled at once


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


def far_field(solution: Solution, elevation: ArrayLike, azimuth: ArrayLike) -> tuple[Complex, Complex]:
    """E_theta, E_phi: r E exp(jkr) for 1 V at the feed, volts, in the broadcast shape of elevation and azimuth (rad).

    theta grows from the zenith down, phi anticlockwise seen from above. Raises InputError for a direction below the
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
    step = max(1, BLOCK // len(place))
    for at in range(0, up.size, step):
        some = slice(at, at + step)
        theta[some], phi[some] = _block(ground, solution.f_hz, k, place, p, up[some], bearing[some])
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


def intensity(solution: Solution, elevation: ArrayLike, azimuth: ArrayLike) -> Real:
    """Power per solid angle, W/sr, for 1 V at the feed; arguments as in far_field."""
    theta, phi = far_field(solution, elevation, azimuth)
    return (np.abs(theta) ** 2 + np.abs(phi) ** 2) / ETA0


def gain(solution: Solution, elevation: ArrayLike, azimuth: ArrayLike, power: float | None = None) -> Real:
    """Power gain, a ratio: 4 pi intensity over the power that enters the wire at its feed.

    power: what to count as that power, W for 1 V at the feed (default V times I; PowerBalance.accounted is better
    where the two differ). Soil, wire and choke loss are counted; transformer, coax and mismatch are not: for the gain
    from the radio multiply by feed.PowerSplit.wire. Directions as in far_field.
    """
    watts = solution.admittance.real if power is None else power
    return 4 * np.pi * intensity(solution, elevation, azimuth) / watts


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
