"""A run killed at any moment goes on where it was, and its tables are those of an uninterrupted run."""

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_study import CASES, write_study

from tautwire.studies.running.store import FOLDER_VARIABLE, Store

WRITE_TABLES = """
import os
import signal
import sys
from pathlib import Path
from tautwire.studies.running.runner import run
from tautwire.studies.running.study_file import load_study

def progress(done, total):
    if done == int(sys.argv[4]):
        os.kill(os.getpid(), signal.SIGKILL)  # the parent alone, as the kernel or a user would

result = run(load_study(Path(sys.argv[1])), workers=int(sys.argv[3]), progress=progress)
out = Path(sys.argv[2])
out.mkdir(parents=True)
for name, frame in result.frames.items():
    frame.to_csv(out / f"{name}.csv", index=False, float_format="%.9g")
print("cached", result.cached, "failed", len(result.failed))
"""


def start(study: Path, store: Path, out: Path, workers: int, kill_at: int = -1) -> subprocess.Popen:
    env = {**os.environ, FOLDER_VARIABLE: str(store)}
    command = [sys.executable, "-c", WRITE_TABLES, str(study), str(out), str(workers), str(kill_at)]
    return subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True, start_new_session=True)


def finish(*args) -> tuple[int, int]:
    """Cases read from the store, cases failed."""
    said = re.findall(r"\d+", start(*args).communicate(timeout=120)[0])
    return int(said[0]), int(said[1])


def tables(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.glob("*.csv")}


def finished(store: Path) -> int:
    """Cases whose last piece, the marks of quality, is stored."""
    return Store(store).contents().get("quality", 0) if store.exists() else 0


@pytest.fixture(scope="module")
def uninterrupted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    assert finish(write_study(folder), folder / "store", folder / "out", 2) == (0, 0)
    whole = tables(folder / "out")
    assert {"dips.csv", "sweeps.csv", "quality.csv"} <= set(whole)
    return whole


@pytest.mark.parametrize("workers", [0, 2])
def test_kill_and_go_on(tmp_path, uninterrupted, workers):
    study, store = write_study(tmp_path), tmp_path / "store"
    run = start(study, store, tmp_path / "never", workers, kill_at=2)
    assert run.wait(timeout=120) == -signal.SIGKILL
    time.sleep(0.5 if workers else 0)
    with contextlib.suppress(ProcessLookupError):  # no worker outlived it
        os.killpg(run.pid, signal.SIGKILL)
    kept = finished(store)
    assert 2 <= kept < CASES and not (tmp_path / "never").exists()
    assert finish(study, store, tmp_path / "out", workers) == (kept, 0)
    assert tables(tmp_path / "out") == uninterrupted


def test_workers_end_with_a_killed_parent(tmp_path):
    run = start(write_study(tmp_path), tmp_path / "store", tmp_path / "never", 2, kill_at=1)
    assert run.wait(timeout=120) == -signal.SIGKILL
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            os.killpg(run.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    os.killpg(run.pid, signal.SIGKILL)
    pytest.fail("worker processes live on after their parent was killed")
