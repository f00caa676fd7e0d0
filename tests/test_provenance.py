"""Each folder of results holds the study as run and what made it; another study does not write over it."""

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from made_up_study import made_up_result, made_up_study

from tautwire.model.errors import InputError
from tautwire.studies.commands import deck, explore, run
from tautwire.studies.commands.shared import study_asked
from tautwire.studies.reports.folder import write
from tautwire.studies.running.study_file import load_study

SETUP = '[antenna]\nlayout = "vertical"\nlength = "9 m"\n[coax]\nlength = "5 m"\n'


def test_the_study_and_its_making_are_kept(tmp_path: Path) -> None:
    result = made_up_result(made_up_study())
    result.frames["nothing"] = pd.DataFrame()
    names = {path.name for path in write(result, tmp_path, formats=("png",))}
    assert "nothing.csv" not in names and all(len(pd.read_csv(path).columns) for path in tmp_path.glob("*.csv"))
    assert {"study.toml", "provenance.json"} <= names
    again = load_study(tmp_path / "study.toml")
    assert again.tables == result.study.tables and [c.raw for c in again.cases()] == [
        c.raw for c in result.study.cases()
    ]
    kept = json.loads((tmp_path / "provenance.json").read_text())["parts"]["run"]
    assert {"numpy", "scipy", "python", "tautwire"} <= set(kept["versions"]) and len(kept["digest"]) == 64
    assert set(kept["files"]) == names - {"provenance.json"} and all(len(d) == 64 for d in kept["files"].values())
    assert "tautwire run study.toml" in (tmp_path / "summary.md").read_text()


@pytest.mark.parametrize(
    ("tables", "want"),
    [
        ({"why": {"moves": [{"was": "14.2 MHz", "now": "14.1 MHz"}]}}, "why"),
        ({"choose": {"vary": {"antenna.length": {"from": "19 m", "to": "21 m"}}}}, "choose"),
        ({"fit": {"parameters": {"antenna.length": {"sd": "10 cm"}}}}, "dips"),
        ({"study": {"want": ["stress"]}, "why": {"moves": [{"was": "14.2 MHz", "now": "14.1 MHz"}]}}, "stress"),
    ],
)
def test_what_is_shown_is_what_the_file_asks(tables: dict[str, Any], want: str) -> None:
    setup = {"antenna": {"layout": "vertical", "length": "10 m"}, "coax": {"length": "5 m"}}
    assert study_asked({**setup, **tables}, Path("mine.toml")).spec.want == (want,)


@pytest.mark.parametrize("words", [[], ["--out", "o"]])
def test_two_files_of_one_name_do_not_write_over_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("p", "q"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "park.toml").write_text(f'[study]\nname = "park"\n{SETUP}')
    monkeypatch.setattr(run, "run_shown", lambda study, *_: made_up_result(study))
    monkeypatch.setattr(run, "write", lambda result, out, *_, **__: out.put({"dips.csv": b"p"}))
    first = CliRunner().invoke(run.COMMAND, ["p/park.toml", *words])
    assert first.exit_code == 0, first.exception
    told = CliRunner().invoke(run.COMMAND, ["q/park.toml", *words]).exception
    assert isinstance(told, InputError) and "p/park.toml" in str(told) and "--replace" in told.allowed
    assert CliRunner().invoke(run.COMMAND, ["p/park.toml", *words]).exit_code == 0, "the same one again"


def test_the_study_file_beside_its_results_is_never_rewritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "study.toml").write_text(f"# my comment\n{SETUP}")
    before = (tmp_path / "study.toml").read_bytes()
    for command, words in ((run.COMMAND, ["--out", "."]), (deck.COMMAND, ["--out", "study.toml"]),
                           (explore.COMMAND, ["--out", "study.toml"])):  # fmt: skip
        told = CliRunner().invoke(command, ["study.toml", *words]).exception
        assert isinstance(told, InputError) and told.field == "out" and "--replace" in told.allowed
    assert (tmp_path / "study.toml").read_bytes() == before and len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(("formats", "named"), [(("png", "xyz"), "xyz"), ("png", "png")])
def test_an_unknown_format_of_plots_is_one_line_before_anything_is_written(
    formats: Any, named: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(InputError, match=rf"^formats = '{named}': a tuple of .*png.*, such as"):
        write(made_up_result(made_up_study()), tmp_path / "out", formats=formats)
    assert not (tmp_path / "out").exists() and capfd.readouterr().err == ""
