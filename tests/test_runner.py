"""Runner: a worker that dies, hangs or fails costs one case, told with its inputs; the others come through."""

import multiprocessing
import os
import time

import pytest

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.reports.answers import validity
from tautwire.studies.reports.folder import summary
from tautwire.studies.running import runner
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study

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
        frames = {"rows": [{"number": case.index, "process": os.getpid()}]}
        store.put_json(runner.case_key(case, study), frames)
        return frames

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


def test_an_answer_depends_on_everything_that_is_asked(study):
    keys = {runner.case_key(case, study) for case in study.cases()}
    for change in ({"bands": ["40 m"]}, {"swr_threshold": 2.5}, {"bands": ["40 m"], "region": 2}):
        other = read_study({**STUDY, "study": {**STUDY["study"], **change}})
        keys |= {runner.case_key(case, other) for case in other.cases()}
    assert len(keys) == 4 * len(SLOPES)


def test_the_same_case_by_another_road_has_the_same_key(study):
    alone = read_study({**STUDY, "antenna": {**STUDY["antenna"], "slope": "30 deg"}, "sweep": {}})
    assert runner.case_key(alone.cases()[0], alone) == runner.case_key(study.cases()[BAD], study)


def test_an_absent_cluster_is_told_in_one_line(study, store):
    with pytest.raises(InputError, match="the address of a running Dask scheduler"):
        run(study, store, scheduler="not an address")


def test_a_regions_segments_are_not_taken_for_anothers():
    """A band may be the same in two regions while its segments are not, so the key tells regions apart."""
    raw = {"antenna": {"layout": "sloper", "length": "20 m", "slope": "30 deg"}, "coax": {"length": "5 m"}}
    here, there = (read_study({**raw, "study": {"name": "s", "bands": ["20 m"], "region": r}}) for r in (1, "US"))
    assert here.bands[0].lower == there.bands[0].lower and here.bands[0].upper == there.bands[0].upper
    assert runner.case_key(here.cases()[0], here) != runner.case_key(there.cases()[0], there)
