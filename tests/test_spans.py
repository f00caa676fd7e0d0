"""Matrices interpolated over a span against matrices computed at the frequency itself."""

import numpy as np
import pytest
from benchmarks.span_error import direct_impedance, span_error
from random_cases import random_setup

from tautwire.model.constants import C0
from tautwire.model.errors import InputError
from tautwire.model.solve.smooth_matrices import SPANS, Smooth, lagrange, span_of


@pytest.mark.parametrize(("seed", "span"), [(24, 0), (0, 1), (31, 2), (31, 3)])
def test_interpolation_keeps_the_reflection_coefficient(seed, span):
    """Fifty set-ups are in results/benchmark/span_error.csv."""
    setup, _ = random_setup(seed)
    assert span_error(setup.build().solver(), SPANS[span], probes=3) < 3e-4


def test_a_node_is_met_where_only_the_image_is_interpolated():
    setup, _ = random_setup(1)
    solver, f = setup.build().solver(), float(SPANS[1].nodes[1])
    assert solver.impedance(f) == pytest.approx(direct_impedance(solver, f), rel=1e-3)


def test_lagrange_weights_and_slopes():
    nodes = np.array([1.0, 2.0, 4.0, 7.0])
    weights, slopes = lagrange(tuple(nodes), 3.3)
    for power in range(4):
        assert weights @ nodes**power == pytest.approx(3.3**power)
        assert slopes @ nodes**power == pytest.approx(power * 3.3 ** (power - 1))


def test_smooth_is_exact_for_a_travelling_wave_and_its_slope_is_right():
    """Z = (a + b f^2) exp(-jkR)/f: a static and an inductive part that travel the distance R."""
    nodes = SPANS[1].nodes
    distance = np.array([[0.1, 7.0], [7.0, 0.1]])

    def z(f):
        return (3e9 + 2e-5 * f**2) * np.exp(-2j * np.pi * f / C0 * distance) / f

    smooth = Smooth.through(nodes, np.array([z(f) for f in nodes]), distance)
    f, step = 9.1e6, 10.0
    value, slope = smooth.with_slope(f)
    assert np.allclose(value, z(f), rtol=1e-9) and np.allclose(smooth.at(f), value, rtol=1e-12)
    assert np.allclose(slope, (z(f + step) - z(f - step)) / (2 * step), rtol=1e-5)


def test_spans_join_and_refuse_what_is_outside():
    assert [s.upper for s in SPANS[:-1]] == [s.lower for s in SPANS[1:]]
    with pytest.raises(InputError, match="from 1.6 to 60 MHz"):
        span_of(61e6)
