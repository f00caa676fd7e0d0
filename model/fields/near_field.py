"""Electric and magnetic fields close to the wires, over soil.

Three parts are added up. The wires themselves: line integrals over each segment of the field of its current and of its
charge, which is the current's slope (mixed potentials, exact for a current that is continuous, as here; Harrington,
Field Computation by Moment Methods, ch. 4, from memory). The quasi-static image, the same with mirrored segments and
kappa = (n2 - 1)/(n2 + 1); kappa = 1 is a perfect ground. The remainder of the Sommerfeld field: E from the kernels
of soil_table.py, H from curl E = -j w mu0 H with the slopes of the same kernels, differentiated term by term.

    E_rho = cv Vr pz + ch A p.rho        E_phi = ch B p.phi        E_z = cv (Vz pz - Vr p.rho)

p: current moment. Limits: thin wires on their axes, so no closer than CLOSE to any; flat soil; no body in the field.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.polynomial.chebyshev import chebder
from scipy.spatial.distance import cdist

from tautwire.model.basics import ETA0, Complex, Real, legendre, wave_number
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import Ground
from tautwire.model.soil.soil_table import BEND, R_LYING, R_MIN, SoilTable, soil_table, table_reach
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.segments import Segments, shape, shape_slope

CLOSE = 0.05  # m, least distance to the axis of a conductor
LOWEST_POINT = 0.01  # m above soil
DIRECT = ((8.0, 2), (3.0, 4), (1.0, 8), (0.3, 20), (0.1, 48), (0.0, 128))  # distance/length from .., Gauss points
REST = ((10.0, 1), (3.0, 2), (0.0, 8))  # the same for the remainder, distance to the image
CHUNK = 400_000  # pairs of a point and a segment at a time
ON_AXIS = 0.02  # rho/R below which Vr/rho is its limit, dVr/drho


@dataclass(frozen=True, eq=False)
class Fields:
    """E (V/m) and H (A/m), each (M, 3), complex; rms values when the current they come from is rms."""

    e: Complex
    h: Complex

    @property
    def e2(self) -> Real:
        """(M,) sum of the squared magnitudes of the components of E: its rms square over time."""
        return (np.abs(self.e) ** 2).sum(-1)

    @property
    def h2(self) -> Real:
        """(M,) the same of H."""
        return (np.abs(self.h) ** 2).sum(-1)


@dataclass(frozen=True, eq=False)
class NearField:
    """Sources of a field. current (N,): A at the segments' centres."""

    f_hz: float
    segments: Segments
    current: Complex
    ground: Ground
    _tables: dict[float, "_Remainder"] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, solution: Solution, power_w: float | None = None) -> "NearField":
        """The field of a solution for 1 V at the feed, or for power_w (W) into it: then rms."""
        scale = 1.0 if power_w is None else math.sqrt(power_w / solution.admittance.real)
        return cls(solution.f_hz, solution.segments, solution.current * scale, solution.ground)

    @property
    def k(self) -> float:
        """Wave number in air, 1/m."""
        return wave_number(self.f_hz)

    @property
    def amps(self) -> Complex:
        """(N, 3) current at the start, centre and end of each segment."""
        return np.asarray(self.segments.current @ self.current)

    def at(self, points: Real) -> Fields:
        """Fields at points (M, 3), m. Raises InputError for points under ground or closer than CLOSE to a conductor."""
        points = np.atleast_2d(np.asarray(points, dtype=float))
        seg, amps, parts = self.segments, self.amps, []
        soil = not self.ground.is_free_space
        if soil and len(points) and points[:, 2].min() < LOWEST_POINT - 1e-12:
            raise InputError("point, height", f"{points[:, 2].min():.4g} m", f"{LOWEST_POINT} m or more above soil")
        image = seg.mirrored
        rest = self._remainder(points) if soil and not self.ground.is_perfect else None
        for part in np.array_split(points, max(1, math.ceil(len(points) * len(seg.centre) / CHUNK))):
            if len(part) == 0:
                continue
            gap = distance(part, seg)
            if gap.min() < CLOSE:
                allowed = f"{CLOSE} m or more from the axis of any conductor"
                raise InputError("point", f"{gap.min():.3g} m from a conductor", allowed)
            eh = _wires(part, seg, amps, self.k, gap)
            if soil:
                eh = eh - self.ground.kappa(self.f_hz) * _wires(part, image, amps, self.k, distance(part, image))
            if rest is not None:
                eh = eh + rest.fields(part, seg, amps)
            parts.append(eh)
        total = np.concatenate(parts) if parts else np.zeros((0, 6), complex)
        return Fields(total[:, :3], total[:, 3:])

    def _remainder(self, points: Real) -> "_Remainder":
        """Its table, made long enough for these points."""
        ends = np.concatenate([points, self.segments.centre]) if len(points) else self.segments.centre
        span = float(np.linalg.norm(np.ptp(ends, axis=0))) + 2 * float(ends[:, 2].max()) + 1
        reach = table_reach(span)
        if reach not in self._tables:
            nearest = R_MIN if ends[:, 2].min() >= R_MIN - LOWEST_POINT else R_LYING
            self._tables[reach] = _Remainder(soil_table(self.f_hz, self.ground, nearest, reach))
        return self._tables[reach]


def distance(points: Real, seg: Segments) -> Real:
    """(M, N) distance of points (M, 3) to segments, m."""
    gap = points[:, None] - seg.centre
    along = np.einsum("mnx,nx->mn", gap, seg.vector) / seg.length**2
    off = gap - np.clip(along, -0.5, 0.5)[..., None] * seg.vector
    return np.asarray(np.linalg.norm(off, axis=-1))


def _in_classes(gap: Real, length: Real, classes: tuple[tuple[float, int], ...]) -> list[tuple[np.ndarray, int]]:
    """Masks (M, N) of the pairs whose distance over segment length falls in each class, with its number of points."""
    ratio = gap / length
    upper, out = np.inf, []
    for lower, count in classes:
        out.append(((ratio >= lower) & (ratio < upper), count))
        upper = lower
    return [(mask, count) for mask, count in out if mask.any()]


def _wires(points: Real, seg: Segments, amps: Complex, k: float, gap: Real) -> Complex:
    """E and H (M, 6) at points (M, 3) of currents amps (N, 3) in free space."""
    (far, few), *_ = DIRECT
    total = _far_lines(points, seg, amps, k, few, gap < far * seg.length)
    for mask, count in _in_classes(gap, seg.length, DIRECT):
        if count > few:
            i, j = np.nonzero(mask)
            np.add.at(total, i, _line(points[i] - seg.centre[j], seg.vector[j], amps[j], k, count))
    return total


def _far_lines(points: Real, seg: Segments, amps: Complex, k: float, count: int, near: np.ndarray) -> Complex:
    """The same of all pairs but those that are near (M, N): as matrix products, which need two numbers a pair only.

    With d = point - source, E holds sums of g I t and of s I' d, H sums of s I t x d; d is taken apart.
    """
    total = np.zeros((len(points), 6), complex)
    for x, w in zip(*legendre(count), strict=True):
        source = seg.centre + seg.vector * (x / 2)
        r = cdist(points, source)
        kr = k * r
        g = np.empty(r.shape, complex)
        with np.errstate(divide="ignore", invalid="ignore"):  # a near pair may have no distance
            size = np.where(near, 0.0, w / (8 * np.pi) / r)
            g.real, g.imag = np.cos(kr) * size, -np.sin(kr) * size
            s = np.where(near, 0.0, (1 + 1j * kr) * g / r**2)
        moment = (amps @ shape(x))[:, None] * seg.vector
        slope = (amps @ shape_slope(x) * 2)[:, None]  # dI/ds times the segment's length
        sums = s @ np.concatenate([slope, slope * source, moment, np.cross(moment, source)], axis=1)
        charge = sums[:, :1] * points - sums[:, 1:4]
        total[:, :3] += -1j * ETA0 * k * (g @ moment) + 1j * ETA0 / k * charge
        total[:, 3:] += np.cross(sums[:, 4:7], points) - sums[:, 7:]
    return total


def _line(gap: Real, vector: Real, amps: Complex, k: float, count: int) -> Complex:
    """E and H (P, 6) at gap (P, 3) from the centres of segments vector (P, 3), current through amps (P, 3)."""
    total = np.zeros((len(gap), 6), complex)
    for x, w in zip(*legendre(count), strict=True):
        d = gap - vector * (x / 2)
        r = np.linalg.norm(d, axis=1)
        g = np.exp(-1j * k * r) / r * (w / (8 * np.pi))
        s = (1 + 1j * k * r) * g / r**2
        current = amps @ shape(x)
        slope = amps @ shape_slope(x) * 2  # dI/ds times the segment's length
        total[:, :3] += (-1j * ETA0 * k * current * g)[:, None] * vector + (1j * ETA0 / k * slope * s)[:, None] * d
        total[:, 3:] += (current * s)[:, None] * np.cross(vector, d)
    return total


class _Remainder:
    """E and H of the remainder, from a soil table and the tables of its slopes."""

    def __init__(self, table: SoilTable) -> None:
        self.table = table
        c = table.coefficients
        span = np.diff(np.log(table.edges))[:, None, None, None]
        by_log_r, by_x = np.zeros_like(c), np.zeros_like(c)  # (pieces, angle, 4, R)
        by_log_r[..., :-1] = chebder(c, axis=3) * (2 / span)
        by_x[:, :-1] = chebder(c, axis=1)
        self._all = replace(table, coefficients=np.concatenate([c, by_log_r, by_x], axis=2))

    def kernels(self, rho: Real, zeta: Real) -> tuple[Complex, Complex, Complex]:
        """The kernels Vz, Vr, A, B (4, M) and their slopes along k rho and k zeta."""
        x, z = self.table.k * rho, self.table.k * zeta
        r, angle = np.hypot(x, z), np.arctan2(z, x)
        v, by_log_r, by_x = np.split(self._all.kernels(rho, zeta), 3)
        v_r = by_log_r / r - (1j + 1 / r) * v
        stretch = np.expm1(BEND) * 2 / np.pi
        v_angle = by_x * (2 / BEND * stretch / (1 + angle * stretch))
        return v, (x * v_r - z / r * v_angle) / r, (z * v_r + x / r * v_angle) / r

    def fields(self, points: Real, seg: Segments, amps: Complex) -> Complex:
        """E and H (M, 6) at points (M, 3) of currents amps (N, 3)."""
        gap = seg.image_distance(points)
        values = np.zeros((*gap.shape, 6), complex)
        for mask, count in _in_classes(gap, seg.length, REST):
            i, j = np.nonzero(mask)
            for x, w in zip(*legendre(count), strict=True):
                source = seg.centre[j] + seg.vector[j] * (x / 2)
                shares = shape(x) if count > 1 else np.array([1, 4, 1]) / 6
                moment = seg.vector[j] * (amps[j] @ shares * (w / 2))[:, None]
                values[i, j] += self.element(points[i], source, moment)
        return np.asarray(values.sum(axis=1))

    def element(self, points: Real, source: Real, moment: Complex) -> Complex:
        """E and H (P, 6) at points of current moments (A m) at source, each (P, 3)."""
        k = self.table.k
        gap, zeta = points - source, points[:, 2] + source[:, 2]
        rho = np.hypot(gap[:, 0], gap[:, 1])
        safe = np.maximum(rho, 1e-12)
        ux, uy = np.where(rho < 1e-12, 1.0, gap[:, 0] / safe), np.where(rho < 1e-12, 0.0, gap[:, 1] / safe)
        v, by_rho, by_zeta = self.kernels(rho, zeta)
        vz, vr, a, b = v
        axis = rho < ON_AXIS * np.hypot(rho, zeta)
        over_rho = 1 / np.where(axis, np.inf, k * safe)
        vr_rho = np.where(axis, by_rho[1], vr * over_rho)
        pz = moment[:, 2]
        along, across = moment[:, 0] * ux + moment[:, 1] * uy, moment[:, 1] * ux - moment[:, 0] * uy
        cv, ch = ETA0 * k**2 / (4j * np.pi), -ETA0 * k**2 / (4 * np.pi)
        e = cv * vr * pz + ch * a * along, ch * b * across, cv * (vz * pz - vr * along)
        h = (
            -(cv * vr_rho + ch * by_zeta[3]) * across,
            (ch * by_zeta[2] + cv * by_rho[1]) * along + cv * (by_zeta[1] - by_rho[0]) * pz,
            -ch * ((a - b) * over_rho - by_rho[3]) * across,
        )
        scale = 1j / ETA0  # j curl E/(eta k), the slopes being along k rho
        return np.stack([*_cartesian(e, ux, uy), *(scale * part for part in _cartesian(h, ux, uy))], axis=-1)


def _cartesian(v: tuple[Complex, Complex, Complex], ux: Real, uy: Real) -> tuple[Complex, Complex, Complex]:
    """x, y, z of rho, phi, z."""
    return v[0] * ux - v[1] * uy, v[0] * uy + v[1] * ux, v[2]
