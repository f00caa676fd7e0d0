"""Long wires over and on soil: the wave that the solved current shows, against the exact equation of an endless wire.

tests/benchmarks/lying_wires.py has more heights, soils and frequencies, and finer meshes.
"""

import math

import numpy as np
import pytest
from modal_equation import exact, long_dipole, read

from tautwire.model.fields.power_balance import power_balance
from tautwire.model.soil.ground import GROUNDS, STACKS
from tautwire.model.solve.corrections import crowding
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import RG58_OUTSIDE
from tautwire.model.wires.structure import WireType

pytestmark = pytest.mark.validation
SOURCE = "modal equation of an endless wire (Wait; Kuester and Chang), worked in the test"
BARE = WireType(2e-4, conductivity=math.inf)
COAX = WireType(RG58_OUTSIDE.diameter, RG58_OUTSIDE.jacket, RG58_OUTSIDE.jacket_er, math.inf)
REEL = WireType(0.8e-3, 0.3e-3, 2.3, math.inf)
CASES = [
    ("bare", BARE, "average soil", 7e6, (0.0025, 0.005, 0.01, 0.1, 1.0)),
    ("bare", BARE, "wet ground", 14e6, (0.0025, 1.0)),
    ("bare", BARE, "sand over clay", 7e6, (0.0025, 0.3)),
    ("coax", COAX, "average soil", 3.6e6, (0.0025, 0.01)),
    ("coax", COAX, "very dry ground", 3.6e6, (0.0025,)),
    ("jacketed", REEL, "average soil", 3.6e6, (0.0007, 0.005)),
]


@pytest.mark.parametrize("name, wire, soil, f_hz, height", [(*c[:4], h) for c in CASES for h in c[4]])
def test_wave_along_a_wire(check, remember, name, wire, soil, f_hz, height):
    """Phase and decay; 2.5 mm and 0.7 mm: coax and jacketed wire lie on the soil."""
    ground = {**GROUNDS, **STACKS}[soil]
    wires = long_dipole(wire, height)
    solution = Solver(wires, ground, remember=remember).solve(f_hz)
    found = read(solution)
    expected = exact(wire, height, f_hz, ground, found, crowding(ground.kappa(f_hz), height, wire) - wire.jacket_log)
    what = f"wave number along a {name} wire over that of air, {1e3 * height:g} mm over {soil}, {f_hz / 1e6:g} MHz"
    check(what, SOURCE, expected, found, rel=0.01)
    assert abs(power_balance(solution, wires).error) < 0.011


@pytest.mark.parametrize("soil, height", [("average soil", 0.005), ("average soil", 0.02), ("very dry ground", 0.0007)])
def test_velocity_factor_of_jacketed_wire_in_the_grass(check, remember, soil, height):
    """0.5 to 0.7 on the low bands: common practice, no source. Pressed on moist soil it is less: 0.36 at 0.7 mm."""
    solution = Solver(long_dipole(REEL, height), GROUNDS[soil], remember=remember).solve(3.6e6)
    factor = 1 / read(solution).real
    check(f"velocity factor, jacketed wire {1e3 * height:g} mm over {soil}", "common practice, no source", 0.61, factor,
          abs=0.12)  # fmt: skip


def test_charge_crowds_as_two_cylinders_say(check):
    """A bare wire over a perfect ground: 2 pi eps0/C = acosh(h/a) (any text on electrostatics)."""
    for over in (1.05, 1.4, 3.0, 10.0):
        found = math.log(2 * over) + crowding(1 + 0j, over * 1e-3, WireType(2e-3))
        check(
            f"cylinder {over:g} radii over a plane", "closed form, acosh(h/a)", math.acosh(over), found.real, rel=1e-6
        )


@pytest.mark.parametrize("over", [1.05, 1.4, 4.0])
def test_charge_crowds_as_images_of_images_say(check, over):
    """A bare wire over a dielectric half space: its image's image in the wire, and so on, each charge kappa times the
    one before (method of images for a cylinder; Smythe, Static and Dynamic Electricity, ch. 4, from memory)."""
    kappa, apart, total = 0.9 - 0.1j, 2 * over, 0j
    for n in range(1, 400):
        closer = 2 * over - 1 / apart
        total += kappa ** (n + 1) * np.log(closer / apart)
        apart = closer
    found = crowding(kappa, over * 1e-3, WireType(2e-3))
    check(
        f"wire {over:g} radii over a half space of kappa {kappa:g}",
        "method of images, a series",
        total,
        found,
        abs=1e-6,
    )


def test_jackets_of_air_and_of_nearly_metal():
    """A jacket of er 1 is none; one of a high er nearly makes the wire as thick as itself."""
    kappa, thin, thick = 0.9 - 0.2j, WireType(2e-3), WireType(5e-3)
    air, metal = WireType(2e-3, 1.5e-3, 1.0), WireType(2e-3, 1.5e-3, 100.0)
    assert crowding(kappa, 0.003, air) == pytest.approx(crowding(kappa, 0.003, thin), rel=1e-9)
    assert crowding(kappa, 0.003, metal) == pytest.approx(crowding(kappa, 0.003, thick), rel=0.03)
