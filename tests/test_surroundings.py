"""What surrounds a command: little memory, signals, no terminal, the live page's connection."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_study import SOILS, write_study

from tautwire.studies.commands import shared

COMMAND = [sys.executable, "-c", "from tautwire.studies.commands.cli import main; main()"]
LITTLE = """
import resource, sys
import numpy, scipy.linalg
for module in (numpy.linalg, scipy.linalg):
    module.solve(numpy.eye(300) + 0j, numpy.ones((300, 300)) + 0j)
from tautwire.studies.commands.cli import main
import tautwire.studies.reports.folder, tautwire.studies.reports.page, matplotlib.figure
used = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (used + int(sys.argv.pop(1)), -1))
main()
"""
"""limits the address space to what is used once everything is loaded, and so many bytes more. Both copies of OpenBLAS
have their buffers by then: where it gets none it waits for them for ever"""


def environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "TAUTWIRE_CACHE": str(folder / "store"), "TMPDIR": str(folder / "tmp")}


@pytest.mark.skipif(sys.platform != "linux", reason="limits of address space as on Linux")
def test_little_memory_while_drawing_is_one_line(tmp_path: Path) -> None:
    write_study(tmp_path, SOILS)
    (tmp_path / "tmp").mkdir()
    env = environment(tmp_path)
    subprocess.run([*COMMAND, "run", "lakeside-small.toml", "--part", "1/1"], cwd=tmp_path, env=env, check=True,
                   capture_output=True)  # fmt: skip
    statuses = []
    for more in (10e6, 40e6):
        words = [sys.executable, "-c", LITTLE, str(int(more)), "run", "lakeside-small.toml"]
        done = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, text=True, timeout=300)
        assert "Traceback" not in done.stderr and done.stderr.count("\n") <= 1, done.stderr
        # ours, or what a compiled library says before it ends the process itself
        assert done.returncode == 0 or "memory" in done.stderr.lower(), done.stderr
        statuses.append(done.returncode)
    assert statuses[0] != 0
    assert not list((tmp_path / "tmp").iterdir())


def test_a_kill_while_drawing_leaves_no_folder(tmp_path: Path) -> None:
    write_study(tmp_path, SOILS)
    (tmp_path / "tmp").mkdir()
    run = subprocess.Popen([*COMMAND, "run", "lakeside-small.toml"], cwd=tmp_path, env=environment(tmp_path),
                           stdout=subprocess.DEVNULL, start_new_session=True)  # fmt: skip
    table = tmp_path / "results" / "lakeside-small" / "dips.csv"
    until = time.monotonic() + 200
    while not table.exists() and time.monotonic() < until:
        time.sleep(0.02)
    time.sleep(0.5)  # tables are written, figures are being drawn
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    assert table.exists() and not list((tmp_path / "tmp").iterdir())


@pytest.mark.parametrize("workers", ["0", "2"])
def test_sigterm_says_what_is_kept_and_how_to_go_on(tmp_path: Path, workers: str) -> None:
    write_study(tmp_path, SOILS)
    run = subprocess.Popen([*COMMAND, "run", "lakeside-small.toml", "--workers", workers], cwd=tmp_path,
                           env=environment(tmp_path), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
                           start_new_session=True)  # fmt: skip
    until = time.monotonic() + 200
    while not list(tmp_path.glob("store/**/*")) and time.monotonic() < until:
        time.sleep(0.05)
    run.send_signal(signal.SIGTERM)
    said = run.communicate(timeout=120)[1].strip()
    assert run.returncode == 143
    assert said == "stopped by SIGTERM; finished cases are kept, so the same command goes on from here"


def test_progress_off_a_terminal_is_a_line_each_interval(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter([0.0, 1.0, 30.0, 100.0, 110.0, 161.0])
    monkeypatch.setattr(shared.time, "monotonic", lambda: next(clock))
    with shared.progress_bar("cases of park") as tell:
        for done in (10, 20, 40, 50, 70):  # at 1, 30, 100, 110 and 161 s; ten were in the store
            tell(done, 100)
    lines = capsys.readouterr().err.splitlines()
    assert lines == ["cases of park: 40 of 100, about 3 min to go", "cases of park: 70 of 100, about 1 min to go"]
