"""Choosing among set-ups: the search against trying all, its promises kept, bad wishes refused by name."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import main
from tautwire.studies.reports.folder import write
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose import candidates
from tautwire.studies.wants.choose.candidates import Problem, read_problem
from tautwire.studies.wants.choose.search import Search
from tautwire.studies.wants.choose.want import one_by_one, search
from tautwire.studies.wants.choose.words import findings

SHORT: Raw = {
    "study": {"name": "pond", "bands": ["20 m"], "want": ["choose"]},
    "antenna": {"layout": "sloper", "length": "10 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
}
LENGTH = {"antenna.length": {"from": "9.2 m", "to": "10.8 m"}}
SLOPE = {"antenna.slope": {"from": "15 deg", "to": "60 deg"}}


def problem_of(choose: dict[str, Any], **tables: Any) -> Problem:
    study = read_study({**SHORT, **tables, "choose": choose})
    return read_problem(study, study.raw)


def searched(problem: Problem, remember: Store) -> Search:
    found = search(problem, remember, one_by_one(problem, remember))
    found.run()
    return found


def worst_swr(raw: Raw, low: float, high: float, remember: Store) -> float:
    """The highest SWR across a band, by the way that predictions go."""
    from tautwire.model.basics import swr

    setup, f = Setup.read(raw), np.linspace(low, high, 201)
    feed = setup.feed_system()
    z = setup.build().solver(remember).response(low, high).impedance(f)
    return float(swr(feed.impedances(z, f).radio, feed.reference).max())


@pytest.fixture(scope="module")
def pond(remember: Store) -> Search:
    return searched(problem_of({"vary": {**LENGTH, **SLOPE}, "solves": 16}), remember)


def test_the_best_beats_a_grid_of_exact_solves(pond: Search, remember: Store) -> None:
    problem, best = pond.problem, pond.ranked()[0]
    band = problem.segments[0]
    grid = [(x, s) for x in np.linspace(9.2, 10.8, 7) for s in np.radians([15, 30, 45, 60])]
    exact = [worst_swr(problem.candidate(p), band.lower, band.upper, remember) for p in grid]
    mine = worst_swr(problem.candidate(best.place), band.lower, band.upper, remember)
    assert max(exact) > 2 * min(exact), "a grid on which it matters where one is"
    assert mine == pytest.approx(float(best.measures.swr[0]), abs=0.01)
    assert mine < min(exact) + 0.03 and pond.count <= 16 < len(grid)


def test_the_same_seed_gives_the_same_search(pond: Search, remember: Store) -> None:
    """Even where answers come back in another order, as they do from worker processes."""
    problem = pond.problem
    plain = one_by_one(problem, remember)
    again = search(problem, remember, lambda asked: reversed(list(plain(asked))))
    again.run()
    assert list(again.candidates) == list(pond.candidates)
    assert [c.cost for c in again.ranked()] == [c.cost for c in pond.ranked()]


def test_what_the_wires_do_not_feel_costs_no_solve(remember: Store) -> None:
    vary = {"transformer.compensation_capacitance": {"from": "0 pF", "to": "300 pF"}}
    found = searched(problem_of({"vary": vary, "solves": 12}), remember)
    assert found.count == 1 and len(found.candidates) > 3
    costs = {c.place[0]: c.cost for c in found.candidates.values()}
    assert max(costs.values()) > min(costs.values())


def test_words_and_numbers_together(remember: Store) -> None:
    hangings = [
        {"name": "low", "layout": "sloper", "length": "10 m", "feed_height": "0.5 m", "slope": "10 deg"},
        {"name": "steep", "layout": "sloper", "length": "10 m", "feed_height": "1.2 m", "slope": "70 deg"},
    ]
    choose = {"vary": {"antenna": hangings, **LENGTH}, "aims": ["gain"], "solves": 12, "swr": 3}
    found = searched(problem_of(choose), remember)
    best = found.ranked()[0]
    assert found.problem.knobs[0].shown(best.place[0]) == "steep"  # an upright wire fills low angles all round
    assert not best.misses and best.measures.swr[0] <= 3


def test_limits_hold_and_a_wish_to_drop_is_named(remember: Store) -> None:
    held = searched(problem_of({"vary": {**LENGTH, **SLOPE}, "solves": 16, "limits": {"highest": "5 m"}}), remember)
    assert held.ranked()[0].measures.highest <= 5 + 1e-6
    choose = {"vary": {**LENGTH, **SLOPE}, "solves": 16, "limits": {"wire": "9.3 m"}, "swr": 1.5}
    result = run(read_study({**SHORT, "choose": choose}), remember, workers=0)
    wishes = result.frames["wishes"].set_index("wish")
    assert wishes["rest_holds_without"].any()
    told = " ".join(f.words.text() for f in findings(result))
    assert "Nothing keeps every limit" in told and "Drop the limit on wire out (missed by " in told


def test_a_chance_is_wanted_and_told(remember: Store) -> None:
    choose = {"vary": LENGTH, "solves": 8, "certainty": "80 %", "swr": 2}
    result = run(read_study({**SHORT, "choose": choose}), remember, workers=0)
    best = result.frames["choices"].iloc[0]
    assert 0 < best["chance_percent"] <= 100
    assert (result.frames["choice_swr"]["swr_worst_pm"] > 0).all()
    sure = next(f for f in findings(result) if f.role == "sure")
    assert sure.words.numbers[0].value == pytest.approx(best["chance_percent"] / 100)
    assert all(
        n.again(result) == pytest.approx(n.value, nan_ok=True) for f in findings(result) for n in f.words.numbers
    )


def test_what_is_known_better_makes_it_surer_and_nothing_stored_is_taken_for_another(remember: Store) -> None:
    """[spread], the study's bands and its SWR count: each gives an answer of its own from the same store."""
    choose = {"vary": LENGTH, "solves": 8, "swr": 1.6}

    def swing(**tables: Any) -> float:
        study = read_study({**SHORT, "choose": choose, **tables})
        return float(run(study, remember, workers=0).frames["choice_swr"]["swr_worst_pm"].iloc[0])

    known = dict.fromkeys(("antenna.length", "transformer.terminal_capacitance", "transformer.leakage_inductance"), 0.0)
    exact = {path: {"sd": 0} for path in known}
    usual = swing()
    assert swing(spread={"values": exact}) < 0.9 * usual
    assert swing() == pytest.approx(usual, rel=1e-9)
    head = {**SHORT["study"], "bands": ["17 m"]}
    other = run(read_study({**SHORT, "study": head, "choose": choose}), remember, workers=0)
    assert set(other.frames["choice_swr"]["segment"]) == {"17 m"}


@pytest.mark.parametrize(
    ("choose", "field"),
    [
        ({"vary": {}}, "choose.vary"),
        ({"vary": {"antenna.slop": {"from": "1 deg", "to": "2 deg"}}}, "choose.vary = 'antenna.slop'"),
        ({"vary": {"antenna.slope": "20 deg"}}, "choose.vary.antenna.slope"),
        ({"vary": {"antenna.slope": {"from": "30 deg", "to": "20 deg"}}}, "choose.vary.antenna.slope"),
        ({"vary": {"antenna.slope": {"from": "30 deg", "to": "60"}}}, "choose.vary.antenna.slope.to"),
        ({"vary": {"site.soil": []}}, "choose.vary.site.soil"),
        ({"vary": LENGTH, "swr": 1}, "choose.swr"),
        ({"vary": LENGTH, "certainty": "20 %"}, "choose.certainty"),
        ({"vary": LENGTH, "aims": ["beauty"]}, "choose.aims.beauty"),
        ({"vary": LENGTH, "aims": {"swr": -1}}, "choose.aims.swr"),
        ({"vary": LENGTH, "aims": []}, "choose.aims"),
        ({"vary": LENGTH, "aims": ["shield"]}, "choose.aims.shield"),
        ({"vary": LENGTH, "toward": "up"}, "choose.toward"),
        ({"vary": LENGTH, "segments": ["21 m"]}, "21 m"),
        ({"vary": LENGTH, "solves": 1}, "choose.solves"),
    ],
)
def test_bad_wishes_are_named(choose: dict[str, Any], field: str) -> None:
    with pytest.raises(InputError, match=field.replace(".", r"\.")):
        problem_of(choose)


def test_more_kinds_than_solves_are_refused(remember: Store) -> None:
    soils = ["sea water", "average soil", "wet ground", "sandy soil", "very dry ground"]
    problem = problem_of({"vary": {"site.soil": soils, **LENGTH}, "solves": 8})
    with pytest.raises(InputError, match=r"choose\.solves = 8: at least 10"):
        searched(problem, remember)


@pytest.fixture(scope="module")
def two_aims(remember: Store, tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    choose = {"vary": {**LENGTH, **SLOPE}, "aims": ["swr", "gain"], "swr": 4, "solves": 20}
    result = run(read_study({**SHORT, "choose": choose}), remember, workers=0)
    folder = tmp_path_factory.mktemp("pond")
    write(result, folder, formats=("png",))
    return result, folder


def test_two_aims_give_a_curve_on_which_nothing_is_better_in_both(two_aims: tuple[Result, Path]) -> None:
    curve = two_aims[0].frames["tradeoff"]
    assert len(curve) >= 3
    assert curve["swr_highest"].is_monotonic_increasing and curve["radio_gain_dbi"].is_monotonic_increasing
    assert (two_aims[1] / "tradeoff.png").exists()


def test_each_choice_is_a_study_ready_to_run(two_aims: tuple[Result, Path], remember: Store) -> None:
    result, folder = two_aims
    choices = result.frames["choices"].to_dict("records")
    assert len(choices) >= 2
    for row in choices:
        study = read_study(load_tables(folder / f"choice-{row['choice']}.toml"))
        assert study.spec.want == ("dips", "pattern")
        band = study.bands[0]
        assert worst_swr(study.raw, band.lower, band.upper, remember) == pytest.approx(row["swr_highest"], abs=0.01)
    slopes = [row["slope_deg"] for row in choices]
    lengths = [row["length_m"] for row in choices]
    for i in range(len(choices)):  # by a fifth of a range at least
        assert all(abs(slopes[i] - slopes[j]) > 9 or abs(lengths[i] - lengths[j]) > 0.32 for j in range(i))


def test_command_goes_on_from_what_is_solved(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "pond.toml"
    file.write_text(POND, encoding="utf-8")
    main(["choose", str(file), "--out", str(tmp_path / "a"), "--workers", "2"])
    first = capsys.readouterr().out
    assert "Choose wire 9.49 m" in first and (tmp_path / "a" / "choice-1.toml").exists()
    summary = (tmp_path / "a" / "summary.md").read_text(encoding="utf-8")
    assert f"tautwire choose {file}" in summary

    def fail(*given: Any) -> Any:
        raise AssertionError("solved twice")

    monkeypatch.setattr(candidates, "_solve", fail)
    more = POND.replace("show = 2", "show = 1")  # another question, the same candidates
    file.write_text(more, encoding="utf-8")
    main(["choose", str(file), "--out", str(tmp_path / "b"), "--workers", "0"])
    assert capsys.readouterr().out.splitlines()[1].split()[:2] == first.splitlines()[1].split()[:2]


POND = """
[study]
name = "pond"
bands = ["20 m"]
[antenna]
layout = "sloper"
length = "10 m"
feed_height = "1.2 m"
slope = "30 deg"
[[counterpoise]]
length = "2 m"
height = "30 cm"
[choose]
solves = 10
show = 2
vary = { "antenna.length" = { from = "9.2 m", to = "10.8 m" } }
"""


def test_ctrl_c_keeps_the_best_so_far(tmp_path: Path) -> None:
    file = tmp_path / "pond.toml"
    text = POND.replace("solves = 10", "solves = 2000").replace(
        "vary = {", 'vary = { "antenna.slope" = { from = "15 deg", to = "60 deg" }, "counterpoise.length" = '
        '{ from = "0.5 m", to = "4 m" }, "antenna.feed_height" = { from = "0.8 m", to = "2 m" },')  # fmt: skip
    file.write_text(text, encoding="utf-8")
    command = [sys.executable, "-c", STOPPED_AFTER_SIX, str(file), str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    assert done.returncode == 130, done.stderr
    assert "This is the best so far: the search was stopped after" in done.stdout
    assert (tmp_path / "out" / "choice-1.toml").exists()


STOPPED_AFTER_SIX = """
import os, signal, sys
from tautwire.studies.questions import choose
from tautwire.studies.commands.cli import main

signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background ignores it
whole, stopped = choose.search, []
def search(problem, remember, many, progress):
    def counted(done, most):  # the count may pass 6 without stopping there
        if done >= 6 and not stopped:
            stopped.append(done)
            os.kill(os.getpid(), signal.SIGINT)
        progress(done, most)
    return whole(problem, remember, many, counted)
choose.search = search
main(["choose", sys.argv[1], "--out", sys.argv[2], "--workers", "2"])
"""


def test_each_case_of_a_sweep_has_an_answer_of_its_own(remember: Store, tmp_path: Path) -> None:
    sweep = {"sweep": {"counterpoise.height": ["5 cm", "1.5 m"]}}
    study = read_study({**SHORT, **sweep, "choose": {"vary": LENGTH, "solves": 8}})
    choices = run(study, remember, workers=0).frames["choices"].query("choice == 1").set_index("counterpoise_height_m")
    for case in study.cases():
        alone = read_study({**SHORT, "counterpoise": case.raw["counterpoise"], "choose": {"vary": LENGTH, "solves": 8}})
        expected = run(alone, Store(tmp_path), workers=0).frames["choices"].iloc[0]
        mine = choices.loc[case.labels["counterpoise_height_m"]]
        assert mine["length_m"] == pytest.approx(expected["length_m"])
        assert mine["swr_highest"] == pytest.approx(expected["swr_highest"])
    assert choices["swr_highest"].nunique() == 2


def test_listed_lengths_far_apart_are_each_judged_by_their_own(remember: Store) -> None:
    """Also with another knob, and where a cell of wire lengths between two of them would be empty."""
    lengths = ["6 m", "10 m", "10.4 m", "14 m"]
    slope = {"antenna.slope": ["20 deg", "40 deg"]}
    problem = problem_of({"vary": {"antenna.length": lengths, **slope}, "solves": 24, "swr": 3})
    found = searched(problem, remember)
    best, band = found.ranked()[0], problem.segments[0]
    exact = {}
    for i in range(4):
        for k in range(2):
            exact[float(i), float(k)] = worst_swr(
                problem.candidate((float(i), float(k))), band.lower, band.upper, remember
            )
    assert best.place == min(exact, key=lambda place: exact[place])
    assert {c.place[0] for c in found.candidates.values()} == {0.0, 1.0, 2.0, 3.0}
    for place, candidate in found.candidates.items():
        assert float(candidate.measures.swr[0]) == pytest.approx(exact[place], rel=0.02)


@pytest.mark.parametrize("lengths", [["10 m", "14 m"], ["9.5 m", "10 m", "10.4 m", "14 m"]])
def test_one_listed_length_alone_leaves_the_slope_to_be_searched(lengths: list[str], remember: Store) -> None:
    problem = problem_of({"vary": {"antenna.length": lengths, **SLOPE}, "solves": 27})  # a quarter is for the polish
    found = searched(problem, remember)
    best, band = found.ranked()[0], problem.segments[0]
    exact = worst_swr(problem.candidate(best.place), band.lower, band.upper, remember)
    assert float(best.measures.swr[0]) == pytest.approx(exact, rel=0.02)
    assert sum(b.ready for b in found.branches) == len(found.branches)
