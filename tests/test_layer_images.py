"""Images in the faces below a thin layer: against the exact reflection, and against a mesh twice as fine."""

import numpy as np
import pytest
from random_cases import dips_at_transformer, lakeside_sloper

from tautwire.model.soil.ground import Stack
from tautwire.model.soil.soil_table import MOST, needed, series, with_images
from tautwire.model.solve.neighbours import OneFrequency
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.setup import Setup

SNOW, ICE, SOIL, WATER = 1.57 - 0.003j, 3.2 - 0.01j, 13 - 6j, 80 - 4j


def over(top, depth, bottom="average soil"):
    return [{"soil": top, "depth": depth}, {"soil": bottom}]


def solver(coax_height, soil, finer=1):
    built = Setup.read(lakeside_sloper(coax_height, soil)).build()
    return Solver(built.structure, built.ground, built.rules.finer(finer) if finer > 1 else built.rules)


@pytest.mark.parametrize("stack", [Stack((SNOW, SOIL), (0.03,)), Stack((SNOW, ICE, WATER), (0.02, 0.05))])
def test_the_series_is_what_the_layers_reflect_of_fast_waves(stack):
    """Rtm of Stack.reflection at wave numbers far above k n, less the top face's; 60 images."""
    wave = np.array([20.0, 40.0, 90.0])
    k = 1e-4
    lam = (wave / k).astype(complex)
    exact = stack.scaled(k).reflection(lam, np.sqrt(lam * lam - 1))[0] - stack.kappa
    found = sum(c * np.exp(-2 * wave * x) for x, c in series(stack, 60).items())
    assert found == pytest.approx(exact, abs=1e-6)


def test_as_many_images_as_the_layer_needs_and_none_over_one_soil():
    assert needed([Stack((SOIL,))], 0.0025) == ()
    assert needed([Stack((SNOW, SOIL), (1.0,))], 0.0025) == ()
    assert 2 <= len(needed([Stack((SNOW, SOIL), (0.01,))], 0.02)) <= 5
    assert len(needed([Stack((ICE, WATER), (0.002,))], 0.02)) <= MOST


def test_with_the_last_image_the_sum_is_right_for_slow_waves():
    stack = with_images(Stack((ICE, WATER), (0.002,)), (0.002, 0.004))
    total = sum(c * np.exp(-2 * 9.0 * x) for x, c in stack.images)
    whole = sum(c * np.exp(-2 * 9.0 * x) for x, c in series(stack, 200).items())
    assert total == pytest.approx(whole, rel=1e-9)


def test_uniform_soil_takes_no_further_matrix_and_a_thin_layer_two_an_image():
    made = []

    def remember(key, compute):
        arrays = compute()
        if key.startswith("wires"):
            made.append(len(arrays["y"]))
        return arrays

    counts = []
    for soil in ("average soil", over("dry snow", "1 cm")):
        made.clear()
        built = Setup.read(lakeside_sloper("2 cm", soil)).build()
        parts = Solver(built.structure, built.ground, built.rules, remember).parts(14.1e6)
        parts.with_slope(14.1e6)
        counts.append((sum(made), len(parts.raised)))
    assert counts[0] == (5, 0)
    assert counts[1] == (5 + 2 * counts[1][1], counts[1][1])


def test_the_slope_of_the_matrix_knows_the_images():
    parts = solver("2 cm", over("ice", "5 mm")).parts(14.1e6)
    assert parts.raised
    z, slope = parts.with_slope(14.1e6)
    step = 1e3
    ends = [parts.matrix(f) + np.diag(parts.load(f)) for f in (14.1e6 - step, 14.1e6 + step)]
    assert np.abs(z - parts.matrix(14.1e6) - np.diag(parts.load(14.1e6))).max() < 1e-6 * np.abs(z).max()
    assert np.abs((ends[1] - ends[0]) / (2 * step) - slope).max() < 1e-4 * np.abs(slope).max()


def test_a_coarse_solve_takes_the_same_images():
    thin = solver("5 mm", over("dry snow", "1 cm"))
    span, alone = thin.impedance(14.1e6), OneFrequency(14.1e6).impedance(thin.structure, thin.ground, thin.rules)
    gamma = [(z - 2450) / (z + 2450) for z in (span, alone)]
    assert abs(gamma[0] - gamma[1]) < 5e-3


@pytest.mark.validation
@pytest.mark.parametrize("height, soil", [("2 cm", over("dry snow", "1 cm")), ("2 cm", over("ice", "2 mm"))])
def test_dips_over_a_thin_layer_have_converged(check, height, soil):
    """Without further images the 40 m dips were 237 and 51 kHz off."""
    bands = ("40 m", "10 m")
    moved = dips_at_transformer(solver(height, soil), bands) - dips_at_transformer(solver(height, soil, 2), bands)
    for band, by in zip(bands, moved, strict=True):
        what = f"{band} dip, {soil[0]['depth']} of {soil[0]['soil']}"
        check(what, "a mesh twice as fine", 0.0, by / 1e3, abs=4.0, unit="kHz")
