"""Matrices interpolated over a span against matrices computed at the frequency itself."""

import numpy as np
import pytest
from benchmarks.span_error import direct_impedance, span_error
from random_cases import random_setup

from tautwire.model.basics import C0
from tautwire.model.errors import InputError
from tautwire.model.solve.response import SPANS, SoilMatrices, WireMatrices, lagrange, span_of


@pytest.mark.parametrize(("seed", "span"), [(24, 0), (0, 1), (31, 2), (31, 3)])
def test_interpolation_keeps_the_reflection_coefficient(seed, span):
    """Fifty set-ups are in results/benchmark/span_error.csv."""
    setup, _ = random_setup(seed)
    assert span_error(setup.build().solver(), SPANS[span], probes=3) < 6e-4


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


@pytest.mark.parametrize(
    ("kind", "nodes", "near"),
    [
        # charge, inductance and radiation: real part odd in f, imaginary part even
        (WireMatrices, SPANS[1].nodes, lambda f: -3e9j + 2e-5j * f**2 + 1e-20j * f**4 + 40 * f + 1e-13 * f**3),
        # a skin depth's root
        (SoilMatrices, SPANS[1].soil_nodes(False), lambda f: f * (3 + 2e-3j * f**0.5 + 1e-6 * f)),
    ],
)
def test_smooth_is_exact_for_what_travels_and_its_slope_is_right(kind, nodes, near):
    """Z = near(f) exp(-jkR)/f."""
    distance = np.array([[0.1, 7.0], [7.0, 0.1]])

    def z(f):
        return near(f) * np.exp(-2j * np.pi * f / C0 * distance) / f

    smooth = kind.through(nodes, np.array([z(f) for f in nodes]), distance)
    f, step = 9.1e6, 10.0
    value, slope = smooth.with_slope(f)
    assert np.allclose(value, z(f), rtol=1e-9) and np.allclose(smooth.at(f), value, rtol=1e-12)
    assert np.allclose(slope, (z(f + step) - z(f - step)) / (2 * step), rtol=1e-5)


def test_spans_join_and_refuse_what_is_outside():
    assert [s.upper for s in SPANS[:-1]] == [s.lower for s in SPANS[1:]]
    with pytest.raises(InputError, match="from 1.6 to 60 MHz"):
        span_of(61e6)


def test_a_span_takes_five_engine_matrices_and_three_soil_tables():
    made = {"wires": 0, "soil": 0}

    def remember(key, compute):
        arrays = compute()
        kind = key.split("-")[0]
        if kind in made:
            made[kind] += len(arrays["y"]) if kind == "wires" else 1
        return arrays

    setup, _ = random_setup(0)
    setup.build().solver(remember).response(14.0e6, 14.35e6)
    assert made == {"wires": 5, "soil": 3}
