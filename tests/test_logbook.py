"""The logbook: entries are written, read again, start other commands, and are drawn; every mistake is told."""

import hashlib
import json
import os
import re
import shutil
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import tomli_w
from lakeside import RAW

from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import main
from tautwire.studies.commands.why import logged_dips
from tautwire.studies.drawing.labels import outside, overlaps
from tautwire.studies.logbook.history import history_figure
from tautwire.studies.logbook.logbook import add, dip_of, dips_of, entries, merge, places
from tautwire.studies.study import files
from tautwire.studies.study.measurement import Sweep, write_s1p
from tautwire.studies.wants.fit.fitted import fit_text, with_fit

PINE = "Lakeside pine"


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAUTWIRE_LOG", str(tmp_path / "log"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def kept(day: str, mhz: str, rain: bool | None = None, place: str = PINE) -> None:
    add({"place": place, "date": day, "rain": rain, "dips": [dip_of(f"{mhz} MHz")]}, RAW, [])


def a_sweep(path: Path) -> Path:
    f = np.linspace(13.9e6, 14.4e6, 101)
    write_s1p(Sweep.from_gamma(f, 0.1 + 0.8j * (f - 14.15e6) / 0.5e6), path)
    return path


def test_an_entry_is_a_file_people_can_read_with_its_sweep_beside_it(own_folder: Path) -> None:
    path = a_sweep(own_folder / "monday.s1p")
    found, how = dips_of([path])
    assert found[0]["band"] == "20 m" and len(how) == 1
    assert float(found[0]["frequency"].split()[0]) == pytest.approx(14.15, abs=0.01)
    entry = add({"place": PINE, "date": "2026-05-01", "rain": True, "dips": found, "decided": "66 turns"}, RAW, [path])
    read = tomllib.loads(entry.path.read_text(encoding="utf-8"))
    assert read["log"]["rain"] is True and read["log"]["decided"] == "66 turns" and read["antenna"] == RAW["antenna"]
    copy = entry.path.parent / read["log"]["sweeps"][0]["file"]
    assert copy.read_bytes() == path.read_bytes() and read["log"]["sweeps"][0]["name"] == "monday.s1p"


def test_the_last_entry_by_day_is_what_a_place_starts_from() -> None:
    kept("2026-06-01", "14.1")
    kept("2026-05-01", "14.2")
    kept("2026-06-01", "14.05")  # later that day
    assert [e.log.dips[0].frequency for e in entries(PINE)] == ["14.2 MHz", "14.1 MHz", "14.05 MHz"]
    last = entries("lakeside PINE")[-1]  # however it is spelled
    assert with_fit({"study": {"bands": ["20 m"]}}, last.path)["antenna"] == RAW["antenna"]
    assert places() == [PINE]


def test_predict_starts_from_a_place(capsys: pytest.CaptureFixture[str]) -> None:
    kept("2026-05-01", "14.1")
    main(["predict", "--at", PINE, "--bands", "20 m", "--no-spread"])
    said = capsys.readouterr().out
    assert "20.4 m of wire" in said and "free space" in said
    assert "Measured there on 2026-05-01: 20 m dip at 14.100 MHz" in said and "expect it at 14.100 MHz" in said


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
        (["log", PINE, "a.toml", "--dip", "12 MHz"], "its band before it"),
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


def test_a_measured_dip_moves_the_prediction_of_another_length(capsys: pytest.CaptureFixture[str]) -> None:
    kept("2026-05-01", "13.8")
    add({"place": PINE, "date": "2026-05-02", "note": "looked at it only"}, RAW, [])
    main(["predict", "--at", PINE, "--bands", "20 m", "--no-spread", "--length", "20 m", "--json"])
    answer = json.loads(capsys.readouterr().out)
    (row,) = answer["measured"]
    assert row["measured_mhz"] == 13.8 and row["date"] == "2026-05-01"
    now = answer["bands"][0]["dip_mhz"]
    assert now > row["computed_mhz"], "the shorter wire"
    assert row["expected_mhz"] / row["measured_mhz"] == pytest.approx(now / row["computed_mhz"], rel=1e-6)


def test_entries_never_collide_whatever_is_removed_between(own_folder: Path) -> None:
    for mhz in ("14.1", "14.2", "14.3"):
        kept("2026-05-01", mhz)
    second = entries(PINE)[1]
    second.path.unlink()
    kept("2026-05-01", "14.35")
    assert [e.log.dips[0].frequency for e in entries(PINE)] == ["14.1 MHz", "14.3 MHz", "14.35 MHz"]


def test_two_sweeps_of_one_name_are_both_kept(own_folder: Path) -> None:
    one, two = a_sweep(own_folder / "monday.s1p"), own_folder / "tuesday" / "monday.s1p"
    two.parent.mkdir()
    two.write_bytes(one.read_bytes() + b"! another\n")
    entry = add({"place": PINE, "date": "2026-05-01"}, RAW, [one, two])
    copies = [entry.path.parent / sweep.file for sweep in entry.log.sweeps]
    assert [c.read_bytes() for c in copies] == [one.read_bytes(), two.read_bytes()]
    assert [hashlib.sha256(c.read_bytes()).hexdigest() for c in copies] == [s.sha256 for s in entry.log.sweeps]


@pytest.mark.parametrize(
    "content",
    [b"[log", b"", b"\xff\xfe", b'[antenna]\nlayout = "sloper"\n', b"[log]\nformat = 99\n", b"log = 5\n", b"[log]\n",
     b'[log]\nplace = "x"\ndate = "2026-05-01"\ndips = [{ band = "20 m", frequency = "5 apples" }]\n',
     b"a = " + b"[" * 50_000],
)  # fmt: skip
def test_a_bad_file_costs_itself_alone_and_is_named(
    own_folder: Path, capsys: pytest.CaptureFixture[str], content: bytes
) -> None:
    kept("2026-05-01", "14.1")
    bad = entries(PINE)[0].path.parent / "2026-05-02-half.toml"
    bad.write_bytes(content)
    main(["log", PINE, "--dip", "14.2 MHz", "--date", "2026-05-03"])
    said = capsys.readouterr()
    assert "14.1 MHz" in said.out and "14.2 MHz" in said.out
    assert said.err.count("\n") == 1 and bad.name in said.err and bad.read_bytes() == content


def test_a_disk_that_gets_full_leaves_nothing_of_an_entry(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept("2026-05-01", "14.1")
    place, path = entries(PINE)[0].path.parent, a_sweep(own_folder / "monday.s1p")
    before, real = sorted(place.iterdir()), files.os.fsync

    def full(number: int) -> None:
        if len(list(place.iterdir())) > len(before) + 1:
            raise OSError(28, "No space left on device")
        real(number)

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        add({"place": PINE, "date": "2026-05-02"}, RAW, [path])
    assert sorted(place.iterdir()) == before


def test_names_are_kept_as_typed_in_folders_that_are_safe(own_folder: Path) -> None:
    names = ["Pine (a)", "Pine a", "a/b", "a\\b", "CON", "..x", "Föhre", "松", "x" * 60, "e\u0301", "nul."]
    for name in names:
        kept("2026-05-01", "14.1", place=name)
    assert sorted(places()) == sorted(names) and all(len(entries(n)) == 1 for n in names)
    made = [p for p in (own_folder / "log").iterdir()]
    assert len(made) == len(names) and all(re.fullmatch(r"[a-z0-9-]+-[0-9a-f]{6}", p.name) for p in made)


def test_no_escape_sequence_reaches_the_terminal(own_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    evil = "Pine \x1b]0;x\x07\u202e\x9b31m"
    add({"place": evil, "date": "2026-05-01", "note": "\x1b[2J", "decided": "\x1b[1m"}, RAW, [])
    bad = entries(evil)[0].path.parent / "\x1b[3mbad.toml"
    bad.write_text("[")
    for words in (["log"], ["log", evil], ["log", evil, "--dip", "14.1 MHz"]):
        main(words)
    with pytest.raises(SystemExit):
        main(["log", "\x1b[5m"])
    said = capsys.readouterr()
    assert not {"\x1b", "\x07", "\u202e", "\x9b"} & set(said.out + said.err) and "\\x1b]0;x" in said.out
    assert entries(evil)[0].log.note == "\x1b[2J", "kept as typed"


def test_what_a_fit_knew_stays_with_later_dips(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    known = {"values": {"antenna.length": {"sd": "2 cm"}}, "correlation": []}
    (own_folder / "fit.toml").write_text(fit_text({**RAW, "spread": known}, {"notes": ["fitted"]}))
    main(["log", PINE, "--from", "fit.toml", "--date", "2026-05-01"])
    main(["log", PINE, "--dip", "14.1 MHz", "--date", "2026-05-02"])
    last = entries(PINE)[-1]
    assert last.tables["spread"] == known and last.tables["fit_result"] == {"notes": ["fitted"]}
    assert with_fit({}, last.path)["spread"]["values"] == known["values"]


@pytest.mark.parametrize(
    "text, band, mhz, swr",
    [
        ("13.8 MHz", "20 m", "13.8", None),
        ("20 m 13.1 MHz", "20 m", "13.1", None),
        ("20m 14.52 MHz SWR 1.35", "20 m", "14.52", 1.35),
        ("6.8 MHz swr 2", "40 m", "6.8", 2.0),
        ("14050 kHz", "20 m", "14.05", None),
    ],
)
def test_a_dip_outside_its_band_is_kept(text: str, band: str, mhz: str, swr: float | None) -> None:
    found = dip_of(text)
    assert (found["band"], found["frequency"], found.get("swr")) == (band, f"{mhz} MHz", swr)


@pytest.mark.parametrize("text", ["12 MHz", "20 m 7.1 MHz", "14 MHz SWR 0.3", "14 MHz SWR 1.2.3", "99 m 14 MHz"])
def test_what_is_no_dip_of_a_band(text: str) -> None:
    with pytest.raises(InputError):
        dip_of(text)


def test_a_dip_in_the_band_goes_before_a_deeper_one_outside(own_folder: Path) -> None:
    f = np.linspace(13.0e6, 14.5e6, 301)
    gamma = 1 - 0.9 / (1 + ((f - 13.4e6) / 5e4) ** 2) - 0.6 / (1 + ((f - 14.2e6) / 5e4) ** 2)
    write_s1p(Sweep.from_gamma(f, gamma + 0j), own_folder / "two.s1p")
    write_s1p(Sweep.from_gamma(f[:200], gamma[:200] + 0j), own_folder / "one.s1p")
    assert dips_of([own_folder / "two.s1p"])[0][0]["frequency"].startswith("14.2")
    (only,) = dips_of([own_folder / "one.s1p"])[0]
    assert only["band"] == "20 m" and only["frequency"].startswith("13.4") and only["swr"] > 1


def test_turn_counts_and_the_study_are_kept_for_who_replays_the_entries(own_folder: Path) -> None:
    main(["new", "my-park.toml"])
    main(["log", PINE, "my-park.toml", "--turns", "66", "--turns", "20 m 61.5", "--dip", "14.1 MHz SWR 1.2"])
    log = entries(PINE)[-1].log
    assert [(t.turns, t.band) for t in log.turns] == [(66, ""), (61.5, "20 m")] and log.study == "my-park.toml"
    assert log.format == 2 and log.dips[0].swr == 1.2 and log.id in entries(PINE)[-1].path.name
    with pytest.raises(SystemExit):
        main(["log", PINE, "--turns", "many"])


def test_entries_of_the_first_format_are_read(own_folder: Path) -> None:
    old = own_folder / "log" / "lakeside-pine"
    old.mkdir(parents=True)
    setup = tomli_w.dumps(RAW)
    for name, day, mhz in (("2026-04-01.toml", "2026-04-01", "14.16"), ("2026-04-01-2.toml", "2026-04-01", "14.15")):
        (old / name).write_text(f'[log]\nplace = "{PINE}"\ndate = "{day}"\nsweeps = ["a.s1p"]\n[log.dips]\n'
                                f'"20 m" = "{mhz} MHz"\n{setup}')  # fmt: skip
    os.utime(old / "2026-04-01-2.toml", (1, 1))  # the earlier one of that day
    kept("2026-05-01", "14.1")
    found = entries(PINE)
    assert [e.log.dips[0].frequency for e in found] == ["14.15 MHz", "14.16 MHz", "14.1 MHz"]
    assert found[0].log.sweeps[0].file == "a.s1p" and places() == [PINE]


def everything(folder: Path) -> Counter[bytes]:
    return Counter(p.read_bytes() for p in folder.rglob("*") if p.is_file())


def test_merging_two_copies_loses_nothing(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Phone and laptop: one start, then entries, edits, removals and files of others on both."""
    laptop, phone = own_folder / "log", own_folder / "phone"
    path = a_sweep(own_folder / "monday.s1p")
    add({"place": PINE, "date": "2026-05-01", "note": "first"}, RAW, [path])
    old = laptop / "old-oak"
    old.mkdir()
    (old / "2026-04-01.toml").write_text(
        f'[log]\nplace = "Oak"\ndate = "2026-04-01"\nsweeps = ["m.s1p"]\n{tomli_w.dumps(RAW)}'
    )
    (old / "m.s1p").write_text("laptop's")
    shutil.copytree(laptop, phone)
    (phone / "old-oak" / "m.s1p").write_text("phone's")
    (phone / "old-oak" / "notes.txt").write_text("a photo's place")
    first = entries(PINE)[0].path
    first.write_text(first.read_text().replace("first", "corrected on the laptop"))
    kept("2026-05-02", "14.1")
    (first.parent / "broken.toml").write_text("[half")
    monkeypatch.setenv("TAUTWIRE_LOG", str(phone))
    kept("2026-05-02", "14.2")
    kept("2026-05-03", "14.3", place="Birch")
    both = everything(laptop) | everything(phone)
    for place, other in ((laptop, phone), (phone, laptop)):
        monkeypatch.setenv("TAUTWIRE_LOG", str(place))
        before = {p: p.read_bytes() for p in place.rglob("*") if p.is_file()}
        main(["log", "--merge", str(other)])
        assert both - everything(place) == Counter() and all(p.read_bytes() == data for p, data in before.items())
        assert [e.log.note or e.log.dips[0].frequency for e in entries(PINE)] in (
            ["first", "corrected on the laptop", "14.1 MHz", "14.2 MHz"],
            ["corrected on the laptop", "first", "14.1 MHz", "14.2 MHz"],
        )
        assert len(entries("Birch")) == 1 and [(e.path.parent / "m.s1p").read_text() for e in entries("Oak")]
        once = everything(place)
        assert merge(other)[0] == 0 and everything(place) == once, "merged twice, nothing more"


def test_merging_follows_no_links_and_takes_one_place_too(own_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept("2026-05-01", "14.1")
    one = entries(PINE)[0].path.parent
    (own_folder / "secret").write_text("mine")
    (one / "link.toml").symlink_to(own_folder / "secret")
    with pytest.raises(InputError, match="the one in use"):
        merge(own_folder / "log")
    for wrong in (own_folder / "none", own_folder / "secret", own_folder / "empty"):
        (own_folder / "empty").mkdir(exist_ok=True)
        with pytest.raises(InputError, match="--merge = .*another logbook"):
            merge(wrong)
    monkeypatch.setenv("TAUTWIRE_LOG", str(own_folder / "new"))
    assert merge(one) == (1, 0) and len(entries(PINE)) == 1
    assert b"mine" not in everything(own_folder / "new")
