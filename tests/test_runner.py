"""Runner: a worker that dies, hangs or fails costs one case, told with its inputs; the others come through."""

import multiprocessing
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
import tomli_w
from click.testing import CliRunner
from small_study import CASES, write_study

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.commands import run as command_run
from tautwire.studies.reports.answers import validity
from tautwire.studies.reports.folder import summary
from tautwire.studies.running import runner
from tautwire.studies.running.pool import cores
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import FOLDER_VARIABLE, Store
from tautwire.studies.running.study_file import load_study, read_study
from tautwire.studies.wants.want import want_named

SLOPES = ["10 deg", "20 deg", "30 deg", "40 deg", "50 deg"]
BAD = 2  # the case that goes wrong
STUDY = {
    "study": {"name": "lakeside", "bands": ["20 m"]},
    "antenna": {"layout": "sloper", "length": "10.1 m", "feed_height": "1.2 m"},
    "counterpoise": [{"length": "2 m", "height": "10 cm"}],
    "sweep": {"antenna.slope": SLOPES},
}
needs_fork = pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="the fault is handed to workers by forking"
)


def die():
    os._exit(3)


def hang():
    time.sleep(600)


def fail():
    raise ZeroDivisionError("a fault of ours")


def refuse():
    raise SolveError("the engine refused")


FAULTS = {
    "died": (die, "the worker process ended (exit code 3)"),
    "hung": (hang, "no answer within 2 s"),
    "faulty": (fail, "ZeroDivisionError: a fault of ours"),
    "refused": (refuse, "the engine refused"),
}


@pytest.fixture
def study():
    return read_study(STUDY)


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path)


def answers(fault=None):
    """In place of a solve: a row with the case's number, or the fault."""

    def solve_case(case, study, store):
        if case.index == BAD and fault:
            fault()
        rows = [{"rows": [{"number": case.index, "process": os.getpid()}]}, {}, {}]
        for piece, part in zip(runner.pieces(case, study), rows, strict=True):
            store.put_json(piece.key, part)
        return rows

    return solve_case


@needs_fork
@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("workers", [1, 2])
def test_a_fault_costs_one_case(name, workers, study, store, monkeypatch):
    fault, reason = FAULTS[name]
    monkeypatch.setattr(runner, "solve_case", answers(fault))
    seen = []
    result = run(study, store, workers, timeout=2, progress=lambda done, total: seen.append((done, total)))
    assert list(result.frames["rows"]["number"]) == [0, 1, 3, 4]
    assert os.getpid() not in set(result.frames["rows"]["process"])
    assert [f.reason for f in result.failed] == [reason]
    assert result.failed[0].labels == {"slope_deg": 30.0}
    assert result.failed[0].inputs["antenna"] == {**STUDY["antenna"], "slope": "30 deg"}
    assert seen[-1] == (5, 5)
    assert f"FAILED: slope 30°: {reason}" in validity(result)
    assert reason in summary(result, "command")


ONE = {
    "study": {"bands": ["40 m", "20 m", "10 m"]},
    "antenna": {**STUDY["antenna"], "slope": "30 deg"},
    "counterpoise": STUDY["counterpoise"],
}


@needs_fork
def test_workers_without_a_case_of_their_own_take_bands_of_another(tmp_path, monkeypatch):
    whole = runner.solve_case

    def noted(case, study, store, only=()):
        (tmp_path / (" ".join(band.name for band in only) or "all")).touch()
        return whole(case, study, store, only)

    study = read_study(ONE)
    alone = run(study, Store(tmp_path / "alone"), workers=0)
    monkeypatch.setattr(runner, "solve_case", noted)
    result = run(study, Store(tmp_path / "store"), workers=2)
    assert {file.name for file in tmp_path.iterdir() if file.is_file()} == {"40 m 20 m", "10 m", "all"}
    for name, table in alone.frames.items():
        pd.testing.assert_frame_equal(result.frames[name], table)


@needs_fork
def test_a_band_that_kills_its_worker_costs_the_case_one_line(store, monkeypatch):
    def solve_case(case, study, store, only=()):
        return die() if [band.name for band in only] == ["10 m"] else []

    monkeypatch.setattr(runner, "solve_case", solve_case)
    with pytest.raises(SolveError, match="none of 1 cases could be solved: the worker process ended"):
        run(read_study(ONE), store, workers=2)


@needs_fork
def test_the_next_run_computes_only_what_failed(study, store, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", answers(die))
    run(study, store, workers=1, timeout=10)
    monkeypatch.setattr(runner, "solve_case", answers())
    result = run(study, store, workers=1, timeout=10)
    assert result.cached == 4 and not result.failed
    assert list(result.frames["rows"]["number"]) == [0, 1, 2, 3, 4]


def test_in_this_process_a_refusal_costs_one_case_too(study, store, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", answers(refuse))
    result = run(study, store, workers=0)
    assert [f.reason for f in result.failed] == ["the engine refused"]
    assert len(result.frames["rows"]) == 4


def keys(study, name="dips"):
    """Keys of a want's rows, case after case, band after band."""
    return [p.key for c in study.cases() for p in runner.pieces(c, study) if p.want.name == name]


def other(**tables):
    return read_study({**STUDY, **tables, "study": {**STUDY["study"], **tables.get("study", {})}})


def test_an_answer_depends_on_everything_that_is_asked(study):
    found = set(keys(study))
    for change in ({"bands": ["40 m"]}, {"swr_threshold": 2.5}, {"bands": ["40 m"], "region": 2}):
        found |= set(keys(other(study=change)))
    found |= set(keys(other(transformer={"turns_ratio": 6}))) | set(keys(other(radio={"impedance": "75 ohm"})))
    assert len(found) == 6 * len(SLOPES)


def test_what_changes_nothing_computes_nothing(study):
    """Another order of bands or one more, other words for the same values, what a want does not look at."""
    more = keys(other(study={"bands": ["40 m", "20 m"]}))
    assert more[1::2] == keys(study)
    antenna = {**STUDY["antenna"], "length": "10100 mm"}
    assert keys(other(antenna=antenna)) == keys(study)
    wanting = other(study={"want": ["pattern", "dips"]}, radio={"power": "100 W", "duty": 1})
    assert keys(wanting) == keys(study)
    assert keys(other(study={"want": ["pattern"], "swr_threshold": 2}), "pattern") == keys(wanting, "pattern")
    assert keys(other(study={"swr_threshold": 2}, transformer={"turns_ratio": 6}), "quality") == keys(study, "quality")
    stressed = other(study={"want": ["stress"]}, radio={"power": "100 W"})
    assert keys(stressed, "stress") != keys(other(study={"want": ["stress"]}), "stress")


def test_one_more_band_computes_that_band_alone(store, monkeypatch):
    asked = []

    def compute(setup, solver, study):
        asked.append([b.name for b in study.bands])
        return {"dips": [{"band": b.name, "edge": b.lower} for b in study.bands], "core": [{"mu": 100}]}

    fake = replace(want_named("dips"), compute=compute)
    monkeypatch.setattr(runner, "want_named", lambda name: fake)
    monkeypatch.setattr(runner, "QUALITY", replace(runner.QUALITY, compute=lambda *_: {}))
    monkeypatch.setattr(runner, "code_digest", lambda *_: "")
    one = {"sweep": {}, "antenna": {**STUDY["antenna"], "slope": "30 deg"}}
    run(other(**one), store, workers=0)
    result = run(other(**one, study={"bands": ["40 m", "20 m", "15 m"]}), store, workers=0)
    assert asked == [["20 m"], ["40 m"], ["15 m"]]
    assert list(result.frames["dips"]["band"]) == ["40 m", "20 m", "15 m"]
    assert len(result.frames["core"]) == 1, "what names no band comes once"


def test_the_same_case_by_another_road_has_the_same_key(study):
    alone = read_study({**STUDY, "antenna": {**STUDY["antenna"], "slope": "30 deg"}, "sweep": {}})
    assert keys(alone) == [keys(study)[BAD]]


def test_no_answer_at_all_is_an_error(study, store, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", lambda *_: refuse())
    with pytest.raises(SolveError, match="none of 5 cases could be solved: the engine refused"):
        run(study, store, workers=0)


def test_parts_make_the_whole_and_a_later_run_gathers(study, store, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", answers())
    shares = [runner.share(study.cases(), (k, 3)) for k in (1, 2, 3)]
    assert sorted(c.index for s in shares for c in s) == [0, 1, 2, 3, 4]
    for k in (1, 2, 3):
        part = run(study, store, workers=0, part=(k, 3))
        assert len(part.frames["rows"]) == len(shares[k - 1])
    assert run(study, store, workers=0).cached == 5
    with pytest.raises(InputError, match="4/3"):
        run(study, store, part=(4, 3))


def test_parts_on_the_command_line_write_nothing_until_all_is_gathered(tmp_path, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", answers())
    monkeypatch.setenv("TAUTWIRE_CACHE", str(tmp_path / "store"))
    monkeypatch.chdir(tmp_path)
    Path("a.toml").write_text(tomli_w.dumps(STUDY))
    said = [CliRunner().invoke(command_run.COMMAND, ["a.toml", "--part", f"{i}/2", "--workers", "0"]) for i in (1, 2)]
    assert ["2 of 2 cases kept" in said[0].output, "3 of 3 cases kept" in said[1].output] == [True, True]
    assert [p.name for p in tmp_path.iterdir() if p.name != "store"] == ["a.toml"]
    assert run(read_study(STUDY), Store(tmp_path / "store"), workers=0).cached == 5
    for text in ("0/2", "3/2", "1", "a/b", "1/0", "\u00b2/3", "9" * 400 + "/2"):
        told = CliRunner().invoke(command_run.COMMAND, ["a.toml", "--part", text]).exception
        assert isinstance(told, InputError) and told.field == "--part" and "such as 3/20" in told.allowed


def test_more_parts_than_cases_leave_some_with_nothing(study, store, monkeypatch):
    monkeypatch.setattr(runner, "solve_case", answers())
    assert sum(len(run(study, store, workers=0, part=(k, 9)).frames.get("rows", [])) for k in range(1, 10)) == 5


SHARED = """
import sys
from pathlib import Path
from tautwire.studies.running import runner
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import load_study

real, solved = runner.Piece.compute, []
runner.Piece.compute = lambda piece, *about: solved.append(piece.want.name) or real(piece, *about)
runner._in_order = lambda cases, *about, **more: cases[:: int(sys.argv[3])]
print("ready", flush=True)
sys.stdin.readline()
result = runner.run(load_study(Path(sys.argv[1])), Store(Path(sys.argv[2])), workers=0)
print(solved.count("dips"), len(result.frames["dips"]))
"""


def test_two_runs_of_one_study_share_the_work(tmp_path):
    words = [sys.executable, "-c", SHARED, str(write_study(tmp_path)), str(tmp_path / "store")]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    both = [subprocess.Popen([*words, order], text=True, **pipes) for order in ("1", "-1")]  # from either end
    for one in both:
        assert one.stdout.readline() == "ready\n"
    for one in both:
        one.stdin.write("go\n")
        one.stdin.flush()
    said = [list(map(int, one.communicate(timeout=120)[0].split())) for one in both]
    assert [rows for _, rows in said] == [CASES, CASES]
    assert sum(solved for solved, _ in said) <= CASES + 2, said  # where they meet, at the same time


def test_runs_at_the_same_time_each_have_an_order_of_their_own(tmp_path):
    study = load_study(write_study(tmp_path))
    orders = {tuple(c.index for c in runner._in_order(study.cases(), study, mixed=True)) for _ in range(20)}
    assert len(orders) > 1 and {tuple(sorted(order)) for order in orders} == {tuple(range(CASES))}


UNGUARDED = """
import multiprocessing
multiprocessing.set_start_method({method!r})
from tautwire.studies.running.runner import run
from tautwire.studies.running.study_file import read_study
study = read_study({study!r})
print("main", flush=True)
print(len(run(study, workers=2).frames["dips"]))
"""


@pytest.mark.parametrize("method", ["spawn", "forkserver"])
def test_a_script_of_a_few_lines_runs_with_any_start_method(tmp_path, method):
    if method not in multiprocessing.get_all_start_methods():
        pytest.skip(f"no {method} here")
    script = tmp_path / "script.py"
    script.write_text(UNGUARDED.format(method=method, study={**STUDY, "sweep": {"antenna.slope": SLOPES[:2]}}))
    env = os.environ | {FOLDER_VARIABLE: str(tmp_path / "store")}
    done = subprocess.run([sys.executable, str(script)], env=env, capture_output=True, text=True, timeout=120)
    assert done.stdout.split() == ["main", "2"], done.stderr


def test_no_more_workers_than_cores_that_may_be_used(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {3}, raising=False)
    assert cores() == 1


def test_an_absent_cluster_is_told_in_one_line(study, store):
    with pytest.raises(InputError, match="the address of a running Dask scheduler"):
        run(study, store, scheduler="not an address")


def test_workers_with_other_code_are_refused_by_name(study, store):
    class Others:
        def run(self, function, study):
            return {"tcp://127.0.0.1:9": runner.identity(study), "tcp://127.0.0.2:9": "tautwire 0.0 (code other)"}

    expected = runner.identity(study)
    assert "numpy" in expected and "PyNEC" in expected.replace("pynec-accel", "PyNEC")
    with pytest.raises(InputError) as told:
        runner._refuse_others(Others(), study, expected, "tcp://127.0.0.1:8786")
    assert expected in str(told.value) and "127.0.0.2:9 has tautwire 0.0 (code other)" in str(told.value)
    case = study.cases()[0]  # a worker that joins later
    done = runner._on_worker(lambda *_: pytest.fail("computed"), case, study, store, "tautwire 0.0 (code other)")
    assert done[1] is None and expected in done[2] and "not tautwire 0.0 (code other)" in done[2]


def test_a_regions_segments_are_not_taken_for_anothers():
    """A band may be the same in two regions while its segments are not, so the key tells regions apart."""
    raw = {"reel": {"wire_length": "25 m", "turn_length": "0.5 m"}, "sweep": {}}
    raw["antenna"] = {**STUDY["antenna"], "slope": "30 deg"}
    here, there = (other(**raw, study={"want": ["turns"], "region": r}) for r in (1, "US"))
    assert here.bands[0].lower == there.bands[0].lower and here.bands[0].upper == there.bands[0].upper
    assert keys(here, "turns") != keys(there, "turns")


def test_fewer_than_no_workers_are_refused() -> None:
    with pytest.raises(InputError, match="workers = -1: 0, to compute in this process, or more"):
        run(read_study(STUDY), workers=-1)
