"""NEC-2: runs of other builds, against the engine as installed and against the solver made of it.

NEC-2 Manual part III (1981), example 1, from memory. Dipole over soil, 14 MHz, 10.6 m long, radius 1 mm, 21 segments,
er 10, 2 mS/m: two runs, one of them with the Sommerfeld ground corrected; nobody knows their author and title any more.
"""

import numpy as np
import PyNEC
import pytest
from example_wires import F, dipole, even, impedance

from tautwire.model.soil.ground import FREE_SPACE, PERFECT, UniformGround
from tautwire.model.solve.engine import admittance, engine_name

pytestmark = pytest.mark.validation

RUN = "a run of NEC-2 without title or author, from memory"
CORRECTED = "a run of NEC-2 with corrected ground type 2 without title or author, from memory"
SOIL = UniformGround(10, 2e-3)
NO_GROUND, CONDUCTOR, FINITE = (-1, 0, 0, 0, 0, 0, 0, 0), (1, 0, 0, 0, 0, 0, 0, 0), (2, 0, 10, 2e-3, 0, 0, 0, 0)
# height in m -> impedance over soil, corrected NEC-2
OVER_SOIL = {1.0: 74.15 + 37.65j, 0.43: 100.03 + 65.97j, 0.2: 122.3 + 112.2j}
# what the engine gave when these tests were written (PyNEC 2.3.4, x86-64): the structure and its free-space impedance
STORED = {
    "dipole, 21 segments": ([((-5.3, 0, 0), (5.3, 0, 0), 21, 1e-3)], (1, 11), 76.4678645 + 29.4629741j),
    "bent, two radii": (
        [((0, 0, 0), (7, 0, 0), 15, 4e-4), ((7, 0, 0), (7, 6, 4), 13, 4e-4), ((0, 0, 0), (0, 0, -3), 9, 2e-3)],
        (1, 1),
        62.3240047 - 707.8131955j,
    ),
}
STORED_MATRIX = {  # norm + j trace
    "dipole, 21 segments": 0.173685613 + 0.122392334j,
    "bent, two radii": 0.0110553584 + 0.00459936774j,
}


def engine(legs, f_mhz, at, ground):
    """Impedance, ohm, by the engine's own source and ground cards."""
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for tag, (start, end, count, radius) in enumerate(legs, 1):
        geometry.wire(tag, count, *map(float, start), *map(float, end), radius, 1, 1)
    context.geometry_complete(0 if ground is NO_GROUND else 1)
    context.gn_card(*ground)
    context.fr_card(0, 1, f_mhz, 0)
    context.ex_card(0, *at, 0, 1, 0, 0, 0, 0, 0)
    context.xq_card(0)
    return complex(context.get_input_parameters(0).get_impedance()[0])


def level(height):
    return [((-5.3, 0, height), (5.3, 0, height), 21, 1e-3)]


def test_manual_example_1(check):
    """A centre-fed wire of half a wavelength, 7 segments, radius 0.001 wavelengths."""
    z = engine([((0, 0, -0.25), (0, 0, 0.25), 7, 1e-3)], 299.8, (1, 4), NO_GROUND)
    check("example 1, raw engine", "NEC-2 manual, example 1, from memory", 82.698 + 46.306j, z, abs=0.05, unit="ohm")


@pytest.mark.parametrize(
    "ground, expected", [(NO_GROUND, 76.464 + 29.441j), (CONDUCTOR, 0.953 + 3.066j)], ids=["free", "perfect"]
)
def test_raw_engine(check, ground, expected):
    name = "free space" if ground is NO_GROUND else "perfect ground, 0.43 m"
    check(f"dipole, raw engine, {name}", RUN, expected, engine(level(0.43), 14, (1, 11), ground), abs=0.03, unit="ohm")


def test_admittance_matrix_is_the_raw_engine(check):
    """The matrix holds the same answer as the engine's own source card: 1/Y at the middle segment."""
    for perfect, ground in ((False, NO_GROUND), (True, CONDUCTOR)):
        y = admittance(level(0.43), F, perfect)[10, 10]
        where = "perfect ground" if perfect else "free space"
        z = engine(level(0.43), 14, (1, 11), ground)
        check(f"admittance matrix, {where}", "the engine's source card", z, 1 / y, rel=1e-6, unit="ohm")


@pytest.mark.parametrize("height", OVER_SOIL)
def test_solver_over_soil(check, height, remember):
    """The port is spread over two segments here, over one there: that alone moves the reactance by half an ohm or so
    (29.9 against 29.5 ohm in free space), and reciprocity and energy, which the solver's matrices are made to obey,
    the resistance by 0.2 %."""
    z = impedance(dipole(10.6, 1e-3, height), SOIL, even(10.6, 22), remember=remember)
    check(f"dipole at {height} m over soil", CORRECTED, OVER_SOIL[height], z, rel=0.012, unit="ohm")


def test_solver_over_soil_against_the_plain_run(check, remember):
    z = impedance(dipole(10.6, 1e-3, 0.43), SOIL, even(10.6, 22), remember=remember)
    check("dipole at 0.43 m over soil", RUN, 100.030 + 65.948j, z, rel=0.012, unit="ohm")
    check("its resistance alone", RUN, 100.030, z.real, rel=0.006, unit="ohm")


@pytest.mark.parametrize(
    "ground, expected", [(FREE_SPACE, 76.464 + 29.441j), (PERFECT, 0.953 + 3.066j)], ids=["free", "perfect"]
)
def test_solver_without_soil(check, ground, expected, remember):
    z = impedance(dipole(10.6, 1e-3, 0.43), ground, even(10.6, 22), remember=remember)
    check(f"dipole at 0.43 m, {ground.name}", RUN, expected, z, rel=0.006, abs=0.1, unit="ohm")


@pytest.mark.parametrize("height", OVER_SOIL)
def test_engine_s_own_finite_ground_is_wrong(height):
    """Why ground card type 2 is not used. Skipped, not failed, if a release of the engine puts it right."""
    z = engine(level(height), 14, (1, 11), FINITE)
    off = abs(z - OVER_SOIL[height]) / abs(OVER_SOIL[height])
    if off < 0.01:
        pytest.skip(f"{engine_name()} has its ground type 2 right at {height} m: {z:.2f} ohm; tell DEVELOPERS.md")
    assert off > 0.05


@pytest.mark.parametrize("name", STORED)
def test_free_space_answers_have_not_changed(check, name):
    """A guard: a new build of the engine must not move its free-space answers unseen."""
    legs, at, before = STORED[name]
    z = engine(legs, 14, at, NO_GROUND)
    told = f"{engine_name()} has changed its free-space answer for '{name}': was {before}, is {z}"
    assert abs(z - before) < 1e-5 * abs(before), told
    check(f"guard: {name}", "PyNEC 2.3.4 itself, stored", before, z, rel=1e-5, unit="ohm")


def test_free_space_matrix_has_not_changed():
    """The whole matrix of the stored structures, by its norm and the (complex) trace."""
    for name, (legs, _, _) in STORED.items():
        y = admittance(legs, F)
        before, now = STORED_MATRIX[name], np.linalg.norm(y) + 1j * np.trace(y)
        told = f"{engine_name()} has changed its matrix for '{name}': was {before}, is {now}"
        assert abs(now - before) < 1e-5 * abs(before), told
