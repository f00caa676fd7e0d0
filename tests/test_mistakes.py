"""Mistakes that people make in the field: each is answered with what to write instead, in one line."""

from pathlib import Path

import pytest

from tautwire.studies.commands.cli import main

SETUP = '[antenna]\nlayout = "sloper"\nlength = "19.8 m"\nslope = "25 deg"\n'
COAX = '[coax]\nlength = "5 m"\n'
FILES = {
    "bands in one text": ('[study]\nbands = "40 m, 20 m"\n' + SETUP + COAX, 'a list, such as ["40 m", "20 m"]'),
    "a band in letters": ('[study]\nbands = ["forty metres"]\n' + SETUP + COAX, "did you mean '40 m'?"),
    "a band as its frequency": ('[study]\nbands = ["7 MHz"]\n' + SETUP + COAX, "did you mean '40 m'?"),
    "a band that is none": ('[study]\nbands = ["somewhere"]\n' + SETUP + COAX, "one of 160 m, 80 m"),
    "a word without quotes": ("[antenna]\nlayout = sloper\n", 'quotes around a text: layout = "sloper" (line 2)'),
    "a length without quotes": (
        '[antenna]\nlayout = "sloper"\nlength = 19.8 m\n',
        'quotes around a text: length = "19.8 m" (line 3)',
    ),
    "a decimal comma without quotes": (
        '[antenna]\nlayout = "sloper"\nlength = 19,8 m\n',
        'with a point for the decimals: length = "19.8 m" (line 3)',
    ),
    "curved quotes": (
        "[antenna]\nlayout = \u201csloper\u201d\n",
        'straight quotation marks, not the curved ones of a word processor: layout = "sloper" (line 2)',
    ),
    "low and single quotes": ("[antenna]\nlayout = \u201esloper\u2018\n", 'layout = "sloper" (line 2)'),
    "a colon": ('[antenna]\nlayout: "sloper"\n', 'an equals sign between key and value: layout = "sloper" (line 2)'),
    "a key twice": (SETUP + 'slope = "30 deg"\n' + COAX, 'the key slope once (line 5)'),
    "brackets without end": (f"[study]\nbands = {'[' * 3000}\n", "lists and tables within each other, fewer of them"),
    "an integer of 5000 digits": (SETUP + f"bearing = {'9' * 5000}\n", "fewer digits (line 5, bearing)"),
    "a key of no table": ('layout = "sloper"\n' + SETUP + COAX, "error: layout = 'sloper': unknown key"),
    "an elevation without its unit": (
        '[study]\nwant = ["pattern"]\n[pattern]\ncut_elevation = "3,5 deg"\n' + SETUP + COAX,
        "error: pattern.cut_elevation = '3,5 deg': an angle",
    ),
    "a control character": (SETUP.replace("8 m", "8 m\x07") + COAX, "in line 3, length = \"19.8 m\\x07\""),
    "half a line": (SETUP + "slope\n" + COAX, "line 5, slope"),
    "a table twice": (SETUP + COAX + COAX, "the table [coax] once (line 7)"),
    "a decimal comma": (SETUP.replace("19.8", "19,8") + COAX, "with a point, not a comma: '19.8 m'"),
    "a number without a unit": (SETUP.replace('"19.8 m"', "19.8") + COAX, "a length with its unit"),
    "a gauge as diameter": (SETUP + COAX + '[wire]\ndiameter = "20 AWG"\n', "a wire gauge is written awg = 20"),
    "a gauge with its name": (SETUP + COAX + '[wire]\nawg = "20 AWG"\n', "a wire gauge is written awg = 20"),
    "no coax": (SETUP + "[coax]\nlength = 0\n", "for no coax leave the [coax] table out"),
    "a mode": (SETUP + COAX + '[radio]\nmode = "SSB"\n', "give duty instead"),
    "why without dips": ('[study]\nwant = ["why"]\n' + SETUP + COAX, '--was "14.16 MHz" --now "14.05 MHz"'),
    "an unknown key of why": (SETUP + COAX + '[why]\nmove = "14 MHz"\n', "did you mean 'moves'?"),
}  # fmt: skip


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What `tautwire words` says, one line, when it refuses."""
    with pytest.raises(SystemExit) as stopped:
        main(list(words))
    said = capsys.readouterr().err
    assert stopped.value.code == 2 and said.startswith("error: ") and said.count("\n") == 1, said
    return said


@pytest.mark.parametrize("name", FILES)
def test_a_file_with(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, advice = FILES[name]
    file = tmp_path / "a.toml"
    file.write_text(text, encoding="utf-8")
    said = refused(capsys, "check", str(file))
    assert advice in said
    assert "contents" not in said  # what a want keeps for itself


@pytest.mark.parametrize(
    "words, advice",
    [
        (("--wire", "20 AWG"), "--awg 20"),
        (("--wire", "#22"), "a length with its unit"),
        (("--length", "19,8 m"), "'19.8 m'"),
        (("--length", "19.8"), "with its unit"),
        (("--bands", "forty metres"), "did you mean '40 m'?"),
        (("--coax-length", "0"), "a counterpoise or a coax"),
    ],
)
def test_an_option_of_predict(words: tuple[str, str], advice: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert advice in refused(capsys, "predict", *words)


def test_a_sweep_file_whose_name_is_too_long(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.toml").write_text(SETUP + COAX)
    long = "x" * 300 + ".s1p"
    said = refused(capsys, "why", str(tmp_path / "a.toml"), "--before", long, "--after", long)
    assert "a readable .s1p or .csv file" in said


def test_why_on_a_file_without_dips_names_its_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.toml").write_text(SETUP + COAX)
    said = refused(capsys, "why", str(tmp_path / "a.toml"))
    assert all(option in said for option in ("--was", "--now", "--before", "--after"))


@pytest.mark.parametrize(
    "command", ["predict", "run", "turns", "choose", "fit", "why", "slides", "report", "explore", "deck", "check"]
)
def test_every_command_that_reads_a_set_up_takes_a_fitted_one(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    main([command, "--help"])
    assert "--from" in capsys.readouterr().out
