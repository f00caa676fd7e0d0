"""ITU-R P.526 (and P.2001-2, section 3.12): the loss of a single knife edge, against the hill of the far field.

J(v) = 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1) dB for v > -0.78, else 0: an approximation of the Fresnel
integral, good to some tenths of a dB.
"""

import math

import numpy as np
import pytest

from tautwire.model.fields.terrain import Hill, over_brow, ways

pytestmark = pytest.mark.validation
SOURCE = "ITU-R P.526, single knife edge"
WAVE = 20.0


def loss(v):
    return 6.9 + 20 * math.log10(math.sqrt((v - 0.1) ** 2 + 1) + v - 0.1) if v > -0.78 else 0.0


def computed(hill, height, e_deg, bearing_deg=0.0):
    way = ways(np.radians([e_deg]), np.radians([bearing_deg]))
    share = over_brow(hill, np.array([[0.0, 0.0, height]]), way, 2 * np.pi / WAVE)
    return -20 * math.log10(abs(complex(share[0, 0])))


@pytest.mark.parametrize("e_deg", [0.5, 2.0, 3.0, 4.0, 5.0])
@pytest.mark.parametrize("top", [15.0, 30.0, 60.0])
def test_hill_ahead(check, top, e_deg):
    """v = h sqrt(2 (d1 + d2)/(wave d1 d2)), the far end without end: h is what the brow stands above the ray."""
    distance, height = 400.0, 5.0
    h = top - height - distance * math.tan(math.radians(e_deg))
    v = h * math.sqrt(2 / (WAVE * distance))
    got = computed(Hill(distance, 0.0, top), height, e_deg)
    check(f"brow {top:g} m high, {e_deg:g} deg up, v {v:.2f}", SOURCE, loss(v), got, abs=0.35 if v > -0.75 else 1.3)


def test_grazing_ray_loses_6_db(check):
    got = computed(Hill(100.0, 0.0, 10.0), 10.0, 1e-6)
    check("ray that grazes the brow", SOURCE, loss(0.0), got, abs=0.05, unit="dB")
    assert got == pytest.approx(20 * math.log10(2), abs=1e-4)


def test_no_hill_where_none_stands():
    """Behind, high up, or below the wire at a distance: nothing is lost but the ripple of a clear edge."""
    assert computed(Hill(200.0, 0.0, 30.0), 5.0, 10.0, 180.0) == pytest.approx(0, abs=0.3)
    assert computed(Hill(200.0, 0.0, 30.0), 5.0, 80.0) == pytest.approx(0, abs=0.3)
