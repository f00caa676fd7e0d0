"""What a real soil adds to the impedance matrix beyond the quasi-static image: Zrest.

Zrest_ij = - length_i t_i . E(centre of segment i; unit current on segment j)
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import ETA0
from tautwire.model.quadrature import legendre
from tautwire.model.remember import Remember, compute_always, key_of
from tautwire.model.soil.ground import Ground
from tautwire.model.soil.soil_table import R_LYING, R_MIN, SoilTable, soil_table, table_reach
from tautwire.model.wires.segments import Segments, shape

FAR_POINTS, NEAR_POINTS = 2, 8  # Gauss points on a source segment
NEAR = 3.0  # a pair closer than this many source lengths, counted to the image, is near


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


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of segments, each once: far ones, and near ones with where to sample on the second. weight (P,): 2, or 1 of
    a segment with itself."""

    far: tuple[np.ndarray, np.ndarray]
    near: tuple[np.ndarray, np.ndarray]
    points: tuple[Real, Real]


def pairs_of(seg: Segments, near_points: int = 4) -> Pairs:
    """Pairs for `remainder_reaction` of these segments moved a little."""
    i, j = np.triu_indices(len(seg.centre))
    apart = seg.image_distance(seg.centre)[i, j]
    near = apart < NEAR * np.maximum(seg.length[i], seg.length[j])
    return Pairs((i[~near], j[~near]), (i[near], j[near]), legendre(near_points))


def remainder_reaction(table: SoilTable | None, seg: Segments, values: Complex, pairs: Pairs) -> complex:
    """I' Zrest I, siemens, of known currents, each pair of segments taken once; for changes of it, as Zrest is only
    nearly symmetric. values (N, 3): current at start, centre and end for 1 V, A."""
    total = 0j
    if table is None:
        return total
    for near, (i, j) in ((False, pairs.far), (True, pairs.near)):
        x, w = _crowded(*_closest(seg, i, j), *pairs.points) if near else legendre(1)
        moment = _moments(table, seg, i, j, x, w)
        total += complex(np.where(i == j, 1.0, 2.0) * values[i, 1] @ (moment * values[j]).sum(-1))
    return total


def remainder_matrices(
    seg: Segments, f_hz: Real, ground: Ground, remember: Remember = compute_always, raised: tuple[float, ...] = ()
) -> Complex:
    """Zrest (K, N, N), ohm, at each frequency of f_hz (K,), Hz; remember: where soil tables are kept.

    raised: as soil_table has it, further images that are not in Zrest.
    """
    reach = table_range(seg)

    def table(f: float) -> SoilTable:
        key = key_of("soil", f, ground.stack(f), raised, *reach)
        return SoilTable.from_arrays(remember(key, lambda: soil_table(f, ground, *reach, raised=raised).to_arrays()))

    return np.array([remainder_matrix(table(float(f)), seg) for f in f_hz])


def table_range(seg: Segments) -> tuple[float, float]:
    """The distances to images, m, that a table for these segments must hold: in steps, so that few tables serve all."""
    nearest = 2 * min(float(seg.start[:, 2].min()), float(seg.end[:, 2].min()))
    farthest = seg.image_distance(seg.centre).max() + seg.length.max()
    return R_MIN if nearest >= R_MIN else R_LYING, table_reach(float(farthest))


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
    to_image = seg.mirrored.centre[i] - seg.centre[j]
    square = (half**2).sum(-1)
    at = (to_image * half).sum(-1) / square
    away = np.linalg.norm(to_image - at[:, None] * half, axis=-1) / np.sqrt(square)
    return at, np.maximum(away, 1e-3)


def _crowded(at: Real, away: Real, x: Real, w: Real) -> tuple[Real, Real]:
    """Points and weights on (-1, 1), (M, points), by x = at + away sinh(t): for functions of hypot(x - at, away)."""
    low, high = np.arcsinh((-1 - at) / away)[:, None], np.arcsinh((1 - at) / away)[:, None]
    t = (low + high) / 2 + (high - low) / 2 * x
    return at[:, None] + away[:, None] * np.sinh(t), away[:, None] * np.cosh(t) * (high - low) / 2 * w
