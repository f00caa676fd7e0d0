"""A coax that lies on the soil: the corner where it comes down is cut finely enough, and finer rules refine it too.

The outside here is the limit of ever finer segments, and conservation of energy; tests/benchmarks/low_set_ups.py has
the table over random set-ups.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from random_cases import dips_at_transformer, lakeside_sloper

from tautwire.model.fields.power_balance import power_balance
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.mesh import MeshRules, mesh
from tautwire.studies.study.setup import Setup

BANDS = ("40 m", "20 m", "10 m")


def solver(coax_height, rules=None, remember=None):
    built = Setup.read(lakeside_sloper(coax_height)).build()
    return Solver(built.structure, built.ground, rules or built.rules, *([remember] if remember else []))


@pytest.mark.validation
def test_the_corner_of_a_lying_coax_has_converged(check, remember):
    """Segments of three heights there moved these dips by 25, 10 and 3 kHz, and the impedance by a factor of 2."""
    usual = solver("2.5 mm", None, remember)
    finer = solver("2.5 mm", replace(MeshRules(), heights=0.5, growth=1.25), remember)
    moved = dips_at_transformer(usual, BANDS) - dips_at_transformer(finer, BANDS)
    for band, by in zip(BANDS, moved, strict=True):
        check(f"coax at 2.5 mm, {band} dip against a finer corner", "the limit of finer segments", 0.0, by / 1e3,
              abs=2.0, unit="kHz")  # fmt: skip
    check("coax at 2.5 mm, feed impedance at 3.6 MHz", "the limit of finer segments", finer.impedance(3.6e6),
          usual.impedance(3.6e6), rel=0.02, unit="ohm")  # fmt: skip


@pytest.mark.validation
@pytest.mark.parametrize("height", ["2.475 mm", "3.5 mm", "5 mm"])
def test_power_is_conserved_over_a_lying_coax(check, height, remember):
    """With segments of three heights at the corner, 7 to 20 % of the power at 3.6 MHz was missing."""
    lying = solver(height, None, remember)
    for f in (3.6e6, 14.1e6):
        error = power_balance(lying.solve(f), lying.structure).error
        what = f"coax at {height}, {f / 1e6:g} MHz"
        check(what, "conservation of energy", 1.0, 1 + error, abs=0.01, family="Power balance")


@pytest.mark.parametrize("height", ["2.5 mm", "2 cm"])
def test_finer_rules_refine_the_low_corner_and_keep_the_feed(height):
    """Also with the feed at 40 cm, where the drop is short."""
    built = Setup.read(lakeside_sloper(height, feed="0.4 m")).build()
    corner = built.structure.conductors[1].points[1]
    sizes = []
    for factor in (1, 1.5, 2):
        cut = mesh(built.structure, 14.35e6, MeshRules().finer(factor))
        at = int(np.flatnonzero(np.linalg.norm(cut.end - corner, axis=1) < 1e-9)[0])
        sizes.append(cut.length[at : at + 2])
        assert cut.length[cut.feed != 0] == pytest.approx(0.1)
        assert cut.quality(14.35e6)["max_neighbour_ratio"] < 2.01
    least = 2.2 * built.structure.engine_radius(1)
    for coarse, fine, ratio in zip(sizes, sizes[1:], (1.5, 4 / 3), strict=False):
        assert fine == pytest.approx(np.maximum(coarse / ratio, least), rel=0.05)


def test_a_run_is_cut_twice_as_fine_where_it_touches_the_soil():
    """Its wave is slower there: some 1.6 times over average soil (tests/test_against_modal_equation.py)."""
    longest = []
    for height in ("2.475 mm", "2 cm"):
        built = Setup.read(lakeside_sloper(height)).build()
        cut = mesh(built.structure, 31.5e6, MeshRules())
        longest.append(cut.length[cut.conductor == 1].max())
    assert longest[0] < 0.6 * longest[1] < 0.6 * 0.4
    assert not math.isclose(longest[1], 0.1)
