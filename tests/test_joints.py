"""Joints: what the wires radiate by their own pattern, over what enters them, in free space and without loss.

The average-gain test of NEC-2's users (NEC-2 manual, part III, from memory): 1 where the joint is right. The raw engine
gives 1.068, 1.061, 1.043, 0.980 for a 0.8 mm wire on a 3.6 mm shield at these frequencies.
"""

import math

import pytest

from tautwire.model.fields.power_balance import power_balance
from tautwire.model.soil.ground import FREE_SPACE
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import CoaxShield, Counterpoise
from tautwire.model.wires.layout import sloper
from tautwire.model.wires.structure import WireType, structure

pytestmark = pytest.mark.validation
LAYOUT = sloper(length=19.8, slope=math.radians(25), feed_height=1.2)
FREQUENCIES = (7.1e6, 14.2e6, 21.2e6, 28.5e6)


def bare(diameter):
    return WireType(diameter, conductivity=math.inf)


def shield(length, diameter=3.6e-3, bearing=math.pi / 2):
    return CoaxShield(length, bearing=bearing, wire=bare(diameter))


TWO = {f"shield of {1e3 * d:g} mm": (shield(5.0, d),) for d in (0.8e-3, 1e-3, 2e-3, 3.6e-3, 6e-3, 12e-3)}
TWO["counterpoise of 5 m"] = (Counterpoise(5.0, wire=bare(0.8e-3)),)
THREE = {
    f"counterpoise and {length:g} m of shield": (Counterpoise(2.0, wire=bare(0.8e-3), bearing=math.pi), shield(length))
    for length in (1.5, 3.0, 5.0, 6.8, 7.5, 10.0)
}


def check_all(check, returns, name, allowed):
    wires = structure(LAYOUT, bare(0.8e-3), returns, over_soil=False)
    for f in FREQUENCIES:
        found = 1 + power_balance(Solver(wires, FREE_SPACE).solve(f), wires).error
        what = f"average gain, {name}, {f / 1e6:g} MHz"
        check(what, "conservation of power", 1.0, found, abs=allowed, family="Joints")


@pytest.mark.parametrize("name", TWO)
def test_two_limbs(check, name):
    check_all(check, TWO[name], name, 0.003)


@pytest.mark.parametrize("name", THREE)
def test_three_limbs(check, name):
    """The engine gives limbs of a joint equal charge, which costs up to 1.3 %."""
    check_all(check, THREE[name], name, 0.015)
