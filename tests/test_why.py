"""Why did it move: a cause put in by hand is found again, words, sag, and what is refused."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
from lakeside import RAW, lakeside
from why_words import why_words

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import band_named
from tautwire.model.wires.layout import sagged, sloper
from tautwire.studies.commands.cli import main
from tautwire.studies.drawing.labels import outside, overlaps
from tautwire.studies.drawing.style import Sheet
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.measurement import dips
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.want import made_up_sweep
from tautwire.studies.wants.why.causes import causes, together
from tautwire.studies.wants.why.figures import why_figures
from tautwire.studies.wants.why.ranking import Shift, Track, Why, explain, remaining, shift_of, shifts_between
from tautwire.studies.wants.why.want import WhySpec, shifts_of, why_tables

F = (np.linspace(6.5e6, 7.9e6, 141), np.linspace(12.9e6, 15.6e6, 141))


def changed_by(name: str, size: float, remember: Store, setup: Setup | None = None) -> tuple[Shift, ...]:
    """The shifts that a cause really makes, read off sweeps without noise."""
    before = setup or lakeside()
    after = next(c for c in causes(before) if c.name == name).apply(before, size)
    old, new = ([made_up_sweep(s, f, remember=remember) for f in F] for s in (before, after))
    return shifts_between(old, new)


@pytest.mark.parametrize(("name", "size"), [("core of the transformer", -1.2), ("box of the transformer", 1.3)])
def test_a_change_of_the_transformer_is_found(name: str, size: float, remember: Store) -> None:
    why = explain(lakeside(), changed_by(name, size, remember), 3e-4, 0.01, remember=remember)
    place, found = named(why, name)
    assert place <= 2 and why.explanations[place].explains
    assert found == pytest.approx(size, rel=0.3)


def named(why: Why, name: str) -> tuple[int, float]:
    """Place (from 0) and size of a cause."""
    place = [e.cause.name for e in why.explanations].index(name)
    return place, why.explanations[place].change


@pytest.mark.parametrize(
    ("soil", "name", "size"),
    [
        ("free space", "wire out", 0.7),
        ("free space", "length of the coax", -2.5),
        ("free space", "wet wire", 1.4),
        ("average soil", "height of the feed", -3.0),
        ("average soil", "mast nearby", 2.5),
    ],
)
def test_the_cause_put_in_explains_with_its_own_size(soil: str, name: str, size: float, remember: Store) -> None:
    setup = Setup.read({**RAW, "site": {"soil": soil}})
    why = explain(setup, changed_by(name, size, remember, setup), 3e-4, 0.01, remember=remember)  # sweeps without noise
    place, found = named(why, name)
    assert why.explanations[place].explains
    assert found == pytest.approx(size, rel=0.35)
    assert [-e.chance for e in why.explanations] == sorted(-e.chance for e in why.explanations)
    assert place <= 3  # a smaller change of the wire, leaves at its end, or the transformer's box may do as well


def test_length_of_wire_is_first_and_the_advice_undoes_it(remember: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few causes are solved in full; the others are told from coarse solves."""
    setup, solved = lakeside(), []
    whole = Track.solved
    monkeypatch.setattr(Track, "solved", lambda self, *at: solved.append(at) or whole(self, *at))
    shifts = changed_by("wire out", 1.0, remember)
    why = explain(setup, shifts, remember=remember)
    assert 1 <= len(solved) < len(why.explanations) / 2
    assert named(why, "wire out")[0] == 0
    words = " ".join(why_words(setup, why, 1e-3))
    assert (
        re.match(r"(Probably|Most likely) 1 turn \(", words)
        and "too much wire out" in words
        and "(1 turn of the reel)" in words
    )
    assert float(re.search(r"reel in ([\d.]+) cm", words)[1]) == pytest.approx(30, abs=1)  # type: ignore[index]


def test_other_causes_are_told_apart_by_the_second_band(remember: Store) -> None:
    """Another coax moves the bands by other ratios than the wire does, so the wire does not explain it."""
    shifts = changed_by("length of the coax", -2.5, remember)
    why = explain(lakeside(), shifts, remember=remember)
    place, _ = named(why, "wire out")
    assert why.explanations[0].cause.name == "length of the coax" and not why.explanations[place].explains
    one = explain(lakeside(), shifts[1:], remember=remember)
    place, _ = named(one, "wire out")
    assert one.explanations[place].explains
    assert "One dip fits many causes" in " ".join(why_words(lakeside(), one, 1e-3))


def test_a_mast_that_appears_is_found_and_bearing_then_matters(remember: Store) -> None:
    setup = lakeside()
    with_mast = next(c for c in causes(setup) if c.name == "mast nearby").apply(setup, 2.0)
    assert with_mast.nearby[0].name == "mast"
    assert "bearing of the antenna" in [c.name for c in causes(with_mast)]
    assert "bearing of the antenna" not in [c.name for c in causes(setup)]
    shifts = (Shift("20 m", 14.2e6, 14.15e6),)
    why = explain(setup, shifts, remember=remember)
    assert "Turning everything together makes no difference" in " ".join(why_words(setup, why, 1e-3))
    assert "does matter" in " ".join(why_words(with_mast, why, 1e-3))


SHORE = {**RAW, "site": {"soil": "average soil"}, "coax": {"type": "RG-58", "length": "8 m", "bearing": "180 deg"}}


def test_turning_the_wire_and_leaving_the_coax_moves_the_dips(remember: Store) -> None:
    """Turned round together they make the same antenna; half a turn of the wire alone does not."""
    f = np.linspace(13.2e6, 15.4e6, 101)

    def dip(wire: str, coax: str) -> float:
        raw = {**SHORE, "antenna": {**RAW["antenna"], "bearing": wire}, "coax": {**SHORE["coax"], "bearing": coax}}
        return dips(made_up_sweep(Setup.read(raw), f, remember=remember))[0][0]

    start, together, alone = dip("0 deg", "180 deg"), dip("180 deg", "0 deg"), dip("180 deg", "180 deg")
    assert together == pytest.approx(start, abs=100.0)
    assert abs(alone - start) > 20e3
    cause = next(c for c in causes(Setup.read(SHORE)) if c.name == "bearing of the wire against the coax")
    turned = cause.apply(Setup.read(SHORE), 6.0)
    assert dips(made_up_sweep(turned, f, remember=remember))[0][0] == pytest.approx(alone, abs=100.0)


def test_a_coax_left_lying_stays_where_it_lay_by_default() -> None:
    """A coax without a bearing leaves a quarter turn from the wire; turning the wire must not take it along."""
    setup = Setup.read({**RAW, "counterpoise": [{"length": "2 m"}]})
    cause = next(c for c in causes(setup) if c.name == "bearing of the wire against the coax")
    wire, counterpoise, coax = (c.points for c in cause.apply(setup, 3.0).build().structure.conductors)
    before = [c.points for c in setup.build().structure.conductors]
    assert wire != before[0] and np.allclose(counterpoise, before[1]) and np.allclose(coax, before[2])


def test_causes_that_cannot_be_are_left_out(remember: Store) -> None:
    every = causes(lakeside())
    left = [c.name for c in remaining(every, ["length of the coax", "nearby"])]
    assert len(left) == len(every) - 4 and "spare coax coiled up" in left
    with pytest.raises(InputError, match="why.exclude"):
        remaining(every, ["aerial"])
    why = explain(lakeside(), (Shift("20 m", 14.2e6, 14.1e6),), remember=remember, exclude=["wire out"])
    assert "wire out" not in [e.cause.name for e in why.explanations]
    words = " ".join(why_words(lakeside(), why, 1e-3))
    assert "reel in" in words or "let out" in words


def test_two_causes_at_once_are_found_together(remember: Store) -> None:
    """Wire reeled in and a shorter coax: no single cause moves both bands so."""
    setup = lakeside()
    found = {c.name: c for c in causes(setup)}
    two = together([found["wire out"], found["length of the coax"]], [-0.4, -2.5])
    after = two.apply(setup, math.hypot(0.4, 2.5))
    assert after.antenna.length == pytest.approx(20.4 - 0.4 * 0.3) and after.coax and after.coax.length == 2.5
    old, new = ([made_up_sweep(s, f, remember=remember) for f in F] for s in (setup, after))
    shifts = [Shift(s.band, s.was_hz, s.now_hz, s.was_swr, s.now_swr) for s in shifts_between(old, new)]
    why = explain(setup, shifts, 2e-4, 0.005, remember=remember)
    assert not any(e.explains for e in why.explanations if not e.pair)
    pairs = {e.cause.name: e for e in why.explanations if e.pair}
    true = pairs["wire out and length of the coax"]
    assert true.explains and true.change == pytest.approx(math.hypot(0.4, 2.5), rel=0.1)
    assert any("as well as these together" in n for n in why_words(setup, why, 2e-4))


def test_leaves_and_coiled_coax_move_the_dip_as_they_must(remember: Store) -> None:
    """A capacitance at the end lengthens the wire and its loss damps; coiled coax shortens the shield, not the line."""
    setup = lakeside()
    found = {c.name: c for c in causes(setup)}
    before, leaves = (
        dips(made_up_sweep(s, F[1], remember=remember))[0][0]
        for s in (setup, found["foliage touching the end"].apply(setup, 2.0))
    )
    assert 0.97 < leaves / before < 0.999
    coiled = found["spare coax coiled up"].apply(setup, 2.0)
    assert coiled.build().structure.lengths["coax"] == pytest.approx(3.0)
    assert coiled.feed_system().coax_length == 5.0
    with pytest.raises(InputError, match="coax.coiled"):
        found["spare coax coiled up"].apply(setup, 5.0).build()
    for bad in ("-1 pF", "50 pF"):
        with pytest.raises(InputError, match="antenna.end_capacitance"):
            Setup.read({**RAW, "antenna": {**RAW["antenna"], "end_capacitance": bad}}).build()


def test_nothing_moved_needs_no_cause(remember: Store) -> None:
    shifts = (Shift("20 m", 14.2e6, 14.205e6),)
    words = why_words(lakeside(), explain(lakeside(), shifts, remember=remember), 1e-3)
    assert words[0].startswith("Reading errors explain it") and not any("wire out" in w for w in words)


def test_free_space_has_no_soil_to_change_and_says_so(remember: Store) -> None:
    why = explain(lakeside(), (Shift("20 m", 14.2e6, 14.1e6),), remember=remember)
    assert "a real soil" in why.failed["soil"] and "soil" not in [e.cause.name for e in why.explanations]


def test_each_cause_changes_the_wires_and_says_both_ways() -> None:
    setup = Setup.read({**RAW, "site": {"soil": "average soil"}, "counterpoise": [{"length": "2 m", "height": "5 cm"}]})
    built = repr((setup.build(), setup.feed_system()))
    for cause in causes(setup):
        for c in (1.0,) if cause.one_way else (1.0, -1.0):
            changed = cause.apply(setup, c)
            assert repr((changed.build(), changed.feed_system())) != built, cause.name
            assert cause.words(c) and cause.undo(c)
    words = {c.name: (c.words(1.0).text(), c.words(-1.0).text()) for c in causes(setup) if not c.one_way}
    assert words["slope"] == ("6° steeper", "6° flatter")
    assert words["wire out"] == ("30.0 cm more (1 turn of the reel)", "30.0 cm less (1 turn of the reel)")


def test_wet_wire_has_the_inductance_of_two_layers() -> None:
    """Series inductance of a jacket, mu0/(2 pi) (1 - 1/er) ln(b/a), adds up layer by layer (any text on coating)."""
    wet = next(c for c in causes(lakeside()) if c.name == "wet wire").apply(lakeside(), 2.0)
    a, b, film = 0.4e-3, 0.7e-3, 40e-6
    layers = (1 - 1 / 2.3) * math.log(b / a) + (1 - 1 / 80) * math.log((b + film) / b)
    wire = wet.wire.wire()
    er, jacket = wire.jacket_er, wire.jacket
    assert (1 - 1 / er) * math.log((a + jacket) / a) == pytest.approx(layers)


def test_sagging_wire_keeps_its_length_and_hangs_as_deep_as_asked() -> None:
    """A shallow parabola of chord c and depth d is c (1 + 8/3 (d/c)^2) long (any statics text, from memory)."""
    straight = sloper(length=20.0, slope=0.0, feed_height=5.0)
    for depth in (0.3, 1.0):
        hung = sagged(straight, depth, pieces=60)
        assert hung.length == pytest.approx(20.0, abs=1e-9)
        assert 5.0 - min(p[2] for p in hung.points) == pytest.approx(depth, rel=1e-6)
        chord = hung.points[-1][1]
        assert chord * (1 + 8 / 3 * (depth / chord) ** 2) == pytest.approx(20.0, rel=2e-4)
    assert sagged(straight, 0) is straight
    for bad in (-0.1, 5.0):
        with pytest.raises(InputError, match="antenna.sag"):
            sagged(straight, bad)


def test_bands_are_named_and_bad_shifts_refused() -> None:
    assert shift_of(13.95e6, 13.9e6).band == "20 m" and shift_of(7.1e6, 7.0e6).band == "40 m"
    for was, now, field in (
        (1e6, 1e6, "why.was"),
        (14e6, 16e6, "why.now"),
        (14e6, math.nan, "why.now"),
        (0.0, 14e6, "why.was"),
        (-14e6, 14e6, "why.was"),
    ):
        with pytest.raises(InputError, match=field):
            shift_of(was, now)
    assert shift_of(13.3e6, 13.3e6, "20m").band == "20 m"  # outside its band, as a dip may be
    for band in ("foo", "40 m"):
        with pytest.raises(InputError, match="band"):
            shift_of(13.3e6, 13.3e6, band)
    for spec in ({}, {"before": ["a.s1p"]}):
        with pytest.raises(InputError, match="why"):
            shifts_of(WhySpec.model_validate(spec), 1)


@pytest.fixture(scope="module")
def solved(remember: Store) -> Result:
    study = read_study({
        **RAW,
        "study": {"name": "w", "bands": ["40 m", "20 m"], "want": ["why"]},
        "why": {"moves": [{"was": "7.1 MHz", "now": "7.06 MHz"}, {"was": "14.2 MHz", "now": "14.12 MHz"}]},
    })  # fmt: skip
    return run(study, remember, workers=0)


def test_study_kind_gives_tables_words_and_a_clear_picture(solved: Result) -> None:
    assert not solved.failed
    table = solved.frames["why"]
    assert table["cause_chance"].is_monotonic_decreasing and 0.9 < table["cause_chance"].sum() <= 1
    wire = table.set_index("cause").loc["wire out"]
    assert wire["explains"] and wire["cause_chance"] > 0.1 and "more" in wire["change"]
    assert set(solved.frames["why_bands"]["band"]) == {"40 m", "20 m"}
    (figure,) = why_figures(solved).values()
    assert isinstance(figure, Sheet) and figure.title and figure.drawn.shows(figure.title)
    assert outside(figure) == [] and overlaps(figure) == []


def test_command_pairs_its_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "s.toml"
    file.write_text(
        '[site]\nsoil = "free space"\n[antenna]\nlayout = "sloper"\nlength = "20.4 m"\nslope = "30 deg"\n'
        '[coax]\nlength = "5 m"\n'
    )
    for arguments, said in (
        (["--was", "14 MHz"], "--now = 0 given"),
        (["--was", "14", "--now", "13.9 MHz"], "frequency with its unit"),
        (["--was", "-14 MHz", "--now", "14 MHz"], "why.was = -14 MHz"),
        ([], "a dip that moved"),
        (["--was", "14 MHz", "--now", "18 MHz"], "why.now"),
        (["--before", "no.s1p"], "why.after"),
    ):
        with pytest.raises(SystemExit) as leave:
            main(["why", str(file), *arguments])
        told = capsys.readouterr().err
        assert leave.value.code == 2 and said in told, told
    main(["why", str(file), "--was", "14.2 MHz", "--now", "14.1 MHz", "--out", str(tmp_path / "out")])
    told = capsys.readouterr().out
    assert (
        told.startswith("These causes are about as likely: ")
        and "wire out (" in told
        and "explains all bands" in told
        and "reel in" in told
    )
    assert (tmp_path / "out" / "why.png").is_file()


@pytest.mark.parametrize("name", ["dip_error", "gamma_error"])
def test_an_error_of_nothing_is_refused_by_its_own_name(name: str) -> None:
    seen = {"moves": [{"was": "14.2 MHz", "now": "14.1 MHz"}]}
    with pytest.raises(InputError, match=rf"^why\.{name} = 0: above 0$"):
        read_study({**RAW, "study": {"want": ["why"]}, "why": {**seen, name: 0}})


def test_a_dip_to_read_next_tells_the_first_two_apart(remember: Store) -> None:
    """Of bands not read; its odds follow from how far apart the two causes put it."""
    unread = [band_named("20 m"), band_named("40 m"), band_named("15 m")]
    why = explain(lakeside(), (Shift("20 m", 14.2e6, 14.1e6),), remember=remember, unread=unread)
    first, second = [e.cause.name for e in why.explanations if e.explains][:2]
    assert why.apart and {a.band for a in why.apart} <= {"40 m", "15 m"}
    assert all((a.first, a.second) == (first, second) for a in why.apart)
    odds = [a.odds for a in why.apart]
    assert odds == sorted(odds, reverse=True) and min(odds) >= 1
    far = [abs(math.log(a.first_hz / a.second_hz)) for a in why.apart]
    assert odds[0] > 1 and far[0] > 1e-4
    rows = why_tables(why)["why_next"]
    assert [row["band"] for row in rows] == [a.band for a in why.apart] and rows[0]["other_cause"] == second
