"""Hop geometry: handbook distances, an independent triangle, regions and what is out of reach."""

import math

import numpy as np
import pytest

from tautwire.model.errors import InputError
from tautwire.model.fields.hop_angles import EARTH, LAYERS, Region, hop_elevation, hop_reach

HANDBOOK = "Davies, Ionospheric Radio, 1990, ch. 6, and amateur handbooks, from memory"


@pytest.mark.validation
@pytest.mark.parametrize(("layer", "km", "within"), [("E", 2300, 150), ("F2", 3900, 150)])
def test_longest_hop(check, layer, km, within):
    """About 2000 to 2400 km by E and 4000 km by F2, for a wave that leaves along the horizon."""
    check(f"longest hop by {layer}", HANDBOOK, km, hop_reach(LAYERS[layer]) / 1e3, abs=within, unit="km")
    assert float(hop_elevation(hop_reach(LAYERS[layer]), LAYERS[layer])) == pytest.approx(0, abs=1e-9)


@pytest.mark.validation
@pytest.mark.parametrize(("km", "expected"), [(500, 49), (1000, 28), (2000, 12), (3000, 4.3)])
def test_elevation_by_coordinates(check, km, expected):
    """Station and mirror as points in a plane through the earth's centre; the angle from the station's horizon."""
    psi = km * 1e3 / 2 / EARTH
    station, mirror = np.array([0, EARTH]), (EARTH + 300e3) * np.array([math.sin(psi), math.cos(psi)])
    ray = mirror - station
    by_points = math.degrees(math.asin(ray[1] / np.hypot(*ray)))
    got = math.degrees(float(hop_elevation(km * 1e3, 300e3)))
    check(f"elevation for {km} km by a layer at 300 km", "plane coordinates, worked in the test", by_points, got,
          abs=1e-6, unit="deg")  # fmt: skip
    check(f"elevation for {km} km, read off charts", HANDBOOK, expected, got, abs=1.5, unit="deg")


def test_two_hops_are_one_hop_of_half_the_way():
    assert hop_elevation(3000e3, 300e3, 2) == pytest.approx(hop_elevation(1500e3, 300e3))
    assert hop_elevation(0.0, 300e3) == pytest.approx(np.pi / 2)
    assert np.isnan(hop_elevation(5000e3, 300e3))


@pytest.mark.parametrize(
    ("distance", "height", "hops", "field"),
    [(-1.0, 300e3, 1, "distance"), (1e6, 300.0, 1, "layer"), (1e6, 300e3, 0, "hops"), (np.nan, 300e3, 1, "distance")],
)
def test_odd_values_are_refused(distance, height, hops, field):
    with pytest.raises(InputError, match=field):
        hop_elevation(distance, height, hops)


def test_regions():
    near = Region("near", 0, 400e3)
    assert near.elevations(300e3, 1).max() == pytest.approx(np.pi / 2)
    assert np.degrees(near.elevations(300e3, 1).min()) == pytest.approx(55, abs=1)
    far = Region("far", 3000e3, 6000e3, bearing=1.0, spread=0.4)
    assert len(far.bearings) > 1 and np.ptp(far.bearings) == pytest.approx(0.4)
    assert far.elevations(300e3, 1).min() == pytest.approx(0, abs=1e-6)  # as far as one hop reaches
    assert len(Region("too far", 5000e3, 6000e3).elevations(300e3, 1)) == 0
    with pytest.raises(InputError, match="distance"):
        Region("backward", 2e6, 1e6)
