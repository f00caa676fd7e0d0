"""Coils in the wire: a 40 m half-wave that also serves 80 m, a trap, and what is refused."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from tautwire.model.basics import C0
from tautwire.model.errors import InputError
from tautwire.model.fields.power_balance import power_balance
from tautwire.model.operating.bands import band_named
from tautwire.model.soil.ground import GROUNDS
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import Coil, Counterpoise, with_coil
from tautwire.model.wires.layout import build_layout
from tautwire.model.wires.structure import Structure, WireType, structure
from tautwire.studies.study.setup import Setup

MAIN, WIRE, LOADING = 19.5, WireType(1e-3), Coil(110e-6, 200)
SOURCE = "two lengths of line of Schelkunoff's mean impedance (1941, from memory), coil between"


def impedance_of_line(length: float) -> float:
    return 60 * (math.log(2 * length / WIRE.radius) - 1)


def line_estimate(tail: float) -> float:
    """Hz, where the line of MAIN, ended by coil and open tail, has an endless input impedance."""
    z_main, z_tail = impedance_of_line(MAIN), impedance_of_line(tail)

    def miss(f: float) -> float:
        k, w = 2 * math.pi * f / C0, 2 * math.pi * f
        end = w * LOADING.inductance - z_tail / math.tan(k * tail)
        return z_main * math.cos(k * MAIN) - end * math.sin(k * MAIN)

    return float(brentq(miss, 2e6, 6e6))


def hung(tail: float) -> Structure:
    wire = build_layout("horizontal", length=MAIN + tail, height=10.0)
    return structure(wire, WIRE, [Counterpoise(2.0)], over_soil=False)


def peak(wires: Structure, low: float, high: float) -> float:
    """Hz, where the feed impedance is highest: where the wire is a half wave."""
    solver = Solver(wires, GROUNDS["free space"])
    response = solver.response(low, high)
    f = np.linspace(low, high, 1601)
    z = np.abs(response.impedance(f))
    assert 0 < z.argmax() < len(f) - 1
    return float(f[z.argmax()])


@pytest.mark.validation
@pytest.mark.parametrize("tail", [1.5, 2.0, 2.5])
def test_a_loading_coil_adds_a_band_below(check, tail):
    found = peak(with_coil(hung(tail), MAIN, LOADING), 3.2e6, 5e6)
    check(f"80 m half-wave with a coil of 110 uH and a tail of {tail} m", SOURCE, line_estimate(tail), found, rel=0.04)


def test_the_40_m_half_wave_comes_into_80_m_and_keeps_a_half_wave_near_40_m():
    band = band_named("80 m")
    wires = hung(2.6)
    loaded = with_coil(wires, MAIN, LOADING)
    assert band.lower < peak(loaded, 3.2e6, 5e6) < band.upper
    assert 6.5e6 < peak(wires, 5e6, 9e6) < 7.3e6  # without a coil
    assert 7e6 < peak(loaded, 5e6, 9e6) < 8.5e6  # the coil ends the wire there, nearly


def test_the_power_of_a_coil_is_accounted_for():
    wires = with_coil(hung(2.6), MAIN, Coil(110e-6, 100))
    solution = Solver(wires, GROUNDS["free space"]).solve(3.6e6)
    balance = power_balance(solution, wires)
    assert abs(balance.error) < 0.01
    assert balance.loads > 0.02


def test_impedance_of_coil_and_trap():
    """Series R and L with C across it; a trap blocks at 1/(2 pi sqrt(L C)) with Q w L (any handbook)."""
    assert complex(Coil(2e-6, 100).impedance(10e6)) == pytest.approx(2 * math.pi * 20 * (0.01 + 1j))
    trap = Coil(5e-6, 200, 100e-12)
    assert trap.resonance == pytest.approx(7.1176e6, rel=1e-4)
    at = complex(trap.impedance(trap.resonance))
    assert abs(at) == pytest.approx(200 * 2 * math.pi * trap.resonance * 5e-6, rel=1e-3)


@pytest.mark.parametrize(
    "values, words",
    [((0.0,), "coil.inductance"), ((1e-6, 0.5), "coil.q"), ((1e-6, 100, -1e-12), "coil.capacitance")],
)
def test_bad_coils_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        Coil(*values)


def test_a_study_file_has_coils():
    raw = {
        "antenna": {"layout": "sloper", "length": "22 m", "slope": "20 deg"},
        "coil": [{"at": "19.5 m", "inductance": "110 uH", "q": 150}],
        "coax": {"type": "RG-58", "length": "5 m"},
    }
    built = Setup.read(raw).build()
    (load,) = built.structure.loads
    part = load.part
    assert (load.at, part.inductance, part.q, part.capacitance) == pytest.approx((19.5, 110e-6, 150, 2e-12))
    for change, words in (
        ({"at": "22 m"}, r"coil.1.at = 22 m: from 0.05 to 21.95 m"),
        ({"inductance": "0 uH"}, r"coil.1.inductance"),
    ):
        raw["coil"] = [{"at": "19.5 m", "inductance": "110 uH", **change}]
        with pytest.raises(InputError, match=words):
            Setup.read(raw).build()
