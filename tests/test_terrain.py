"""Shore, slope and hill in the far field: their limits, own quadrature, NEC-2's second medium, and study files."""

import math
from dataclasses import replace

import numpy as np
import PyNEC
import pytest
from example_wires import WAVE, F, dipole, even, portable

from tautwire.model.errors import InputError
from tautwire.model.fields import far_field as module
from tautwire.model.fields.far_field import Pattern, far_field, fresnel, gain, moments
from tautwire.model.fields.terrain import LEVEL, Hill, Shore, Slope, Terrain, axes, beyond, ways
from tautwire.model.soil.ground import GROUNDS, PERFECT, UniformGround
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.setup import Setup

SOIL, SEA = UniformGround(13, 5e-3), UniformGround(70, 5.0)
UP, ROUND = np.radians([2, 5, 10, 25, 60, 88])[:, None], np.radians(np.arange(0, 360, 20))[None, :]
K = 2 * np.pi / WAVE


@pytest.fixture(scope="module")
def wire(remember):
    return Solver(portable(), SOIL, remember=remember).solve(F)


def off_db(a, b):
    return float(np.abs(10 * np.log10(a / b)).max())


@pytest.mark.parametrize("distance", [0.0, 3.0, 40.0])
def test_same_soil_twice_is_no_shore(wire, distance):
    level = gain(wire, UP, ROUND)
    assert gain(wire, UP, ROUND, terrain=Terrain(Shore(distance, 0.7, SOIL))) == pytest.approx(level, rel=1e-6)
    assert gain(wire, UP, ROUND, terrain=Terrain(slope=Slope(0.7, 1e-7, distance))) == pytest.approx(level, rel=1e-4)


def test_shore_far_away_and_water_all_round(wire):
    """A shore 100 km ahead is none; over a wire that stands far out in the water, all is water (at 2 degrees the land
    30 km behind is still felt: it lies at the edge of the Fresnel zone)."""
    level, sea = gain(wire, UP, ROUND), gain(replace(wire, ground=SEA), UP, ROUND)
    assert off_db(gain(wire, UP, ROUND, terrain=Terrain(Shore(100e3, 0.7, SEA))), level) < 0.1
    away = replace(wire, segments=moved(wire.segments, 3e4 * axes(0.7)[1]))
    assert off_db(gain(away, UP, ROUND, terrain=Terrain(Shore(0.0, 0.7, SEA)))[2:], sea[2:]) < 0.3


def moved(segments, by):
    return replace(segments, centre=segments.centre + by)


def test_both_sides_of_a_shore_tell_the_same(wire):
    """Land ahead of a wire in the water is water behind a wire on land: the two grounds change places."""
    for distance in (0.0, 12.0):
        over = gain(replace(wire, ground=SEA), UP, ROUND, terrain=Terrain(Shore(distance, 0.7, SOIL)))
        there = replace(wire, segments=moved(wire.segments, -distance * axes(0.7)[1]))
        back = gain(there, UP, ROUND, terrain=Terrain(Shore(0.0, 0.7 + np.pi, SEA)))
        assert over == pytest.approx(back, rel=1e-6)


def test_no_step_where_the_shore_passes_abeam(wire):
    """Seaward and landward are computed from either side: they meet along the shore."""
    terrain = Terrain(Shore(25.0, 0.0, SEA))
    a, b = (gain(wire, UP[:, 0], np.pi / 2 + x, terrain=terrain) for x in (-1e-6, 1e-6))
    assert off_db(a, b) < 0.5


@pytest.mark.parametrize("distance", [3.0, 20.0])
def test_gain_stays_between_the_grounds(wire, distance):
    """In every direction, along the shore too, near what either ground alone would give: no shore makes more than a
    ripple on top of the better one (a clear edge adds 1.4 dB to a wave)."""
    up, round_ = np.radians([5.0, 10.0, 25.0, 50.0])[:, None], np.radians(np.arange(0, 360, 3))[None, :]
    sea = replace(wire, ground=SEA)
    either = [np.add(*(np.abs(x) for x in far_field(s, up, round_))) for s in (wire, sea)]
    mixed = np.add(*(np.abs(x) for x in far_field(wire, up, round_, Terrain(Shore(distance, 0.0, SEA)))))
    assert (mixed / (np.maximum(*either) + 0.3 * either[1].max())).max() < 1.25


def test_groups_of_segments_are_fine_enough(wire, monkeypatch):
    terrain = Terrain(Shore(15.0, 0.4, SEA, 1.0))
    together = gain(wire, UP, ROUND, terrain=terrain)
    monkeypatch.setattr(module, "TOGETHER", 0.0)
    assert off_db(together, gain(wire, UP, ROUND, terrain=terrain)) < 0.2


def test_the_lower_the_water_the_higher_the_wire(wire):
    """Out over water that lies 3 m lower, the wire is one 3 m higher over water."""
    shore = Terrain(Shore(0.0, 0.0, SEA, 3.0))
    away = replace(wire, segments=moved(wire.segments, np.array([0, 3e4, 0.0])))
    raised = replace(wire, ground=SEA, segments=moved(wire.segments, np.array([0, 0, 3.0])))
    seaward = np.radians(np.arange(-60, 61, 20))[None, :]
    assert off_db(gain(away, UP, seaward, terrain=shore), gain(raised, UP, seaward)) < 0.2


def test_physical_optics_of_an_edge():
    """The transition against the integral of the reflected phase over a half plane, added up along a steep path.

    Across an edge, the reflected wave's share beyond it is that of Sommerfeld's half plane: both sides add up to one,
    half of it on the boundary, and the ripple of a clear edge is that of Cornu's spiral, 1.17 of the field at most
    (Born and Wolf, Principles of Optics, section 8.7, from memory).
    """
    away = np.linspace(1, 4000, 4001)
    share = beyond(away, np.full(4001, 6.0), np.cos(np.array([[0.1]])), np.sin(np.array([[0.1]])), K)[0]
    at = np.argmin(np.abs(away - 6.0 / math.tan(0.1)))
    assert abs(share[at]) == pytest.approx(0.5, abs=0.02)
    assert np.abs(1 - share).max() == pytest.approx(1.17, abs=0.01)
    assert abs(share[-1]) < 0.15

    def along(p):  # the phase of the path by way of x less that of the reflected ray, exactly
        x = np.arange(p, 60000, 0.05)
        return np.hypot(x, 6.0) - x * math.cos(0.1) - 6.0 * math.sin(0.1), x

    whole = _half_line(along, -3000.0)
    for p in (20.0, 60.0, 150.0):
        part = _half_line(along, p) / whole
        out, up = np.array([[math.cos(0.1)]]), np.array([[math.sin(0.1)]])
        model = complex(beyond(np.array([p]), np.array([6.0]), out, up, K)[0, 0])
        assert abs(part - model) < 0.04, p


def _half_line(path, p):
    """Integral of a cylindrical wave's reflected phase over x > p, its upper end faded out."""
    detour, x = path(p)
    fade = 0.5 * (1 + np.cos(np.pi * np.clip((x - 20000) / 40000, 0, 1)))
    height = 6.0 / np.hypot(x, 6.0) + math.sin(0.1)  # obliquity of both waves, as Kirchhoff's integral has it
    return (fade * height * np.exp(-1j * K * detour) / np.sqrt(np.hypot(x, 6.0))).sum()


def test_hard_limit_is_nec_2_s_second_medium():
    """NEC-2's GD card switches from one medium to the other at the point of reflection. Far from it so do we: the
    change of gain from one soil to two is that of the engine's own pattern."""
    legs, elevations, azimuths = [((0, 0, 6.0), (0, 0, 11.0), 11, 1e-3)], [10.0, 20, 30, 40, 50], [0.0, 90, 180]
    alone = nec(legs, SOIL, SOIL, 0.0, elevations, azimuths)
    mast = Solver(dipole(5.0, 1e-3, 8.5, (0.0, 0.0, 1.0)), SOIL, even(5.0, 10)).solve(F)
    up = np.radians(elevations)
    level = 10 * np.log10(gain(mast, up, np.pi / 2))
    assert np.ptp(level - alone[:, 0]) < 0.2  # the same pattern over one soil
    for edge, toward in ((-3000.0, 1), (3000.0, 0)):
        theirs = nec(legs, SOIL, SEA, edge, elevations, azimuths)[:, 0] - alone[:, 0]
        there = replace(mast, segments=moved(mast.segments, np.array([max(-edge, 0.0), 0, 0])))
        ours = gain(there, up, np.pi / 2, terrain=Terrain(Shore(max(edge, 0.0), np.pi / 2, SEA)))
        assert 10 * np.log10(ours) - level == pytest.approx(theirs, abs=0.25)
        assert (np.abs(theirs).max() > 1) == bool(toward)


def nec(legs, soil, second, edge, elevations, azimuths):
    """Gains (dB, E by A) by NEC-2 with a second medium beyond x = edge."""
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for tag, (start, end, count, radius) in enumerate(legs, 1):
        geometry.wire(tag, count, *map(float, start), *map(float, end), radius, 1, 1)
    context.geometry_complete(1)
    context.gn_card(0, 0, soil.er, soil.sigma, 0, 0, 0, 0)
    context.gd_card(second.er, second.sigma, edge, 0.0)
    context.fr_card(0, 1, F / 1e6, 0)
    context.ex_card(0, 1, legs[0][2] // 2 + 1, 0, 1, 0, 0, 0, 0, 0)
    steps = -(elevations[1] - elevations[0]), azimuths[1] - azimuths[0]
    context.rp_card(2, len(elevations), len(azimuths), 0, 0, 0, 0, 90 - elevations[0], azimuths[0], *steps, 0, 0)
    gains = np.array(context.get_radiation_pattern(0).get_gain())
    return gains.reshape(len(elevations), len(azimuths))


@pytest.mark.parametrize("fall", [-8.0, 12.0])
def test_tilted_plane_under_a_tilted_wire_is_the_level_pair(wire, fall):
    """Mirror images in the tilted plane, written out here, and the reflection of each moment across it."""
    slope = Slope(0.9, math.radians(fall))
    tilted = axes(0.9, math.radians(fall))
    turn = tilted.T @ axes(0.9)  # from the wire's own axes, in which the ground is level, to the true ones
    metal = replace(wire, ground=PERFECT)
    place, p = moments(metal.segments, metal.current)
    place, p, normal = place @ turn.T, p @ turn.T, turn[:, 2]
    way = ways(np.radians([15.0, 35.0, 60.0]), np.radians([10.0, 100.0, 250.0]))
    mirror = np.eye(3) - 2 * np.outer(normal, normal)
    e = np.exp(1j * K * way @ place.T) @ p - np.exp(1j * K * way @ (place @ mirror).T) @ (p @ mirror)
    e = e - (e * way).sum(axis=1, keepdims=True) * way
    theta, phi = far_field(
        metal, np.radians([15.0, 35.0, 60.0]), np.radians([10.0, 100.0, 250.0]), Terrain(slope=slope)
    )
    size = np.sqrt(np.abs(theta) ** 2 + np.abs(phi) ** 2)
    expected = np.linalg.norm(e, axis=1)
    assert size / size[0] == pytest.approx(expected / expected[0], rel=1e-6)
    # along the fall a wave that leaves at e is one that leaves level ground at e + fall
    ahead = gain(wire, math.radians(20.0), 0.9, terrain=Terrain(slope=slope))
    assert float(ahead) == pytest.approx(float(gain(wire, math.radians(20.0 + fall), 0.9)), rel=1e-6)


def test_no_field_below_a_rising_site(wire):
    assert gain(wire, math.radians(4), 0.0, terrain=Terrain(slope=Slope(0.0, math.radians(-6)))) == 0


def test_brow_of_falling_ground(wire):
    """Ground that falls ahead is level ground for a wire far behind its brow that looks back."""
    falls = Terrain(slope=Slope(0.0, math.radians(8), 0.0))
    there = replace(wire, segments=moved(wire.segments, np.array([0, -300.0, 0])))
    level = gain(wire, UP[1:], np.pi)
    assert off_db(gain(there, UP[1:], np.pi, terrain=falls), level) < 0.3
    far = replace(wire, ground=SOIL)
    assert np.isfinite(gain(far, UP, ROUND, terrain=falls)).all()


def test_turning_wire_or_terrain(wire):
    """A terrain turned one way is the look turned the other, with a wire that is the same all round."""
    mast = Solver(dipole(5.0, 1e-3, 4.0, (0.0, 0.0, 1.0)), SOIL, even(5.0, 10)).solve(F)
    around = Terrain(Shore(20.0, 0.3, SEA), hill=Hill(200.0, 2.0, 12.0))
    a = gain(mast, UP, ROUND + 0.5, terrain=around.turned(0.5))
    assert a == pytest.approx(gain(mast, UP, ROUND, terrain=around), rel=1e-6)
    assert Pattern(mast, terrain=around).peak[0] > Pattern(mast).peak[0]


def test_level_is_the_quick_way(wire):
    assert LEVEL.is_level and Terrain(slope=Slope(0.0, 0.0)).is_level
    assert not Terrain(Shore(1.0, 0.0, SEA)).is_level
    assert fresnel(SOIL, F, np.array([0.1]))[0].shape == (1,)


BASE = {"antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg"}, "coax": {"length": "5 m"}}


@pytest.mark.parametrize(
    ("site", "words"),
    [
        ({"shore": {"distance": "30 m"}}, r"site\.shore\.bearing = nothing"),
        ({"shore": {"distance": "-3 m", "bearing": "9 deg"}}, r"site\.shore\.distance"),
        ({"shore": {"distance": "3 m", "bearing": "9 deg", "soil": "see water"}}, r"site\.shore\.soil.*sea water"),
        ({"slope": {"bearing": "9 deg", "fall": "60 deg"}}, r"site\.slope\.fall"),
        ({"slope": {"bearing": "9 deg", "fall": "-6 deg", "distance": "10 m"}}, r"site\.slope\.fall.*hill"),
        ({"hill": {"bearing": "9 deg", "height": "20 m", "distance": "0 m"}}, r"site\.hill\.distance"),
        ({"soil": "free space", "shore": {"distance": "3 m", "bearing": "9 deg"}}, r"site\.soil"),
        (
            {"shore": {"distance": "3 m", "bearing": "0 deg"}, "slope": {"bearing": "9 deg", "fall": "6 deg"}},
            "one of them",
        ),
    ],
)
def test_bad_terrain_is_one_clear_line(site, words):
    with pytest.raises(InputError, match=words):
        Setup.read({**BASE, "site": site}).build()


def test_study_file_reaches_the_pattern():
    built = Setup.read({**BASE, "site": {"shore": {"distance": "30 m", "bearing": "90 deg", "drop": "1 m"}}}).build()
    assert built.terrain.shore == Shore(30.0, math.pi / 2, GROUNDS["lake water"], 1.0)
