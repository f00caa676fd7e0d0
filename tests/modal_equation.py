"""The wave along an endless straight wire over level soil: its exact equation, and the wave that a solved wire carries.

A current exp(-j b x) at height h has no field along a perfect wire where (lengths in 1/k, b in k, u0 = sqrt(l^2 - 1),
l^2 = b^2 + v^2; Wait 1972, Radio Science 7; Kuester and Chang 1979: from memory, worked anew from plane waves)

    (1 - b^2) K0(a sqrt(b^2 - 1)) + integral over v from 0 of (v^2 Rte/u0 + b^2 u0 Rtm) exp(-2 u0 h)/l^2 dv - b^2 x = 0

x: what the conductor's surroundings add to 2 pi eps0/C of a thin bare wire: a jacket, charge on the underside.
"""

import numpy as np
from scipy.optimize import least_squares, newton
from scipy.special import kv

from tautwire.model.basics import on_panels, wave_number
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.solver import Solution, Solver
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.structure import Conductor, Structure, WireType

ARM = 40.0  # m, of the wire that is solved: a long dipole
INSIDE = (6.0, 36.0)  # m from the feed, where its current is read: away from what the feed and the end radiate


def exact(wire: WireType, height: float, f_hz: float, ground: Ground, near: complex, more: complex = 0) -> complex:
    """b, in k, of the wave nearest to `near`; height, m; more: x above."""
    k = wave_number(f_hz)
    stack, a, zeta = ground.stack(f_hz).scaled(k), k * wire.radius, 2 * k * height
    v, dv = on_panels(np.concatenate([[0], np.geomspace(1e-3, 60 / zeta, 140)]), 12)

    def miss(b: complex) -> complex:
        square = b * b + v * v
        lam = np.sqrt(square + 0j)
        u = np.sqrt(square - 1)
        rtm, rte = stack.reflection(lam, u)
        over = ((v * v * rte / u + b * b * u * rtm) / square * np.exp(-u * zeta) * dv).sum()
        return (1 - b * b) * kv(0, a * np.sqrt(b * b - 1)) + over - b * b * more

    return complex(newton(miss, near, x1=near * 1.01 - 0.005j, tol=1e-10, maxiter=60))


def long_dipole(wire: WireType, height: float) -> Structure:
    """Two arms of ARM each, level, fed in the middle."""
    ways = [((0.0, 0.0, height), (s * ARM, 0.0, height)) for s in (1, -1)]
    return Structure((Conductor(ways[0], wire, "wire"), Conductor(ways[1], wire, "counterpoise")))


def solved(wire: WireType, height: float, f_hz: float, ground: Ground, finer: float = 1.0) -> complex:
    """b, in k, of the wave on a long wire that the solver solves."""
    rules = MeshRules() if finer == 1 else MeshRules().finer(finer)
    return read(Solver(long_dipole(wire, height), ground, rules).solve(f_hz))


def read(solution: Solution) -> complex:
    """b, in k, of the two waves, out and back, that make up the current along the first arm."""
    mesh, k = solution.mesh, wave_number(solution.f_hz)
    inside = (mesh.conductor == 0) & (mesh.along > INSIDE[0]) & (mesh.along < INSIDE[1])
    x, current = mesh.along[inside] - INSIDE[0], solution.current[inside]
    current = current / np.abs(current).max()

    def left(b: complex) -> np.ndarray:
        out_and_back = np.exp(-1j * k * b * np.stack([x, INSIDE[1] - INSIDE[0] - x], axis=1))
        shares = np.linalg.lstsq(out_and_back, current, rcond=None)[0]
        return out_and_back @ shares - current

    tries = [
        least_squares(lambda p: left(complex(*p)).view(float), [real, -0.1], xtol=1e-12) for real in (1.05, 1.4, 2.2)
    ]
    return complex(*min(tries, key=lambda t: t.cost).x)
