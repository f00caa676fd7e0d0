"""The logbook: entries are written, read again, start other commands, and are drawn; every mistake is told."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from lakeside import RAW

from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import main
from tautwire.studies.commands.why import logged_dips
from tautwire.studies.drawing.labels import outside, overlaps
from tautwire.studies.logbook.history import history_figure
from tautwire.studies.logbook.logbook import add, dip_of, dips_of, entries, places
from tautwire.studies.study.measurement import Sweep, write_s1p
from tautwire.studies.wants.fit.fitted import with_fit

PINE = "Lakeside pine"


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAUTWIRE_LOG", str(tmp_path / "log"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def kept(day: str, mhz: str, rain: bool | None = None, place: str = PINE) -> None:
    add({"place": place, "date": day, "rain": rain, "dips": dict([dip_of(f"{mhz} MHz")])}, RAW, [])


def a_sweep(path: Path) -> Path:
    f = np.linspace(13.9e6, 14.4e6, 101)
    write_s1p(Sweep.from_gamma(f, 0.1 + 0.8j * (f - 14.15e6) / 0.5e6), path)
    return path


def test_an_entry_is_a_file_people_can_read_with_its_sweep_beside_it(own_folder: Path) -> None:
    path = a_sweep(own_folder / "monday.s1p")
    found, how = dips_of([path])
    assert float(found["20 m"].split()[0]) == pytest.approx(14.15, abs=0.01) and len(how) == 1
    entry = add({"place": PINE, "date": "2026-05-01", "rain": True, "dips": found, "decided": "66 turns"}, RAW, [path])
    read = tomllib.loads(entry.path.read_text(encoding="utf-8"))
    assert read["log"]["rain"] is True and read["log"]["decided"] == "66 turns" and read["antenna"] == RAW["antenna"]
    copy = entry.path.parent / read["log"]["sweeps"][0]
    assert copy.read_bytes() == path.read_bytes()


def test_the_last_entry_by_day_is_what_a_place_starts_from() -> None:
    kept("2026-06-01", "14.1")
    kept("2026-05-01", "14.2")
    kept("2026-06-01", "14.05")  # later that day
    assert [e.log.dips["20 m"] for e in entries(PINE)] == ["14.2 MHz", "14.1 MHz", "14.05 MHz"]
    last = entries("lakeside PINE")[-1]  # however it is spelled
    assert with_fit({"study": {"bands": ["20 m"]}}, last.path)["antenna"] == RAW["antenna"]
    assert places() == [PINE]


def test_predict_starts_from_a_place(capsys: pytest.CaptureFixture[str]) -> None:
    kept("2026-05-01", "14.1")
    main(["predict", "--at", PINE, "--bands", "20 m", "--no-spread"])
    said = capsys.readouterr().out
    assert "20.40 m of wire" in said and "free space" in said


def test_why_takes_the_dip_from_the_last_entry() -> None:
    kept("2026-05-01", "14.16")
    path = entries(PINE)[-1].path
    assert logged_dips(path, ("14.05 MHz",)) == ("14.16 MHz",)
    assert logged_dips(path, ("7.05 MHz",)) == ()
    assert logged_dips(None, ("14.05 MHz",)) == ()


def test_history_has_a_panel_a_band_and_marks_rain() -> None:
    for day, mhz, rain in (("2026-05-01", "14.1", False), ("2026-05-09", "14.05", True), ("2026-06-19", "7.02", None)):
        kept(day, mhz, rain)
    figure = history_figure(entries(PINE))
    assert [ax.get_ylabel() for ax in figure.axes] == ["40 m, MHz", "20 m, MHz"]
    marks = [line.get_markerfacecolor() for line in figure.axes[1].lines if line.get_marker() == "o"]
    assert len(marks) == 2 and marks[0] == "white" and marks[1] != "white"
    assert outside(figure) == [] and overlaps(figure) == []


def test_the_command_keeps_and_shows(own_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["log"])
    assert "empty" in capsys.readouterr().out
    main(["new", "my-park.toml"])
    main(["log", PINE, "my-park.toml", "--dip", "14.1 MHz", "--dry", "--date", "2026-05-01"])
    main(["log", PINE, "--dip", "14.05 MHz", "--rain", "--date", "2026-05-09", "--plot", "history.png"])
    said = capsys.readouterr().out
    assert "2026-05-09  rain    20 m 14.05 MHz" in said and (own_folder / "history.png").stat().st_size > 5000


@pytest.mark.parametrize(
    "words, advice",
    [
        (["log", PINE, "--dip", "14.1 MHz"], "a set-up for its first entry"),
        (["log", PINE, "a.toml", "--dip", "13.5 MHz"], "its band before it"),
        (["log", PINE, "a.toml", "--date", "1 May"], "a day as 2026-05-31"),
        (["log", "Oter pine"], "did you mean 'Other pine'?"),
        (["log", "!!", "a.toml", "--rain"], "letters or digits"),
        (["predict", "--at", "Othr pine"], "did you mean 'Other pine'?"),
        (["predict", "--from", "a.toml"], "'tautwire log'"),
        (["why"], "--at"),
        (["predict", "--at", "Other pine", "--from", "a.toml"], "not both"),
        (["predict", "--from", "a.toml", "--at", "Other pine"], "not both"),
    ],
)
def test_mistakes(words: list[str], advice: str, own_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept("2026-05-01", "14.1", place="Other pine")
    (own_folder / "a.toml").write_text(
        '[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "9 deg"\n[coax]\nlength = "5 m"\n'
    )
    with pytest.raises(SystemExit) as leave:
        main(words)
    said = capsys.readouterr().err
    assert leave.value.code == 2 and advice in said and said.count("\n") == 1


def test_a_place_without_dips_is_not_drawn() -> None:
    add({"place": PINE, "date": "2026-05-01"}, RAW, [])
    with pytest.raises(InputError, match="entries with dips"):
        history_figure(entries(PINE))
