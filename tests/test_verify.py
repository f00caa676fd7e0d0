"""`tautwire verify`: what was not touched stands, an edited table and changed digits do not."""

import dataclasses
import json
from pathlib import Path

import pytest
from small_study import SOILS, write_study

from tautwire.studies.commands.cli import main
from tautwire.studies.questions.verify import WRITTEN, verify
from tautwire.studies.reports.folder import write
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import load_study
from tautwire.studies.study.result import Result


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("verified")
    return run(load_study(write_study(folder, SOILS)), Store(folder / "store"), workers=0)


def test_what_was_not_touched_stands(result: Result, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(result, tmp_path / "o", formats=("png",))
    main(["verify", str(tmp_path / "o"), "--sample", "2", "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["stands"] and len(found["cases"]) == 2 and found["of"] == 3 and not found["versions"]
    assert {"all_dips", "sweeps", "quality"} <= {t["table"] for t in found["tables"]}
    assert all(t["digits"] >= WRITTEN - 2 for t in found["tables"])
    (tmp_path / "o" / "swr.png").unlink()
    table = tmp_path / "o" / "all_dips.csv"
    table.write_text(table.read_text().replace("20 m", "20 m "))
    with pytest.raises(SystemExit) as ended:
        main(["verify", str(tmp_path / "o"), "--sample", "1"])
    said = capsys.readouterr().out
    assert ended.value.code == 1 and said.startswith("IT DOES NOT STAND")
    assert "Edited since: all_dips.csv." in said and "Not there: swr.png." in said


def test_digits_that_differ_are_counted(result: Result, tmp_path: Path) -> None:
    frames = {name: frame.copy() for name, frame in result.frames.items()}
    frames["sweeps"]["swr"] *= 1 + 1e-5
    frames["quality"] = frames["quality"].iloc[:-1]  # of the last soil none
    changed = dataclasses.replace(result, frames=frames)
    write(changed, tmp_path / "o", formats=("png",))
    found = verify(tmp_path / "o", sample=3)
    digits = {t.table: (t.digits, t.column) for t in found.tables}
    assert digits["sweeps"] == (4, "swr") and digits["quality"] == (0, "0 rows, now 1") and not found.stands


def test_a_folder_of_others_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["verify", str(tmp_path)])
    assert "error: FOLDER" in capsys.readouterr().err
