"""Soils that change with frequency: the universal soil model is causal, tables follow their rows."""

import numpy as np
import pytest
from scipy.constants import epsilon_0
from scipy.integrate import quad

from tautwire.model.errors import InputError
from tautwire.model.soil.ground import MoistGround, TabledGround


@pytest.mark.parametrize("moisture", [0.01, 0.1, 0.4])
def test_kramers_and_kronig(moisture):
    """er(w) - 5 = 2/pi P integral of w' e''(w')/(w'^2 - w^2) dw', e'' without that of the steady conductivity
    (Kramers-Kronig, Landau and Lifshitz, Electrodynamics of Continuous Media, sect. 82, from memory)."""
    soil = MoistGround(moisture)
    steady = 8e-3 * (10 * moisture) ** 1.54

    def relaxing(f):
        er, sigma = soil.constants(f)
        return (sigma - steady) / (2 * np.pi * f * epsilon_0)

    def pair(x, f):  # f' = f exp(+-x): the pole cancels between the two
        high, low = f * np.exp(x), f * np.exp(-x)
        return (high**2 * relaxing(high) - low**2 * relaxing(low) * np.exp(2 * x)) / (high**2 - f**2)

    for f in (1.9e6, 7e6, 28e6):
        integral = quad(pair, 1e-6, 40, args=(f,), limit=500, epsabs=1e-4, epsrel=1e-5)[0]
        assert 5 + 2 / np.pi * integral == pytest.approx(soil.constants(f)[0], rel=1e-3)


def test_formula_as_it_is_printed():
    """er and sigma as sums, for 10 per cent of water at 1 MHz, where f/f_n = 10^(7-n) (Longmire and Smith, from
    memory; worked by hand)."""
    a = [3.4e6, 2.74e5, 2.58e4, 3.38e3, 526, 133, 27.2, 12.5, 4.80, 2.17, 0.98, 0.392, 0.173]
    x = [10.0 ** (7 - n) for n in range(1, 14)]
    er = 5 + sum(s / (1 + r * r) for s, r in zip(a, x, strict=True))
    sigma = 8e-3 + 2 * np.pi * epsilon_0 * sum(s * 1e6 / r * r * r / (1 + r * r) for s, r in zip(a, x, strict=True))
    assert MoistGround(0.1).constants(1e6) == pytest.approx((er, sigma), rel=1e-9)


def test_wetter_conducts_better():
    er, sigma = zip(*(MoistGround(p).constants(7e6) for p in (0.02, 0.1, 0.3)), strict=True)
    assert list(er) == sorted(er) and list(sigma) == sorted(sigma)
    for bad in (0.0, 0.001, 0.7, float("nan")):
        with pytest.raises(InputError, match="soil.moisture"):
            MoistGround(bad)


def test_a_table_of_the_model_gives_the_model():
    model = MoistGround(0.15)
    rows = tuple((float(f), *model.constants(float(f))) for f in np.geomspace(1e6, 60e6, 25))
    table = TabledGround(rows)
    for f in (1.9e6, 7.1e6, 14.2e6, 51e6):
        assert table.stack(f).top == pytest.approx(model.stack(f).top, rel=2e-3)
        assert table.kappa_slope(f) == pytest.approx(model.kappa_slope(f), rel=0.05)
    table.check(1.8e6, 54e6)
    with pytest.raises(InputError, match="70 MHz: frequencies within its table, 1 to 60 MHz"):
        table.check(1.8e6, 70e6)
    for bad in (rows[:1], (rows[1], rows[0]), ((1e6, 1.0, 1e-3), rows[3]), ((1e6, 9.0, 0.0), rows[3])):
        with pytest.raises(InputError, match="soil.table"):
            TabledGround(bad)
