"""NEC-2 card decks: read back by the manual's columns and by blanks, run by the engine, compared with the matrices.

Card layout: NEC-2 Manual part III (1981), section III, from memory.
"""

import itertools

import numpy as np
import PyNEC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tautwire.model.errors import InputError
from tautwire.model.solve.engine import admittance
from tautwire.model.solve.response import span_of
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.mesh import mesh
from tautwire.studies.commands.cli import main
from tautwire.studies.reports.card_deck import control_card, deck, geometry_card, jacket_inductance, port_terms, real
from tautwire.studies.study.setup import Setup

RAW = {
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm"},
    "counterpoise": [{"length": "2 m", "height": "10 cm"}],
    "coax": {"type": "RG-58", "length": "5 m", "choke": {"at": "3 m", "resistance": "2 kohm", "inductance": "8 uH"}},
}
LOWER, UPPER = 14.0e6, 14.35e6
STUDY = """
[study]
name = "lakeside"
bands = ["20 m", "10 m"]
[site]
soil = "sandy soil"
[antenna]
layout = "sloper"
length = "20.1 m"
[[counterpoise]]
length = "2 m"
height = "10 cm"
[sweep]
"antenna.slope" = ["20 deg", "40 deg"]
"""
INTEGERS = {"GW": [(2, 5), (5, 10)], "other": [(2, 5), (5, 10), (10, 15), (15, 20)]}


def by_columns(line):
    """Integers and reals by the manual's columns."""
    places = INTEGERS.get(line[:2], INTEGERS["other"])
    after = places[-1][1]
    integers = [int(line[a:b].strip() or 0) for a, b in places]
    reals = [float(line[k : k + 10]) for k in range(after, len(line.rstrip()), 10)]
    return integers, reals


def by_blanks(line):
    parts = (line[2:] if len(line) < 3 or line[2] != " " else line[3:]).split()
    count = 2 if line.startswith("GW") else 4
    return [int(x) for x in parts[:count]], [float(x) for x in parts[count:]]


def cards(text):
    lines = text.splitlines()
    assert all(len(line) <= 80 for line in lines if line[:2] not in ("CM", "CE"))
    found = [(line[:2], *by_columns(line)) for line in lines if line[:2] not in ("CM", "CE", "EN")]
    again = [(line[:2], *by_blanks(line)) for line in lines if line[:2] not in ("CM", "CE", "EN")]
    assert [(n, i, r) for n, i, r in found] == [(n, i, r) for n, i, r in again]
    return found


def run(text):
    """Feed impedance at the deck's first frequency, ohm, by handing every card to the engine."""
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    sources = []
    for name, i, r in cards(text):
        r = [*r, *[0.0] * 7]
        if name == "GW":
            geometry.wire(i[0], i[1], *r[:7], 1.0, 1.0)
        elif name == "GE":
            context.geometry_complete(i[0])
        elif name == "GN":
            context.gn_card(i[0], i[1], *r[:6])
        elif name == "LD":
            context.ld_card(*i, *r[:3])
        elif name == "FR":
            context.fr_card(i[0], 1, r[0], r[1])
        elif name == "EX":
            context.ex_card(*i, r[0], r[1], 0, 0, 0, 0)
            sources.append((i[1], i[2], r[0]))
        elif name == "XQ":
            context.xq_card(0)
    currents = context.get_structure_currents(0)
    tags = np.array(currents.get_current_segment_tag())
    amps = np.array(currents.get_current())
    return 1 / sum(share * amps[np.flatnonzero(tags == tag)[segment - 1]] for tag, segment, share in sources)


@pytest.fixture(scope="module")
def built():
    return Setup.read(RAW).build()


def test_the_deck_run_by_the_engine_gives_the_matrices_impedance(built):
    """Free space: the raw engine matrix, uncalibrated, with the same loads on it, the jackets as inductance."""
    m = mesh(built.structure, span_of(LOWER).upper, built.rules)
    load = Solver(built.structure, built.ground, built.rules).parts(LOWER).load(LOWER)
    jacket = np.array([jacket_inductance(c.wire) for c in built.structure.conductors])[m.conductor] * m.length
    load = load + 2j * np.pi * LOWER * jacket
    z = np.linalg.inv(admittance(m.legs, LOWER)) + np.diag(load)
    expected = 1 / complex(m.feed @ np.linalg.solve(z, m.feed.astype(complex)))
    assert abs(run(deck(built, LOWER, UPPER, ground="free")) - expected) < 2e-3 * abs(expected)


def test_the_loads_matter_in_the_deck(built):
    """The same deck without its LD cards gives something else, so the test above does test them."""
    text = deck(built, LOWER, UPPER, ground="free")
    bare = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("LD"))
    assert abs(run(bare) / run(text) - 1) > 0.02


def test_cards_of_a_real_case(built):
    text = deck(built, LOWER, UPPER, points=8, title="a title")
    found = cards(text)
    order = [name for name, _ in itertools.groupby(text.splitlines(), key=lambda line: line[:2])]
    assert order == ["CM", "CE", "GW", "GE", "LD", "GN", "FR", "EX", "XQ", "EN"]
    assert text.startswith("CM a title\n")
    assert next(f for f in found if f[0] == "GN") == ("GN", [2, 0, 0, 0], [13.0, 5e-3])
    assert next(f for f in found if f[0] == "FR") == ("FR", [0, 8, 0, 0], [14.0, 0.05])
    assert sum(r[0] for name, _, r in found if name == "EX") == pytest.approx(0.5 - 0.5 - 0.5)
    m = mesh(built.structure, span_of(LOWER).upper, built.rules)
    wires = [(r[:3], r[3:6], i[1], r[6]) for name, i, r in found if name == "GW"]
    for (start, end, count, radius), leg in zip(wires, m.legs, strict=True):
        assert start == pytest.approx(leg[0], abs=2e-6)
        assert end == pytest.approx(leg[1], abs=2e-6)
        assert (count, radius) == (leg[2], pytest.approx(leg[3], rel=1e-6))


def test_grounds_and_chokes_by_table(built):
    def cards_of(soil, **coax):
        raw = {**RAW, "site": {"soil": soil}, "coax": {**RAW["coax"], **coax}}
        return cards(deck(Setup.read(raw).build(), LOWER, UPPER))

    assert ("GN", [1, 0, 0, 0], []) in cards_of("perfect ground")
    assert ("GN", [-1, 0, 0, 0], []) in cards_of("free space")
    chokes = [f for f in cards_of("average soil") if f[0] == "LD" and f[1][0] == 1]
    assert len(chokes) == 1 and chokes[0][2] == [2000.0, pytest.approx(8e-6), 0.0]


def test_port_terms_point_at_the_joint(built):
    m = mesh(built.structure, span_of(LOWER).upper, built.rules)
    for tag, segment, share in port_terms(m):
        start, end, count, _ = m.legs[tag - 1]
        at = np.array(start) + (np.array(end) - start) * (segment - 1) / count
        assert at == pytest.approx(built.structure.feed, abs=1e-9)
        assert share == (0.5 if tag == 1 else -0.5)


@given(st.floats(-1e9, 1e9).filter(lambda x: x == 0 or abs(x) > 1e-30))
def test_every_number_fits_its_columns_and_reads_back(value):
    text = real(value)
    assert len(text) == 10 and text[0] == " " and "." in text
    assert float(text) == pytest.approx(value, rel=6e-4)


def test_card_columns():
    assert geometry_card("GW", 12, 345, 1.5) == "GW 12  345       1.5"
    assert control_card("EX", (0, 1, 2, 0), -0.5, 0.0) == "EX  0    1    2    0      -0.5        0."


@pytest.mark.parametrize(
    "change, words",
    [
        ({"ground": "wet"}, "ground = 'wet': one of real, free"),
        ({"points": 0}, "points = 0: from 1 to 1000"),
        ({"upper": 21e6}, "which one mesh serves"),
        ({"upper": 13e6}, "rising"),
    ],
)
def test_bad_requests(built, change, words):
    with pytest.raises(InputError, match=words):
        deck(built, **{"lower": LOWER, "upper": UPPER, **change})


def test_command(tmp_path, capsys):
    file, out = tmp_path / "lakeside.toml", tmp_path / "case.nec"
    file.write_text(STUDY)
    main(["deck", str(file), "--case", "2", "--band", "10 m", "--out", str(out)])
    text = out.read_text()
    assert "CM lakeside, case 2 of 2, 10 m\nCM slope 40 deg" in text
    assert run(text.replace("GN  2", "GN -1")).real > 0
    capsys.readouterr()
    main(["deck", str(file), "--ground", "free"])
    assert capsys.readouterr().out.splitlines()[-1] == "EN"
    for bad, words in ((["--case", "3"], "case = 3: from 1 to 2"), (["--band", "40 m"], "one of 20 m, 10 m")):
        with pytest.raises(SystemExit) as left:
            main(["deck", str(file), *bad])
        assert left.value.code == 2
        assert words in capsys.readouterr().err
