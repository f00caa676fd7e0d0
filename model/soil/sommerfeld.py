"""The field that a lossy half space reflects back, with the Bessel functions that its integrals need.

J0 and J1 of complex argument near the real axis, many times faster than the general routines and good to 1e-8.

Below |z| = RIM the power series; above it Hankel's asymptotic series, J = sqrt(2/(pi z)) (P cos x - Q sin x) with
x = z - (2 order + 1) pi/4 (Abramowitz and Stegun, 9.1.10 and 9.2.5, from memory; compared with scipy in the tests).

The field that a lossy half space reflects back at a current element above it: four exact integrals.

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

How they are evaluated. In u = u0 the integrand is free of the branch point at l = 1: u runs down the imaginary axis
from j to 0 and then along the real axis, where the Bessel functions are real and shared by all points of similar R.
Panels narrow towards u = 0 (the pole at u = -j/sqrt(n2 + 1) lies close when |n2| is large), and a square removes the
branch point near u = sqrt(n2 - 1). Past it, at l = a, a point well above the soil goes on along the real axis; for any
other, J is half the sum of two Hankel functions and each half follows its own steepest descent, where it falls as
exp(-t), t = R |l - a|.

Over layers (ground.py) the integrand has poles too, the waves that layers guide. They lie close below the real axis of
l, so there the path to l = a goes a little above it, with Bessel functions of complex argument (sommerfeld.py).
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.special import hankel1, j0, j1

from tautwire.model.basics import Complex, Real, laguerre, legendre, on_panels
from tautwire.model.soil.ground import Stack

# --- J0 and J1 of complex argument near the real axis.


RIM = 10.0
TERMS, HANKEL_TERMS = 24, 14


def bessel_j(order: int, z: Complex) -> Complex:
    """J0 or J1 of z (any shape) with a real part of 0 or more and an imaginary part of a few at most."""
    values = np.empty(z.shape, complex)
    near = np.abs(z) < RIM
    values[near] = _series(order, z[near])
    far = ~near
    values[far] = _hankel(order, z[far])
    return values


def _series(order: int, z: Complex) -> Complex:
    w = z * z * -0.25
    total = np.full(z.shape, _SERIES[order][-1], dtype=complex)
    for c in _SERIES[order][-2::-1]:
        total *= w
        total += c
    return total * (z * 0.5) if order else total


def _hankel(order: int, z: Complex) -> Complex:
    inverse = 1 / z
    square = inverse * inverse
    p, q = (_polynomial(c, square) for c in _HANKEL[order])
    x = z - (2 * order + 1) * math.pi / 4
    grow = np.exp(1j * x)
    fall = 1 / grow
    amplitude = np.sqrt(inverse * (1 / (2 * math.pi)))
    return amplitude * (p * (grow + fall) + 1j * (q * inverse) * (grow - fall))


def _polynomial(coefficients: list[float], x: Complex) -> Complex:
    total = np.full(x.shape, coefficients[-1], dtype=complex)
    for c in coefficients[-2::-1]:
        total *= x
        total += c
    return total


def _hankel_coefficients(order: int) -> tuple[list[float], list[float]]:
    """Of P in 1/z^2, and of Q z in 1/z^2."""
    a = [1.0]
    for k in range(1, HANKEL_TERMS):
        a.append(a[-1] * (4 * order * order - (2 * k - 1) ** 2) / (8 * k))
    p = [a[k] * (-1) ** (k // 2) for k in range(0, HANKEL_TERMS, 2)]
    q = [a[k] * (-1) ** (k // 2) for k in range(1, HANKEL_TERMS, 2)]
    return p, q


_SERIES = [[1 / (math.factorial(k) * math.factorial(k + order)) for k in range(TERMS)] for order in (0, 1)]
_HANKEL = [_hankel_coefficients(order) for order in (0, 1)]


# --- The field that a lossy half space reflects back at a current element above it.


@dataclass(frozen=True)
class Effort:
    """points: Gauss points a panel. phase: radians that a panel may span. tail: Gauss-Laguerre points beyond a.

    spread: ratio of the R that share one path. clearance: a panel's length over its distance from poles, over layers.
    """

    points: int
    phase: float
    tail: int
    spread: float
    clearance: float


FINE = Effort(16, 8.0, 80, 2.0, 1.0)
QUICK = Effort(6, 4.5, 12, 3.0, 1.6)
FAINT = 16.0  # exp(-FAINT) of a wave is not felt
LIFT = 2.0  # how far the path over layers goes up, times 1/(distance): exp(LIFT) is what the Bessel functions may grow
REACH = 4.0  # the least a R, so that the Hankel functions are smooth along the tails


def kernels(rho: Real, zeta: Real, below: Stack | complex, split: bool = True, effort: Effort = FINE) -> Complex:
    """Vz, Vr, A, B as an array (4, M) for M points.

    rho: horizontal distance, zeta: sum of the two heights, both (M,), in units of 1/k, not both zero. below: relative
    permittivity er - j sigma/(w eps0), or a stack of layers whose depths are in 1/k too. split: without the top layer's
    quasi-static image (True) or the whole reflected field.
    """
    stack = Stack.of(below)
    rho, zeta = np.asarray(rho, dtype=float), np.asarray(zeta, dtype=float)
    r = np.hypot(rho, zeta)
    rho = np.maximum(rho, 1e-9 * r)
    values = np.empty((4, len(r)), complex)
    group = np.floor(np.log(r) / math.log(effort.spread))
    for each in np.unique(group):
        at = np.flatnonzero(group == each)
        values[:, at] = _group(rho[at], zeta[at], r[at], stack, split, effort)
    return values


def _group(rho: Real, zeta: Real, r: Real, below: Stack, split: bool, effort: Effort) -> Complex:
    """The kernels (4, M) at points of similar distance r."""
    slow = max((n.real for n in _felt(below, float(r.min()))), default=0.0)
    clear = 1.3 * slow + 1 if slow else 2.0
    a = max(clear, REACH / r.min())
    path = _lifted_path if below.depth else _shared_path
    moments = path(rho, zeta, below, split, a, float(r.max()), effort)
    steep = rho < 0.5 * zeta
    for at, tail in ((steep, _real_tail), (~steep, _hankel_tails)):
        if at.any():
            moments[:, at] += tail(rho[at], zeta[at], below, split, a, effort)
    m0, m1, m2, m3, m4, m5 = moments
    return np.stack([m0, m3, 1j * (m1 + (m4 - m5) / rho), 1j * (m2 + (m5 - m4) / rho)])


def _felt(below: Stack, r: float) -> list[complex]:
    """Refractive indices of the layers whose own waves are not lost on the way down or along r."""
    if not below.depth:
        n = below.index[0]
        return [] if -n.imag * r > 40 else [n]
    felt, above = [], 0.0
    for n, depth in zip(below.index, (*below.depth, 0.0), strict=True):
        if -n.imag * r + above * n.real < FAINT:
            felt.append(n)
        above += 1.6 * depth  # there and back, at l near n, where the layers above weigh little
    return felt


def _echo_way(below: Stack) -> float:
    """Twice the depth from which waves come back, or where images lie."""
    way = lost = 0.0
    farthest = max((2 * raised for raised, _ in below.images), default=0.0)
    for n, depth in zip(below.index, below.depth, strict=False):
        part = min(depth, max(FAINT / 2 - lost, 0.0) / max(-n.imag, 1e-9))
        way, lost = way + 2 * part, lost - n.imag * part
    return max(way, farthest)


def _lifted_path(rho: Real, zeta: Real, below: Stack, split: bool, a: float, r: float, effort: Effort) -> Complex:
    """Moments (6, M) from l = 0 to a over layers, above the poles of the waves they guide, which lie close below the
    real axis, and above the branch points: up to a height of LIFT/(r + the way of the echo), along, and down to a."""
    rate = r + _echo_way(below)
    slow = max((n.real for n in below.index if n.real < a), default=1.0)
    up = min(LIFT / rate, 0.5 * slow)
    far = max(min(1.1 * slow + 0.3, a), 0.5)
    lam, dl = _along([0j, 0.5 + 1j * up, far + 1j * up, complex(a)], slow, rate, effort)
    u = np.sqrt(lam * lam - 1)
    e, x = np.exp(np.outer(u, -zeta)), np.outer(lam, rho)
    w0, w1 = _bessel_factors(lam, u, below, split)
    along = dl * lam / u
    return np.concatenate([(np.array(w) * along) @ (e * bessel_j(i, x)) for i, w in enumerate((w0, w1))])


def _along(corners: list[complex], slow: float, rate: float, effort: Effort) -> tuple[Complex, Complex]:
    """Gauss points and weights on the legs between corners, on panels that are short in phase and near 1 to slow."""
    x, g = legendre(effort.points)
    points, weights = [], []
    for p, q in itertools.pairwise(corners):
        length, at = abs(q - p), 0.0
        way = (q - p) / length if length else 1.0
        while at < length * (1 - 1e-12):
            here = p + way * at
            clear = abs(here - min(max(here.real, 0.98), slow))
            step = min(effort.phase / rate, effort.clearance * max(clear, 1e-3), length - at)
            points.append(here + way * step / 2 * (1 + x))
            weights.append(way * step / 2 * g)
            at += step
    return np.concatenate(points), np.concatenate(weights)


def _bessel_factors(lam: Complex, u: Complex, below: Stack, split: bool) -> tuple[list[Complex], list[Complex]]:
    """What multiplies J0 exp(-u zeta) du, and J1 exp(-u zeta) du, in the six moments; each of the shape of lam."""
    n2 = below.top
    u1 = np.sqrt(lam * lam - n2)
    if (u1.real < 0).any():  # rounding on the cut
        u1 = np.where(u1.real < 0, -u1, u1)
    if split:  # the differences written out, so that nothing cancels at large lam
        s = 1 / (u + u1)
        rtm = (2 * n2 * (n2 - 1) / (n2 + 1)) * s / (n2 * u + u1)
        rte = (n2 - 1) * s * s + (n2 - 1) / (n2 + 1)
    else:
        rtm, rte = (n2 * u - u1) / (n2 * u + u1), (u - u1) / (u + u1)
    if below.depth:
        more_tm, more_te = below.extra(lam, u, u1)
        for raised, strength in below.images if split else ():  # a perfect ground's: Rtm = 1, Rte = -1
            image = strength * np.exp(-2 * raised * u)
            more_tm, more_te = more_tm - image, more_te + image
        rtm, rte = rtm + more_tm, rte + more_te
    v, inverse = u * u * rtm, 1 / lam
    return [v + rtm, v, rte], [lam * u * rtm, rte * inverse, v * inverse]


def _shared_path(rho: Real, zeta: Real, below: Stack, split: bool, a: float, r: float, effort: Effort) -> Complex:
    """Moments (6, M) of the stretch from l = 0 to a over one soil."""
    n2 = below.top
    moments = np.zeros((6, len(rho)), complex)
    for factor, (t, dt) in ((1j, _falling(n2, r, effort)), (1.0, _rising(n2, a, r, effort))):
        u = factor * t
        lam = np.sqrt(1 + (u * u).real)
        e, x = np.exp(np.outer(u, -zeta)), np.outer(lam, rho)
        for half, w, bessel in zip(
            (0, 3), _bessel_factors(lam.astype(complex), u.astype(complex), below, split), (j0, j1), strict=True
        ):
            moments[half : half + 3] += (np.array(w) * (factor * dt)) @ (e * bessel(x))
    return moments


def _falling(n2: complex, r: float, effort: Effort) -> tuple[Real, Real]:
    """Nodes t and weights of the stretch u = j t, t from 1 to 0."""
    angle, d_angle = _panels(math.pi / 2, _pole(n2), r, effort)
    return np.sin(angle), -np.cos(angle) * d_angle


def _rising(n2: complex, a: float, r: float, effort: Effort) -> tuple[Real, Real]:
    """Nodes and weights of the stretch from u = 0 to sqrt(a^2 - 1)."""
    end, pole = math.sqrt(a * a - 1), _pole(n2)
    root = np.sqrt(n2 - 1)
    branch, depth = abs(root.real), abs(root.imag)
    if not depth < branch < end:
        return _panels(end, pole, r, effort)
    w = min(0.5 * branch, end - branch)
    before, d_before = _panels(branch - w, pole, r, effort)
    top = math.sqrt(w)
    t, dt = _panels(top, max(0.5 * math.sqrt(depth), top / 8), 2 * r * top, effort)
    after, d_after = _panels(end - branch - w, 2 * w, r, effort)
    u = [before, branch - t * t, branch + t * t, branch + w + after]
    return np.concatenate(u), np.concatenate([d_before, 2 * t * dt, 2 * t * dt, d_after])


def _pole(n2: complex) -> float:
    """Width of the panels at u = 0."""
    return min(0.5, 1 / abs(n2 + 1) ** 0.5)


def _panels(length: float, first: float, rate: float, effort: Effort) -> tuple[Real, Real]:
    """Gauss points and weights on panels from 0 to length that widen threefold from the first, none of a phase
    (rate times width) beyond what effort allows."""
    coarse = [0.0]
    while first < 0.6 * length:
        coarse.append(first)
        first *= 3
    coarse.append(length)
    edges = [0.0]
    for p, q in itertools.pairwise(coarse):
        parts = max(1, math.ceil(rate * (q - p) / effort.phase))
        edges += [p + (q - p) * m / parts for m in range(1, parts + 1)]
    return on_panels(np.array(edges), effort.points)


def _real_tail(rho: Real, zeta: Real, below: Stack, split: bool, a: float, effort: Effort) -> Complex:
    """Moments (6, M) beyond a along the real axis; for rho < zeta/2."""
    t, g = laguerre(effort.tail)
    u = math.sqrt(a * a - 1) + t[:, None] / zeta
    lam = np.sqrt(1 + u * u)
    w0, w1 = _bessel_factors(lam.astype(complex), u.astype(complex), below, split)
    e, x = np.exp(-u * zeta) * (g[:, None] / zeta), lam * rho
    e0, e1 = e * j0(x), e * j1(x)
    return np.stack([(w * e0).sum(0) for w in w0] + [(w * e1).sum(0) for w in w1])


def _hankel_tails(rho: Real, zeta: Real, below: Stack, split: bool, a: float, effort: Effort) -> Complex:
    """Moments (6, M) beyond a along two paths of steepest descent, one above and one below the real axis."""
    t, g = laguerre(effort.tail)
    step = (zeta + 1j * rho) / (rho * rho + zeta * zeta)
    lam = (a + step * t[:, None]).astype(complex)
    u = np.sqrt(lam * lam - 1)
    e, x = np.exp(-u * zeta) * (lam / u * step) * (g[:, None] / 2), lam * rho
    values = []
    upper, lower = _bessel_factors(lam, u, below, split), _bessel_factors(lam.conj(), u.conj(), below, split)
    for order in (0, 1):
        h = e * hankel1(order, x)
        values += [(w * h).sum(0) + (v * h.conj()).sum(0) for w, v in zip(upper[order], lower[order], strict=True)]
    return np.stack(values)
