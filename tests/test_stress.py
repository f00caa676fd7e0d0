"""Stress on the parts, against closed forms and sums of power."""

import math

import numpy as np
import pytest

from tautwire.model.basics import EPS0
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.ferrite import FERRITES, TOROIDS, Core
from tautwire.model.feed.transformer import IDEAL_49_TO_1, PORTABLE_49_TO_1
from tautwire.model.fields.stress import (
    FLUX_BANDS,
    RISE_BANDS,
    band,
    charge,
    choke_heat,
    core_rise,
    end_potential,
    potential,
    stress,
)
from tautwire.model.soil.ground import FREE_SPACE, PERFECT, ground_named
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import Choke, CoaxShield
from tautwire.model.wires.layout import horizontal, sloper
from tautwire.model.wires.structure import WireType, structure

SOIL = ground_named("average soil")


def portable(f_hz, ground=SOIL, chokes=(), length=20.0):
    layout = sloper(length=length, slope=np.radians(30), feed_height=1.2)
    wires = structure(layout, WireType(0.8e-3), [CoaxShield(5.0, chokes=chokes)], over_soil=not ground.is_free_space)
    return Solver(wires, ground).solve(f_hz), wires


def test_volts_over_charge_is_that_of_a_wire_over_a_plane():
    """V/q = acosh(h/a)/(2 pi eps0): capacitance of a wire over a plane, any handbook (ITU or Jordan and Balmain)."""
    layout = horizontal(length=40.0, height=0.3)
    wires = structure(layout, WireType(2e-3), [CoaxShield(5.0, height=0.3)], over_soil=False)
    solution = Solver(wires, PERFECT).solve(7.1e6)
    volts, q = potential(solution), charge(solution)[:, 0]
    middle = [i for i in np.flatnonzero(solution.mesh.conductor == 0) if 5 < solution.mesh.along[i] < 35]
    strong = [i for i in middle if abs(q[i]) > 0.3 * np.abs(q).max()]
    assert len(strong) > 5
    expected = math.acosh(0.3 / 1e-3) / (2 * math.pi * EPS0)
    assert volts[strong] / q[strong] == pytest.approx(np.full(len(strong), expected), rel=0.03)


@pytest.mark.parametrize("ground", [FREE_SPACE, PERFECT, SOIL])
@pytest.mark.parametrize(("wire", "coax"), [(0.8e-3, 0.8e-3), (0.8e-3, 3.6e-3), (3.6e-3, 0.8e-3)])
def test_volts_across_the_feed_are_the_volt_that_is_applied(ground, wire, coax):
    """The source sits in the first segments of both; beyond them the potential differs by 1 V, whatever the radii."""
    layout = sloper(length=20.0, slope=np.radians(30), feed_height=1.2)
    returns = [CoaxShield(5.0, wire=WireType(coax))]
    wires = structure(layout, WireType(wire), returns, over_soil=not ground.is_free_space)
    solution = Solver(wires, ground).solve(1.7e6)
    volts, conductor = potential(solution), solution.mesh.conductor
    first, second = (np.flatnonzero(conductor == c)[2] for c in (0, 1))
    assert volts[first] - volts[second] == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("f_mhz", [7.05, 14.1, 28.3])
def test_end_voltage_settles_with_finer_segments(f_mhz):
    layout = sloper(length=20.0, slope=np.radians(30), feed_height=1.2)
    wires = structure(layout, WireType(0.8e-3), [CoaxShield(5.0)])
    found = []
    for factor in (1, 2):
        solver = Solver(wires, SOIL)
        solver = Solver(wires, SOIL, solver.rules.finer(factor)) if factor > 1 else solver
        s = solver.solve(f_mhz * 1e6)
        v = potential(s)
        found.append(abs(end_potential(s, v, s.current)) / math.sqrt(s.admittance.real))
    assert found[1] == pytest.approx(found[0], rel=0.1)


def test_half_wave_end_voltage_is_near_that_of_a_resonant_line():
    """A half wave shows the same voltage at both ends but for losses; line theory: V_end = Zc I_max, Zc some
    60 (ln(2 l/a) - 1) = 600 ohm (Schelkunoff's average, from memory)."""
    solution, wires = portable(7.05e6)
    s = stress(solution, wires, FeedSystem(IDEAL_49_TO_1), 100.0, 1.0)
    zc = 60 * (math.log(2 * 20 / 0.4e-3) - 1)
    assert s.end_v / s.max_a == pytest.approx(zc, rel=0.25)
    assert s.end_v == pytest.approx(s.feed_v, rel=0.25)
    assert 8 < s.max_a_at < 12
    assert s.end_peak_v == pytest.approx(math.sqrt(2) * s.end_v)


def test_all_power_is_accounted_for_and_follows_power_and_duty():
    solution, wires = portable(14.1e6, chokes=(Choke(3.0, 1000.0),))
    feed = FeedSystem(PORTABLE_49_TO_1)
    full, half = stress(solution, wires, feed, 10.0, 1.0), stress(solution, wires, feed, 20.0, 0.5)
    assert full.core_w + full.winding_w + full.wire_w == pytest.approx(10.0, rel=1e-6)
    assert full.choke_w == pytest.approx(choke_heat(solution, wires) * full.wire_w / solution.admittance.real)
    assert full.choke_w > 0.01
    for name in ("core_w", "winding_w", "choke_w", "conductor_w", "core_rise_high_k"):
        assert getattr(half, name) == pytest.approx(getattr(full, name))
    assert half.end_v == pytest.approx(math.sqrt(2) * full.end_v)
    assert full.core_w == pytest.approx(full.core_siemens * full.core_v**2)


def test_core_figures_match_a_ring_worked_by_hand():
    """36 mm ring: surface 2 pi (17.8+11.5) 12.7 + 2 pi (17.8^2-11.5^2) mm2 = 35 cm2; 1 W, 10 W/m2K: 29 K."""
    low, high, minutes = core_rise(FeedSystem(PORTABLE_49_TO_1), 1.0)
    assert math.sqrt(low * high * 5 * 15) == pytest.approx(10 * 29, rel=0.02)
    assert high / low == pytest.approx(3)
    assert 5 < minutes < 25
    assert all(math.isnan(x) for x in core_rise(FeedSystem(IDEAL_49_TO_1), 1.0))


def test_mix_61_is_cool_on_7_mhz_and_heats_on_28_for_the_same_volts():
    """mu'' of a low-loss material rises steeply above some 20 MHz: catalogue curves, from memory."""
    core = Core(FERRITES["mix 61"], TOROIDS["36 mm"])
    loss = [(1 / core.impedance(2, f)).real for f in (7e6, 28e6)]
    assert loss[1] > 3 * loss[0]


def test_bands():
    assert band(0.0, RISE_BANDS) == "cool"
    assert band(500, RISE_BANDS) == "overheats"
    assert band(0.005, FLUX_BANDS) == "far from saturation"
