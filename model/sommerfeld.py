"""The field that a lossy half space reflects back at a current element above it: four exact integrals.

Time factor e^{+jwt}, lengths in units of 1/k. With n2 the soil's complex relative permittivity, u0 = sqrt(l^2 - 1) and
u1 = sqrt(l^2 - n2) (real parts positive), the plane-wave reflection coefficients are

    Rtm = (n2 u0 - u1)/(n2 u0 + u1)        Rte = (u0 - u1)/(u0 + u1)

and, with S[f] the integral of f(l) exp(-u0 zeta) dl from 0 to infinity and kz = -j u0,

    Vz = S[ l^3/u0 Rtm J0(l rho) ]         Vr = S[ l^2 Rtm J1(l rho) ]
    A  = S[ l/kz ( Rte J1/(l rho) - Rtm kz^2 (J0 - J1/(l rho)) ) ]
    B  = S[ l/kz ( Rte (J0 - J1/(l rho)) - Rtm kz^2 J1/(l rho) ) ]

The split takes away the quasi-static image: Rtm - kappa and Rte + kappa, kappa = (n2 - 1)/(n2 + 1), leave a field that
stays smooth down to the soil. (Sommerfeld's integrals as in Banos, Dipole Radiation in the Presence of a Conducting
Half-Space, 1966, ch. 2, from memory.)

How they are evaluated. In u = u0 the integrand is free of the branch point at l = 1: u runs down the imaginary axis from j
to 0 and then along the real axis, where the Bessel functions are real and shared by all points of similar R. Panels
narrow towards u = 0 (the pole at u = -j/sqrt(n2 + 1) lies close when |n2| is large), and a square removes the branch point
near u = sqrt(n2 - 1). Past it, at l = a, a point well above the soil goes on along the real axis; for any other, J is half
the sum of two Hankel functions and each half follows its own steepest descent, where it falls as exp(-t), t = R |l - a|.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import hankel1, j0, j1

from .arrays import Complex, Real


@dataclass(frozen=True)
class Effort:
    """Gauss points a panel, phase in radians that a panel may span, and where exp(-t) counts as zero."""

    points: int
    phase: float
    tail: float


FINE = Effort(16, 8.0, 36.0)
QUICK = Effort(8, 6.0, 20.0)


def kernels(rho: Real, zeta: Real, n2: complex, split: bool = True, effort: Effort = FINE) -> Complex:
    """Vz, Vr, A, B as an array (4, M) for M points.

    rho: horizontal distance, zeta: sum of the two heights, both (M,), in units of 1/k, not both zero. n2: relative
    permittivity er - j sigma/(w eps0). split: without the quasi-static image (True) or the whole reflected field.
    """
    rho, zeta = np.asarray(rho, dtype=float), np.asarray(zeta, dtype=float)
    r = np.hypot(rho, zeta)
    rho = np.maximum(rho, 1e-9 * r)
    out = np.empty((4, len(r)), complex)
    octave = np.floor(np.log2(r))
    for each in np.unique(octave):
        at = octave == each
        out[:, at] = _octave(rho[at], zeta[at], complex(n2), split, effort)
    return out


def _octave(rho: Real, zeta: Real, n2: complex, split: bool, effort: Effort) -> Complex:
    """The kernels at points whose R differ by no more than a factor of two or so."""
    r = np.hypot(rho, zeta)
    n = np.sqrt(n2)
    past_branch = 1.3 * n.real + 1 if -n.imag * r.min() < 40 else 2.0  # deep in the soil the branch point is not felt
    a = max(past_branch, 1.5 / r.min())
    moments = _shared_path(rho, zeta, n2, split, a, r.max(), effort)
    steep = rho < 0.5 * zeta
    for at, tail in ((steep, _real_tail), (~steep, _hankel_tails)):
        if at.any():
            moments[:, at] += tail(rho[at], zeta[at], n2, split, a, effort)
    m0, m1, m2, m3, m4, m5 = moments
    return np.stack([m0, m3, 1j * (m1 + (m4 - m5) / rho), 1j * (m2 + (m5 - m4) / rho)])


def _weights(l: Complex, u: Complex, n2: complex, split: bool) -> tuple[Complex, Complex]:
    """What multiplies J0 exp(-u zeta) du and J1 exp(-u zeta) du in the six moments; each (3, *shape of l)."""
    u1 = np.sqrt(l * l - n2)
    u1 = np.where(u1.real < 0, -u1, u1)
    if split:  # the differences written out, so that nothing cancels at large l
        rtm = 2 * n2 * (n2 - 1) / (n2 + 1) / ((n2 * u + u1) * (u + u1))
        rte = (n2 - 1) / (u + u1) ** 2 + (n2 - 1) / (n2 + 1)
    else:
        rtm, rte = (n2 * u - u1) / (n2 * u + u1), (u - u1) / (u + u1)
    v = u * u * rtm
    return np.stack([l * l * rtm, v, rte]), np.stack([l * u * rtm, rte / l, v / l])


def _shared_path(rho: Real, zeta: Real, n2: complex, split: bool, a: float, r: float, effort: Effort) -> Complex:
    """Moments (6, M) of the stretch from l = 0 to a."""
    u, du = _path(n2, a, r, effort)
    l = np.sqrt(1 + (u * u).real)
    w0, w1 = _weights(l + 0j, u, n2, split)
    e = np.exp(-np.outer(zeta, u))
    x = np.outer(rho, l)
    return np.concatenate([(w0 * du) @ (e * j0(x)).T, (w1 * du) @ (e * j1(x)).T])


def _path(n2: complex, a: float, r: float, effort: Effort) -> tuple[Complex, Complex]:
    """Nodes u and weights du of the stretch from u = j through 0 to sqrt(a^2 - 1)."""
    end = np.sqrt(a * a - 1)
    pole = min(0.5, 1 / abs(np.sqrt(n2 + 1)))
    root = np.sqrt(n2 - 1)
    branch, depth = abs(root.real), abs(root.imag)
    pieces: list[tuple[list[float], Callable[[Real], Complex], Callable[[Real], Complex]]] = []
    pieces.append((_graded(np.pi / 2, pole), lambda t: 1j * np.sin(t), lambda t: -1j * np.cos(t)))
    if branch < end and depth < branch:
        w = min(0.5 * branch, end - branch)
        top = float(np.sqrt(w))
        square = _graded(top, max(0.5 * np.sqrt(depth), top / 8))
        pieces.append((_graded(branch - w, pole), lambda t: t + 0j, np.ones_like))
        pieces.append((square, lambda t: branch - t * t + 0j, lambda t: 2 * t))
        pieces.append((square, lambda t: branch + t * t + 0j, lambda t: 2 * t))
        pieces.append((_graded(end - branch - w, 2 * w), lambda t: branch + w + t + 0j, np.ones_like))
    else:
        pieces.append((_graded(end, pole), lambda t: t + 0j, np.ones_like))
    x, g = np.polynomial.legendre.leggauss(effort.points)
    us, dus = [], []
    for edges, u_of, slope in pieces:
        edge = np.array(edges)
        parts = np.ceil(r * np.abs(np.diff(u_of(edge))) / effort.phase).clip(1).astype(int)
        fine = np.concatenate([*(np.linspace(p, q, m, endpoint=False) for p, q, m in zip(edge, edge[1:], parts, strict=False)),
                               edge[-1:]])
        half = np.diff(fine)[:, None] / 2
        t = (fine[:-1, None] + half * (1 + x)).ravel()
        us.append(u_of(t))
        dus.append(slope(t) * (half * g).ravel())
    return np.concatenate(us), np.concatenate(dus)


def _graded(length: float, first: float) -> list[float]:
    """Edges from 0 to length that widen threefold from the first."""
    edges = [0.0]
    while first < 0.6 * length:
        edges.append(first)
        first *= 3
    return [*edges, length]


def _tail_rule(effort: Effort) -> tuple[Real, Real]:
    """Points and weights for a function that falls as exp(-t), t from 0."""
    x, g = np.polynomial.legendre.leggauss(effort.points)
    edges = np.array([0, 0.06, 0.2, 0.5, 1]) * effort.tail
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half * (1 + x)).ravel(), (half * g).ravel()


def _real_tail(rho: Real, zeta: Real, n2: complex, split: bool, a: float, effort: Effort) -> Complex:
    """Moments (6, M) beyond a along the real axis; for rho < zeta/2."""
    t, g = _tail_rule(effort)
    u = np.sqrt(a * a - 1) + t / zeta[:, None]
    l = np.sqrt(1 + u * u)
    w0, w1 = _weights(l + 0j, u + 0j, n2, split)
    e, x = np.exp(-u * zeta[:, None]) * g / zeta[:, None], l * rho[:, None]
    return np.concatenate([(w0 * (e * j0(x))).sum(-1), (w1 * (e * j1(x))).sum(-1)])


def _hankel_tails(rho: Real, zeta: Real, n2: complex, split: bool, a: float, effort: Effort) -> Complex:
    """Moments (6, M) beyond a along two paths of steepest descent, one above and one below the real axis."""
    t, g = _tail_rule(effort)
    r2 = rho * rho + zeta * zeta
    step = ((zeta + 1j * rho) / r2)[:, None]
    l = a + step * t
    u = np.sqrt(l * l - 1)
    e, x = np.exp(-u * zeta[:, None]) * (l / u * step) * (g / 2), l * rho[:, None]
    h = np.stack([e * hankel1(0, x), e * hankel1(1, x)])
    up, down = _weights(l, u, n2, split), _weights(l.conj(), u.conj(), n2, split)
    return np.concatenate([(up[m] * h[m] + down[m] * h[m].conj()).sum(-1) for m in (0, 1)])
