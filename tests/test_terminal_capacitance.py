"""The capacitance at the transformer's wire end: from geometry, and by where wires of common practice dip."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from tautwire.model.basics import EPS0
from tautwire.model.errors import InputError
from tautwire.model.feed.ferrite import TOROIDS
from tautwire.model.feed.transformer import PORTABLE_49_TO_1, rod_capacitance, terminal_capacitance, winding_capacitance
from tautwire.model.operating.reel import Reel
from tautwire.studies.running.runner import run
from tautwire.studies.running.study_file import read_study


def ring_charges(length: float, diameter: float, count: int = 60) -> float:
    """Capacitance of a hollow rod, its charge in `count` rings, potentials matched on the surface at their middles."""
    a, d = diameter / 2, length / count

    def potential(gap: float) -> float:
        def on_ring(phi: float) -> float:
            apart = 2 * a * abs(math.sin(phi / 2))
            return math.asinh((gap + d / 2) / apart) - math.asinh((gap - d / 2) / apart)

        return quad(on_ring, 1e-12, math.pi)[0] / math.pi / (4 * math.pi * EPS0 * d)

    row = [potential(k * d) for k in range(count)]
    matrix = np.array([[row[abs(i - k)] for k in range(count)] for i in range(count)])
    return float(np.linalg.solve(matrix, np.ones(count)).sum())


@pytest.mark.parametrize(("length", "diameter"), [(25e-3, 4e-3), (30e-3, 1e-3), (0.1, 1e-3)])
def test_rods_against_charges_matched_on_their_surface(length: float, diameter: float) -> None:
    assert rod_capacitance(length, diameter) == pytest.approx(ring_charges(length, diameter), rel=0.05)
    with pytest.raises(InputError, match="rod.length"):
        rod_capacitance(diameter, length)


def test_the_winding_in_air_is_the_coil_of_the_same_length_and_girth() -> None:
    """Medhurst's fit stands in the reel too: a coil of one layer with the ring's girth and mean circumference."""
    ring = TOROIDS["36 mm"]
    girth, length = 2 * (ring.height + (ring.outer - ring.inner) / 2), math.pi * (ring.outer + ring.inner) / 2
    coil = Reel(100, core_diameter=girth / math.pi - 1e-4, wire_diameter=1e-4, width=length)
    count = coil.turns_per_layer
    assert winding_capacitance(ring)[0] == pytest.approx(coil.stray_capacitance(count), rel=0.01)


def test_the_default_is_what_the_geometry_gives() -> None:
    low, likely, high = terminal_capacitance(TOROIDS["36 mm"])
    assert low < PORTABLE_49_TO_1.terminal_capacitance < high
    assert PORTABLE_49_TO_1.terminal_capacitance == pytest.approx(likely, rel=0.15)


def test_dips_lie_where_portable_wires_dip() -> None:
    """19.8 m of thin insulated wire, a portable 49:1 and 15 m of thin coax: common practice, no source.

    Such wires are used as cut for 40, 20, 15 and 10 m with their dips at the very low ends, and dip in the
    low part of 6 m near 2.5:1. With 0.5 pF every dip lies 2 to 4 % higher.
    """
    raw = {
        "study": {"name": "practice", "bands": ["40 m", "20 m", "15 m", "10 m", "6 m"]},
        "antenna": {"layout": "sloper", "length": "19.81 m", "feed_height": "1 m", "slope": "25 deg"},
        "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm"},
        "coax": {"type": "RG-8X", "length": "15.24 m"},
    }
    dips = run(read_study(raw), workers=0).frames["dips"]
    practice = np.array([6.990, 14.009, 21.153, 28.512, 50.397])
    assert dips["dip_mhz"].to_numpy() == pytest.approx(practice, rel=0.01)
    edges = np.array([7.0, 14.0, 21.0, 28.0])
    assert np.abs(dips["dip_mhz"].to_numpy()[:4] / edges - 1).max() < 0.02
    assert 50.0 < dips["dip_mhz"].iloc[4] < 51.0 and 1.5 < dips["dip_swr"].iloc[4] < 3.5
    little = run(read_study({**raw, "transformer": {"terminal_capacitance": "0.5 pF"}}), workers=0).frames["dips"]
    assert (little["dip_mhz"].to_numpy() > 1.025 * dips["dip_mhz"].to_numpy()).all()
