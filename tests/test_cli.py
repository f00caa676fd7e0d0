"""The commands as a person runs them: one process each, output, exit status, files."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from tautwire.model.errors import InputError
from tautwire.studies.commands.predict import setup_of
from tautwire.studies.running.store import Store
from tautwire.studies.study.columns import COLUMNS

STUDY = """
[study]
name = "two-slopes"
bands = ["20 m"]
[antenna]
layout = "sloper"
length = "20.5 m"
feed_height = "1.2 m"
[wire]
diameter = "0.8 mm"
[coax]
length = "5 m"
[sweep]
"antenna.slope" = ["20 deg", "50 deg"]
"""


def tautwire(*args, cwd=None):
    return subprocess.run(
        [sys.executable, "-c", "from tautwire.studies.commands.cli import main; main()", *args],
        capture_output=True, text=True, cwd=cwd, env={**os.environ, "COLUMNS": "100"}, timeout=300,
    )  # fmt: skip


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("park")
    (folder / "study.toml").write_text(STUDY)
    return folder, tautwire("run", "study.toml", cwd=folder)


def test_run_says_the_answer_and_writes_it(done):
    folder, result = done
    assert result.returncode == 0, result.stderr
    assert result.stdout.startswith("Hardly: the 20 m dip moves by ")  # the verdict first
    assert "20 m: from slope 20° to slope 50° the dip moves" not in result.stdout  # a detail, for --all
    out = folder / "results" / "two-slopes"
    assert {"dips.csv", "sweeps.csv", "quality.csv", "summary.md"} <= {p.name for p in out.iterdir()}
    summary = (out / "summary.md").read_text()
    assert (
        "20 m: from slope 20° to slope 50° the dip moves" in summary
        and "kHz" in summary
        and "power lines" in summary
        and "tautwire run study.toml" in summary
    )


def test_every_column_is_documented(done):
    folder, _ = done
    for name in ("dips", "sweeps", "quality"):
        columns = set(pd.read_csv(folder / "results" / "two-slopes" / f"{name}.csv").columns)
        assert columns - {"slope_deg"} <= set(COLUMNS), name


def test_second_run_reads_everything_and_gives_the_same_table(done):
    folder, _ = done
    table = (folder / "results" / "two-slopes" / "dips.csv").read_bytes()
    again = tautwire("run", "study.toml", cwd=folder)
    assert "2 from the store" in again.stdout
    assert (folder / "results" / "two-slopes" / "dips.csv").read_bytes() == table


def test_animation_on_request(done):
    folder, _ = done
    assert tautwire("run", "study.toml", "--animate", cwd=folder).returncode == 0
    for name in ("dip.gif", "picture.gif"):
        assert (folder / "results" / "two-slopes" / name).read_bytes()[:4] == b"GIF8"


def test_piped_output_has_no_colours(done):
    assert "\x1b" not in done[1].stdout + done[1].stderr


def test_predict_gives_an_impedance_where_there_is_no_dip():
    answer = tautwire("predict", "--bands", "30 m, 20 m")
    assert answer.returncode == 0 and "In brackets: at the middle of the band" in answer.stdout
    assert re.search(
        r"^30 m +- +- +- +- +[\d.]+(?: \([\d.]+-[\d.]+\))? +\(\d+\) +\([-\u2212]?\d+\) +-$", answer.stdout, re.MULTILINE
    )
    assert "feed loss dB" in answer.stdout.splitlines()[1]


def test_predict_json_is_for_programs():
    result = tautwire("predict", "--length", "20.5 m", "--bands", "20 m", "--json")
    answer = json.loads(result.stdout)
    assert answer["bands"][0]["band"] == "20 m" and 13.5 < answer["bands"][0]["dip_mhz"] < 14.8
    assert answer["failed"] == []


def test_alone_it_says_what_it_can_do():
    result = tautwire()
    assert result.returncode == 0 and "predict" in result.stdout and len(result.stdout.splitlines()) < 40


def test_new_writes_a_study_and_never_over_another(tmp_path):
    assert tautwire("new", "a.toml", cwd=tmp_path).returncode == 0
    text = (tmp_path / "a.toml").read_text()
    again = tautwire("new", "a.toml", cwd=tmp_path)
    assert again.returncode == 2 and "not taken" in again.stderr
    assert (tmp_path / "a.toml").read_text() == text and text.count("#") > 10


@pytest.mark.parametrize(
    "args, word",
    [
        (["predct"], "did you mean 'predict'"),
        (["predict", "--lenght", "3 m"], "--length"),
        (["predict", "--length", "-3 m"], "-3"),
        (["predict", "--length", "20"], "with its unit"),
        (["predict", "--soil", "averag soil"], "did you mean 'average soil'"),
        (["predict", "--bands", "21 m"], "21 m"),
        (["predict", "--coax-length", "0"], "--coax-length = none: a counterpoise"),
        (["predict", "--ratio", "49"], "7 for a 49:1"),
        (["predict", "--ratio", "49:1"], "7 for a 49:1"),
        (["run", "missing.toml"], "missing.toml"),
        (["run"], "FILE"),
        (["cache", "--prune", "lots"], "megabytes"),
        (["cache", "--prune", "inf"], "megabytes"),
        (["new", "x.toml", "--like", "nothing"], "template"),
        (["predict", "--region", "²"], "1, 2 or 3"),
        (["predict", "--slope", "100 %"], "'12 deg'"),
        (["predict", "--counterpoise-height", "5 cm"], "--counterpoise above 0 beside it"),
        (["predict", "--coax-length", "0", "--counterpoise", "2 m", "--choke-at", "1 m"], "--coax-length above 0"),
    ],
)
def test_bad_input_is_one_line_and_status_2(tmp_path, args, word):
    result = tautwire(*args, cwd=tmp_path)
    assert result.returncode == 2, result.stdout + result.stderr
    assert len(result.stderr.strip().splitlines()) == 1 and word in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("none", ["0", "0m", "0.00", "0 ft", " 0.0 m"])
def test_a_length_of_nothing_leaves_a_part_out(none):
    assert "coax" not in setup_of({"length": "20 m", "coax": "RG-58", "coax-length": none})
    assert "counterpoise" not in setup_of({"length": "20 m", "counterpoise": none, "counterpoise-height": "5 cm"})


@pytest.mark.parametrize(
    "args, word",
    [
        (["run", "--animate"], "an axis of two numbers or more"),
        (["run", "--out", "/proc/none/x"], "a folder that can be written"),
        (["report", "--out", "/proc/none/x"], "a folder that can be written"),
        (["turns", "--out", "/proc/none/x"], "a folder that can be written"),
        (["why", "--was", "14.1 MHz", "--now", "14.2 MHz", "--out", "study.toml"], "a folder that can be written"),
        (["slides", "--out", "/proc/none/x.pptx"], "a folder that can be written"),
        (["explore", "--out", "/proc/none/x.html"], "a folder that can be written"),
        (["explore", "--slider", "0", "1 m", "2 m"], "a key of the set-up"),
        (["explore", "--choice", "0", "1"], "a key of the set-up"),
        (["deck", "--out", "/proc/none/x.nec"], "a folder that can be written"),
    ],
)
def test_what_cannot_be_done_in_the_end_is_refused_before_computing(tmp_path, monkeypatch, args, word):
    monkeypatch.setenv("TAUTWIRE_CACHE", str(tmp_path / "store"))
    reel = '[reel]\nwire_length = "24 m"\nturn_length = "30 cm"\n'
    (tmp_path / "study.toml").write_text(
        STUDY.partition("[sweep]")[0].replace('"1.2 m"', '"1.2 m"\nslope = "30 deg"') + reel
    )
    began = Store().contents()
    result = tautwire(args[0], "study.toml", *args[1:], cwd=tmp_path)
    assert result.returncode == 2, result.stdout + result.stderr
    assert len(result.stderr.strip().splitlines()) == 1 and word in result.stderr
    assert Store().contents() == began


def test_a_prediction_has_a_time_limit(monkeypatch):
    """Seconds for a case, in a process that can be stopped (workers = 0 would compute in this one)."""
    from click.testing import CliRunner

    from tautwire.studies.commands import predict
    from tautwire.studies.running import one_setup

    asked = []

    def stand_in(study, **options):
        asked.append(options)
        raise InputError("stop", "here", "")

    monkeypatch.setattr(one_setup, "run", stand_in)
    CliRunner().invoke(predict.COMMAND, ["--timeout", "7"])
    assert asked == [{"timeout": 7.0}]


def test_broken_toml_is_one_line(tmp_path):
    (tmp_path / "bad.toml").write_text("[study\nname=")
    result = tautwire("run", "bad.toml", cwd=tmp_path)
    assert result.returncode == 2 and len(result.stderr.strip().splitlines()) == 1 and "TOML" in result.stderr
    assert [p.name for p in Path(tmp_path).iterdir()] == ["bad.toml"]
