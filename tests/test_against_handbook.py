"""Handbook: impedances and resonant lengths of wires in free space, and facts of the trade.

Sources, all from memory: C. A. Balanis, Antenna Theory, ch. 4 and 8 (sinusoidal current: 73.1 + j42.5 ohm at half a
wavelength, 105.5 + j45.5 at one and a half, 199 ohm at the current's maximum at one); W. L. Stutzman and G. A. Thiele,
Antenna Theory and Design, sect. 5.1 (shortening for resonance); S. A. Schelkunoff, Antennas (mean characteristic
impedance 120(ln(2h/a) - 1), with which a full-wave dipole is a quarter-wave transformer of its 199 ohm).
"""

import math

import numpy as np
import pytest
from example_wires import WAVE, F, dipole, even, impedance, portable
from scipy.optimize import brentq

from tautwire.model.basics import C0
from tautwire.model.soil.ground import FREE_SPACE, ground_named
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import Counterpoise
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.structure import WireType, structure

pytestmark = pytest.mark.validation

SINUSOIDAL = "Balanis, ch. 4 and 8, from memory"
TRADE = "common practice, no source"
THIN = (5e-4, 5e-5, 5e-6)  # m


@pytest.mark.parametrize("waves, expected", [(0.5, 73.13 + 42.54j), (1.5, 105.5 + 45.5j)])
def test_thin_limit(check, waves, expected, remember):
    """A real wire differs from the sinusoidal value by terms in 1/ln(length/radius), which fall slowly: three radii and
    a parabola in 1/(2 ln(length/radius)) give the value for no radius at all."""
    length = waves * WAVE
    x = [1 / (2 * math.log(length / a)) for a in THIN]
    count = 40 if waves < 1 else 90
    z = [impedance(dipole(length, a), FREE_SPACE, even(length, count), remember=remember) for a in THIN]
    limit = complex(np.polynomial.polynomial.polyfit(x, np.array(z), 2)[0])
    check(f"{waves}-wave dipole, thin limit", SINUSOIDAL, expected, limit, rel=0.03, unit="ohm")


@pytest.mark.parametrize("radius", [1e-3, 1e-5])
def test_full_wave_dipole_is_a_quarter_wave_transformer(check, radius):
    """End-fed half-waves are halves of this: the impedance is high and follows the wire's thickness.

    The 199 ohm belongs to a sinusoid, and the current of a real wire is none near its feed: a rule, not a theorem.
    """
    length = 0.96 * WAVE
    response = Solver(dipole(length, radius), FREE_SPACE, even(length, 80)).response(0.85 * F, 1.05 * F)
    top = response.impedance(np.linspace(0.85 * F, 1.05 * F, 2001)).real.max()
    mean = 120 * (math.log(length / radius) - 1)
    source = "Schelkunoff, from memory"
    check(f"full-wave resonance, radius {radius} m", source, mean**2 / 199.1, top, rel=0.15, unit="ohm")


def test_resonant_shortening(check):
    """A wire 5000 times as long as it is thick; the table rounds to whole percents."""
    f, ratio = 54e6, 5000
    wave = C0 / f

    def reactance(part):
        length = part * wave / 2
        return impedance(dipole(length, length / ratio / 2), FREE_SPACE, even(length, 20), f).imag

    part = brentq(reactance, 0.88, 1.0, xtol=1e-4)
    source = "Stutzman and Thiele, sect. 5.1, from memory"
    check(f"shortening, length/diameter {ratio}", source, 2.0, 100 * (1 - part), abs=1.0, unit="%")


def test_short_dipole_resistance(check):
    """20 pi^2 (L/wavelength)^2 for the triangular current of a wire short against the wave, fed at one point.

    The port takes in two of the segments, so its current is the mean of the triangle near the middle: over the outer
    half of 2/80 of the length the triangle has lost 1/80, and R rises by twice that.
    """
    length = 0.02 * WAVE
    z = impedance(dipole(length, 1e-5), FREE_SPACE, even(length, 80))
    expected = 20 * math.pi**2 * 0.02**2
    check("short dipole", SINUSOIDAL, expected, z.real, rel=0.06, unit="ohm")


def sloping(length, jacket=0.0):
    returns = [Counterpoise(2.0, height=0.1)]
    wire = WireType(8e-4, jacket=jacket, jacket_er=3.0)
    return structure(sloper(length=length, slope=math.radians(30), feed_height=1.2), wire, returns)


def resonance(wires, ground, low, high, remember):
    """Where the wire's end has its highest resistance, Hz: the half-wave dip of an end-fed wire."""
    response = Solver(wires, ground, remember=remember).response(low, high)
    f = np.linspace(low, high, 4001)
    return float(f[response.impedance(f).real.argmax()])


def test_twenty_metres_of_wire_have_their_dips_near_7_14_21_mhz(check, remember):
    soil = ground_named("average soil")
    for order, (low, high) in enumerate(((6e6, 8.5e6), (12.5e6, 15.8e6), (19e6, 24e6)), 1):
        f = resonance(sloping(20.0), soil, low, high, remember)
        check(f"20 m of wire, resonance {order}", TRADE, 7.1 * order, f / 1e6, rel=0.07, unit="MHz")


def test_longer_wire_lowers_every_dip(remember):
    """Source: common practice, no source."""
    soil = ground_named("average soil")
    for low, high in ((6e6, 8.5e6), (12.5e6, 15.8e6), (19e6, 24e6)):
        short, long = (resonance(sloping(x), soil, low, high, remember) for x in (20.0, 20.5))
        assert long < short * (1 - 0.01)


def test_jacket_lowers_the_dip_by_2_to_5_percent(check, remember):
    bare, jacketed = (resonance(sloping(20.0, x), FREE_SPACE, 6e6, 8.5e6, remember) for x in (0.0, 6e-4))
    check("jacket 0.6 mm on 0.8 mm, er 3", TRADE, 3.5, 100 * (1 - jacketed / bare), abs=1.5, unit="%")


def test_end_of_a_half_wave_has_2_to_5_kilohm(check, remember):
    soil = ground_named("average soil")
    f = resonance(portable(), soil, 6e6, 8.5e6, remember)
    r = Solver(portable(), soil, remember=remember).impedance(f).real
    check("end impedance, 20.1 m sloper", TRADE, 3500, r, abs=1500, unit="ohm")
