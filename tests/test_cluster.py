"""The same study on a Dask cluster, all of it on this machine's loopback address."""

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_study import CASES, SOILS, write_study

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.commands import run as command_run
from tautwire.studies.running import runner
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import FOLDER_VARIABLE, Store
from tautwire.studies.running.study_file import load_study

distributed = pytest.importorskip("distributed", reason="the cluster extra is not installed")
LOOPBACK = "tcp://127.0.0.1:"


@pytest.fixture(scope="module")
def here(tmp_path_factory):
    """The study computed in this process, for comparison."""
    folder = tmp_path_factory.mktemp("here")
    return run(load_study(write_study(folder)), Store(folder / "store"), workers=0)


@pytest.fixture(scope="module")
def cluster():
    with two_workers() as cluster:
        yield cluster


@pytest.fixture
def hurt():
    """A cluster for one test that kills workers: what it leaves behind is nobody else's."""
    with two_workers() as cluster:
        yield cluster


@contextlib.contextmanager
def two_workers():
    import dask

    quiet = {"distributed.scheduler.allowed-failures": 1, "distributed.comm.timeouts.connect": "5s"}
    with (
        dask.config.set(quiet),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as cluster,
    ):
        with distributed.Client(cluster) as client:
            client.run(load_all)  # so that a test's waiting time is not spent on imports
        yield cluster


def test_run_with_a_local_cluster(cluster, here, tmp_path, monkeypatch):
    """tautwire run FILE --scheduler ADDRESS; drawing left out."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "store"))
    results = []
    monkeypatch.setattr(command_run, "write", lambda result, *_, **__: results.append(result) or [])
    assert cluster.scheduler_address.startswith(LOOPBACK)
    done = CliRunner().invoke(
        command_run.COMMAND, [str(write_study(tmp_path)), "--scheduler", cluster.scheduler_address]
    )
    assert done.exit_code == 0, done.output
    assert results[0].frames["dips"].equals(here.frames["dips"])
    assert Store().contents()["case"] == CASES  # kept here as well, so that the next run only reads


def die():
    """As a case that ends its process does: after a while, when the nanny knows that the worker has started. One that
    dies at its start is not started again."""
    time.sleep(1)
    os._exit(3)


def dies_on_the_second_case(case, study, store):
    if case.index == 1:
        die()
    return case.index, [{"dips": [{"band": "20 m"}]}], ""


def sleeps_on_the_second_case(case, study, store):
    if case.index == 1:
        time.sleep(8)
    return case.index, [{"dips": [{"band": "20 m"}]}], ""


def test_a_case_that_hangs_is_given_up_alone(cluster, tmp_path, monkeypatch):
    monkeypatch.setattr(runner, "_answer", sleeps_on_the_second_case)
    study = load_study(write_study(tmp_path, SOILS))
    result = run(study, Store(tmp_path / "store"), scheduler=cluster.scheduler_address, timeout=4)
    assert [f.labels["soil"] for f in result.failed] == ["sandy soil"]
    assert "within 4 s" in result.failed[0].reason
    assert len(result.frames["dips"]) == 2


def test_a_case_that_kills_its_workers_is_given_up_alone(hurt, tmp_path, monkeypatch):
    monkeypatch.setattr(runner, "_answer", dies_on_the_second_case)
    study = load_study(write_study(tmp_path, SOILS))
    result = run(study, Store(tmp_path / "store"), scheduler=hurt.scheduler_address)
    assert [f.labels["soil"] for f in result.failed] == ["sandy soil"]
    assert "KilledWorker" in result.failed[0].reason
    assert len(result.frames["dips"]) == 2


def dies_with_its_neighbour(case, study, store):
    """The second case always kills its worker; the third does once, and works when it is tried again.

    A death also counts against what waits for the same worker, so the third may be given up after its own and one of
    the second's; alone it dies once at most, which the scheduler allows."""
    deaths = store.folder / "deaths"
    deaths.mkdir(parents=True, exist_ok=True)
    if case.index == 1 or case.index == 2 and not list(deaths.glob("2-*")):
        (deaths / f"{case.index}-{time.time_ns()}").touch()
        die()
    return case.index, [{"dips": [{"band": "20 m"}]}], ""


def test_a_case_whose_workers_another_killed_is_tried_again(hurt, tmp_path, monkeypatch):
    monkeypatch.setattr(runner, "_answer", dies_with_its_neighbour)
    study = load_study(write_study(tmp_path, SOILS))
    result = run(study, Store(tmp_path / "store"), scheduler=hurt.scheduler_address)
    assert [f.labels["soil"] for f in result.failed] == ["sandy soil"], [f.reason for f in result.failed]
    assert len(result.frames["dips"]) == 2


def says_the_second_case_twice(case, study, store):
    """Each case is noted; the second and third die as long as anything else is still to come."""
    runs = store.folder / "runs"
    runs.mkdir(parents=True, exist_ok=True)
    (runs / f"{case.index}-{time.time_ns()}").touch()
    if case.index == 1 and len({p.name.split("-")[0] for p in runs.iterdir()}) > 1 and len(list(runs.glob("1-*"))) < 4:
        die()
    return case.index, [{"dips": [{"band": "20 m"}]}], ""


def test_a_case_is_failed_only_after_it_failed_alone(hurt, tmp_path, monkeypatch):
    """The only one that is given up is tried once more too, and is solved alone."""
    monkeypatch.setattr(runner, "_answer", says_the_second_case_twice)
    study = load_study(write_study(tmp_path, SOILS))
    result = run(study, Store(tmp_path / "store"), scheduler=hurt.scheduler_address)
    assert not result.failed and len(result.frames["dips"]) == 3


def test_a_worker_of_other_code_that_joins_takes_no_case(cluster, tmp_path, monkeypatch):
    """Found only when a case reaches it: the case goes to those with our code."""
    asked = []

    class Submitting:
        """The cluster's client; what it sends to no worker by name comes to the newcomer, which answers at once."""

        def __init__(self, address, **options):
            self.client = CLIENT(address, **options)

        def __getattr__(self, name):
            return getattr(self.client, name)

        def submit(self, function, *words, workers=None, **options):
            if workers is None:
                asked.append(words[1].index)
                return self.client.submit(sent_back, words[1].index, **options)
            return self.client.submit(function, *words, workers=workers, **options)

    monkeypatch.setattr(distributed, "Client", Submitting)
    monkeypatch.setattr(runner, "_answer", solved_at_once)
    study = load_study(write_study(tmp_path, SOILS))
    result = run(study, Store(tmp_path / "store"), scheduler=cluster.scheduler_address)
    assert sorted(asked) == [0, 1, 2] and not result.failed and len(result.frames["dips"]) == 3


CLIENT = distributed.Client


def sent_back(index):
    return index, None, f"{runner.OTHER_CODE}tautwire 0.0"


def solved_at_once(case, study, store):
    return case.index, [{"dips": [{"band": "20 m"}]}], ""


def dies_after_its_first_case(case, study, store):
    """As the runner's own, but worker-1 is killed with an answer just computed and not yet sent."""
    answer = case.index, runner.solve_case(case, study, store), ""
    if os.environ[FOLDER_VARIABLE].endswith("worker-1"):
        os.kill(os.getpid(), signal.SIGKILL)
    return answer


def never(case, study, store):
    """The scheduler is gone before this could end."""
    time.sleep(600)


def load_all():
    from tautwire.model.solve import solver  # noqa: F401
    from tautwire.studies.running import runner  # noqa: F401
    from tautwire.studies.wants.dips import want as want_dips  # noqa: F401


def dask(*words: str, store: Path) -> subprocess.Popen:
    """Started so that it can import this file, whose functions it runs."""
    env = {**os.environ, FOLDER_VARIABLE: str(store), "OPENBLAS_NUM_THREADS": "1"}
    env["PYTHONPATH"] = os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *words], env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def wait_for(process: subprocess.Popen, pattern: str) -> re.Match:
    for line in process.stdout:
        found = re.search(pattern, line)
        if found:
            return found
    raise AssertionError(f"ended without saying {pattern}")


def test_one_of_two_workers_is_killed_and_the_study_is_whole_then_the_scheduler(here, tmp_path, monkeypatch, capfd):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "own"))
    running = [dask("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", store=tmp_path / "none")]
    try:
        address = wait_for(running[0], r"Scheduler at:\s+(tcp://127\.0\.0\.1:\d+)")[1]
        options = ["--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--no-dashboard"]
        options += ["--local-directory", str(tmp_path)]
        for i in (1, 2):
            running.append(dask("worker", address, *options, store=tmp_path / f"worker-{i}"))
        for worker in running[1:]:
            wait_for(worker, r"Registered to:\s+" + re.escape(address))
        with distributed.Client(address) as client:  # both ready, so that both get work at once
            client.run(load_all)
        monkeypatch.setattr(runner, "_answer", dies_after_its_first_case)
        result = run(load_study(write_study(tmp_path)), Store(), scheduler=address)
        assert running[1].wait(timeout=60) == -signal.SIGKILL
        assert not result.failed
        assert result.frames["dips"].equals(here.frames["dips"])
        assert Store(tmp_path / "worker-1").contents()["case"] == 1  # killed with its share just begun
        assert Store(tmp_path / "worker-2").contents()["case"] == CASES

        def wait_once_it_is_gone(*futures, wait=distributed.wait, **options):
            running[0].kill()
            running[0].wait()
            return wait(*futures, **options)

        monkeypatch.setattr(distributed, "wait", wait_once_it_is_gone)
        monkeypatch.setattr(runner, "_answer", never)
        capfd.readouterr()
        with pytest.raises(SolveError, match=f"stopped with {CASES} of {CASES} cases"):
            run(load_study(write_study(tmp_path)), Store(tmp_path / "empty"), scheduler=address)
        assert capfd.readouterr() == ("", "")  # dask's own account of it, 36 lines, is kept back
    finally:
        for process in reversed(running):
            process.kill()
            process.wait()


def test_an_address_without_a_scheduler_is_one_line(tmp_path):
    with pytest.raises(InputError, match="address of a running Dask scheduler"):
        run(load_study(write_study(tmp_path)), Store(tmp_path), scheduler="tcp://127.0.0.1:9")
