"""The rational response: few solves, small and honestly estimated error."""

import numpy as np
import pytest
from benchmarks.response_error import true_error
from random_cases import random_setup

from tautwire.model.solve.response import chebyshev, respond

SEEDS = [1, 2, 12, 15, 20, 23, 24, 31]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_band_needs_eight_solves_at_the_most(seed):
    """Goal: 1e-3 in reflection coefficient from 8 solves at the most, 6 in the median; all fifty set-ups are in
    results/benchmark/response_error.csv."""
    setup, band = random_setup(seed)
    solver = setup.build().solver()
    response = solver.response(band.lower, band.upper)
    error = true_error(solver, response, points=41)
    assert len(response.samples) <= 6
    assert error < 1e-3
    assert error <= max(response.error, 1e-6)


def cotangent_wire(f):
    """An open lossless line with a little loss, many resonances: the input impedance of a line, a textbook formula."""
    turn = 2 * np.pi * f / 3.6e6
    return complex(600 / np.tanh(0.1 + 0.5j * turn))


def test_a_range_of_three_resonances_is_marked_when_samples_run_out():
    f = np.linspace(40e6, 60e6, 801)
    exact = np.array([cotangent_wire(x) for x in f])
    exact = (exact - 2450) / (exact + 2450)
    few = respond(cotangent_wire, f[0], f[-1], most=5)
    assert np.abs(few.reflection(f) - exact).max() > 1e-2  # five samples cannot do it
    assert few.error > 1e-2  # and the response says so
    many = respond(cotangent_wire, f[0], f[-1], most=24)
    assert many.error < 1e-3
    assert np.abs(many.reflection(f) - exact).max() < 1e-3


def test_samples_are_met_exactly():
    response = respond(cotangent_wire, 12e6, 15e6)
    assert response.impedance(response.samples) == pytest.approx([cotangent_wire(x) for x in response.samples])


def test_a_constant_and_a_straight_line_make_no_poles():
    """Functions of lower degree than the samples allow leave weights undecided: none may put a pole in the range."""
    f = np.linspace(7e6, 7.3e6, 5001)
    for port in (lambda x: 300 - 40j, lambda x: 2450 * (2 + (x - 7e6) / 1e6) / (x / 1e7)):
        response = respond(port, f[0], f[-1])
        z = np.array([port(x) for x in f])
        assert np.abs(response.reflection(f) - (z - 2450) / (z + 2450)).max() < 1e-7


def test_chebyshev_points_match_numpy():
    """numpy.polynomial.chebyshev.chebpts1 on (-1, 1)."""
    assert chebyshev(-1, 1, 7) == pytest.approx(np.polynomial.chebyshev.chebpts1(7))


def test_slope_agrees_with_differences_of_solves():
    setup, band = random_setup(2)
    solver = setup.build().solver()
    f, step = band.lower, 50.0
    z, slope = solver.port(f)
    assert z == pytest.approx(solver.impedance(f))
    assert slope == pytest.approx((solver.impedance(f + step) - solver.impedance(f - step)) / (2 * step), rel=1e-5)


def test_fit_agrees_with_an_aaa_fit_of_many_values():
    """scipy.interpolate.AAA on 60 values stands for the truth."""
    scipy_interpolate = pytest.importorskip("scipy.interpolate")
    f = np.linspace(6.3e6, 7.9e6, 60)
    aaa = scipy_interpolate.AAA(f, np.array([cotangent_wire(x) for x in f]), rtol=1e-10)
    between = (f[1:] + f[:-1]) / 2
    response = respond(cotangent_wire, f[0], f[-1], tolerance=1e-6)
    assert response.impedance(between) == pytest.approx(aaa(between), rel=1e-5)
