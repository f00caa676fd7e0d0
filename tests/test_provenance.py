"""Each folder of results holds the study as run and what made it; another study does not write over it."""

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from made_up_study import made_up_result, made_up_study

from tautwire.model.errors import InputError
from tautwire.studies.commands.run import COMMAND
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
