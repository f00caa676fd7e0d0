"""The manual and the code say the same: every key, every example, every how-to. JSON Schema checked by jsonschema."""

import html
import inspect
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import BaseModel

from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import COMMANDS, main
from tautwire.studies.manual.keys import all_keys, fields_of, key_named, schema
from tautwire.studies.manual.lists import LISTS
from tautwire.studies.manual.page import anchor, manual_page
from tautwire.studies.study.findings import CAUTIONS, DEFERENCE
from tautwire.studies.study.parts import HIDDEN, part_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import StudySpec
from tautwire.studies.wants.want import WANTS, want_named

PAGE = manual_page(COMMANDS)
READY = sorted((Path(__file__).parent.parent / "studies" / "ready").glob("*.toml"))
KEYS = {k.path: k for k in all_keys()}


def parts() -> Iterator[type[BaseModel]]:
    """Every table of the code, found by its own walk over the models."""
    waiting = [StudySpec, Setup, *(want_named(w).options for w in WANTS)]
    seen: list[Any] = []
    while waiting:
        part = waiting.pop()
        if part not in seen:
            seen.append(part)
            waiting += [p for f in part.model_fields.values() if (p := part_of(f.annotation))]
    return iter(seen)


def names_of_code() -> set[str]:
    return {n for part in parts() for n, f in part.model_fields.items() if f.validation_alias != HIDDEN}


def test_every_key_of_the_code_is_in_the_manual_and_every_key_of_the_manual_in_the_code() -> None:
    shown = set(re.findall(r'id="key-([^"]+)"', PAGE))
    assert shown == {anchor(path).removeprefix("key-") for path in KEYS}
    known = names_of_code() | {"from", "to", "step", "count", "sweep", "variant", "name", "any"}
    for path in shown:
        assert path.split(".")[-1] in known, path
    last = {p.split(".")[-1] for p in KEYS}
    assert names_of_code() - {"low", "high"} <= last and {"from", "to"} <= last


def test_every_key_says_what_it_means_with_an_example() -> None:
    bare = [p for p, k in KEYS.items() if not k.meaning or not k.example]
    assert not bare, f"use entry() of study/parts.py for {bare}"


def test_every_example_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my-49to1.s2p").write_text("# MHz S RI R 50\n" + "".join(f"{f} 0 0 1 0 1 0 0 0\n" for f in (1, 30, 60)))
    for part in parts():
        fields = dict(part.model_fields.items())
        needed = {n: f.examples[0] for n, f in fields.items() if f.is_required()}
        for name, field in fields.items():
            if field.validation_alias != HIDDEN and part.__name__ != "Known":
                part.model_validate({**needed, name: field.examples[0]})


def test_links_lead_somewhere_and_nothing_is_fetched() -> None:
    ids = re.findall(r'id="([^"]+)"', PAGE)
    assert len(ids) == len(set(ids))
    links = re.findall(r'href="([^"]+)"', PAGE)
    assert all(link == "data:," or link.startswith("#") and link[1:] in ids for link in links)
    assert not re.search(r'(src|href)="https?:', PAGE) and "<script" not in PAGE


def test_every_caution_is_told_once() -> None:
    page = html.unescape(PAGE)
    assert [page.count(c.words) for c in CAUTIONS] == [1] * len(CAUTIONS) and page.count(DEFERENCE) == 1


def test_every_command_named_exists() -> None:
    named = set(re.findall(r"tautwire ([a-z]+)\b(?! computes)", re.sub(r"<[^>]+>", " ", PAGE)))
    words = {"run", "new"} | named
    assert {w for w in words if w in COMMANDS} == set(COMMANDS)
    for code in re.findall(r"<code>tautwire ([a-z]+)", PAGE):
        assert code in COMMANDS, code


def test_lists_are_whole(capsys: pytest.CaptureFixture[str]) -> None:
    for name, make in LISTS.items():
        rows = make(1)
        assert len(rows) > 1 and all(len(row) == len(rows[0]) for row in rows)
        assert not any(c.strip() in ("nan", "None") for row in rows for c in row)
        main(["list", name])
        assert rows[1][0] in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["list", "soil"])
    assert "did you mean 'soils'" in capsys.readouterr().err


def test_explain(capsys: pytest.CaptureFixture[str]) -> None:
    main(["explain", "antenna.slope"])
    out = capsys.readouterr().out
    assert "-90 to 90 deg" in out and '"25 deg"' in out
    main(["explain", "dip_mhz"])
    assert "column" in capsys.readouterr().out
    assert [k.path for k in key_named("counterpoise.2.length")] == ["counterpoise.length"]
    with pytest.raises(InputError, match="antenna.slope"):
        key_named("antenna.slopp")


@pytest.mark.parametrize("path", READY, ids=lambda p: p.stem)
def test_ready_studies_pass_the_schema(path: Path) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema())


@pytest.mark.parametrize(
    "text",
    [
        'antenna = { layout = "sloper", slopp = "25 deg" }',
        'study = { bands = "40 m, 20 m" }',
        "[pattern]\nsphere = 3",
        '[counterpoise]\nlength = "2 m"',
        '[turns]\nstray = "some"',
        'antenna = { layout = "sloper", length = "19.5" }',
        "antenna = { layout = 'sloper', length = 19.5 }",
        'antenna = { layout = "sloper", bearing = "90 m" }',
        'antenna = { layout = "sloper", length = "66 ft 3 deg" }',
    ],
)
def test_mistakes_fail_the_schema(text: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(text), schema())


@pytest.mark.parametrize(
    "text",
    [
        'antenna = { layout = "sloper", length = "66 ft 3 in", slope = "-12.5 deg", bearing = 0 }',
        'antenna = { layout = "sloper", length = "66\'", end_capacitance = "2 pF" }',
        'wire = { diameter = "0.8mm", jacket = 0, conductivity = "8 MS/m", jacket_er = 2.3, jacket_loss = "2 %" }',
        'radio = { power = "500 mW", duty = 0.3, impedance = "50 ohm" }',
    ],
)
def test_quantities_pass_the_schema(text: str) -> None:
    jsonschema.validate(tomllib.loads(text), schema())


def test_schema_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    main(["schema"])
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(schema()))


def test_check_computes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(READY[0])])
    assert "is valid" in capsys.readouterr().out
    (tmp_path / "bad.toml").write_text('[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "95 deg"\n')
    with pytest.raises(SystemExit):
        main(["check", str(tmp_path / "bad.toml")])
    assert "slope" in capsys.readouterr().err


def test_every_public_name_is_in_the_reference_with_all_its_parameters() -> None:
    import tautwire

    text = html.unescape(PAGE)
    for name in tautwire.__all__:
        start = text.index(f'id="python-{name}"')
        entry = text[start : text.index("<h3", start + 1)] if "<h3" in text[start + 1 :] else text[start:]
        for parameter in inspect.signature(getattr(tautwire, name)).parameters if name.islower() else ():
            assert re.search(rf"<dt><code>{parameter} : ", entry), (name, parameter)
        assert ">>> " in entry, name
    assert 'id="python-Solved.near_field"' in text and "<dt><code>points : array_like" in text


def blocks(section: str) -> list[tuple[str, str, str]]:
    """(kind, file, text) of a how-to's code, in order."""
    start = PAGE.index(f'id="{section}"')
    end = min(i for i in (PAGE.find("<h3", start + 1), PAGE.find("<h2", start + 1)) if i > 0)
    found = re.findall(r'<pre data-run="(\w+)"(?: data-file="([^"]+)")?>(.*?)</pre>', PAGE[start:end], re.S)
    return [(kind, file, html.unescape(text)) for kind, file, text in found]


SECTIONS = [s for s in re.findall(r'id="(howto-\w+)"', PAGE) if s != "howto-pocket"]  # walked in test_pocket.py


@pytest.mark.parametrize("section", SECTIONS)
def test_howtos_run_as_written(section: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import shlex

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAUTWIRE_LOG", str(tmp_path / "logbook"))
    needed = {
        "howto-why": "howto-fit",
        "howto-log": "howto-fit",
        "howto-talk": "howto-hang",
        "howto-researcher": "howto-fit",
    }
    files = [b for name in {section, needed.get(section, section)} for b in blocks(name) if b[0] == "toml"]
    for _, name, text in files:
        Path(name).write_text(text, encoding="utf-8")
    ran = 0
    for kind, _, text in blocks(section):
        if kind == "sh":
            for line in text.splitlines():
                program, *words = shlex.split(line)
                assert program == "tautwire"
                main(words)
                ran += 1
        elif kind == "python":
            exec(compile(text, section, "exec"), {})
            ran += 1
    assert ran


def test_no_field_is_left_without_a_name() -> None:
    assert all(name for part in parts() for name, _ in fields_of(part))
