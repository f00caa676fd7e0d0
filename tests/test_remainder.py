"""The soil table against the kernels it tabulates, and the remainder matrix: joints, reciprocity, convergence."""

import pickle

import numpy as np
import pytest

from tautwire.model.errors import InputError
from tautwire.model.soil.ground import FREE_SPACE, PERFECT, UniformGround
from tautwire.model.soil.soil_table import R_MAX, R_MIN, SoilTable, remainder_matrix, soil_table
from tautwire.model.soil.sommerfeld import kernels
from tautwire.model.solve.engine import admittance
from tautwire.model.wires.segments import Segments, joined_segments

SANDY = UniformGround(10, 2e-3)


class Exact:
    """In place of a table: the kernels themselves."""

    def __init__(self, table):
        self.k, self.n2 = table.k, table.n2

    def kernels(self, rho, zeta):
        return kernels(self.k * rho, self.k * zeta, self.n2)


@pytest.fixture(scope="module")
def sandy():
    return soil_table(14e6, SANDY)


def straight(points, counts):
    """Ends of equal segments along a polyline."""
    starts, ends = [], []
    for p, q, n in zip(points, points[1:], counts, strict=False):
        nodes = np.linspace(p, q, n + 1)
        starts.append(nodes[:-1])
        ends.append(nodes[1:])
    return np.concatenate(starts), np.concatenate(ends)


@pytest.mark.parametrize(
    ("er", "sigma", "f_mhz", "tolerance"),
    [
        (10, 2e-3, 14, 3e-4),
        (13, 5e-3, 3.5, 1e-4),
        (13, 5e-3, 28, 5e-4),
        (20, 30e-3, 7, 1e-4),
        (3, 1e-4, 14, 1e-3),
        (70, 5, 1.8, 1e-4),
        (70, 5, 14, 3e-4),
        (3, 1e-4, 54, 1e-2),
        (80, 3e-3, 28, 6e-2),
    ],
)
def test_table_agrees_with_the_kernels(er, sigma, f_mhz, tolerance):
    table = soil_table(f_mhz * 1e6, UniformGround(er, sigma))
    rng = np.random.default_rng(1)
    r = np.exp(rng.uniform(np.log(R_MIN), np.log(min(R_MAX, 12 / table.k)), 400))
    angle = np.pi / 2 * rng.uniform(0, 1, 400) ** 2
    rho, zeta = r * np.cos(angle), r * np.sin(angle)
    want = Exact(table).kernels(rho, zeta)
    error = abs(table.kernels(rho, zeta) - want).max(0) / abs(want).max(0)
    assert error.max() < tolerance
    assert np.median(error) < tolerance / 5


def test_table_survives_storage(sandy):
    rho, zeta = np.array([0.0, 1.0, 20.0]), np.array([0.02, 3.0, 0.1])
    for copy in (pickle.loads(pickle.dumps(sandy)), SoilTable.from_arrays(sandy.to_arrays())):
        assert np.array_equal(copy.kernels(rho, zeta), sandy.kernels(rho, zeta))
    assert all(isinstance(a, np.ndarray) for a in sandy.to_arrays().values())


def test_off_the_table_is_refused(sandy):
    for bad in (0.01, 200.0, np.nan):
        with pytest.raises(InputError, match="0.019 m to 120 m"):
            sandy.kernels(np.zeros(2), np.array([1.0, bad]))


@pytest.mark.parametrize("ground", [FREE_SPACE, PERFECT])
def test_no_table_without_soil(ground):
    with pytest.raises(InputError, match="need no table"):
        soil_table(14e6, ground)
    seg = joined_segments(*straight([(0, 0, 1), (3, 0, 1)], [3]))
    assert np.array_equal(remainder_matrix(None, seg), np.zeros((3, 3)))


def test_bad_tables_are_refused():
    for arguments in ((0.0, SANDY), (np.nan, SANDY), (14e6, SANDY, 2.0, 1.0), (14e6, SANDY, 0.0)):
        with pytest.raises(InputError):
            soil_table(*arguments)


def test_current_is_linear_between_neighbours_and_zero_at_free_ends():
    starts, ends = np.array([[0, 0, 1.0], [1, 0, 1]]), np.array([[1, 0, 1.0], [4, 0, 1]])
    current = joined_segments(starts, ends).current
    assert current[0] == pytest.approx(np.array([[0, 0], [1, 0], [0.75, 0.25]]))
    assert current[1] == pytest.approx(np.array([[0.75, 0.25], [0, 1], [0, 0]]))


@pytest.mark.parametrize("flip", [0, 1, 2, 3])
def test_three_limbs_of_unequal_length_obey_kirchhoff(flip):
    hub = np.array([0, 0, 2.0])
    tips = np.array([[1, 0, 2], [0, -0.3, 2], [0, 0, 0.5]])
    starts, ends = np.tile(hub, (3, 1)), tips.copy()
    starts[:flip], ends[:flip] = ends[:flip].copy(), starts[:flip].copy()
    seg = joined_segments(starts + 1e-8, ends)
    inward = np.arange(3) < flip
    at_hub = np.where(inward[:, None], seg.current[:, 2], seg.current[:, 0])
    out = np.where(inward, -1.0, 1.0)
    assert out @ at_hub == pytest.approx(np.zeros(3), abs=1e-12)
    fair = out * np.array([1.0, -0.4, -0.6])  # currents that already obey the law stay as they are
    assert at_hub @ fair == pytest.approx(fair)
    assert np.where(inward[:, None], seg.current[:, 0], seg.current[:, 2]) == pytest.approx(0)


def test_a_segment_may_run_either_way(sandy):
    starts, ends = straight([(0, 0, 0.5), (2, 1, 1.5), (4, 0, 0.3)], [3, 4])
    z = remainder_matrix(sandy, joined_segments(starts, ends))
    sign = np.where(np.arange(7) == 4, -1, 1)
    starts[4], ends[4] = ends[4].copy(), starts[4].copy()
    turned = remainder_matrix(sandy, joined_segments(starts, ends))
    assert abs(turned * np.outer(sign, sign) - z).max() < 1e-9 * abs(z).max()


def test_a_segment_without_length_is_refused():
    with pytest.raises(InputError, match="segment length"):
        joined_segments(np.zeros((1, 3)), np.zeros((1, 3)))


def test_reciprocity(sandy):
    """Two current elements of any direction: what one induces in the other is the same both ways."""
    rng = np.random.default_rng(2)
    n = 12
    centre = rng.uniform(-6, 6, (n, 3)) * [1, 1, 0.3] + [0, 0, 3]
    vector = 0.02 * rng.normal(size=(n, 3))
    uniform = np.zeros((n, 3, n))
    uniform[np.arange(n), :, np.arange(n)] = 1
    z = remainder_matrix(sandy, Segments(centre, vector, uniform))
    assert abs(z - z.T).max() < 1e-4 * abs(z).max()
    exact = remainder_matrix(Exact(sandy), Segments(centre, vector, uniform))
    assert abs(z - exact).max() < 1e-4 * abs(exact).max()


def test_reciprocity_along_a_wire(sandy):
    """Away from the wire's ends, where point matching and current differ."""
    z = remainder_matrix(sandy, joined_segments(*straight([(0, 0, 0.5), (15, 0, 8)], [60])))[2:-2, 2:-2]
    assert abs(z - z.T).max() < 2e-3 * abs(z).max()


@pytest.mark.parametrize("height", [0.01, 0.2, 2.0])
def test_convergence_with_quadrature_points(sandy, height):
    """A wire with its counterpoise: the usual few points against many."""
    starts, ends = straight([(-4, 0, height), (0, 0, height), (10, 0, height + 6)], [10, 24])
    seg = joined_segments(starts, ends)
    few, many = remainder_matrix(sandy, seg), remainder_matrix(sandy, seg, 8, 40)
    assert abs(few - many).max() < 1e-3 * abs(many).max()
    exact = remainder_matrix(Exact(sandy), seg)
    assert abs(few - exact).max() < 1e-5 * abs(exact).max()


@pytest.mark.parametrize("height", [0.02, 0.2])
def test_feed_impedance_converges(sandy, height):
    """Half-wave dipole: the table and few points against the kernels themselves and many points."""
    legs = [((-5.3, 0.0, height), (5.3, 0.0, height), 21, 1e-3)]
    free, perfect = (np.linalg.inv(admittance(legs, 14e6, p)) for p in (False, True))
    quasi_static = free + (sandy.n2 - 1) / (sandy.n2 + 1) * (perfect - free)
    seg = joined_segments(*straight([legs[0][0], legs[0][1]], [21]))

    def impedance(*arguments):
        return 1 / np.linalg.inv(quasi_static + remainder_matrix(*arguments))[10, 10]

    want = impedance(Exact(sandy), seg, 4, 16)
    assert abs(impedance(sandy, seg) / want - 1) < 3e-5
    assert abs(1 / np.linalg.inv(quasi_static)[10, 10] / want - 1) > 0.02  # the remainder matters


def test_moving_and_turning_the_antenna_changes_nothing(sandy):
    starts, ends = straight([(-2, 0, 0.05), (0, 0, 0.05), (5, 3, 4)], [5, 10])
    turn = np.array([[0.6, -0.8, 0], [0.8, 0.6, 0], [0, 0, 1]])
    z = remainder_matrix(sandy, joined_segments(starts, ends))
    moved = remainder_matrix(sandy, joined_segments(starts @ turn.T + [7, -3, 0], ends @ turn.T + [7, -3, 0]))
    assert abs(z - moved).max() < 1e-9 * abs(z).max()
