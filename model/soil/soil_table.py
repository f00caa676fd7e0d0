"""What a real soil adds to the impedance matrix: images in thin layers, a table of the exact field, the remainder.

Quasi-static images in the faces below a thin top layer: what a low wire over snow, ice or wet grass needs.

With a wave number l far above that of every layer only the faces count, k = (n2_below - n2_above)/(n2_below + n2_above)
each, and with e = exp(-2 l d) the stack reflects, from the bottom upwards,

    K = (k + e K')/(1 + k e K') = k + (1 - k^2) sum over m = 1, 2, .. of (-k)^(m-1) (e K')^m

so beside the top face's image, taken out everywhere (sommerfeld.py), there are images of falling strength: the same as
if the wires were raised, by d1, 2 d1 and so on. Over a thin layer they are nearly as singular as the first. The engine
gives each: over a perfect ground, the raised wires. (Series of images of layered media: Wait, Geo-Electromagnetism,
1982, from memory.)

Only a few are kept. The last stands for all deeper ones: it makes the sum right at SLOWEST, so that layers much thinner
than the wire is high need no more images than others.

The four reflected-field kernels of one soil at one frequency, tabulated so that 20 000 points cost milliseconds.

What is tabulated is the remainder after the quasi-static image (sommerfeld.kernels with split), times R exp(jR), which
is smooth: a product of Chebyshev polynomials in log R and in an angle, in pieces of R. The kernels hold a wave exp(-jR)
through the air and one exp(-jnR) through the soil, n = sqrt(n2), so a piece spans a limited phase |n - 1| R, up to
where the soil has absorbed its own wave. The table does not depend on the antenna.

What a real soil adds to the impedance matrix beyond the quasi-static image: Zrest.

Zrest_ij = - length_i t_i . E(centre of segment i; unit current on segment j)
"""

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from tautwire.model.basics import ETA0, Complex, Real, Remember, compute_always, key_of, legendre, wave_number
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import Ground, Stack
from tautwire.model.soil.sommerfeld import QUICK, kernels
from tautwire.model.wires.segments import Segments, shape

# --- Quasi-static images in the faces below a thin top layer.


SLOWEST = 9.0  # 1/m; what varies more slowly along the wires is met by the points on a segment
ENOUGH = 1e-4  # of an image that may be left out; three to five images are usual
MOST = 6

Terms = dict[float, complex]  # by how far the wires are raised, m


def series(stack: Stack, count: int) -> Terms:
    """The first `count` images below the top face, those least far away first; exact coefficients.

    stack: depths in m.

    >>> [f"{x:.2f} m: {c.real:.3f}" for x, c in series(Stack((3.0, 9.0), (0.02,)), 3).items()]
    ['0.02 m: 0.375', '0.04 m: -0.094', '0.06 m: 0.023']
    """
    k = [(below - above) / (below + above) for above, below in itertools.pairwise((1.0, *stack.n2))]
    below: Terms = {0.0: k[-1]}
    for face, depth in zip(k[-2::-1], stack.depth[::-1], strict=True):
        once = {x + depth: c for x, c in below.items()}
        total, power = {0.0: face}, {0.0: 1 + 0j}
        for m in range(count):
            power = _product(power, once, count)
            for x, c in power.items():
                total[x] = total.get(x, 0j) + (1 - face * face) * (-face) ** m * c
        below = dict(sorted(total.items())[: count + 1])
    return {x: c for x, c in below.items() if x}


def _product(a: Terms, b: Terms, count: int) -> Terms:
    total: Terms = {}
    for (x, c), (y, d) in itertools.product(a.items(), b.items()):
        place = round(x + y, 7)
        total[place] = total.get(place, 0j) + c * d
    return dict(sorted(total.items())[: count + 1])


def with_images(stack: Stack, raised: tuple[float, ...]) -> Stack:
    """The same with the images that are taken out of its table; raised: by how far (m), as `needed` has them."""
    if not raised:
        return stack
    terms = series(stack, len(raised))
    last = raised[-1]
    others = sum(terms[x] * math.exp(-2 * SLOWEST * (x - last)) for x in raised[:-1])
    whole = complex(_static(stack, np.array(SLOWEST))) * math.exp(2 * SLOWEST * last)
    return replace(stack, images=tuple((x, terms[x]) for x in raised[:-1]) + ((last, whole - others),))


def needed(stacks: list[Stack], lowest: float) -> tuple[float, ...]:
    """By how far (m) wires are to be raised so that a table of the rest is smooth enough for points on a segment.

    stacks: the ground at the frequencies to be served, depths in m. lowest: height of the lowest wire, m. Empty for one
    soil, and where the second face is far below.
    """
    wave = np.geomspace(SLOWEST, max(5 / lowest, 2 * SLOWEST), 60)
    most: tuple[float, ...] = ()
    for stack in stacks if stacks[0].depth else ():
        for count in range(len(most), MOST + 1):
            most = tuple(series(stack, count)) if count else ()
            if float((np.abs(_left(with_images(stack, most), wave)) * np.exp(-2 * wave * lowest)).max()) < ENOUGH:
                break
    return most


def _static(stack: Stack, wave: Real) -> Complex:
    """What the faces below the top one add to the reflection of waves with a large wave number (1/m)."""
    k = [(below - above) / (below + above) for above, below in itertools.pairwise((1.0, *stack.n2))]
    value: Complex = np.full(np.shape(wave), k[-1], dtype=complex)
    for face, depth in zip(k[-2::-1], stack.depth[::-1], strict=True):
        echo = value * np.exp(-2 * wave * depth)
        value = (face + echo) / (1 + face * echo)
    return value - k[0]


def _left(stack: Stack, wave: Real) -> Complex:
    """The same less the images taken out."""
    return _static(stack, wave) - sum(c * np.exp(-2 * wave * x) for x, c in stack.images)


# --- The four reflected-field kernels of one soil at one frequency.


R_MIN, R_MAX = 0.019, 120.0  # m: two wires at 1 cm; the span of an 80 m wire and its return conductor, and more
R_LEAST = 30.0  # m: what a table reaches at the least; then in steps of 2, so that few tables serve all
R_LYING = 9e-4  # m: two thin wires that lie on the soil
N_R, N_ANGLE = 12, 9
LOG_SPAN, PHASE_SPAN, WAVE_PIECES = 3.0, 10.0, 5
LAYER_ANGLE, LAYER_LOG_SPAN, LAYER_PIECES = 11, 2.0, 12  # over layers
CHUNK = 1024  # points at a time, so that they stay in the processor's cache
BEND = 1.0  # angles crowd towards the horizon by a factor exp(BEND)


@dataclass(frozen=True, eq=False)
class SoilTable:
    """Interpolation table. k: wave number in air, 1/m. n2: the soil's complex relative permittivity.

    edges (P + 1,): limits of the pieces in k R. coefficients (P, angle, 4, R): Chebyshev, of R exp(jR) times Vz, Vr, A,
    B; near_field.py adds their slopes, 12 in all. The error is some 1e-4 of the largest kernel at that point for moist
    and dry soils up to k R = 12. Where the soil absorbs almost nothing (fresh water, no conductivity) or beyond
    k R = 12 it may reach 5e-2, which moves a feed impedance by about 1e-5.
    """

    k: float
    n2: complex
    edges: Real
    coefficients: Complex

    def kernels(self, rho: Real, zeta: Real) -> Complex:
        """Vz, Vr, A, B of the remainder, (4, M), in the 1/k units of sommerfeld.kernels.

        rho: horizontal distance, zeta: sum of the two heights, (M,), m. Raises InputError for a distance off the table.
        """
        x, z = self.k * np.asarray(rho, dtype=float), self.k * np.asarray(zeta, dtype=float)
        r = np.hypot(x, z)
        self._check(r)
        angle = np.arctan2(z, x)
        _, angles, many, radii = self.coefficients.shape
        bent = 2 / BEND * np.log1p(angle * (2 / np.pi) * np.expm1(BEND)) - 1
        log_r, log_edge = np.log(r), np.log(self.edges)
        piece = np.searchsorted(self.edges[1:-1], r)
        values = np.empty((2 * many, len(r)))
        for p, c in enumerate(self.coefficients):
            inside = np.flatnonzero(piece == p)
            low, high = log_edge[p : p + 2]
            parts = np.concatenate([c.real, c.imag], axis=1).transpose(1, 0, 2).reshape(2 * many, -1)
            for at in np.split(inside, range(CHUNK, len(inside), CHUNK)) if len(inside) else ():
                in_angle = _chebyshev(bent[at], angles)
                in_r = _chebyshev((2 * log_r[at] - low - high) / (high - low), radii)
                values[:, at] = parts @ (in_angle[:, None] * in_r).reshape(angles * radii, -1)
        scaled: Complex = values[:many] + 1j * values[many:]
        return scaled * (np.exp(-1j * r) / r)

    def _check(self, r: Real) -> None:
        low, high = self.edges[0] / self.k, self.edges[-1] / self.k
        for bad in r[~((r >= self.edges[0] * (1 - 1e-9)) & (r <= self.edges[-1] * (1 + 1e-9)))]:
            raise InputError("distance to image", f"{bad / self.k:.4g} m", f"from {low:.3g} m to {high:.4g} m")

    def to_arrays(self) -> dict[str, np.ndarray]:
        """The table as named arrays, for a cache; from_arrays turns it back."""
        return {
            "k": np.array(self.k),
            "n2": np.array(self.n2),
            "edges": self.edges,
            "coefficients": self.coefficients,
        }

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, np.ndarray]) -> "SoilTable":
        """The table of which to_arrays made these."""
        return cls(float(arrays["k"]), complex(arrays["n2"]), arrays["edges"], arrays["coefficients"])


def table_reach(distance: float) -> float:
    """R, m, up to which to tabulate for distances up to `distance` (m): in steps, so that few tables serve all."""
    return R_LEAST * 2.0 ** max(0, math.ceil(math.log2(distance / R_LEAST)))


def soil_table(
    f_hz: float,
    ground: Ground,
    r_min: float = R_MIN,
    r_max: float = R_MAX,
    nodes: tuple[int, int] = (N_R, N_ANGLE),
    raised: tuple[float, ...] = (),
) -> SoilTable:
    """Tabulate a real soil at f_hz (Hz) for distances R = hypot(rho, zeta) from r_min to r_max (m).

    nodes: of a piece, over R and the angle (over layers the angle has its own). raised: images that are left out too,
    by how far the wires are raised for them, m (layer_images.needed). Raises InputError for free space and
    perfect ground, which have no remainder, and for an empty range.
    """
    if ground.is_free_space or ground.is_perfect:
        raise InputError("soil", repr(ground.name), "a real soil: free space and perfect ground need no table")
    if not 0 < r_min < r_max < np.inf:
        raise InputError("r_min", f"{r_min} m", f"above 0 and below r_max = {r_max} m")
    if not 0 < f_hz < np.inf:
        raise InputError("frequency", f"{f_hz} Hz", "above 0")
    k = wave_number(f_hz)
    below = with_images(ground.stack(f_hz), raised).scaled(k)
    edges = _layer_edges(k * r_min, k * r_max, below) if below.depth else _edges(k * r_min, k * r_max, below.index[0])
    s, t = _nodes(nodes[0]), _nodes(LAYER_ANGLE if below.depth else nodes[1])
    low, high = np.log(edges[:-1, None]), np.log(edges[1:, None])
    r = np.exp((low + high) / 2 + (high - low) / 2 * s)[:, :, None]
    angle = np.pi / 2 * np.expm1(BEND * (t + 1) / 2) / np.expm1(BEND)
    g = kernels((r * np.cos(angle)).ravel(), (r * np.sin(angle)).ravel(), below, effort=QUICK)
    g = g.reshape(4, len(edges) - 1, len(s), len(t)) * np.exp(1j * r) * r
    c = np.einsum("ar,kprt,bt->pbka", _fit(s), g, _fit(t), optimize=True)
    return SoilTable(k, below.top, edges, np.ascontiguousarray(c))


def _edges(low: float, high: float, n: complex) -> Real:
    """Limits of the pieces in k R: even in log R near and far, even in the phase |n - 1| R between."""
    width = PHASE_SPAN / abs(n - 1)
    edges = _log_edges(low, min(high, max(low, 0.3 * width)))
    absorbed = min(high, 7 / max(-n.imag, 1e-9))
    for _ in range(WAVE_PIECES):
        if edges[-1] < absorbed:
            edges.append(min(high, edges[-1] + width))
    return np.array(edges + _log_edges(edges[-1], high)[1:])


def _layer_edges(low: float, high: float, below: Stack) -> Real:
    """The same over layers, whose guided waves are no slower than the waves in the layers and may reach far."""
    edges = [low]
    while edges[-1] < high:
        at = edges[-1]
        slow = max((abs(n - 1) for n in below.index if -n.imag * at < 7), default=0.0)
        step = at * math.expm1(LAYER_LOG_SPAN)
        if len(edges) < LAYER_PIECES and slow:
            step = min(step, max(PHASE_SPAN / slow, 0.3 * at))
        edges.append(min(high, at + step))
    return np.array(edges)


def _log_edges(low: float, high: float) -> list[float]:
    if low >= high:
        return [low]
    return [float(e) for e in np.geomspace(low, high, int(np.ceil(np.log(high / low) / LOG_SPAN)) + 1)]


def _chebyshev(x: Real, count: int) -> Real:
    """Chebyshev polynomials of degree 0 to count - 1 at x (M,): (count, M)."""
    values, twice = np.empty((count, len(x))), 2 * x
    values[0], values[1] = 1.0, x
    for n in range(2, count):
        np.multiply(twice, values[n - 1], out=values[n])
        values[n] -= values[n - 2]
    return values


def _nodes(count: int) -> Real:
    return np.cos(np.pi * (np.arange(count) + 0.5) / count)


def _fit(nodes: Real) -> Real:
    """The matrix from values at the nodes to Chebyshev coefficients."""
    return np.linalg.inv(_chebyshev(nodes, len(nodes)).T)


# --- What a real soil adds to the impedance matrix beyond the quasi-static image.


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
    seg: Segments,
    f_hz: Real,
    ground: Ground,
    remember: Remember = compute_always,
    raised: tuple[float, ...] = (),
    reach: tuple[float, float] | None = None,
) -> Complex:
    """Zrest (K, N, N), ohm, at each frequency of f_hz (K,), Hz; remember: where soil tables are kept.

    raised: as soil_table has it, further images that are not in Zrest. reach: `table_range` of the segments, or more.
    """
    reach = reach or table_range(seg)

    def table(f: float) -> SoilTable:
        key = key_of("soil", f, ground.stack(f), raised, *reach)
        return SoilTable.from_arrays(remember(key, lambda: soil_table(f, ground, *reach, raised=raised).to_arrays()))

    return np.array([remainder_matrix(table(float(f)), seg) for f in f_hz])


def table_range(seg: Segments, others: float = 0.0) -> tuple[float, float]:
    """The distances to images, m, that a table for these segments must hold: in steps, so that few tables serve all.

    others: m; up to where a table must reach for others that share it.
    """
    nearest = 2 * min(float(seg.start[:, 2].min()), float(seg.end[:, 2].min()))
    farthest = max(seg.image_distance(seg.centre).max() + seg.length.max(), others)
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
