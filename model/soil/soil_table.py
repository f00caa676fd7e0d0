"""The four reflected-field kernels of one soil at one frequency, tabulated so that 20 000 points cost milliseconds.

What is tabulated is the remainder after the quasi-static image (sommerfeld.kernels with split), times R exp(jR), which
is smooth: a product of Chebyshev polynomials in log R and in an angle, in pieces of R. The kernels hold a wave exp(-jR)
through the air and one exp(-jnR) through the soil, n = sqrt(n2), so a piece spans a limited phase |n - 1| R, up to
where the soil has absorbed its own wave. The table does not depend on the antenna.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.frequencies import wave_number
from tautwire.model.soil.ground import Ground
from tautwire.model.soil.layer_images import with_images
from tautwire.model.soil.sommerfeld import QUICK, kernels
from tautwire.model.soil.stack import Stack

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
