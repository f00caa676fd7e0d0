"""Odd files and slips of the pen: read, or refused in one line that says what to write; limits before memory."""

import copy
import os
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pandas as pd
import pytest
from test_study import RAW

from tautwire.model.errors import InputError
from tautwire.model.feed.ferrite import TOROIDS
from tautwire.model.operating.bands import segment_named
from tautwire.studies.commands.cli import main
from tautwire.studies.running.study_file import load_study, read_study
from tautwire.studies.study.feed_parts import ring_of
from tautwire.studies.study.files import MOST_BYTES, load_tables
from tautwire.studies.study.measurement import read_sweeps
from tautwire.studies.wants.fit.figures import _finding

VARY = {"antenna.length": {"from": "19 m", "to": "21 m"}}
SETUP = '[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "30 deg"\n[coax]\nlength = "5 m"\n'


@pytest.mark.parametrize(
    "tables, field, words",
    [
        ({"sweep": {"antenna.length": "20 m"}}, "sweep.antenna.length", 'a list, such as ["20 m"]'),
        ({"sweep": {"antenna.length": 5}}, "sweep.antenna.length", "with its unit"),
        ({"cases": {"antenna.length": "20 m"}}, "cases.antenna.length", "a list of 1 to"),
        (
            {"choose": {"aims": [["gain"]], "vary": VARY}, "study": {"want": ["choose"]}},
            "choose.aims",
            '["swr", "gain"]',
        ),
        ({"choose": {"aims": [{}], "vary": VARY}, "study": {"want": ["choose"]}}, "choose.aims", "names such as"),
    ],
)
def test_slips_of_a_study(tables: dict, field: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read_study({**copy.deepcopy(RAW), **tables})
    assert caught.value.field == field and words in caught.value.allowed


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"\xef\xbb\xbf" + SETUP.encode())
    assert load_study(tmp_path / "a.toml").name == "a"
    (tmp_path / "b.toml").write_bytes(b"\xef\xbb\xbflength = 19,8 m")
    with pytest.raises(InputError, match="quotes around a text") as caught:
        load_tables(tmp_path / "b.toml")
    assert "ufeff" not in str(caught.value)


@pytest.mark.parametrize(
    "text, words",
    [
        ("antenna.length,antenna.slope,antenna.length\n19 m,20 deg,20 m\n", "each key in one column only"),
        (f"antenna.length\n{'1' * 140_000} m\n", "cells of at most"),
        ("antenna.length\n" + "19 m\n" * 1_100_000, "at most 5,000,000 characters"),
    ],
)
def test_tables_of_cases(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "c.csv").write_text(text)
    (tmp_path / "a.toml").write_text(SETUP + '[cases]\nfile = "c.csv"\n')
    with pytest.raises(InputError, match="^cases.file = ") as caught:
        load_study(tmp_path / "a.toml")
    assert words in caught.value.allowed


def test_a_device_or_a_huge_file_as_study_is_refused_unread(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="file = /dev/zero: a study file; this is a device"):
        load_tables(Path("/dev/zero"))
    with (tmp_path / "huge.toml").open("wb") as stream:
        stream.truncate(40 * MOST_BYTES)
    tracemalloc.start()
    with pytest.raises(InputError, match="at most 4 MB"):
        load_tables(tmp_path / "huge.toml")
    assert tracemalloc.get_traced_memory()[1] < 3 * MOST_BYTES
    tracemalloc.stop()


@pytest.mark.parametrize("announced", ["999999999", "-1", "x", "9" * 40])
def test_points_that_a_file_only_announces_take_no_memory(tmp_path: Path, announced: str) -> None:
    head = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n"
    count = f"[Number of Frequencies] {announced}\n[Network Data]\n"
    (tmp_path / "a.s1p").write_text(f"{head}{count}14 0.1 0.1\n[End]\n")
    tracemalloc.start()
    with pytest.raises(InputError, match="a.s1p"):
        read_sweeps(tmp_path / "a.s1p")
    assert tracemalloc.get_traced_memory()[1] < 100e6
    tracemalloc.stop()


@pytest.mark.parametrize("name, line", [("a.s1p", "14.{0:06d} 0.1 0.1\n"), ("a.csv", "14.{0:06d},1.5\n")])
def test_more_points_than_any_analyser_gives(tmp_path: Path, name: str, line: str) -> None:
    head = "# MHz S RI R 50\n" if name == "a.s1p" else "MHz,SWR\n"
    (tmp_path / name).write_text(head + "".join(line.format(i) for i in range(100_001)))
    with pytest.raises(InputError, match="at most 100,000 lines"):
        read_sweeps(tmp_path / name)


def test_a_fit_of_points_without_noise_has_a_title() -> None:
    found = _finding(pd.DataFrame({"residual_rms": [0.05], "noise": [0.0]}))
    assert "0.050" in found and "not known" in found


def test_a_value_without_quotes_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["predict", "--length", "65", "ft"])
    assert '--length "65 ft"' in capsys.readouterr().err


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
@pytest.mark.parametrize("words", [["list", "soils"], ["check", "a.toml"], ["schema"], ["--help"]])
def test_a_full_device_for_the_answer_is_one_line(tmp_path: Path, words: list[str]) -> None:
    (tmp_path / "a.toml").write_text(SETUP)
    command = [sys.executable, "-c", "from tautwire.studies.commands.cli import main; main()", *words]
    with open("/dev/full", "w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path, timeout=120)
    assert done.returncode == 1 and done.stderr.count("\n") == 1 and "could not be written" in done.stderr, done.stderr


@pytest.mark.parametrize(
    "given, region, words",
    [
        ("40 m ssb", 1, "did you mean '40 m phone'?"),
        ("20m USB", "US", "did you mean '20 m phone'?"),
        ("40 m FT8", 1, "did you mean '40 m digital'?"),
        ("30 m ssb", 1, "of 30 m there are '30 m', '30 m CW', '30 m digital'"),
        ("40 m foo", 1, "of 40 m there are '40 m', '40 m CW', '40 m digital', '40 m phone'"),
    ],
)
def test_a_segment_by_what_people_call_it(given: str, region: object, words: str) -> None:
    with pytest.raises(InputError) as refused:
        segment_named(given, region)
    assert refused.value.allowed.endswith(words), refused.value


@pytest.mark.parametrize(
    "size, ring", [("1.4 in", "36 mm"), ('2.4"', "61 mm"), ("1.14 inch", "29 mm"), ("35 mm", "36 mm")]
)
def test_rings_in_inches(size: str, ring: str) -> None:
    assert ring_of(size) == TOROIDS[ring]


def test_a_ring_that_is_not_listed_is_refused_with_both_units() -> None:
    with pytest.raises(InputError, match=r"36 mm \(1.4 in\)"):
        ring_of("2 in")


@pytest.mark.parametrize(
    "vary, words",
    [
        (
            '"antenna.slope" = { from = "10 deg", to = "150 deg" }',
            "choose.vary.antenna.slope = 150 deg: from -90 to 90",
        ),
        ('"antenna.length" = { from = "0.1 m", to = "25 m" }', "choose.vary.antenna.length = 0.1 m: from 1 to 200 m"),
        ('"antenna.length" = { from = "10 m", to = "2000 m" }', "choose.vary.antenna.length = 2000 m: from 1 to 200 m"),
        ('"antenna.length" = ["20 m", "300 m"]', "choose.vary.antenna.length = 300 m: from 1 to 200 m"),
    ],
)
def test_check_refuses_a_range_that_no_set_up_has(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], vary: str, words: str
) -> None:
    text = '[study]\nwant = ["choose"]\n' + SETUP + f"[choose.vary]\n{vary}\n"
    (tmp_path / "a.toml").write_text(text)
    with pytest.raises(SystemExit):
        main(["check", str(tmp_path / "a.toml")])
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    "length, bands, asked",
    [("65 m", "20 m", True), ("65 ft", "20 m", False), ("65 m", "160 m", False), ("40 m", "20 m", False)],
)
def test_feet_written_as_metres_are_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], length: str, bands: str, asked: bool
) -> None:
    text = f'[study]\nbands = ["{bands}"]\n' + SETUP.replace("20 m", length)
    (tmp_path / "a.toml").write_text(text)
    main(["check", str(tmp_path / "a.toml")])
    said = capsys.readouterr().out
    assert ("Wire of 65 m: meant in feet? As metres it is above 45 m" in said) is asked
    assert ('"65 ft" is 19.81 m' in said) is asked
