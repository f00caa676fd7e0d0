"""The line that repeats a command says all that its result depends on; text tables line up."""

import os
import shlex
import subprocess
import sys
from pathlib import Path

from tautwire.studies.commands.shared import aligned, said
from tautwire.studies.running.pool import lasting
from tautwire.studies.running.store import FOLDER_VARIABLE


def test_said_repeats_what_was_given_and_only_that():
    line = said("why", Path("my park.toml"), "--was", "14.1 MHz", plane="radio", from_=Path("fit.toml"), out=None)
    assert shlex.split(line) == [
        "tautwire", "why", "my park.toml", "--was", "14.1 MHz", "--plane", "radio", "--from", "fit.toml",
    ]  # fmt: skip


def test_why_says_its_plane_and_folder(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from tautwire.studies.commands import why as command_why

    seen = []
    monkeypatch.setattr(command_why, "write", lambda result, folder, command: seen.append(command) or [])
    monkeypatch.setattr(command_why, "run_why", lambda *_, **__: _Nothing())
    monkeypatch.setattr(command_why, "told", lambda *_, **__: "")
    study = Path(command_why.__file__).parents[1] / "ready" / "why-lakeside.toml"
    CliRunner().invoke(command_why.COMMAND, [str(study), "--plane", "transformer", "--out", str(tmp_path)])
    assert "--plane transformer" in seen[0] and f"--out {tmp_path}" in seen[0]


class _Nothing:
    frames: dict[str, object] = {}
    failed = ("stop here",)


def test_aligned_columns():
    assert aligned([("a", "bbb", "c"), ("aaa", "b", "cc")], "<>") == "a    bbb   c\naaa    b  cc"


LOADED = """
import sys
from tautwire.studies.commands.cli import main
try:
    main(["predict", "--length", "19.8 m", "--bands", "20 m"])
finally:
    heavy = ("matplotlib", "skrf", "asyncio", "pandas", "scipy.special", "scipy.linalg", "scipy.optimize",
             "scipy.interpolate", "scipy.spatial", "scipy.signal")
    print("loaded:", *(name for name in heavy if name in sys.modules))
"""


def test_an_answer_loads_only_what_it_needs(tmp_path):
    """Each takes 0.1 to 0.5 s to load. A new answer needs Bessel functions and workers, a stored one neither."""
    env = os.environ | {FOLDER_VARIABLE: str(tmp_path)}
    said = [subprocess.run([sys.executable, "-c", LOADED], env=env, capture_output=True, text=True) for _ in range(2)]
    (*first, solved), (*second, stored) = (one.stdout.splitlines() for one in said)
    assert first == second and any("20 m" in line for line in first), said[0].stderr
    loaded = set(solved.split()[1:])  # what goes with scipy.special and the pool hangs on their versions
    assert "scipy.special" in loaded and loaded <= {"asyncio", "scipy.special", "scipy.linalg"} and stored == "loaded:"


SLOW = """
import sys
from importlib import import_module
for name in ("run", "turns", "why", "fit", "choose", "explore", "slides"):
    import_module(f"tautwire.studies.commands.{name}")
    print(name, *(heavy for heavy in ("matplotlib", "pandas", "jinja2") if heavy in sys.modules))
"""


def test_a_command_begins_without_what_writes_its_results():
    """That is loaded while workers compute, see `lasting`."""
    said = subprocess.run([sys.executable, "-c", SLOW], capture_output=True, text=True)
    assert said.stdout.split() == ["run", "turns", "why", "fit", "choose", "explore", "slides"], said.stderr


def test_what_is_to_be_done_meanwhile_is_done_once_and_first():
    done: list[str] = []
    with lasting(1, lambda: done.append("meanwhile")) as ask:
        for task in ((-3,), (-4,)):
            done += [str(answer) for _, answer, _ in ask(abs, [task], None)]
    assert done == ["meanwhile", "3", "4"]
