"""Low wires: convergence with segment count and quadrature down to 1 cm above soil, and where the tool refuses.

The outside here is the limit of ever finer segments and points, which the exact formulation must approach.
"""

import math

import numpy as np
import pandas as pd
import pytest
from example_wires import F, dipole, portable

from tautwire.model.errors import InputError
from tautwire.model.soil.ground import ground_named
from tautwire.model.soil.soil_table import remainder_matrix, soil_table
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import CoaxShield, Counterpoise
from tautwire.model.wires.layout import horizontal
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.structure import Conductor, Structure, WireType, structure

pytestmark = pytest.mark.validation

SOIL = ground_named("average soil")
HEIGHTS = (0.01, 0.02, 0.05, 0.2)
FINER = (1.0, 1.5, 2.25)


def bent(height):
    """Both arms of a dipole turn a corner."""
    wire = WireType(1e-3, conductivity=math.inf)
    arms = ((0, 0, height), (3, 0, height), (3, 3, height)), ((0, 0, height), (-2, 0, height), (-2, -2, height))
    return Structure((Conductor(arms[0], wire, "wire"), Conductor(arms[1], wire, "counterpoise")))


# structure at a height, and how far a mesh 1.5 times as fine may move the impedance, as a part of it
WIRES = {
    "dipole": (lambda h: dipole(10.6, 1e-3, h), 0.01),
    "bent wire": (bent, 0.02),
    "sloper, coax on the grass": (lambda h: portable(coax_height=h), 0.01),
}
STEPS: list[dict[str, object]] = []


@pytest.mark.parametrize("name", WIRES)
@pytest.mark.parametrize("height", HEIGHTS)
def test_finer_segments_change_little(check, series, name, height, remember, full):
    make, tolerance = WIRES[name]
    found = []
    for factor in FINER if full else FINER[:2]:
        rules = MeshRules() if factor == 1 else MeshRules().finer(factor)
        solver = Solver(make(height), SOIL, rules, remember)
        found.append(solver.impedance(F))
        STEPS.append({"wires": name, "height_cm": 100 * height, "finer": factor,
                      "segments": len(solver.parts(F).segments.centre), "far_points": 2, "near_points": 8,
                      "r_ohm": found[-1].real, "x_ohm": found[-1].imag})  # fmt: skip
    series("low_wires", pd.DataFrame(STEPS))
    source = "the same with segments 1.5 times as fine" if not full else "the same with segments 2.25 times as fine"
    allowed = tolerance * (2 if full else 1)
    check(f"{name} at {100 * height:g} cm", source, found[-1], found[0], rel=allowed, unit="ohm")


@pytest.mark.parametrize("name", WIRES)
@pytest.mark.parametrize("height", HEIGHTS)
def test_more_quadrature_points_change_nothing(check, series, name, height, remember):
    solver = Solver(WIRES[name][0](height), SOIL, remember=remember)
    parts, table, n2 = solver.parts(F), soil_table(F, SOIL), complex(SOIL.n2(F))
    fixed = parts.wires(F) + (n2 - 1) / (n2 + 1) * parts.image.at(F) + np.diag(parts.load(F))
    feed, found = parts.mesh.feed, []
    for points in ((2, 8), (6, 32)):
        z = fixed + remainder_matrix(table, parts.segments, *points)
        found.append(1 / complex(feed @ np.linalg.solve(z, feed.astype(complex))))
        STEPS.append({"wires": name, "height_cm": 100 * height, "finer": 1.0, "segments": len(feed),
                      "far_points": points[0], "near_points": points[1],
                      "r_ohm": found[-1].real, "x_ohm": found[-1].imag})  # fmt: skip
    series("low_wires", pd.DataFrame(STEPS))
    source = "three times the far points, four times the near ones"
    check(f"{name} at {100 * height:g} cm, quadrature", source, found[1], found[0], rel=1e-3, unit="ohm")


def test_below_half_a_millimetre_and_in_the_soil_is_refused():
    with pytest.raises(InputError, match=r"coax.height = 0.0004 m: from 0.0005 to"):
        CoaxShield(5.0, height=0.0004)
    with pytest.raises(InputError, match="from 0.0005 to 500 m above the soil surface"):
        structure(horizontal(length=10, height=0.0004), WireType(), [Counterpoise(2.0)])
    with pytest.raises(InputError, match=r"2.4\d mm or more above soil, its outer radius: it lies on the soil then"):
        structure(horizontal(length=10, height=1.0), WireType(), [CoaxShield(5.0, height=0.002)])


def test_a_jacket_in_the_soil_is_refused():
    thick = WireType(0.025, jacket=5e-3, conductivity=math.inf)
    with pytest.raises(InputError, match="17.5 mm or more above soil, its outer radius"):
        structure(horizontal(length=10, height=0.015), thick, [Counterpoise(2.0)])


def test_images_off_the_table_are_refused():
    """The table of the soil ends at 1.9 cm to the image: two wires at 9.5 mm, which a structure cannot have."""
    table = soil_table(F, SOIL)
    with pytest.raises(InputError, match="distance to image = 0.016 m: from 0.019 m"):
        table.kernels(np.array([0.0]), np.array([0.016]))
