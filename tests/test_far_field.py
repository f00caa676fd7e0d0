"""Far field and pattern figures: directivities from textbooks, symmetry, bad directions."""

import math
from dataclasses import replace

import numpy as np
import pytest
from example_wires import LEVEL, UPRIGHT, WAVE, F, dipole, even, portable

from tautwire.model.errors import InputError
from tautwire.model.fields.far_field import Pattern, directivity, far_field, gain, radiated
from tautwire.model.soil.ground import FREE_SPACE, PERFECT, UniformGround
from tautwire.model.solve.solver import Solver

KRAUS = "Kraus, Antennas, 2nd ed., ch. 5 and 10, from memory"
BALANIS = "Balanis, Antenna Theory, ch. 4, from memory"
SOIL = UniformGround(13, 5e-3)


def solved(length, ground, height=10.0, way=LEVEL, count=22, radius=1e-4):
    wires = dipole(length, radius, height, way)
    return Solver(wires, ground, even(length, count)).solve(F)


def dbi(solution, elevation, azimuth):
    return float(10 * np.log10(directivity(solution, np.radians(elevation), np.radians(azimuth))))


@pytest.mark.validation
@pytest.mark.parametrize(
    ("length", "expected", "what"),
    [(0.02, 10 * math.log10(1.5), "short dipole"), (0.5, 10 * math.log10(1.6409), "half-wave dipole")],
)
def test_dipole_directivity_in_free_space(check, length, expected, what):
    solution = solved(length * WAVE, FREE_SPACE, count=10 if length < 0.1 else 40, radius=1e-6 * WAVE)
    # a half-wave dipole of finite thickness carries not quite a sine: hence 0.03 dB
    check(f"{what}, directivity broadside", BALANIS, expected, dbi(solution, 0, 0), abs=0.03, unit="dBi")
    assert directivity(solution, 0, np.pi / 2) < 1e-9  # along the wire


@pytest.mark.validation
@pytest.mark.parametrize("height", [0.01, 0.25, 0.5])
def test_short_vertical_over_perfect_ground(check, height):
    """Dipole and image: the field doubles at the horizon, the resistance rises by 3 (sin x - x cos x)/x^3, x = 2kh."""
    solution = solved(0.01 * WAVE, PERFECT, height * WAVE, UPRIGHT, 10, 1e-6 * WAVE)
    x = 4 * np.pi * height
    expected = 10 * math.log10(1.5 * 4 / (1 + 3 * (np.sin(x) - x * np.cos(x)) / x**3))
    if height == 0.01:
        assert expected == pytest.approx(10 * math.log10(3), abs=0.01)  # 4.77 dBi
    check(
        f"short vertical {height} waves over perfect ground", KRAUS, expected, dbi(solution, 0, 0), abs=0.03, unit="dBi"
    )


@pytest.mark.validation
def test_half_wave_dipole_over_perfect_ground(check):
    """A level dipole a quarter wave up: field of dipole less image, resistance from the mutual impedance of two."""
    from scipy.special import sici

    solution = solved(0.5 * WAVE, PERFECT, 0.25 * WAVE, count=40, radius=1e-6 * WAVE)

    def mutual(d):
        """Resistance between parallel half-wave dipoles d waves apart (induced EMF with sine currents)."""
        u = 2 * np.pi * np.array([d, np.hypot(d, 0.5) + 0.5, np.hypot(d, 0.5) - 0.5])
        ci = sici(u)[1]
        return 29.979 * (2 * ci[0] - ci[1] - ci[2])

    expected = 10 * math.log10(4 * 1.6409 * 73.13 / (73.13 - mutual(0.5)))
    check(
        "half-wave dipole a quarter wave over perfect ground, zenith", KRAUS, expected, dbi(solution, 90, 0), abs=0.05
    )


def test_free_space_limit_and_reciprocal_grounds():
    """er = 1 soil of little conductivity gives free space; soil of huge conductivity gives perfect ground."""
    base = solved(0.5 * WAVE, FREE_SPACE, 3.0)
    up, round_ = np.radians([5, 30, 70])[:, None], np.radians([0, 50, 200])[None, :]
    thin = replace(base, ground=UniformGround(1.000001, 1e-12))
    metal = replace(base, ground=UniformGround(1.5, 1e9))
    perfect = replace(base, ground=PERFECT)
    for a, b in ((thin, base), (metal, perfect)):
        for x, y in zip(far_field(a, up, round_), far_field(b, up, round_), strict=True):
            assert np.abs(x - y).max() < 2e-3 * np.abs(y).max()


def test_field_over_soil_vanishes_at_the_horizon():
    solution = solved(0.5 * WAVE, SOIL, 6.0, UPRIGHT)
    assert gain(solution, 0.0, 0.0) < 1e-20
    assert gain(solution, np.radians(20), 0.0) > 0.1


def test_directions_below_the_horizon_are_refused():
    solution = solved(0.5 * WAVE, SOIL, 5.0)
    with pytest.raises(InputError, match="elevation"):
        far_field(solution, -0.1, 0.0)
    with pytest.raises(InputError, match="elevation"):
        far_field(solution, 0.1, np.nan)


def test_quadrature_of_the_sky_converges():
    solution = Solver(portable(), SOIL).solve(F)
    e, w = np.polynomial.legendre.leggauss(150)
    e = (e + 1) / 2
    azimuth = 2 * np.pi * np.arange(160) / 160
    u = gain(solution, np.arcsin(e)[:, None], azimuth[None, :]) * solution.admittance.real / (4 * np.pi)
    fine = float((u * w[:, None] / 2).sum() * 2 * np.pi / 160)
    assert radiated(solution) == pytest.approx(fine, rel=2e-4)


def test_pattern_figures_of_a_level_dipole():
    """Half-wave dipole low over perfect ground: zenith, all round there, east-west symmetric."""
    p = Pattern(solved(0.5 * WAVE, PERFECT, 0.1 * WAVE))
    best, up, bearing = p.peak
    assert up == pytest.approx(np.pi / 2, abs=0.02)
    assert math.isnan(bearing)
    assert p.front_to_back(0.0, 0.5) == pytest.approx(0, abs=1e-6)
    assert p.half_power_azimuth == pytest.approx(2 * np.pi)
    angle, dbi_ = p.elevation_cut(0.0)
    assert angle[-1] == pytest.approx(np.pi)
    assert dbi_.max() == pytest.approx(best, abs=0.01)


@pytest.mark.validation
def test_half_power_width_of_a_half_wave_dipole(check):
    """78 degrees in the plane of the wire."""
    p = Pattern(solved(0.5 * WAVE, FREE_SPACE, count=40, radius=1e-6 * WAVE))
    azimuth, g = p.azimuth_cut(0.0, np.radians(0.5))
    above = g > g[0] - 10 * np.log10(2)
    turns = np.flatnonzero(~above)[0] * 0.5
    check("half-wave dipole, half-power width", BALANIS, 78, 2 * turns, abs=1.0, unit="deg")


def test_turning_the_antenna_turns_the_pattern():
    from tautwire.model.wires.attachments import Counterpoise
    from tautwire.model.wires.layout import sloper
    from tautwire.model.wires.structure import WireType, structure

    def built(bearing):
        lay = sloper(length=20.1, slope=math.radians(30), feed_height=1.2, bearing=bearing)
        return Solver(structure(lay, WireType(8e-4), [Counterpoise(2.0, height=0.1)]), SOIL).solve(F)

    north, turned = built(0.0), built(math.radians(70))
    at = np.radians(np.arange(0, 360, 45))
    a, b = gain(north, 0.4, at), gain(turned, 0.4, at + math.radians(70))
    assert a == pytest.approx(b, rel=1e-4)
    assert np.ptp(10 * np.log10(a)) > 1
