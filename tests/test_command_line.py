"""The line that repeats a command says all that its result depends on; text tables line up."""

import shlex
from pathlib import Path

from tautwire.studies.commands.shared import aligned, said


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
    monkeypatch.setattr(command_why, "run_shown", lambda *_: _Nothing())
    for name in ("sentences", "trust"):
        monkeypatch.setattr(command_why, name, lambda result: [])
    study = Path(command_why.__file__).parents[1] / "ready" / "why-lakeside.toml"
    CliRunner().invoke(command_why.COMMAND, [str(study), "--plane", "transformer", "--out", str(tmp_path)])
    assert "--plane transformer" in seen[0] and f"--out {tmp_path}" in seen[0]


class _Nothing:
    frames: dict[str, object] = {}
    failed = ("stop here",)


def test_aligned_columns():
    assert aligned([("a", "bbb", "c"), ("aaa", "b", "cc")], "<>") == "a    bbb   c\naaa    b  cc"
