"""What the README shows is what happens."""

import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from validation_table import KINDS, OUTSIDE, kind_of

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


def marked(name):
    block = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)```\n<!-- end -->", README, re.S)
    assert block, name
    return block[1].strip()


def test_the_script_runs_and_answers():
    out = subprocess.run([sys.executable, "-c", marked("script")], capture_output=True, text=True, timeout=300)
    assert out.returncode == 0, out.stderr
    assert "sea water" in out.stdout and re.search(r"\b14\.\d+", out.stdout) and re.search(r"\b[67]\.\d+", out.stdout)
    assert len(marked("script").splitlines()) <= 10


def test_set_up_commands_are_one_line_each():
    for name in ("main job", "tests"):
        assert len(marked(name).splitlines()) == 1


def test_every_command_shown_exists():
    from tautwire.studies.commands.cli import COMMANDS

    shown = set(re.findall(r"^ +tautwire (\w+)", README, re.M))
    assert shown and shown <= set(COMMANDS)


def test_every_command_shown_is_taken_as_typed():
    import shlex

    from tautwire.studies.commands.cli import Lazy

    group = Lazy()
    for line in re.findall(r"^ {4}tautwire (.*?)(?: {2,}.*| >.*)?$", README, re.M):
        name, *words = shlex.split(line)
        group.get_command(None, name).make_context(name, words)


def test_every_want_named_exists():
    from tautwire.studies.wants.want import want_named

    listed = re.search(r"`want` can be any of\n(.*?)\. Ready-made", README, re.S)
    assert listed
    for name in re.findall(r"`(\w+)`", listed[1]):
        assert want_named(name).name == name


def test_the_counts_of_what_was_checked_are_those_of_the_table():
    table = pd.read_csv(Path(__file__).parent.parent / "results" / "validation" / "checks.csv")
    outside, remembered = table["kind"].isin(OUTSIDE).sum(), (table["kind"] == "from memory").sum()
    told = re.search(r"checks about (\d+)\s+numbers: about (\d+) against outside sources", README)
    assert told and [len(table), outside] == pytest.approx([int(n) for n in told.groups()], rel=0.1)
    assert 0.4 < remembered / outside < 0.6, "half of them"
    assert set(table["kind"]) <= set(KINDS) and (table["kind"] == table["source"].map(kind_of)).all()


def test_what_the_commands_write_is_ignored_by_git():
    written = re.findall(r"--out (\S+)|> (\S+\.json)|tautwire new (\S+)|(\S+-manual\.html)", README)
    names = {name for found in written for name in found if name}
    names |= {"results/my-park/dips.csv", "results/my-park/explorer.html", "results/my-park/slides.pptx", ".coverage"}
    assert {"first-run", "my-park.toml", "tautwire.schema.json", "tautwire-manual.html:"} & names
    root = Path(__file__).parent.parent
    if not (root / ".git").exists():
        pytest.skip("not a checkout")
    for name in sorted(n.strip(":,`") for n in names):
        asked = name + "/a" if "." not in name else name
        ignored = subprocess.run(["git", "check-ignore", "-q", asked], cwd=root)
        assert ignored.returncode == 0, name
