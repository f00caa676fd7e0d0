"""NEC-2 card decks read: decks of tautwire's own come back, others are read right or refused by card and line.

Against the engine itself: geometry cards handed to it one by one give the same segments, lines the same impedance.
Card layout: NEC-2 Manual part III (1981), from memory.
"""

import math

import numpy as np
import PyNEC
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tautwire
from tautwire.model.solve.geometry_solver import GeometrySolver
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.structure import Load
from tautwire.studies.commands.cli import main
from tautwire.studies.reports.card_deck import corrections, deck
from tautwire.studies.study.nec_deck import cards, read_deck_text
from tautwire.studies.study.setup import Setup

SLOPER = {
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm", "jacket_loss": 0.02},
    "counterpoise": [{"length": "2 m", "height": "10 cm"}],
    "coax": {"type": "RG-58", "length": "5 m", "choke": {"at": "3 m", "resistance": "2 kohm", "inductance": "8 uH"}},
}
INVERTED_V = {
    **SLOPER,
    "site": {"soil": "wet ground"},
    "antenna": {"layout": "inverted V", "length": "20.1 m", "apex_height": "8 m", "slope_down": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0"},
}
DIPOLE = "CM park\nCE\nGW 1 21 0 -5 10 0 5 10 .001\nGE\nEX 0 1 11 0 1\nFR 0 1 0 0 14.2\nEN\n"
END = "GE\nEX 0 1 1 0 1\nFR 0 1 0 0 14.2\n"


@pytest.mark.parametrize("raw", [SLOPER, INVERTED_V])
@pytest.mark.parametrize("ground", ["real", "free"])
@pytest.mark.parametrize("lower", [7e6, 28e6])
def test_a_deck_of_our_own_comes_back(raw, ground, lower):
    built = Setup.read(raw).build()
    read = read_deck_text(deck(built, lower, lower, points=1, ground=ground))
    again = GeometrySolver(read.geometry, read.ground).impedance(read.f_hz[0])
    soil = built.ground if ground == "real" else read.ground
    z = Solver(built.structure, soil, built.rules).impedance(lower)
    assert abs(again - z) < 1e-6 * abs(z)


def test_comments_say_what_is_corrected_and_by_how_much():
    built = Setup.read(SLOPER).build()
    by_deck, own = corrections(built, 14e6, lambda key, compute: compute())
    text = deck(built, 14e6, 14e6, points=1, remember=lambda key, compute: compute())
    assert abs(own - by_deck) > 0.05 * abs(own)
    assert f"{by_deck.real:.0f} " in text and f"{own.real:.0f} " in text
    free = read_deck_text(deck(built, 14e6, 14e6, points=1, ground="free"))
    assert GeometrySolver(free.geometry, free.ground).impedance(14e6) == pytest.approx(own, rel=1e-5)


def ends(text):
    return [(w.points[0], w.points[1], w.segments, w.wire.radius) for w in read_deck_text(text).geometry.wires]


def by_engine(text):
    """Ends of the engine's segments when each geometry card is handed to it."""
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for card in cards(text):
        i, r = card.integers, card.reals
        if card.name == "GW":
            geometry.wire(i[0], i[1], *r[:7], 1.0, 1.0)
        elif card.name == "GS":
            geometry.scale(r[0])
        elif card.name == "GM":
            geometry.move(*r[:6], round(r[6]), i[1], i[0])
        elif card.name == "GR":
            geometry.generate_cylindrical_structure(i[0], i[1])
        elif card.name == "GX":
            flags = [int(c) for c in f"{i[1]:03d}"]
            geometry.reflect(*flags, i[0])
        elif card.name == "GE":
            context.geometry_complete(0)
    context.gn_card(-1, 0, 0, 0, 0, 0, 0, 0)
    context.fr_card(0, 1, 14.2, 0)
    context.ex_card(0, 1, 1, 0, 1.0, 0, 0, 0, 0, 0)
    context.xq_card(0)
    return np.array(context.get_structure_currents(0).get_current())


FORMS = {
    "moved and copied": "GW 1 5 0 0 5 0 3 5 .001\nGM 1 2 0 0 90 0 0 1\n",
    "one of two moved": "GW 1 5 0 0 5 0 3 5 .001\nGW 2 4 0 0 8 2 3 8 .001\nGM 0 0 20 30 40 1 2 3 2\n",
    "turned round an axis": "GW 1 5 1 0 5 1 0 9 .001\nGR 1 4\n",
    "reflected in two planes": "GW 1 5 1 1 5 3 1 6 .001\nGX 1 110\n",
    "in feet": "GW 1 5 0 0 16 0 10 16 .003\nGS 0 0 0.3048\n",
}


@pytest.mark.parametrize("form", FORMS)
def test_geometry_cards_as_the_engine_takes_them(form):
    """The read geometry, written as plain GW cards, gives the engine the currents that the cards themselves give."""
    plain = "".join(
        f"GW {tag} {n} {' '.join(f'{x:.12g}' for x in (*p, *q))} {radius:.9g}\n"
        for tag, (p, q, n, radius) in enumerate(ends(FORMS[form] + END), 1)
    )
    expected, found = by_engine(FORMS[form] + END), by_engine(plain + END)
    assert len(expected) == len(found)
    np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-9 * np.abs(expected).max())


def test_loads_of_every_type():
    f, w = 14.2e6, 2 * math.pi * 14.2e6
    texts = ["LD 0 1 1 1 50 1e-6 0", "LD 1 1 2 2 50 1e-6 1e-11", "LD 2 1 3 3 1 2e-6 0", "LD 3 1 4 4 10 1e-6 0",
             "LD 4 1 5 5 10 -20", "LD 5 1 6 6 5.8e7"]  # fmt: skip
    text = DIPOLE.replace("GE\n", "GE\n" + "\n".join(texts) + "\n")
    found = [complex(x.part.impedance(f)) for x in read_deck_text(text).geometry.loads]
    size = 10 / 21
    expected = [
        50 + 1e-6j * w, 1 / (1 / 50 + 1 / (1e-6j * w) + 1e-11j * w), size * (1 + 2e-6j * w),
        1 / (1 / (10 * size) + 1 / (1e-6j * w * size)), 10 - 20j,
    ]  # fmt: skip
    np.testing.assert_allclose(found[:5], expected, rtol=1e-12)
    skin = tautwire.WireType(2e-3, conductivity=5.8e7).impedance_per_metre(f)
    assert found[5] == pytest.approx(complex(skin) * size)
    whole = read_deck_text(DIPOLE.replace("GE\n", "GE\nLD 5 0 0 0 3.7e7\n")).geometry
    assert whole.wires[0].wire.conductivity == 3.7e7 and not whole.loads


def line_by_engine(text):
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for card in cards(text):
        i, r = card.integers, card.reals
        if card.name == "GW":
            geometry.wire(i[0], i[1], *r[:7], 1.0, 1.0)
        elif card.name == "GE":
            context.geometry_complete(0)
            context.gn_card(-1, 0, 0, 0, 0, 0, 0, 0)
        elif card.name == "FR":
            context.fr_card(0, 1, r[0], 0)
        elif card.name == "TL":
            context.tl_card(*i, *r[:6])
        elif card.name == "EX":
            context.ex_card(*i, r[0], r[1], 0, 0, 0, 0)
    context.xq_card(0)
    return complex(context.get_input_parameters(0).get_impedance()[0])


@pytest.mark.parametrize("line", ["300 0 0 0 0 0", "-300 0 0 0 0 0", "450 3.1 0 .001 .002 0"])
def test_lines_as_the_engine_takes_them(line):
    """Two crossed elements, one fed through a line: the engine's own line, within what the corrections change."""
    text = (
        "CE\nGW 1 21 0 -5 10 0 5 10 .001\nGW 2 21 4 -4.8 10 4 4.8 10 .001\nGE\n"
        f"TL 1 11 2 11 {line}\nEX 0 1 11 0 1\nFR 0 1 0 0 14.2\nXQ\n"
    )
    read = read_deck_text(text)
    z = GeometrySolver(read.geometry, read.ground).impedance(14.2e6)
    expected = line_by_engine(text)
    bare = GeometrySolver(read_deck_text(text.replace("TL", "CM")).geometry, read.ground).impedance(14.2e6)
    assert abs(z - expected) < 0.02 * abs(expected) and abs(bare - expected) > 0.15 * abs(expected)


def test_a_balanced_pair_of_sources_drives_as_one():
    two = DIPOLE.replace("EX 0 1 11 0 1\n", "EX 0 1 10 0 .5\nEX 0 1 12 0 .5\n")
    one, pair = (tautwire.solve(read_deck_text(t), 14.2e6) for t in (DIPOLE, two))
    assert abs(pair.impedance / one.impedance - 1) < 0.03
    assert len(pair.source_impedances) == 2 and pair.source_impedances[0] == pytest.approx(
        pair.source_impedances[1], rel=1e-6
    )


def test_columns_where_blanks_leave_integers_out():
    text = DIPOLE.replace("GE\n", "GE\nLD  5                  5.8E7\n")
    assert read_deck_text(text).geometry.wires[0].wire.conductivity == 5.8e7
    commas = DIPOLE.replace("GW 1 21 0 -5 10 0 5 10 .001", "GW 1,21,0,-5,10,0,5,10,1.D-3")
    assert read_deck_text(commas).geometry == read_deck_text(DIPOLE).geometry


def test_ground_frequencies_and_what_is_left_out():
    text = DIPOLE.replace("GE\n", "GE 1\nGN 2 0 0 0 13 .005\nEK\n").replace("FR 0 1", "FR 0 3") + ""
    text = text.replace("14.2\n", "14.2 .1\nRP 0 19 1\nXQ\nEX 0 1 3 0 1\n")
    read = read_deck_text(text)
    assert read.ground.constants(14e6) == pytest.approx((13, 0.005))
    assert read.f_hz == pytest.approx((14.2e6, 14.3e6, 14.4e6))
    assert [n.partition(":")[0] for n in read.notes] == [
        "line 5, GN", "line 6, EK", "line 9, RP", "line 10, XQ", "line 11, EX",
    ]  # fmt: skip
    assert "further run" in read.notes[-1] and read.comments[0] == "park"


@pytest.mark.parametrize(
    "old, new, words",
    [
        ("GW 1 21", "GH 1 20 0 0 .1 1 1 1 1 1 .001\nGW 1 21", "line 3 = GH .*helices are not"),
        ("GW 1 21", "GC 1 1 1\nGW 1 21", "line 3 = GC .*tapered"),
        ("GW 1 21", "GW 1 0", "line 3 = GW 1 0 .*one segment or more, at most 10000"),
        (".001", "0", "line 3 = GW .*radius above 0"),
        (".001", "ten", "line 3 = GW .*2 whole numbers, then numbers"),
        ("EX 0 1 11", "EX 0 1 22", "line 5 = EX 0 1 22 .*segments from 1 to 21"),
        ("EX 0 1 11", "EX 0 7 1", "line 5 = EX 0 7 1 .*tag that is there; 7 is not"),
        ("EX 0 1 11 0 1", "EX 1 1 1 0 0 0 0", "line 5 = EX 1 .*excitation 0 or 5"),
        ("EX 0 1 11 0 1\n", "", "no EX: a source"),
        ("GE\n", "GE\nNT 1 2 3 4 5 6\n", "line 5 = NT .*two-port networks are not"),
        ("GE\n", "GE\nGN 2 16 0 0 13 .005 10 .001\n", "line 5 = GN .*no radial screen"),
        ("GE\n", "GE\nGN 2 0 0 0 0.5 .005\n", "line 5 = GN .*er and sigma"),
        ("GE\n", "GE\nLD 9 1 1 1 1\n", "line 5 = LD 9 .*load type -1 to 5"),
        ("GE\n", "GE\nZZ 1\n", "line 5 = ZZ 1: a card that is read"),
        ("GE\n", "", "line 4 = EX .*after GE"),
        ("GE\n", "GE\nFR 0 1 0 0 0\n", "line 5 = FR .*above 0 MHz"),
        ("GE\n", "GE\nFR 1 400 0 0 14 1e300\n", "line 5 = FR .*below 1000000 MHz"),
        ("GE\n", "GM 0 99999999 0 0 0 0 0 1\nGE\n", "line 4 = GM .*at most 5000 wires"),
        ("GW 1 21", "GW 1 99999999999999", "line 3 = GW .*at most 10000"),
    ],
)
def test_refused_by_card_and_line(old, new, words):
    assert old in DIPOLE
    with pytest.raises(tautwire.InputError, match=words):
        read_deck_text(DIPOLE.replace(old, new, 1))


def test_wires_in_the_ground_are_refused():
    text = DIPOLE.replace("-5 10 0 5 10", "-5 0 0 5 10").replace("GE\n", "GE 1\nGN 1\n")
    with pytest.raises(tautwire.InputError, match=r"line 3, tag 1, height = 0 m: .* or joined to it are not computed"):
        tautwire.solve(read_deck_text(text), 14.2e6)


def test_own_geometry_is_the_set_up_it_copies():
    """But for how the corners of low coax are cut: a set-up's are finer (2e-4 of the impedance)."""
    built = Setup.read(SLOPER).build()
    s = built.structure
    wires = [tautwire.OwnWire(c.points, c.wire, name=s.name(i)) for i, c in enumerate(s.conductors)]
    geometry = tautwire.Geometry(wires, [tautwire.Source(0, 0.0)], [Load(x.conductor, x.at, x.part) for x in s.loads])
    for f in (7.1e6, 28.4e6):
        own, set_up = tautwire.solve(geometry, f, soil="average soil"), tautwire.solve(SLOPER, f)
        assert own.impedance == pytest.approx(set_up.impedance, rel=3e-4)
        far = [x.far_field([10, 40], [0, 120]).gain_dbi.values for x in (own, set_up)]
        np.testing.assert_allclose(far[0], far[1], atol=5e-3)


def test_a_branch_is_joined_where_it_meets():
    """A short branch at the wire's open end is as much more wire; near it the wire is loaded by it."""

    def wire(length, *branches):
        wires = [tautwire.OwnWire([(0, 0, 8), (0, length, 8)]), tautwire.OwnWire([(0, 0, 8), (0, -4, 8)])]
        return tautwire.Geometry([*wires, *map(tautwire.OwnWire, branches)], [tautwire.Source(0, 0.0)])

    def z(geometry):
        return tautwire.solve(geometry, 14.1e6, soil="free space").impedance

    at_end = z(wire(9, [(0, 9, 8), (0, 10, 8)]))
    assert at_end == pytest.approx(z(wire(10)), rel=0.02)
    branched = wire(10, [(0, 8, 8), (0, 8, 10)])
    assert abs(z(branched) - z(wire(10))) > 0.3 * abs(z(branched))
    assert abs(tautwire.solve(branched, 14.1e6, soil="free space").power().attrs["error"]) < 0.02


def test_command_reads_a_deck(tmp_path, capsys):
    file = tmp_path / "park.nec"
    file.write_text(DIPOLE.replace("EN\n", "RP 0 19\nEN\n"))
    main(["deck", str(file)])
    out = capsys.readouterr().out
    assert "line 7, RP: radiation pattern, left out" in out and "14.200" in out and "67 -35j" in out.replace("  ", " ")


NAMES = ["GW", "GS", "GM", "GR", "GX", "GE", "LD", "GN", "EX", "TL", "FR", "RP", "CM", "EN", "zz", ""]
WORDS = st.sampled_from(
    ["0", "1", "2", "-1", "5", "110", "3.5", "-7", ".001", "1e300", "nan", "x", "1.D2", "99999999999999999999"]
)
CARDS = st.builds(lambda name, words: f"{name} {' '.join(words)}", st.sampled_from(NAMES), st.lists(WORDS, max_size=11))


@given(st.lists(CARDS, max_size=8), st.lists(CARDS, max_size=5))
def test_any_text_is_a_deck_or_refused_in_a_line(geometry, control):
    lines = ["GW 1 5 0 0 5 0 3 5 .001", *geometry, "GE", *control, "EX 0 1 1 0 1"]
    try:
        read_deck_text("\n".join(lines))
    except tautwire.InputError as error:
        assert "\n" not in str(error)
