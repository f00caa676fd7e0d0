"""A second method of moments, to compare the engine with: mixed potentials, triangles, Galerkin's test.

After Harrington, Field Computation by Moment Methods (1968), ch. 4, from memory: thin wires, current on the axis,
tested at a distance of one radius. It shares nothing with the engine's three-term basis and point matching, and being
Galerkin's it obeys reciprocity and energy by construction, also where the radius steps. Its error falls as the segment
length; `extrapolated` takes most of it away.
"""

import numpy as np

from tautwire.model.basics import C0, ETA0
from tautwire.model.wires.mesh import Mesh, MeshRules, mesh
from tautwire.model.wires.structure import Structure


def port_impedance(wires: Mesh, f_hz: float, perfect_ground: bool = False) -> complex:
    """Feed impedance, ohm, of lossless wires; the port is spread over segments as Mesh.feed says."""
    k = 2 * np.pi * f_hz / C0
    start, end, radius = wires.start, wires.end, wires.radius
    basis = _triangles(start, end)
    length = np.linalg.norm(end - start, axis=1)
    tangent = (end - start) / length[:, None]
    z = _reaction(basis, start, tangent, length, radius, start, tangent, k)
    if perfect_ground:  # the image carries the opposite charge, and so the opposite current along its mirrored path
        z = z - _reaction(basis, start, tangent, length, radius, start * [1, 1, -1], tangent * [1, 1, -1], k)
    volts = np.einsum("bsn,n->b", basis, wires.feed) / 2  # a triangle's half has mean 1/2
    current = np.linalg.solve(z, volts)
    centre = np.einsum("bsn,b->n", basis, current) / 2
    return 1 / complex(wires.feed @ centre)


def extrapolated(wires: Structure, f_hz: float, cut_for: float) -> complex:
    """Feed impedance in free space, ohm, from the default mesh (cut for the frequency cut_for) and one 1.7 as fine."""
    y = [1 / port_impedance(mesh(wires, cut_for, rules), f_hz) for rules in (MeshRules(), MeshRules().finer(1.7))]
    return 1 / (y[1] + (y[1] - y[0]) / 0.7)


def _triangles(start, end):
    """(B, 2, N): current of each triangle at the start and end of each segment, positive from start to end."""
    points = np.round(np.concatenate([start, end]), 6)
    _, node = np.unique(points, axis=0, return_inverse=True)
    node, n = node.ravel(), len(start)
    basis = []
    for at in range(node.max() + 1):
        first, *others = limbs = np.flatnonzero(node == at)
        for other in others if len(limbs) > 1 else ():
            one = np.zeros((2, n))
            for limb, sign in ((first, 1.0), (other, -1.0)):  # out of the node on one limb, into it on the other
                side = int(limb >= n)
                one[side, limb % n] = sign * (1.0 if side == 0 else -1.0)
            basis.append(one)
    return np.array(basis)


def _reaction(basis, start, tangent, length, radius, start2, tangent2, k):
    """Z (B, B), ohm."""
    x, w = np.polynomial.legendre.leggauss(6)
    s, ds = (1 + x) / 2, w / 2
    here = start[:, None] + tangent[:, None] * (length[:, None] * s)[..., None]
    there = start2[:, None] + tangent2[:, None] * (length[:, None] * s)[..., None]
    shape = np.stack([1 - s, s]) * ds
    thick = (radius[:, None] ** 2 + radius**2) / 2
    apart = np.linalg.norm(here[:, None, :, None] - there[None, :, None, :], axis=-1)
    r = np.sqrt(apart**2 + thick[..., None, None])
    area = np.multiply.outer(length, length)
    psi = np.einsum("ap,ijpq,bq->ijab", shape, np.exp(-1j * k * r) / r, shape) * area[..., None, None]
    reach = (length[:, None] + length) * 1.5
    mid, mid2 = start + tangent * length[:, None] / 2, start2 + tangent2 * length[:, None] / 2
    near = np.linalg.norm(mid[:, None] - mid2, axis=-1) < reach
    for i, j in zip(*np.nonzero(near), strict=True):
        psi[i, j] = _near(start[i], tangent[i], length[i], start2[j], tangent2[j], length[j], thick[i, j], k)
    slope = np.array([-1.0, 1.0])
    ones = psi.sum(axis=(2, 3)) / area  # of current slopes 1/length
    turn = tangent @ tangent2.T
    vector = np.einsum("san->nsa", basis)
    potential = np.einsum("isa,ijab,jtb,ij->st", vector, psi, vector, turn, optimize=True)
    charge = np.einsum("isa,a->is", vector, slope)
    scalar = charge.T @ ones @ charge
    return 1j * ETA0 / (4 * np.pi) * (k * potential - scalar / k)


def _near(p, t, length, p2, t2, length2, thick, k):
    """The same integral, 1/R in closed form along the second segment and points crowded at the first one's ends."""
    x, w = np.polynomial.legendre.leggauss(8)
    edges = [0.0, *(0.5 * 4.0 ** -np.arange(7, -1, -1.0))]
    edges = np.array([*edges, *(1 - np.array(edges[-2::-1]))])
    s = ((edges[1:] + edges[:-1])[:, None] / 2 + np.diff(edges)[:, None] / 2 * x).ravel()
    ds = (np.diff(edges)[:, None] / 2 * w).ravel()
    here = p + np.outer(s * length, t)
    gap = here - p2
    foot = gap @ t2
    away2 = np.maximum((gap**2).sum(1) - foot**2, 0) + thick
    near, far = np.hypot(foot, np.sqrt(away2)), np.hypot(length2 - foot, np.sqrt(away2))
    flat = np.arcsinh((length2 - foot) / np.sqrt(away2)) + np.arcsinh(foot / np.sqrt(away2))
    ramp = (far - near + foot * flat) / length2
    y, v = np.polynomial.legendre.leggauss(8)
    u, du = (1 + y) / 2, v / 2 * length2
    r = np.sqrt((foot[:, None] - u * length2) ** 2 + away2[:, None])
    smooth = (np.exp(-1j * k * r) - 1) / r
    inner = np.stack([flat - ramp + smooth @ ((1 - u) * du), ramp + smooth @ (u * du)], axis=1)
    return np.einsum("ap,pb->ab", np.stack([1 - s, s]) * ds * length, inner)
