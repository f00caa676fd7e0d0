"""Near fields over soil: against direct quadrature of the exact integrals, Maxwell's equations, and the power."""

import numpy as np
import pytest
from test_against_hertz_dipole import F, K, hertz, moment_of, wire

from tautwire.model.basics import ETA0
from tautwire.model.errors import InputError
from tautwire.model.fields.far_field import far_field
from tautwire.model.fields.near_field import NearField
from tautwire.model.soil.ground import FREE_SPACE, PERFECT, UniformGround, ground_named
from tautwire.model.soil.sommerfeld import FINE, kernels
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import CoaxShield
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.structure import WireType, structure

SOIL = ground_named("average soil")


def short(direction, ground=SOIL, height=1.5):
    way = np.array(direction) / np.linalg.norm(direction)
    length = 0.05
    return wire((0, 0, height), way, length, lambda s: 1 - np.abs(2 * s / length), ground), way


def points_above(count=60, seed=3):
    random = np.random.default_rng(seed)
    return np.column_stack([random.uniform(-6, 6, (count, 2)), random.uniform(0.02, 4, count)])


def exact_e(points, source, moment, n2):
    """E of a short dipole over soil: the dipole and the whole reflected field, without split or table."""
    turn = np.eye(3)
    e = np.zeros(points.shape, complex)
    gap = points - source
    for axis in range(3):  # the dipole of each axis, turned onto z
        turn = np.roll(np.eye(3), 2 - axis, axis=1)
        e += moment[axis] * hertz(gap @ turn, 1.0)[0] @ turn.T
    rho, zeta = np.hypot(gap[:, 0], gap[:, 1]), points[:, 2] + source[2]
    vz, vr, a, b = kernels(K * rho, K * zeta, n2, split=False, effort=FINE)
    ux, uy = gap[:, 0] / rho, gap[:, 1] / rho
    cv, ch = ETA0 * K**2 / (4j * np.pi), -ETA0 * K**2 / (4 * np.pi)
    along, across = moment[0] * ux + moment[1] * uy, moment[1] * ux - moment[0] * uy
    e_rho, e_phi = cv * vr * moment[2] + ch * a * along, ch * b * across
    e[:, 0] += e_rho * ux - e_phi * uy
    e[:, 1] += e_rho * uy + e_phi * ux
    e[:, 2] += cv * (vz * moment[2] - vr * along)
    return e


@pytest.mark.parametrize("direction", [(0, 0, 1), (1, 0, 0), (0.5, -1, 0.7)])
@pytest.mark.parametrize("soil", ["average soil", "very dry ground", "sea water"])
def test_e_of_a_short_dipole_over_soil(direction, soil):
    ground = ground_named(soil)
    near, way = short(direction, ground)
    points = points_above()
    right = exact_e(points, np.array([0, 0, 1.5]), way * moment_of(near), complex(ground.n2(F)))
    got = near.at(points).e
    far = np.linalg.norm(points - [0, 0, 1.5], axis=1) > 1.0  # 20 lengths: the dipole is short there
    assert np.abs(got - right)[far].max() < 2e-3 * np.abs(right)[far].max()
    small = np.linalg.norm(right, axis=1)
    assert (np.linalg.norm(got - right, axis=1) / small)[far].max() < 0.01


@pytest.mark.parametrize("direction", [(0, 0, 1), (1, 0, 0), (0.5, -1, 0.7)])
@pytest.mark.parametrize("height", [0.1, 1.5])
def test_h_is_the_curl_of_e_over_soil(direction, height):
    """H from the exact E by differences, independent of the table and of its slopes."""
    near, way = short(direction, height=height)
    points = points_above(25)
    points = points[np.linalg.norm(points - [0, 0, height], axis=1) > 1]
    source, moment, n2 = np.array([0, 0, height]), way * moment_of(near), complex(SOIL.n2(F))
    step = 0.01

    def slope(axis):
        shift = np.eye(3)[axis] * step
        e = [exact_e(points + m * shift, source, moment, n2) for m in (-1, 1, -2, 2)]
        return (8 * (e[1] - e[0]) - (e[3] - e[2])) / (12 * step)

    points[:, 2] = np.maximum(points[:, 2], 0.05)
    dx, dy, dz = map(slope, range(3))
    curl = np.stack([dy[:, 2] - dz[:, 1], dz[:, 0] - dx[:, 2], dx[:, 1] - dy[:, 0]], axis=1)
    right = 1j * curl / (ETA0 * K)
    got = near.at(points).h
    assert np.abs(got - right).max() < 3e-3 * np.abs(right).max()
    assert (np.linalg.norm(got - right, axis=1) / np.linalg.norm(right, axis=1)).max() < 0.03


def test_straight_below_a_dipole_the_field_is_continuous():
    for direction in ((1, 0, 0), (0.5, -1, 0.7)):
        near, _ = short(direction)
        rho = np.array([0.0, 1e-9, 0.02, 0.03])
        got = near.at(np.column_stack([rho, rho, np.full(4, 0.3)]))
        assert np.ptp(np.sqrt(got.e2)) < 0.03 * np.sqrt(got.e2).max()
        assert np.ptp(np.sqrt(got.h2)) < 0.03 * np.sqrt(got.h2).max()
    vertical, _ = short((0, 0, 1))
    h = vertical.at(np.array([[0.0, 0, 0.3], [0.018, 0, 0.3], [0.036, 0, 0.3], [0.072, 0, 0.3]])).h[:, 1]
    assert abs(h[0]) < 1e-3 * abs(h[3])
    assert h[1:] / h[1] == pytest.approx([1, 2, 4], rel=0.01)  # below a vertical one H grows from 0 as rho does


def portable(ground=SOIL):
    layout = sloper(length=20.0, slope=np.radians(30), feed_height=1.2)
    wires = structure(layout, WireType(0.8e-3), [CoaxShield(5.0)], over_soil=not ground.is_free_space)
    return Solver(wires, ground).solve(14.1e6)


def test_wires_obey_maxwell_in_the_air_over_soil():
    """curl H = j w eps0 E and div E = 0 by differences, at points around an antenna with coax on the ground."""
    near = NearField.of(portable(), 10.0)
    points = np.array([[0.5, 0.7, 1.0], [-0.6, 0.3, 0.3], [2.0, 3.0, 1.5], [0.2, 9.0, 1.0], [4.0, 0.4, 0.4]])
    step = 0.02
    shifts = [near.at(points + m * step * np.eye(3)[a]) for a in range(3) for m in (1, -1)]
    de = np.stack([(shifts[2 * a].e - shifts[2 * a + 1].e) / (2 * step) for a in range(3)])
    dh = np.stack([(shifts[2 * a].h - shifts[2 * a + 1].h) / (2 * step) for a in range(3)])
    here = near.at(points)
    for d, other, factor in ((dh, here.e, 1j / ETA0), (de, here.h, -1j * ETA0)):
        curl = np.stack([d[1, :, 2] - d[2, :, 1], d[2, :, 0] - d[0, :, 2], d[0, :, 1] - d[1, :, 0]], axis=1)
        right = factor * near.k * other
        size = np.abs(d).max(axis=(0, 2))
        assert (np.linalg.norm(curl - right, axis=1) < 0.01 * size).all()
        assert (np.abs(np.trace(d, axis1=0, axis2=2)) < 0.01 * size).all()


@pytest.mark.parametrize("ground", [FREE_SPACE, PERFECT])
def test_power_through_a_closed_surface_is_the_power_at_the_feed(ground):
    """Poynting's theorem; copper loss is left inside, so a lossless wire."""
    layout = sloper(length=10.0, slope=np.radians(40), feed_height=2.0)
    lossless = WireType(2e-3, conductivity=np.inf)
    wires = structure(layout, lossless, [CoaxShield(3.0, height=0.5, wire=lossless)], over_soil=False)
    solution = Solver(wires, ground).solve(14.1e6)
    near = NearField.of(solution, 10.0)
    x, w = np.polynomial.legendre.leggauss(16)
    phi = np.arange(32) * np.pi / 16
    if ground is PERFECT:
        x, w = (x + 1) / 2, w / 2
    cos, az = (a.ravel() for a in np.meshgrid(x, phi, indexing="ij"))
    way = np.column_stack([np.sqrt(1 - cos**2) * np.cos(az), np.sqrt(1 - cos**2) * np.sin(az), cos])
    radius = 15.0
    got = near.at(radius * way)
    flow = (np.cross(got.e, got.h.conj()).real * way).sum(axis=1)
    watts = (np.repeat(w, 32) * flow).sum() * (2 * np.pi / 32) * radius**2
    assert watts == pytest.approx(10.0, rel=0.02)


def test_refuses_points_in_the_wire_and_under_ground():
    near, _ = short((0, 0, 1))
    with pytest.raises(InputError, match="conductor"):
        near.at(np.array([[0.01, 0, 1.5]]))
    with pytest.raises(InputError, match="above soil"):
        near.at(np.array([[1.0, 0, -0.1]]))


def test_a_soil_like_air_leaves_the_free_field():
    points = points_above(20)
    thin, free = (short((1, 0, 1), g)[0].at(points) for g in (UniformGround(1.0001, 1e-9), FREE_SPACE))
    assert np.abs(thin.e - free.e).max() < 0.01 * np.abs(free.e).max()
    assert np.abs(thin.h - free.h).max() < 0.01 * np.abs(free.h).max()


@pytest.mark.parametrize("degrees", [15, 30, 60])
def test_at_distance_it_is_the_far_field(degrees):
    """Over soil, 250 wavelengths out, against the Fresnel far field (near and far field share no ground formula)."""
    solution = portable()
    up, bearing, r = np.radians(degrees), np.radians([10.0, 100.0, 250.0]), 5000.0
    way = np.column_stack([np.cos(up) * np.sin(bearing), np.cos(up) * np.cos(bearing), np.full(3, np.sin(up))])
    got = NearField.of(solution).at(r * way)
    theta, phi = far_field(solution, up, bearing)
    size = np.sqrt(np.abs(theta) ** 2 + np.abs(phi) ** 2) / r
    assert np.sqrt(got.e2) == pytest.approx(size, rel=0.02)
    assert ETA0 * np.sqrt(got.h2) == pytest.approx(size, rel=0.02)
