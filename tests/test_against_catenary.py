"""Sag against the catenary of the same wire and depth, in closed form (any statics text): what a parabola costs."""

import math

import numpy as np
import pytest

from tautwire.model.wires.layout import horizontal, sagged


@pytest.mark.parametrize(("depth", "most"), [(0.3, 1e-3), (0.5, 1e-3), (1.0, 2e-3), (2.0, 0.01), (4.0, 0.08)])
def test_a_level_wire_hangs_as_a_catenary(depth: float, most: float) -> None:
    """20 m of wire. Half its length is a sinh(x/a), its depth a (cosh(x/a) - 1), so a = ((l/2)^2 - d^2)/(2 d): the
    pull at its lowest point over the weight of a metre. At the usual half metre the parabola is 0.1 mm off."""
    length, pieces = 20.0, 400
    points = np.array(sagged(horizontal(length=length, height=8.0), depth, pieces).points)
    along = np.linalg.norm(points - points[0], axis=1)
    a = ((length / 2) ** 2 - depth**2) / (2 * depth)
    span = 2 * a * math.asinh(length / 2 / a)
    assert along[-1] == pytest.approx(span, abs=most)
    drop = a * (math.cosh(span / 2 / a) - np.cosh((np.linspace(0, 1, pieces + 1) - 0.5) * span / a))
    assert np.abs(8.0 - points[:, 2] - drop).max() < most
