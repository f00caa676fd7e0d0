"""What the engine gets wrong, made right: source voltages, conductors near the soil, different radii that meet.

Make the engine's free-space matrix obey reciprocity and energy.

The engine sets a source's field at one point of its segment. Where neighbours differ in length, the voltage that really
acts along the segment differs from the one asked for, by up to 5 % at the short segments of the feed. The currents are
right; only the voltage of each column is off by a factor s_j. Two laws give the factors without a model of the cause:
reciprocity (Y_ij/s_j must equal Y_ji/s_i) fixes their ratios, and radiated = delivered power fixes their level. The
same factors serve the matrix over a perfect ground, so that the difference of the two, the image, stays exact where it
is small.

Conductors close to the soil: their charge crowds to the underside, which thin wires and their images do not know.

A line of charge at height h over its quasi-static image has 1/C = (ln(1/b) + kappa ln 2h)/(2 pi eps0). On a conductor
of radius a in a jacket up to radius b the charge moves, and that adds x/(2 pi eps0), with x below: -kappa^2 (b/2h)^2
far away; for a bare wire over a perfect ground acosh(h/a) - ln(2h/a). The magnetic field hardly feels the soil, so the
inductance stays.

The engine takes the image's distance as sqrt(4h^2 + r^2), r the radius that it computes with: half ln(1 + (r/2h)^2) too
much in both inductance and 1/C, which is taken off here.

Conductors of different radius that meet, without a step of radius in the engine; and jackets.

At a step of radius the engine's junction rule is wrong: with a thin wire on a thick coax its radiated and delivered
power differ by several per cent, worse with frequency. So every joined conductor goes into the engine with the
radiating wire's radius r. What a conductor of radius a adds is local, as the kernels of radius a and r differ only
within a few radii: to the inductance and the inverse capacitance of each metre,

    dL = mu0/(2 pi) ln(r/a),        d(1/C) = 1/(2 pi eps0) ln(r/a)

(the difference of two thin-wire kernels integrated along the wire; e.g. King, Theory of Linear Antennas, 1956, ch. II,
from memory).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from tautwire.model.basics import EPS0, MU0, Complex, Real, legendre, wave_number
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.engine import Leg
from tautwire.model.wires.mesh import Mesh
from tautwire.model.wires.segments import MIRROR, Segments, shape, shape_slope
from tautwire.model.wires.structure import Structure, WireType

# --- Make the engine's free-space matrix obey reciprocity and energy.


GAUSS = 2  # points a segment; the kernel sin(kR)/R is smooth even at R = 0, so more change the power by 4e-5 at most


def voltage_scale(y: Complex, segments: Segments, f_hz: Real) -> Real:
    """s (N,): the voltage that acts on each segment when the engine is asked for 1 V in free space.

    y (K, N, N): the engine's Y of lossless wires at f_hz (K,), Hz. The factors hardly depend on frequency; one set for
    all keeps the impedances smooth in frequency, which the interpolation in response.py relies on.
    """
    size = np.abs(y)
    flipped = size.transpose(0, 2, 1)
    weight = size * flipped
    weight = weight / weight.sum(axis=(1, 2), keepdims=True)
    ratio = (weight * np.log(flipped / size)).sum(axis=0)  # log(s_i/s_j), weighted
    weight = weight.sum(axis=0)
    laplacian = np.diag(weight.sum(axis=1)) - weight
    level = weight.sum() / len(weight) ** 2  # it knows ratios only: of all solutions the one of mean 0
    scale = np.exp(np.linalg.solve(laplacian + level, ratio.sum(axis=1)))
    levels = []
    for one, f in zip(y, f_hz, strict=True):
        delivered = np.diag(one).real * scale
        radiated = (one.conj() * (radiation_resistance(segments, float(f)) @ one)).sum(axis=0).real
        levels.append(float(radiated @ delivered) / float(delivered @ delivered))
    return scale * np.mean(levels)


def asymmetry(y: Complex) -> float:
    """Greatest difference between Y (K, N, N) and its transpose, relative to the greatest entry, over all K."""
    return float((np.abs(y - y.transpose(0, 2, 1)).max(axis=(1, 2)) / np.abs(y).max(axis=(1, 2))).max())


def radiation_resistance(segments: Segments, f_hz: float, perfect_ground: bool = False) -> Real:
    """R (N, N), ohm, real and symmetric, with I^H R I the power that currents I (N,) at the segment centres radiate.

    Watts for rms amps, twice the watts for amplitudes; in free space, or over a perfect ground into the half space
    above it. Loss is not in it: it is the real part of the impedance matrix of perfect conductors.

    R = w mu0/(4 pi) sum over wire pairs of (t.t' J J' - J_s J'_s'/k^2) sin(kR)/R: the real part of the mixed-potential
    reaction integral (Harrington, Field Computation by Moment Methods, 1968, ch. 4, from memory).
    """
    k = wave_number(f_hz)
    x, w = legendre(GAUSS)
    length = segments.length
    n = len(length)
    current = np.einsum("sg,nsm->ngm", shape(x), segments.current).reshape(-1, n)
    slope = np.einsum("sg,nsm->ngm", shape_slope(x), segments.current)
    divergence = (slope * (2 / length)[:, None, None]).reshape(-1, n)
    position = (segments.centre[:, None] + segments.vector[:, None] * x[None, :, None] / 2).reshape(-1, 3)
    weight = np.outer(length / 2, w).ravel()
    tangent = np.repeat(segments.vector / length[:, None], GAUSS, axis=0)
    current, divergence = current * weight[:, None], divergence * weight[:, None]

    def reaction(kernel: Real, direction: Real, sign: float) -> Real:
        """kernel: sin(kR)/R."""
        moments: Real = current.T @ ((tangent @ direction.T) * kernel) @ current
        return moments - sign / k**2 * (divergence.T @ kernel @ divergence)

    total = reaction(_kernel(k, position, position), tangent, 1.0)
    if perfect_ground:  # the image: horizontal current and charge change sign
        total = total + reaction(_kernel(k, position, position * MIRROR), -tangent * MIRROR, -1.0)
    return f_hz * MU0 / 2 * total


def _kernel(k: float, a: Real, b: Real) -> Real:
    """sin(kR)/R between points a (M, 3) and b (M', 3), m."""
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1) - 2 * a @ b.T  # rounding changes the kernel by 1e-13
    kr = k * np.sqrt(np.maximum(square, 1e-18))
    return np.asarray(k * np.sin(kr) / kr)


# --- Conductors close to the soil.


ORDERS = 48  # multipoles; the last of a bare wire that touches a conductor of kappa 0.99 is 1e-4 of the first
LEAST = 1e-13  # of the first: smaller ones are left out
FELT = 20.0  # heights in outer radii up to which it is counted; there 1/C is off by 6e-4 of kappa^2/(2 pi eps0)


@lru_cache(maxsize=1024)
def crowding(kappa: complex, height: float, wire: WireType) -> complex:
    """x: what the crowding adds to 1/C, in units of 1/(2 pi eps0).

    height: of the axis, m, not below the wire's outer radius. Multipoles y_n of the jacketed wire in the field of its
    own image, t = b/2h, from the continuity of potential and displacement at a and b:

        y_n = alpha_n kappa (t^n/n + sum over m of y_m t^(m+n) (m+n-1 over n))         x = -kappa sum y_n t^n
        alpha_n = (er (1 + s) - (1 - s))/(er (1 + s) + (1 - s)),  s = (a/b)^2n
    """
    own, across, far = _multipoles(height, wire)
    y = np.linalg.solve(np.eye(len(far)) - kappa * across, kappa * own)
    return complex(-kappa * (y @ far))


@lru_cache(maxsize=1024)
def _multipoles(height: float, wire: WireType) -> tuple[Complex, Complex, Real]:
    """What does not hang on kappa, of the orders that count: alpha_n t^n/n, alpha_n times the sum's matrix, t^n."""
    a, b = wire.radius, wire.radius + wire.jacket
    fall = 2 * math.log(height / b)  # the n-th order is some exp(-n fall) of the first; 0 where the wire touches
    n = np.arange(1, 1 + math.ceil(min(ORDERS, -math.log(LEAST) / max(fall, 1e-9))))
    t, s, er = b / (2 * height), (a / b) ** (2.0 * n), wire.jacket_permittivity
    alpha = (er * (1 + s) - (1 - s)) / (er * (1 + s) + (1 - s))
    across = scipy.special.binom(n + n[:, None] - 1, n[:, None]) * t ** (n + n[:, None])
    return alpha * t**n / n, alpha[:, None] * across, t**n


def charge_cells(grid: Mesh, segments: Segments, conductor: int) -> tuple[Real, Real, Real]:
    """The cells between segment centres that hold a conductor's charge, q = -change I/(j w): change (C, N), their
    length (C,), m, and the places that they surround (C, 3), m."""
    own = np.flatnonzero(grid.conductor == conductor)
    half = grid.length[own] / 2
    centres = np.eye(len(grid.length))[own]
    stops = np.vstack([segments.current[own[0], 0], centres, segments.current[own[-1], 2]])
    cells = np.concatenate([half[:1], half[1:] + half[:-1], half[-1:]])
    return np.diff(stops, axis=0), cells, np.vstack([grid.start[own], grid.end[own[-1:]]])


@dataclass(frozen=True, eq=False)
class _Low:
    """Metal at one height (m) near the soil. beyond: half ln(1 + (r/2h)^2). cells (N, N): 1/F, and length (N,): m, both
    for a 1 of what is in the logarithm's units."""

    height: float
    wire: WireType
    beyond: float
    elastance: Real
    inductance: Real

    def at(self, f_hz: float, kappa: complex) -> Complex:
        w = 2 * math.pi * f_hz
        more = crowding(kappa, self.height, self.wire) - kappa * self.beyond
        return np.diag(-1j * w * kappa * self.beyond * self.inductance) + more / (1j * w) * self.elastance


class ContactTerm:
    """What the exact field near the soil adds to the thin wires' impedance matrix."""

    def __init__(self, grid: Mesh, segments: Segments, structure: Structure) -> None:
        self._low: list[_Low] = []
        for number, conductor in enumerate(structure.conductors):
            change, cells, place = charge_cells(grid, segments, number)
            own, outer = grid.conductor == number, conductor.outer_radius
            radius = structure.engine_radius(number)
            height, middle = (heights(z, outer) for z in (place[:, 2], grid.centre[:, 2]))
            for h in np.unique(height[height < FELT * max(outer, radius)]):
                at = height == h
                elastance = (change[at].T / cells[at]) @ change[at] / (2 * math.pi * EPS0)
                inductance = MU0 / (2 * math.pi) * np.where(own & (middle == h), grid.length, 0)
                beyond = 0.5 * math.log1p((radius / (2 * h)) ** 2)
                self._low.append(_Low(float(h), conductor.wire, beyond, elastance, inductance))

    def at(self, f_hz: float, ground: Ground) -> Complex | complex:
        """Z (N, N), ohm; 0 if no conductor is near the soil."""
        if ground.is_free_space:
            return 0j
        return sum((low.at(f_hz, ground.kappa(f_hz)) for low in self._low), 0j)

    def slope(self, f_hz: float, ground: Ground) -> Complex | complex:
        """dZ/df, ohm/Hz."""
        if not self._low:
            return 0j
        step = 1e-4 * f_hz
        return (self.at(f_hz + step, ground) - self.at(f_hz - step, ground)) / (2 * step)


def heights(z: Real, outer: float) -> Real:
    """Heights, m, rounded so that equal ones are found together, and not below the outer radius."""
    return np.round(np.maximum(z, outer), 6)


# --- Conductors of different radius that meet, without a step of radius in the engine.


def engine_legs(mesh: Mesh, structure: Structure) -> tuple[Leg, ...]:
    """The mesh's legs with one radius for all joined conductors; conductors standing apart keep theirs."""
    first = np.searchsorted(mesh.leg, np.arange(len(mesh.legs)))
    return tuple(
        (start, end, n, structure.engine_radius(int(mesh.conductor[i])))
        for i, (start, end, n, _) in zip(first, mesh.legs, strict=True)
    )


def radius_logs(structure: Structure) -> Real:
    """ln(r/a) of each conductor, r the radius with which the engine takes it."""
    thin = structure.conductors[0].wire.radius
    return np.array([0.0 if c.role == "nearby" else math.log(thin / c.wire.radius) for c in structure.conductors])


class RadiusTerm:
    """What the true radii and the jackets add to the engine's matrix:

        Z(f) = j w inductance + (elastance + f^2 bend)/(j w)

    inductance (N,), H; elastance (N, N), 1/F, symmetric: from the energy of the charges in the cells between segment
    centres, q = -(dI/ds)/(j w), with the current at junctions and free ends as in `Segments`. Over a cell of length d
    the mean slope of a sine is its middle one times 1 - (k d)^2/24: bend, 1/(F Hz^2), puts the energy right.

    A jacket from a to b changes the field of the charge alone: d(1/C) = -(1 - 1/er) ln(b/a)/(2 pi eps0), with loss if
    er has (Richmond and Newman, Dielectric coated wire antennas, Radio Science 11, 1976, from memory). Where the
    current is a sine of the wave number of air that is, to first order, the usual series inductance
    mu0/(2 pi) (1 - 1/er) ln(b/a). Towards free ends charge crowds, and near soil the wave is slower: there the
    inductance is too little, by 20 kHz of a 40 m dip in an 0.3 mm jacket.
    """

    def __init__(self, mesh: Mesh, segments: Segments, structure: Structure) -> None:
        logs = radius_logs(structure)
        self.inductance: Real = MU0 / (2 * math.pi) * logs[mesh.conductor] * mesh.length
        self.elastance: Complex = np.zeros((len(mesh.length),) * 2, dtype=complex)
        self.bend: Complex = np.zeros_like(self.elastance)
        for number, conductor in enumerate(structure.conductors):
            if share := logs[number] - conductor.wire.jacket_log:
                change, cells, _ = charge_cells(mesh, segments, number)
                self.elastance += share / (2 * math.pi * EPS0) * (change.T / cells) @ change
                self.bend += share / (2 * math.pi * EPS0) * wave_number(1.0) ** 2 / 12 * (change.T * cells) @ change

    def at(self, f_hz: float) -> Complex:
        """Z (N, N), ohm."""
        w = 2 * math.pi * f_hz
        return np.diag(1j * w * self.inductance) + (self.elastance + f_hz**2 * self.bend) / (1j * w)

    def slope(self, f_hz: float) -> Complex:
        """dZ/df (N, N), ohm/Hz."""
        w = 2 * math.pi * f_hz
        return np.diag(2j * math.pi * self.inductance) + (f_hz**2 * self.bend - self.elastance) / (1j * w * f_hz)
