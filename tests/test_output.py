"""Files are written in one way: foreign and edited ones stay, what is replaced is kept, a manifest is only data."""

import contextlib
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_up_study import made_up_result, made_up_study
from small_study import TEXT

from tautwire.model.errors import InputError
from tautwire.studies.commands import shared
from tautwire.studies.commands.cli import tautwire
from tautwire.studies.commands.shared import results_of
from tautwire.studies.reports.folder import write
from tautwire.studies.study.files import KEPT, RECORD, Output, Source, _digest_of, read_manifest, sha, undo, write_file
from tautwire.studies.study.measurement import Sweep, write_csv

PARK, WET = Source("park", "park.toml"), Source("wet", "wet.toml")


def put(folder: Path, files: dict[str, str], source: Source = PARK, **options: Any) -> None:
    with Output(folder, source, **options) as out:
        out.put({name: text.encode() for name, text in files.items()})


def texts(folder: Path) -> dict[str, str]:
    """Everything in the folder but the manifest and what is kept."""
    return {p.name: p.read_text() for p in sorted(folder.iterdir()) if p.is_file() and p.name != RECORD}


def test_what_is_known_is_replaced_and_what_is_not_made_any_more_goes(tmp_path: Path) -> None:
    put(tmp_path, {"a.csv": "1", "b.csv": "2"})
    (tmp_path / "mine.csv").write_text("mine")
    put(tmp_path, {"a.csv": "3", "c.csv": "4"})
    assert texts(tmp_path) == {"a.csv": "3", "c.csv": "4", "mine.csv": "mine"}
    found = read_manifest(tmp_path)
    assert found and found.digests() == {"a.csv": [sha(b"3")], "c.csv": [sha(b"4")]}
    assert found.head["file"] == os.path.relpath("park.toml", tmp_path) and found.head["question"] == "run"


def test_undo_brings_back_and_undoes_itself(tmp_path: Path) -> None:
    first, second = {"a.csv": "1", "b.csv": "2", "same.csv": "0"}, {"a.csv": "3", "c.csv": "4", "same.csv": "0"}
    put(tmp_path, first)
    before = (tmp_path / RECORD).read_bytes()
    put(tmp_path, second)
    assert undo(tmp_path) == (["a.csv", "b.csv"], ["c.csv"])
    assert texts(tmp_path) == first and (tmp_path / RECORD).read_bytes() == before
    undo(tmp_path)
    assert texts(tmp_path) == second
    put(tmp_path, first)
    assert texts(tmp_path) == first, "after any number of them it is an ordinary folder of results"


def test_undo_refuses_over_what_was_edited(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing is kept"):
        undo(tmp_path)
    put(tmp_path, {"a.csv": "1"})
    put(tmp_path, {"a.csv": "2"})
    (tmp_path / "a.csv").write_text("edited")
    with pytest.raises(InputError, match="a.csv: moved elsewhere first"):
        undo(tmp_path)
    assert texts(tmp_path) == {"a.csv": "edited"}


def test_edited_files_are_refused_before_anything_changes_unless_told(tmp_path: Path) -> None:
    put(tmp_path, {"a.csv": "1", "b.csv": "2"})
    (tmp_path / "b.csv").write_text("edited")
    with pytest.raises(InputError, match=r"out = .*b.csv: another place with --out, or --replace: .* edited since"):
        put(tmp_path, {"a.csv": "3", "b.csv": "4"})
    assert texts(tmp_path) == {"a.csv": "1", "b.csv": "edited"}
    for number in range(5):  # what --replace replaced stays, however much is written afterwards
        put(tmp_path, {"a.csv": f"{number}", "b.csv": f"{number}"}, replace=number == 0)
    kept = [p.read_text() for p in (tmp_path / KEPT).rglob("b.csv")]
    assert "edited" in kept and len(kept) <= 4


def test_a_foreign_file_that_comes_up_late_stops_all_of_the_lot(tmp_path: Path) -> None:
    (tmp_path / "late.csv").write_text("mine")
    with Output(tmp_path, PARK) as out, pytest.raises(InputError, match="late.csv"):
        out.put({"a.csv": b"1", "late.csv": b"2"})
    assert texts(tmp_path) == {"late.csv": "mine"}


@pytest.mark.parametrize("other", [WET, Source("park", "q/park.toml"), Source("park", "park.toml", "turns")])
def test_another_study_or_question_is_refused(tmp_path: Path, other: Source) -> None:
    put(tmp_path, {"a.csv": "1", "b.csv": "2"})
    with pytest.raises(InputError, match=r"another folder with --out, or --replace: this one holds what .*park.toml"):
        put(tmp_path, {"a.csv": "3"}, other)
    (tmp_path / "b.csv").write_text("edited")
    put(tmp_path, {"a.csv": "3"}, other, replace=True)
    assert texts(tmp_path) == {"a.csv": "3", "b.csv": "edited"}, "what nobody writes anew stays where it was edited"
    undo(tmp_path)
    assert texts(tmp_path) == {"a.csv": "1", "b.csv": "edited"}


def test_commands_beside_keep_each_others_files(tmp_path: Path) -> None:
    put(tmp_path, {"a.csv": "1"})
    put(tmp_path, {"slides.pptx": "s"}, part="slides", whole=False)
    put(tmp_path, {"a.csv": "2"})
    assert texts(tmp_path) == {"a.csv": "2", "slides.pptx": "s"}
    put(tmp_path, {"a.csv": "3"}, part="report", whole=False)
    put(tmp_path, {"b.csv": "4"})
    assert texts(tmp_path) == {"a.csv": "3", "b.csv": "4", "slides.pptx": "s"}, "a file is of who wrote it last"


def test_a_single_file_is_never_written_over_another(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    write_file(page, b"1", PARK, "manual")
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"], "the user's own folder gets no manifest"
    with pytest.raises(InputError, match="--replace"):
        write_file(page, b"2", PARK, "manual")
    write_file(page, b"2", PARK, "manual", replace=True)
    assert page.read_bytes() == b"2"
    undo(tmp_path)
    assert page.read_bytes() == b"1"


MALFORMED = [
    "5", "[5]", "[{}]", "null", '{"files": [".."]}', '{"files": [""]}', '{"files": null}', "{", "\udc80", "[" * 90_000,
    '{"files": ["thesis.docx"]}', '{"format": 2, "parts": 5}', '{"format": 2, "parts": {"run": {"files": 5}}}',
]  # fmt: skip


def planted(files: Any, **head: Any) -> str:
    """A manifest whose digest of itself is right, as somebody can make it who reads the code."""

    facts = {"format": 2, "study": "park", "file": "", "question": "run", "parts": {"run": {"files": files}}} | head
    return json.dumps({**facts, "digest": _digest_of(facts)})


@pytest.mark.parametrize("text", MALFORMED)
def test_a_malformed_manifest_does_nothing_and_stays(tmp_path: Path, text: str) -> None:
    (tmp_path / "thesis.docx").write_text("mine")
    (tmp_path / RECORD).write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(InputError, match=f"{RECORD}: another place"):
        put(tmp_path, {"a.csv": "1"})
    assert texts(tmp_path) == {"thesis.docx": "mine"}
    assert (tmp_path / RECORD).read_bytes() == text.encode("utf-8", "surrogateescape")


@pytest.mark.parametrize(
    "files",
    [
        {"thesis.docx": sha(b"mine"), "../out.csv": sha(b"mine"), "..": "", "": "", "/etc/passwd": "", "a\0.csv": ""},
        {"notes.csv": "0" * 64},
        {"notes.csv": [sha(b"else"), "1"]},
        {"notes.csv": {"a": 1}},
        ["notes.csv"],
        {f"{KEPT}/x.csv": sha(b"mine"), ".bashrc": sha(b"mine"), RECORD: sha(b"mine")},
    ],
)
def test_a_planted_manifest_does_nothing(tmp_path: Path, files: Any) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    for path in (folder / "thesis.docx", folder / "notes.csv", tmp_path / "out.csv", folder / ".bashrc"):
        path.write_text("mine")
    (folder / RECORD).write_text(planted(files))
    with contextlib.suppress(InputError):  # it may be refused, as if notes.csv had been edited
        put(folder, {"a.csv": "1"}, Source("park"))
    assert texts(folder) | {"a.csv": "1"} == {
        ".bashrc": "mine",
        "a.csv": "1",
        "notes.csv": "mine",
        "thesis.docx": "mine",
    }
    assert (tmp_path / "out.csv").read_text() == "mine"


def test_a_planted_version_brings_back_nothing_over_a_file_of_others(tmp_path: Path) -> None:
    (tmp_path / "notes.csv").write_text("mine")
    place = tmp_path / KEPT / "000001"
    place.mkdir(parents=True)
    (place / "notes.csv").write_text("evil")
    facts = {"replaced": {"notes.csv": sha(b"evil"), "../x.csv": ""}, "written": {"../x": ""}, "foreign": False}
    (place / "version.json").write_text(json.dumps({**facts, "listed": False, "manifest": None}))
    with pytest.raises(InputError, match="moved elsewhere first"):
        undo(tmp_path)
    for text in MALFORMED:
        (place / "version.json").write_bytes(text.encode("utf-8", "surrogateescape"))
        with pytest.raises(InputError, match="nothing is kept"):
            undo(tmp_path)
    assert texts(tmp_path) == {"notes.csv": "mine"}


def test_links_folders_and_a_kept_place_that_leads_elsewhere_are_refused(tmp_path: Path) -> None:
    folder, other = tmp_path / "in", tmp_path / "other"
    folder.mkdir()
    other.mkdir()
    (other / "mine.csv").write_text("mine")
    (folder / "link.csv").symlink_to(other / "mine.csv")
    (folder / "none.csv").symlink_to(other / "none.csv")
    (folder / "sub.csv").mkdir()
    for name in ("link.csv", "none.csv", "sub.csv"):
        with pytest.raises(InputError, match="a link, a folder or a device"):
            put(folder, {name: "1"}, replace=True)
    put(folder, {"a.csv": "1"})
    (folder / KEPT).symlink_to(other)
    with pytest.raises(InputError, match="taken by what is not ours"):
        put(folder, {"a.csv": "2"})
    assert texts(other) == {"mine.csv": "mine"} and (folder / "a.csv").read_text() == "1"


def test_a_kill_while_writing_leaves_a_folder_that_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the moment: whole files, all known as ours, so that the same command goes on."""
    from tautwire.studies.study import files as output

    put(tmp_path, {"a.csv": "1", "b.csv": "1", "gone.csv": "1"})
    real, left, done = os.replace, [0], []

    def killed(source: Any, target: Any) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise KeyboardInterrupt
        real(source, target)

    for moment in range(12):
        left[0] = moment
        monkeypatch.setattr(output.os, "replace", killed)
        text = f"{moment + 2}"
        with contextlib.suppress(KeyboardInterrupt):
            put(tmp_path, {"a.csv": text, "b.csv": text})
            done.append(moment)
        monkeypatch.setattr(output.os, "replace", real)
        assert not [p for p in tmp_path.iterdir() if p.name.endswith(".part")]
        put(tmp_path, {"a.csv": "1", "b.csv": "1", "gone.csv": "1"})
        assert texts(tmp_path) == {"a.csv": "1", "b.csv": "1", "gone.csv": "1"}
    assert 0 not in done and 11 in done, "killed at every moment, and at last not"


def test_two_studies_of_one_name_in_python(tmp_path: Path) -> None:
    result = made_up_result(made_up_study())
    write(result, tmp_path, formats=("png",))
    write(result, tmp_path, formats=("png",))
    with pytest.raises(InputError, match="another folder with --out"):
        write(result, tmp_path, "tautwire turns mine.toml", formats=("png",))


def test_measurements_are_written_to_new_files_only(tmp_path: Path) -> None:
    import numpy as np

    sweep = Sweep.from_gamma(np.linspace(14e6, 14.3e6, 5), np.full(5, 0.1 + 0j))
    write_csv(sweep, tmp_path / "a.csv")
    with pytest.raises(InputError, match="a name not taken yet"):
        write_csv(sweep, tmp_path / "a.csv")


def test_one_question_one_folder() -> None:
    study = made_up_study()
    places = [results_of(study, question) for question in ("run", "turns", "why", "choose", "fit")]
    assert places[0] == Path("results") / study.name and len(set(places)) == 5


# any sequence of 20 commands in one folder with foreign files

STUDIES = {"study.toml": "lakeside", "p.toml": "lakeside", "wet.toml": "wet"}
FOREIGN = ("summary.md", "dips.csv", "report.html", "thesis.docx", "tautwire-manual.html", "results/notes.txt", RECORD)
COMMANDS = [
    *(["run", file, "--out", out] for file in STUDIES for out in (".", "o")),
    *(["run", file] for file in STUDIES),
    *(["deck", "study.toml", "--out", out] for out in ("study.toml", "o/dips.csv", "case.nec", "thesis.docx")),
    *(["manual", "--out", out] for out in ("tautwire-manual.html", "o/report.html", "p.toml")),
    *(["report", "p.toml", "--out", out] for out in (".", "o")),
    *(["undo", folder] for folder in (".", "o", "results/lakeside")),
    ["new", "study.toml"],
]
EDITED = ("o/dips.csv", "o/summary.md", f"o/{RECORD}", "dips.csv")
COMMAND = st.tuples(st.just("run"), st.sampled_from(COMMANDS), st.booleans())
STEPS = st.lists(
    st.one_of(
        *[COMMAND] * 6,
        st.tuples(st.just("edit"), st.sampled_from(EDITED), st.just(False)),
        st.tuples(st.just("put"), st.sampled_from([*FOREIGN, *(f"o/{name}" for name in FOREIGN)]), st.just(False)),
    ),
    min_size=20,
    max_size=20,
)  # fmt: skip


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Commands in this process; nothing is solved or drawn: the tables tell the study's name and how often."""
    from tautwire.studies.commands import manual, report, run

    count = iter(range(10**6))

    def written(result: Any, out: Output, command: str, store: Any = None) -> list[Path]:
        study = result.study
        out.put({"dips.csv": f"{study.name} {next(count)}".encode()})
        extra = {f"{study.name}.png": b"drawn"} if next(count) % 3 else {}
        return out.put({"summary.md": command.encode(), "report.html": b"<p>", "study.toml": b"as run", **extra})

    class Solved:
        failed: list[Any] = []
        seconds, cached = 0.0, 0

        def __init__(self, study: Any) -> None:
            self.study = study

    for module in (run, report):
        monkeypatch.setattr(module, "run_shown", lambda study, *_, **__: Solved(study))
    monkeypatch.setattr(report, "trust", lambda _: [])
    monkeypatch.setattr(run, "told", lambda *_, **__: "")
    monkeypatch.setattr(run, "_tables", lambda _: [])
    monkeypatch.setattr(run, "write", written)
    monkeypatch.setattr(report, "report", lambda *_: f"<p>{next(count)}")
    monkeypatch.setattr(manual, "manual_page", lambda _: f"<p>{next(count)}")
    monkeypatch.setattr(shared, "unheard", lambda: None)
    yield


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(steps=STEPS)
def test_twenty_commands_never_change_or_remove_a_byte_of_others(
    steps: list[tuple[str, Any, bool]],
    quick: None,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After each command every foreign and edited file is as it was; with --replace its bytes are kept beside."""
    folder = tmp_path_factory.mktemp("user")
    monkeypatch.chdir(folder)
    (folder / "results").mkdir()
    ours: set[str] = set()  # digests of what commands wrote
    mine: dict[Path, bytes] = {}
    for name in STUDIES:
        text = TEXT.replace("[sweep]\n", "# a comment of mine\n").replace("lakeside-small", STUDIES[name])
        (folder / name).write_text(text)
        mine[folder / name] = (folder / name).read_bytes()
    for number, (kind, what, replace) in enumerate(steps):
        if kind == "run":
            known = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
            can = replace and what[0] not in ("undo", "new")
            CliRunner().invoke(tautwire, [*what, *(["--replace"] if can else [])], catch_exceptions=True)
            held = [p.read_bytes() for p in folder.rglob("*") if p.is_file()] if can or what[0] == "undo" else []
            for path, data in mine.items():
                stays = path.is_file() and path.read_bytes() == data
                assert stays or data in held, (number, what, path)
            mine = {p: d for p, d in mine.items() if p.is_file() and p.read_bytes() == d}
            for path in folder.rglob("*"):
                if path.is_file() and KEPT not in path.parts and path.read_bytes() != known.get(path):
                    if what[0] == "undo" and sha(path.read_bytes()) not in ours:
                        mine[path] = path.read_bytes()  # what --replace took is back
                    else:
                        ours.add(sha(path.read_bytes()))
        else:
            path = folder / what
            path.parent.mkdir(parents=True, exist_ok=True)
            before = path.read_bytes() if path.is_file() else b""
            path.write_bytes(before + f"mine {number}".encode())
            mine[path] = path.read_bytes()
