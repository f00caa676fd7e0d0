"""What a real soil adds to the impedance matrix beyond the quasi-static image: Zrest.

Zrest_ij = - length_i t_i . E(centre of segment i; unit current on segment j)

The current is continuous: on each segment the quadratic through its values at start, centre and end. Centre values are
the unknowns; it is zero at a free end, and where segments meet it obeys Kirchhoff's law.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import ETA0
from tautwire.model.errors import InputError
from tautwire.model.quadrature import legendre
from tautwire.model.remember import Remember, compute_always, key_of
from tautwire.model.soil.ground import Ground
from tautwire.model.soil.soil_table import SoilTable, soil_table, table_reach

Point = tuple[float, float, float]
FAR_POINTS, NEAR_POINTS = 2, 8  # Gauss points on a source segment
NEAR = 3.0  # a pair closer than this many source lengths, counted to the image, is near


@dataclass(frozen=True, eq=False)
class Segments:
    """N straight segments. centre (N, 3), vector (N, 3): from start to end, both m.

    current (N, 3, N): current at the start, centre and end of each segment for unit current in each segment's centre.
    """

    centre: Real
    vector: Real
    current: Real

    @property
    def length(self) -> Real:
        """(N,) m."""
        return np.linalg.norm(self.vector, axis=1)


def shape(x: ArrayLike) -> Real:
    """(3, ...): shares of start, centre and end current in the current at x, -1 (start) to 1 (end) of a segment."""
    x = np.asarray(x, dtype=float)
    return np.stack([x * (x - 1) / 2, 1 - x * x, x * (x + 1) / 2])


def shape_slope(x: ArrayLike) -> Real:
    """d shape/dx, (3, ...); dI/ds is 2/length of it."""
    x = np.asarray(x, dtype=float)
    return np.stack([x - 0.5, -2 * x, x + 0.5])


def segments(starts: Real, ends: Real, tol: float = 1e-6) -> Segments:
    """Segments from their ends, each (N, 3), m; ends closer than tol (m) are joined.

    At a joint the current of every limb is its centre value, moved by as little as makes the sum of what flows out
    zero: least sum of squares, each weighted by 1/length, which for two limbs is linear interpolation.
    Raises InputError for a segment no longer than tol.
    """
    starts, ends = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    vector = ends - starts
    length = np.linalg.norm(vector, axis=1)
    if not (length > tol).all():
        raise InputError("segment length", f"{length.min():.3g} m", f"more than {tol:.3g} m")
    n = len(starts)
    current = np.zeros((n, 3, n))
    current[np.arange(n), 1, np.arange(n)] = 1
    joint = _joints(np.concatenate([starts, ends]), tol)
    limb, outward = np.tile(np.arange(n), 2), np.repeat([1.0, -1.0], n)
    for j in np.unique(joint):
        at = np.flatnonzero(joint == j)
        if len(at) == 1:
            continue  # a free end
        s, w = limb[at], outward[at]
        value = np.eye(len(at)) - np.outer(w * length[s], w) / length[s].sum()
        current[s[:, None], np.where(w > 0, 0, 2)[:, None], s] += value
    return Segments((starts + ends) / 2, vector, current)


def leg_segments(legs: Sequence[tuple[Point, Point, int, float]]) -> Segments:
    """The segments of straight runs of equal ones: start (m), end (m), number, radius (m; not used)."""
    stops = [np.linspace(start, end, count + 1) for start, end, count, _ in legs]
    return segments(np.concatenate([s[:-1] for s in stops]), np.concatenate([s[1:] for s in stops]))


def _joints(points: Real, tol: float) -> np.ndarray:
    """A number for each point, the same for points closer than tol."""
    pairs = cKDTree(points).query_pairs(tol, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    return connected_components(graph, directed=False)[1]


def remainder_matrix(
    table: SoilTable | None, seg: Segments, far_points: int = FAR_POINTS, near_points: int = NEAR_POINTS
) -> Complex:
    """Zrest (N, N), ohm. table: of the soil and frequency; None for free space or perfect ground, which have none.

    far_points, near_points: Gauss points on a source segment. Raises InputError for segments off the table.
    """
    n = len(seg.centre)
    if table is None:
        return np.zeros((n, n), complex)
    height, every = seg.centre[:, 2], np.arange(n)
    across = np.linalg.norm(seg.centre[:, None] - seg.centre, axis=-1)
    i, j = np.nonzero(np.hypot(across, height[:, None] + height) < NEAR * seg.length)
    moment = _moments(table, seg, every[:, None], every, *legendre(far_points))
    moment[i, j] = _moments(table, seg, i, j, *_crowded(*_closest(seg, i, j), *legendre(near_points)))
    flat: Complex = moment.reshape(n, 3 * n) @ csr_array(seg.current.reshape(3 * n, n))
    return flat


def remainder_matrices(seg: Segments, f_hz: Real, ground: Ground, remember: Remember = compute_always) -> Complex:
    """Zrest (K, N, N), ohm, at each frequency of f_hz (K,), Hz; remember: where soil tables are kept."""
    farthest = np.linalg.norm(seg.centre[:, None] - seg.centre * [1, 1, -1], axis=-1).max() + seg.length.max()
    reach = table_reach(float(farthest))

    def table(f: float) -> SoilTable:
        key = key_of("soil", f, ground.stack(f), reach)
        return SoilTable.from_arrays(remember(key, lambda: soil_table(f, ground, r_max=reach).to_arrays()))

    return np.array([remainder_matrix(table(float(f)), seg) for f in f_hz])


def _moments(table: SoilTable, seg: Segments, i: np.ndarray, j: np.ndarray, x: Real, w: Real) -> Complex:
    """Voltage, ohm, along segments i from unit current at start, centre, end of segments j: (..., 3), i and j (...).

    x, w (..., points): where on (-1, 1) along j to sample, and the weights.
    """
    to, by, at = seg.vector[i][..., None, :], seg.vector[j][..., None, :], seg.centre[i][..., None, :]
    source = seg.centre[j][..., None, :] + by * (x / 2)[..., None]
    gap_x, gap_y, zeta = at[..., 0] - source[..., 0], at[..., 1] - source[..., 1], at[..., 2] + source[..., 2]
    rho = np.hypot(gap_x, gap_y)
    vz, vr, a, b = table.kernels(rho.ravel(), zeta.ravel()).reshape(4, *rho.shape)
    above = rho < 1e-12  # no direction: any will do
    safe = np.where(above, 1, rho)
    ux, uy = np.where(above, 1, gap_x / safe), gap_y / safe
    cv, ch = ETA0 * table.k**2 / (4j * np.pi), -ETA0 * table.k**2 / (4 * np.pi)
    by_rho, by_phi, by_z = by[..., 0] * ux + by[..., 1] * uy, by[..., 1] * ux - by[..., 0] * uy, by[..., 2]
    to_rho, to_phi, to_z = to[..., 0] * ux + to[..., 1] * uy, to[..., 1] * ux - to[..., 0] * uy, to[..., 2]
    field = cv * (vz * (by_z * to_z) + vr * (by_z * to_rho - by_rho * to_z))
    field += ch * (a * (by_rho * to_rho) + b * (by_phi * to_phi))
    return np.einsum("...p,s...p->...s", field * (w / -2), shape(x))


def _closest(seg: Segments, i: np.ndarray, j: np.ndarray) -> tuple[Real, Real]:
    """Where on the line of segment j (-1 its start, 1 its end) the image of the centre of i is closest, and how far
    that is in half lengths of j; (M,) each."""
    half = seg.vector[j] / 2
    to_image = seg.centre[i] * [1, 1, -1] - seg.centre[j]
    square = (half**2).sum(-1)
    at = (to_image * half).sum(-1) / square
    away = np.linalg.norm(to_image - at[:, None] * half, axis=-1) / np.sqrt(square)
    return at, np.maximum(away, 1e-3)


def _crowded(at: Real, away: Real, x: Real, w: Real) -> tuple[Real, Real]:
    """Points and weights on (-1, 1), (M, points), by x = at + away sinh(t): for functions of hypot(x - at, away)."""
    low, high = np.arcsinh((-1 - at) / away)[:, None], np.arcsinh((1 - at) / away)[:, None]
    t = (low + high) / 2 + (high - low) / 2 * x
    return at[:, None] + away[:, None] * np.sinh(t), away[:, None] * np.cosh(t) * (high - low) / 2 * w
