"""Each folder of results holds the study as run and what made it; another study does not write over it."""

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from made_up_study import made_up_result, made_up_study

from tautwire.model.errors import InputError
from tautwire.studies.commands.run import COMMAND
from tautwire.studies.commands.shared import study_asked
from tautwire.studies.reports.folder import write
from tautwire.studies.reports.provenance import check_folder
from tautwire.studies.running.study_file import load_study


def test_the_study_and_its_making_are_kept_and_old_files_go(tmp_path: Path) -> None:
    result = made_up_result(made_up_study())
    result.frames["nothing"] = pd.DataFrame()
    names = {path.name for path in write(result, tmp_path, formats=("png",))}
    assert "nothing.csv" not in names and all(len(pd.read_csv(path).columns) for path in tmp_path.glob("*.csv"))
    assert {"study.toml", "provenance.json"} <= names
    again = load_study(tmp_path / "study.toml")
    assert again.tables == result.study.tables and [c.raw for c in again.cases()] == [
        c.raw for c in result.study.cases()
    ]
    kept = json.loads((tmp_path / "provenance.json").read_text())
    assert {"numpy", "scipy", "python", "tautwire"} <= set(kept["versions"]) and len(kept["digest"]) == 64
    assert "tautwire run study.toml" in (tmp_path / "summary.md").read_text()
    kept["files"] += ["old.png", "../mine.txt"]
    (tmp_path / "provenance.json").write_text(json.dumps(kept))
    (tmp_path / "old.png").write_text("of an earlier run")
    (tmp_path / "mine.png").write_text("mine")
    write(result, tmp_path, formats=("png",))
    assert not (tmp_path / "old.png").exists() and (tmp_path / "mine.png").exists()


def test_a_command_that_adds_to_a_folder_keeps_its_own_record(tmp_path: Path) -> None:
    result = made_up_result(made_up_study())
    write(result, tmp_path, formats=("png",))
    names = {path.name for path in write(result, tmp_path, "tautwire turns mine.toml", formats=("png",))}
    assert {"turns-study.toml", "turns-provenance.json"} <= names
    assert (tmp_path / "study.toml").exists(), "the run's own"
    assert json.loads((tmp_path / "turns-provenance.json").read_text())["command"] == "tautwire turns mine.toml"


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
    assert study_asked({**setup, **tables}, "mine").spec.want == (want,)


def test_two_files_of_one_name_do_not_write_over_each_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study, folder = made_up_study(), tmp_path / "results" / made_up_study().name
    folder.mkdir(parents=True)
    check_folder(folder, "b.toml", study)
    (folder / "provenance.json").write_text('{"file": "a.toml"}')
    check_folder(folder, "a.toml", study)
    (tmp_path / "b.toml").write_text(f'[study]\nname = "{study.name}"\n[antenna]\nlayout = "vertical"\nlength = "9 m"\n'
                                     '[coax]\nlength = "5 m"\n')  # fmt: skip
    monkeypatch.chdir(tmp_path)
    told = CliRunner().invoke(COMMAND, ["b.toml"]).exception
    assert isinstance(told, InputError) and "a.toml" in str(told) and told.field == "study.name"


@pytest.mark.parametrize(("formats", "named"), [(("png", "xyz"), "xyz"), ("png", "png")])
def test_an_unknown_format_of_plots_is_one_line_before_anything_is_written(
    formats: Any, named: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(InputError, match=rf"^formats = '{named}': a tuple of .*png.*, such as"):
        write(made_up_result(made_up_study()), tmp_path / "out", formats=formats)
    assert not (tmp_path / "out").exists() and capfd.readouterr().err == ""
