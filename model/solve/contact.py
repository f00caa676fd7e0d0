"""Conductors close to the soil: their charge crowds to the underside, which thin wires and their images do not know.

A line of charge at height h over its quasi-static image has 1/C = (ln(1/b) + kappa ln 2h)/(2 pi eps0). On a conductor
of radius a in a jacket up to radius b the charge moves, and that adds x/(2 pi eps0), with x below: -kappa^2 (b/2h)^2
far away; for a bare wire over a perfect ground acosh(h/a) - ln(2h/a). The magnetic field hardly feels the soil, so the
inductance stays.

The engine takes the image's distance as sqrt(4h^2 + r^2), r the radius that it computes with: half ln(1 + (r/2h)^2) too
much in both inductance and 1/C, which is taken off here.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import EPS0, MU0
from tautwire.model.soil.ground import Ground
from tautwire.model.wires.mesh import Mesh
from tautwire.model.wires.segments import Segments
from tautwire.model.wires.structure import Structure
from tautwire.model.wires.wire import WireType

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
