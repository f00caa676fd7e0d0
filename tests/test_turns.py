"""The turn table: choice of settings, fewest stops, words, stray coil, card, and a small table solved for real."""

import math
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from lakeside import RAW, lakeside, turn_frame
from scipy.stats import norm

from tautwire.model.basics import EPS0
from tautwire.model.errors import InputError
from tautwire.model.operating.reel import Reel
from tautwire.studies.commands.cli import main
from tautwire.studies.commands.turns import tables
from tautwire.studies.drawing.labels import outside, overlaps
from tautwire.studies.drawing.style import Sheet
from tautwire.studies.reports.answers import sentences
from tautwire.studies.running.runner import pieces, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.wants.turns.choice import chance, finish, shift_khz
from tautwire.studies.wants.turns.figures import card, four_cards, turn_map
from tautwire.studies.wants.turns.want import TurnsSpec, reel_of, turn_counts, with_turn_axis
from tautwire.studies.wants.turns.words import findings, left_out, turn_doubt


def study_with(turns: dict[str, Any], **tables: Any) -> Study:
    return read_study({**RAW, "study": {"name": "t", "bands": ["20 m"]}, "turns": turns, **tables})


def made_up(swr: dict[str, dict[float, float]], threshold: float = 2.0, **frames: pd.DataFrame) -> Result:
    study = with_turn_axis(study_with({"threshold": threshold, "first": 60, "last": 72}))
    table = turn_frame(swr)
    turns = sorted(set(table["turns_out"]))
    dips = pd.DataFrame({"turns_out": turns, "wire_m": 0.3 * np.array(turns), "band": "20 m",
                         "dip_mhz": [14.3 - 0.2 * (t - 60) for t in turns], "dip_swr": 1.2})  # fmt: skip
    result = Result(study, {"turn_swr": table, "turn_dips": dips, **frames}, [])
    finish(result)
    return result


FOUR = {
    "20 m CW": {60.0: 1.2, 61.0: 1.4, 62.0: 3.0, 63.0: 5.0},
    "20 m phone": {60.0: 2.5, 61.0: 1.9, 62.0: 1.1, 63.0: 2.2},
    "40 m CW": {60.0: 9.0, 61.0: 8.0, 62.0: 7.0, 63.0: 7.5},
}


def test_best_setting_neighbour_and_fewest_stops_of_a_table_done_by_hand() -> None:
    result = made_up(FOUR)
    rows = result.frames["turns"].set_index("segment")
    assert list(rows["turns_out"]) == [60, 62, 62]
    assert list(rows["swr_worst"]) == [1.2, 1.1, 7.0]
    assert list(rows["swr_neighbour"]) == [1.4, 2.2, 8.0]
    assert list(rows["served"]) == [True, True, False]
    stops = result.frames["stops"]
    assert list(stops["turns_out"]) == [61] and stops["segments"][0] == "20 m CW; 20 m phone"
    assert list(rows["stop_swr_worst"][:2]) == [1.4, 1.9] and math.isnan(rows["stop_turns"]["40 m CW"])
    assert list(rows["at_range_end"]) == [True, False, False]
    assert rows["shift_khz_per_turn"]["20 m phone"] == pytest.approx(-200)


def test_words_name_the_stop_the_shift_and_what_a_tuner_meets() -> None:
    result = made_up(FOUR)
    found = findings(result)
    assert all(n.again(result) == pytest.approx(n.value, nan_ok=True) for f in found for n in f.words.numbers)
    words = " ".join(f.words.text() for f in found)
    assert found[0].role == "verdict" and found[0].words.text().startswith("61 turns out: one stop serves 2 of 3")
    assert "use a tuner on 40 m CW" in words and "61 turns out (18.30 m)" in words
    assert "At 61 turns out, one more turn out moves the dips: 20 m \u2212200 kHz" in words
    assert (
        "40 m CW needs a tuner" in words and "20 \u03a9 resistance and \u221230 \u03a9 reactance at 14.000 MHz" in words
    )
    assert "still lose 1.9 dB, 0.6 dB of it from the SWR on the coax" in words
    assert "more or fewer turns may be better: 20 m CW" in words


def test_the_stop_has_its_own_shift_a_turn() -> None:
    """The dips bend: 100 kHz a turn at the best setting of a segment, 300 at the stop that serves it."""
    swr = {
        "20 m CW": {60.0: 1.2, 61.0: 1.9, 62.0: 1.9, 63.0: 5.0},
        "20 m phone": {60.0: 5.0, 61.0: 4.0, 62.0: 1.1, 63.0: 1.5},
    }
    study = with_turn_axis(study_with({"threshold": 2.0, "first": 60, "last": 72}))
    dips = pd.DataFrame({"turns_out": [60.0, 61.0, 62.0, 63.0], "wire_m": 18.0, "band": "20 m",
                         "dip_mhz": [14.3, 14.2, 13.9, 13.6], "dip_swr": 1.2})  # fmt: skip
    result = Result(study, {"turn_swr": turn_frame(swr), "turn_dips": dips}, [])
    finish(result)
    row = result.frames["turns"].set_index("segment").loc["20 m CW"]
    assert row["shift_khz_per_turn"] == pytest.approx(-100) and row["stop_turns"] == 62
    assert row["stop_shift_khz_per_turn"] == pytest.approx(-300)


def test_words_say_when_the_wire_hardly_matters() -> None:
    level = {float(t): 1.5 + 0.01 * (t - 40) for t in range(40, 60)}
    assert "coax and counterpoise set it" in " ".join(sentences(made_up({"20 m": level})))
    assert "coax and counterpoise set it" not in " ".join(sentences(made_up(FOUR)))


def test_shift_follows_a_line_and_stops_at_another_dip() -> None:
    turns = np.arange(5.0)
    assert shift_khz(turns, 14.0 - 0.1 * turns) == pytest.approx(-100)
    jump = shift_khz(turns, np.array([14.0, 13.9, 15.5, 15.4, 15.3]))
    assert np.isnan(jump[[1, 2]]).all() and jump[[0, 3, 4]] == pytest.approx(-100)
    near = shift_khz(turns, np.array([14.0, 13.9, 14.3, 14.2, 14.1]), np.array([2.0, 2, 3, 3, 3]))
    assert np.isnan(near[[1, 2]]).all() and near[[0, 3, 4]] == pytest.approx(-100)  # another mode, as near as the same


def test_stray_coil_is_a_parallel_circuit_in_series_or_a_sphere_like_lump_across() -> None:
    """L and C in parallel: j w L/(1 - w^2 L C), any circuit text. A ball of radius a has 4 pi eps0 a."""
    reel = Reel(22, core_diameter=0.1, wire_diameter=1.4e-3, width=0.03)
    f, turns, z = 14e6, 5.0, 3000 - 500j
    inductance, capacitance = reel.stray_inductance(turns), reel.stray_capacitance(turns)
    w = 2 * math.pi * f
    in_series = z + 1 / (1 / (1j * w * inductance) + 1j * w * capacitance)
    assert reel.with_stray(z, f, turns, "series") == pytest.approx(in_series)
    across = 1 / (1 / z + 1j * w * reel.lump_capacitance(turns))
    assert reel.with_stray(z, f, turns, "shunt") == pytest.approx(across)
    assert reel.with_stray(z, f, 0, "series") == z and reel.with_stray(z, f, 5, "none") == z
    assert reel.lump_capacitance(turns) < 4 * math.pi * EPS0 * 0.06
    with pytest.raises(InputError, match="turns.stray"):
        reel.with_stray(z, f, 5, "both")


def test_turns_to_try() -> None:
    reel = reel_of(lakeside())
    assert list(turn_counts(reel, TurnsSpec(first=60, last=62, step=0.5))) == [60, 60.5, 61, 61.5, 62]
    every = turn_counts(reel, TurnsSpec())
    assert every[0] == 25 and every[-1] == 73
    for bad, field in (
        (TurnsSpec(first=70, last=60), "turns.first"),
        (TurnsSpec(last=200), "turns.first"),
        (TurnsSpec(step=0), "turns.step"),
        (TurnsSpec(step=0.01), "turns.step"),
    ):
        with pytest.raises(InputError, match=field):
            turn_counts(reel, bad)


def test_a_threshold_no_swr_can_have_is_refused() -> None:
    with pytest.raises(InputError, match="turns.threshold = 0.5"):
        study_with({"threshold": 0.5}, study={"name": "t", "bands": ["20 m"], "want": ["turns"]})


def test_turns_that_reach_no_fixed_end_are_left_out_and_told() -> None:
    """From 1.2 m to an end at 10 m takes 8.8 m of wire at the least: 30 turns of 30 cm, not the 25 of a third."""
    fixed = {"antenna": {"layout": "sloper", "length": "20.4 m", "feed_height": "1.2 m", "end_height": "10 m"}}
    assert [with_turn_axis(study_with({}, **fixed)).axes[-1].numbers[i] for i in (0, -1)] == [30, 73]
    steeper = {"antenna.end_height": ["8 m", "10.9 m"]}
    assert with_turn_axis(study_with({}, **fixed, sweep=steeper)).axes[-1].numbers[0] == 33
    asked = with_turn_axis(study_with({"first": 25}, **fixed))
    assert asked.axes[-1].numbers[0] == 30
    result = Result(asked, {"turn_swr": [{"turns_out": t} for t in (30.0, 73.0)]}, [])
    assert [f.words.text() for f in left_out(result)] == [
        "Of the turns asked for, those below 30 are left out: too little wire for the layout's heights."
    ]
    asked.cases()[0].setup().build()
    with pytest.raises(InputError, match=r"turns.first = 20 to 25 turns.*can be built"):
        with_turn_axis(study_with({"first": 20, "last": 25}, **fixed))


def test_a_reel_is_known_by_counted_turns() -> None:
    """In feet and inches as people measure; too few turns are said, a turn_length beside is refused."""
    few = {"wire_length": "72 ft", "counted": [{"turns": 8, "length": "10 ft"}]}
    words = turn_doubt(study_with({}, reel=few))
    assert "Only 8 turns" in words and "reel.counted" in words
    many = {**few, "counted": [*few["counted"], {"turns": 40, "length": "45 ft"}]}
    study = study_with({}, reel=many)
    assert turn_doubt(study) == ""
    assert reel_of(study.cases()[0].setup()).length_out(40) == pytest.approx(45 * 0.3048)
    with pytest.raises(InputError, match=r"reel\.turn_length"):
        reel_of(study_with({}, reel={**many, "turn_length": "15 in"}).cases()[0].setup())


def test_a_turn_that_the_core_does_not_allow_is_told() -> None:
    """A circle's circumference: pi times 12 cm are 37.7 cm."""
    reel = {"wire_length": "22 m", "turn_length": "30 cm", "core_diameter": "12 cm"}
    words = turn_doubt(study_with({}, reel=reel))
    assert "reel.turn_length is 30.0 cm" in words and "12.0 cm takes at least 37.7 cm" in words
    assert turn_doubt(study_with({}, reel={**reel, "turn_length": "38 cm"})) == ""
    layers = {"wire_diameter": "1.4 mm", "width": "4 cm"}  # 28 a layer, so three layers: pi (12 + 5 x 0.14) cm
    assert "at most 39.9 cm" in turn_doubt(study_with({}, reel={**reel, **layers, "turn_length": "50 cm"}))
    assert turn_doubt(study_with({})) == ""


def test_each_turn_is_a_case_with_the_reels_length() -> None:
    study = with_turn_axis(study_with({"segments": ["20 m CW", "14.2-14.3 MHz"], "first": 60, "last": 70}))
    cases = study.cases()
    assert [c.labels["turns_out"] for c in cases] == list(range(60, 71))
    assert [c.setup().build().layout.length for c in cases] == pytest.approx(list(reel_of(lakeside()).length_out(
        np.arange(60, 71))))  # fmt: skip


@pytest.fixture(scope="module")
def solved(remember: Store) -> Result:
    study = study_with({"segments": ["20 m CW", "20 m phone"], "first": 66, "last": 70})
    return run(with_turn_axis(study), remember, workers=0)


def test_dips_of_solved_turns_scale_as_one_over_length(solved: Result) -> None:
    """Free space: a wire's resonance goes as 1/length, the coax staying as it is (scaling of Maxwell's equations)."""
    dips = solved.frames["turn_dips"]
    slope = dips["shift_khz_per_turn"].iloc[2]
    expected = -dips["dip_mhz"].iloc[2] * 1e3 * 0.3 / dips["wire_m"].iloc[2]
    assert slope == pytest.approx(expected, rel=0.1)
    assert (np.diff(dips["dip_mhz"]) < 0).all()
    rows = solved.frames["turn_swr"]
    assert (rows["swr_worst"] >= rows["swr_best"]).all() and (rows["coax_loss_db"] >= rows["coax_matched_db"]).all()


def test_want_gives_the_same_table_as_the_command_does(solved: Result, remember: Store) -> None:
    study = study_with({"segments": ["20 m CW", "20 m phone"], "first": 66, "last": 70},
                       study={"name": "t", "bands": ["20 m"], "want": ["turns"]})  # fmt: skip
    result = run(study, remember, workers=0)
    pd.testing.assert_frame_equal(
        result.frames["turn_swr"], solved.frames["turn_swr"], check_like=True, rtol=1e-9, check_dtype=False
    )
    assert list(result.frames["stops"]["turns_out"]) == list(solved.frames["stops"]["turns_out"])


def test_a_case_of_many_turns_is_not_taken_for_one_of_a_swept_turn() -> None:
    """67 turns of 30 cm are the wire of the file, so its set-up is a case of both roads."""
    reel = {"wire_length": "21 m", "turn_length": "0.3 m"}
    raw = {**RAW, "antenna": {**RAW["antenna"], "length": "20.1 m"}, "reel": reel}
    alone = read_study({**raw, "study": {"name": "turns", "bands": ["20 m"], "want": ["turns"]}})
    swept = with_turn_axis(alone)
    same = next(c for c in swept.cases() if c.labels["turns_out"] == pytest.approx(67))
    keys = [
        {p.key for p in pieces(c, s) if p.want.name == "turns"} for c, s in ((alone.cases()[0], alone), (same, swept))
    ]
    assert not keys[0] & keys[1]


def told(figure: Sheet) -> list[str]:
    return [text.get_text() for ax in figure.axes for text in ax.texts]


def test_card_and_map_keep_their_words_on_the_page(solved: Result) -> None:
    for result in (solved, made_up(FOUR)):
        rows = result.frames["turns"]
        for figure in (card(result, {}, rows), turn_map(result, {}, rows), four_cards(result)):
            assert outside(figure) == [] and overlaps(figure) == []
    assert "tuner" in " ".join(tables(made_up(FOUR))) and "20 m phone" in " ".join(tables(solved))


def test_the_card_is_a6_and_says_all_that_is_needed_at_the_tree() -> None:
    result = made_up(FOUR)
    figure = card(result, {}, result.frames["turns"])
    assert [25.4 * side for side in figure.get_size_inches()] == pytest.approx([105, 148], abs=0.5)  # ISO 216
    words = told(figure)
    assert words.count("tuner") == 1  # only the segment no stop serves
    assert words[0] == "t" and words[1] == date.today().isoformat()
    assert any(w.startswith("Reel: 22.00 m of wire, 73 turns of 30.0 cm") for w in words)
    assert {"61", "18.30 m", "1.4", "1.9", "8.0"} <= {*words}
    page = " ".join(words)
    assert "Whole band" in page and "kHz/turn" in page and page.count("power lines") == 1 == page.count("Local rules")


def test_many_stops_and_segments_still_fit_the_card() -> None:
    names = ["40 m CW", "40 m phone", "30 m", "20 m CW", "20 m phone", "17 m", "15 m CW", "12 m", "10 m CW", "6 m CW",
             "14.000-14.070 MHz", "21.100-21.200 MHz", "28.300-28.500 MHz", "24.900-24.950 MHz"]  # fmt: skip
    swr = {n: {60.0 + k: 1.2 + 0.9 * abs(k - i % 7) for k in range(7)} for i, n in enumerate(names)}
    result = made_up(swr, threshold=1.5)
    figure = card(result, {}, result.frames["turns"])
    assert outside(figure) == [] and overlaps(figure) == []


def test_the_card_is_in_feet_where_the_file_is() -> None:
    antenna = {"layout": "sloper", "length": "67 ft", "feed_height": "4 ft", "slope": "30 deg"}
    study = with_turn_axis(study_with({"threshold": 2.0, "first": 60, "last": 72}, antenna=antenna))
    table = turn_frame(FOUR)
    dips = pd.DataFrame(
        {"turns_out": [60.0, 61.0], "wire_m": 18.0, "band": "20 m", "dip_mhz": [14.3, 14.1], "dip_swr": 1.2}
    )
    result = Result(study, {"turn_swr": table, "turn_dips": dips}, [])
    finish(result)
    words = told(card(result, {}, result.frames["turns"]))
    assert "60 ft 0 in" in words and "61 turns out (60 ft 0 in)" in " ".join(sentences(result))  # 18.3 m / 0.3048 m


def test_command_says_what_is_missing_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "s.toml"
    file.write_text('[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "30 deg"\n[coax]\nlength = "5 m"\n')
    with pytest.raises(SystemExit) as leave:
        main(["turns", str(file)])
    said = capsys.readouterr().err.strip()
    assert leave.value.code == 2 and said.startswith("error: reel = nothing") and "\n" not in said


def test_a_stop_serves_as_many_set_ups_as_the_normal_law_says() -> None:
    """A valley served within 0.2 m of 20 m of wire, dips 1 % off in one of three set-ups: scipy.stats.norm."""
    wire = np.linspace(18.0, 22.0, 201)
    swr = 1.5 + 5 * np.maximum(np.abs(wire - 20.0) - 0.1, 0)
    works = chance(wire, swr[:, None], 2.0, np.array([0.01]))
    for at in (19.5, 19.9, 20.0, 20.3):
        exact = norm.cdf((20.2 - at) / (0.01 * at)) - norm.cdf((19.8 - at) / (0.01 * at))
        assert works[int(np.argmin(np.abs(wire - at)))] == pytest.approx(exact, abs=0.02)
    both = chance(wire, np.stack([swr, np.roll(swr, 20)], axis=1), 2.0, np.array([0.01, 0.01]))
    assert (both <= works + 1e-12).all()


def test_of_settings_that_serve_alike_the_stop_is_the_likeliest_and_says_how_likely() -> None:
    valley = {60.0: 6.0, 61.0: 1.1, 62.0: 1.3, 63.0: 1.4, 64.0: 1.6, 65.0: 6.0}
    assert list(made_up({"20 m CW": valley}).frames["stops"]["turns_out"]) == [61]
    spread = pd.DataFrame({"band": ["20 m"], "dip_mhz": [14.2], "dip_give_khz": [140.0]})
    result = made_up({"20 m CW": valley}, spread=spread)
    assert list(result.frames["stops"]["turns_out"]) == [62]
    works = result.frames["stops"]["chance"][0]
    stop = next(f for f in findings(result) if f.kind == "stop")
    likely = next(n for n in stop.words.numbers if n.form == "chance")
    assert 0.9 < works <= 1 and likely.value == works
