"""Slides: native words and tables, notes with the numbers, and that another program opens them."""

import io
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from made_up_study import SLOPES, made_up_result, made_up_study
from pptx import Presentation
from pptx.util import Emu

from tautwire.studies.commands import slides as command_slides
from tautwire.studies.reports import answers, slide_words
from tautwire.studies.reports.answers import sentences
from tautwire.studies.reports.big_numbers import big_numbers, one_caution
from tautwire.studies.reports.slide_words import BULLET_ROOM, BULLETS, chunks, slide_title, take_away
from tautwire.studies.reports.slides import ROWS, slides
from tautwire.studies.study.cautions import DEFERENCE, cautions_for
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.wants.want import Want


@pytest.fixture(scope="module")
def result() -> Result:
    return made_up_result(made_up_study(sweep=SLOPES))


@pytest.fixture(scope="module")
def deck(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("slides") / "lakeside.pptx"
    path.write_bytes(slides(result))
    return path


def words(slide: object) -> str:
    return "\n".join(s.text_frame.text for s in slide.shapes if s.has_text_frame)  # type: ignore[attr-defined]


def test_what_is_on_the_slides(deck: Path, result: Result) -> None:
    show = Presentation(str(deck))
    titles = [s.shapes.title.text_frame.text for s in show.slides]
    assert titles[0] == result.study.spec.question
    for start in ("What is compared", "How it hangs: first case", "The SWR ", "What to take away"):
        assert any(title.startswith(start) for title in titles), start
    assert titles[-1].startswith("Before you put wire up")
    last = show.slides[titles.index("What to take away")]
    assert take_away(result) and all(s in words(last) for s in take_away(result))
    assert all(s in last.notes_slide.notes_text_frame.text for s in sentences(result))
    assert show.slide_width / show.slide_height == pytest.approx(16 / 9, abs=0.001)


def test_the_table_is_native_and_holds_every_row(deck: Path, result: Result) -> None:
    tables = [s.table for slide in Presentation(str(deck)).slides for s in slide.shapes if s.has_table]
    rows = [[c.text for c in row.cells] for t in tables for row in list(t.rows)[1:]]
    dips = result.frames["dips"]
    assert len(rows) == len(dips) == 20
    assert max(len(t.rows) for t in tables) <= ROWS + 1
    for shown, row in zip(rows, dips.to_dict("records"), strict=True):
        assert shown[:4] == [f"{row['slope_deg']:g}", row["band"], f"{row['dip_mhz']:.3f}", f"{row['dip_swr']:.2f}"]


def test_every_slide_has_notes_and_the_plots_have_the_numbers(deck: Path, result: Result) -> None:
    for slide in Presentation(str(deck)).slides:
        title, notes = slide.shapes.title.text_frame.text, slide.notes_slide.notes_text_frame.text
        assert notes.strip(), title
        if title.startswith("The SWR "):
            assert all(f"{f:.3f} MHz" in notes for f in result.frames["dips"]["dip_mhz"])


def test_pictures_say_what_they_are_and_stay_on_the_slide(deck: Path) -> None:
    show = Presentation(str(deck))
    seen = 0
    for slide in show.slides:
        for shape in slide.shapes:
            assert shape.left >= 0 and shape.top >= 0
            assert shape.left + shape.width <= show.slide_width + Emu(1)
            assert shape.top + shape.height <= show.slide_height + Emu(1)
            if shape.shape_type == 13:  # picture
                seen += 1
                assert shape._element.nvPicPr.cNvPr.get("descr")
    assert seen >= 5


def test_what_a_plot_leaves_out_is_told_below_it(tmp_path: Path) -> None:
    soils = {"site.soil": ["average soil", "sea water", "poor soil"], "antenna.slope": ["20 deg", "40 deg"]}
    show = Presentation(io.BytesIO(slides(made_up_result(made_up_study(sweep=soils)))))
    told = {s.shapes.title.text_frame.text: words(s) for s in show.slides}
    for slide in show.slides:  # a wrapped cell would push the table off the slide
        for table in (s.table for s in slide.shapes if s.has_table):
            assert sum(c.width for c in table.columns) <= show.slide_width
            for row in list(table.rows)[1:]:
                assert all(
                    0.2 + 0.12 * len(c.text) <= k.width / 914400 for c, k in zip(row.cells, table.columns, strict=True)
                )
    assert any("the first of 3 groups" in w for title, w in told.items() if title.startswith("At its dips the wire"))


def test_what_to_take_away_is_a_line_a_want_then_details_of_the_main_one(
    result: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    def say(name: str) -> Want:
        lines = [f"{b.name}: {name} first. Second." for b in result.study.bands for _ in range(2)]
        return Want(name, lambda *_: {}, sentences=lambda _: [*lines, "A general remark."])

    for module in (slide_words, answers):
        monkeypatch.setattr(module, "want_named", say)
    study = replace(result.study, spec=result.study.spec.model_copy(update={"want": ("dips", "pattern", "exposure")}))
    told = take_away(Result(study, {}, []))
    first, second = (b.name for b in study.bands)
    assert told == [
        f"{first}: pattern first.", f"{first}: dips first.", f"{first}: exposure first.",
        f"{second}: pattern first.", f"{second}: pattern first.", "A general remark.",
    ]  # fmt: skip
    assert len(told) <= BULLETS and sum(map(len, told)) <= BULLET_ROOM


def test_titles_are_plain_words(result: Result) -> None:
    assert slide_title("pattern_azimuth", result) == "Where it radiates: azimuth"
    assert slide_title("exposure-40m", result) == "How far to stay away, 40 m"
    row = {"band": "40 m", "stay_away_m": 0.81, "power_w": 100.0, "complete": False}
    table = pd.DataFrame([{**c.labels, **row, "stay_away_m": 0.81 + c.index} for c in result.study.cases()])
    told = slide_title("exposure-40m", Result(result.study, {"exposure": table}, []))
    assert told == "How far to stay away, 40 m: more than 0.9 m with 100 W"
    assert slide_title("turn_map_2", result) == "How many turns for which segment, set-up 2"
    assert slide_title("something_new", result) == "Something new"


def test_a_file_with_turns_and_no_want_shows_the_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command asks for the turns as the turns command does; with a want of its own the file keeps it."""
    asked: list[Study] = []

    def run(study: Study, _: object) -> Result:
        asked.append(study)
        return Result(study, {}, [])

    monkeypatch.setattr(command_slides, "run_shown", run)
    text = (
        '[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "30 deg"\n[coax]\nlength = "5 m"\n'
        '[reel]\nwire_length = "21 m"\nturn_length = "30 cm"\n[turns]\nsegments = ["20 m CW"]\nfirst = 60\n'
    )
    for name, more in (("plain", ""), ("own", '[study]\nwant = ["dips"]\n')):
        (tmp_path / f"{name}.toml").write_text(text + more)
        done = CliRunner().invoke(
            command_slides.COMMAND, [str(tmp_path / f"{name}.toml"), "--out", str(tmp_path / f"{name}.pptx")]
        )
        assert done.exit_code == 0, done.output
    assert [s.spec.want for s in asked] == [("turns",), ("dips",)]
    assert [a.column for a in asked[0].axes] == ["turns_out"]


def test_no_one_is_named_as_the_author(deck: Path) -> None:
    core = Presentation(str(deck)).core_properties
    assert core.author == core.last_modified_by == ""
    assert core.title.startswith("How does the slope")


def test_bands_are_never_left_out(tmp_path: Path) -> None:
    """Words are compared on as many slides as the bands need."""
    soils = {"site.soil": ["average soil", "sea water", "poor soil", "very poor soil", "wet ground", "sandy soil"]}
    study = made_up_study(sweep=soils)
    show = Presentation(io.BytesIO(slides(made_up_result(study))))
    dips = [w for s in show.slides if "where each band dips" in (w := words(s))]
    assert len(dips) > 1 and not any("bands)" in w for w in dips)


def test_one_slide_answers_the_question_with_numbers_and_a_caution(deck: Path, result: Result) -> None:
    """The third slide: its title is the answer, the question is on it, and what it says comes from the tables."""
    answer = list(Presentation(str(deck)).slides)[2]
    told = words(answer)
    assert answer.shapes.title.text_frame.text == list(answers.headlines(result).values())[0]
    assert result.study.spec.question in told and one_caution(result) in told
    numbers = big_numbers(result)
    assert 1 <= len(numbers) <= 3 and all(n in told and w in told for n, w in numbers)
    dips = result.frames["dips"]
    khz = max(np.ptp(rows["dip_mhz"]) for _, rows in dips.groupby("band")) * 1e3
    assert any(f"{khz:.0f} kHz" == n for n, _ in numbers)


def test_a_study_without_answers_still_makes_slides(result: Result, tmp_path: Path) -> None:
    show = Presentation(io.BytesIO(slides(Result(result.study, {}, []))))
    assert any("No case could be solved." in words(s) for s in show.slides)


def test_every_caution_is_on_a_slide(deck: Path, result: Result) -> None:
    told = "\n".join(words(s) for s in Presentation(str(deck)).slides)
    assert all(told.count(c.words) == 1 for c in cautions_for(result.study.spec.want))
    assert told.count(DEFERENCE) == 1


def test_chunks_keep_every_line_in_order() -> None:
    lines = [f"{k} " + "word " * 30 for k in range(15)]
    parts = list(chunks(lines))
    assert [line for part, _ in parts for line in part] == lines
    assert [more for _, more in parts] == [False] + [True] * (len(parts) - 1)
    assert len(parts) > 1


def test_command_refuses_in_one_line(tmp_path: Path) -> None:
    from tautwire.model.errors import InputError
    from tautwire.studies.commands.slides import COMMAND

    file = tmp_path / "study.toml"
    file.write_text('[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "30 deg"\n[coax]\nlength = "5 m"\n')
    done = CliRunner().invoke(COMMAND, [str(file), "--out", str(tmp_path / "deck.odp")])
    assert isinstance(done.exception, InputError)
    assert ".pptx" in str(done.exception) and "\n" not in str(done.exception)


def test_another_program_opens_it(deck: Path, tmp_path: Path) -> None:
    """LibreOffice Impress turns every slide into a page."""
    office = shutil.which("soffice")
    if office is None:
        pytest.skip("soffice (LibreOffice Impress) is not installed")
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = [office, profile, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path), str(deck)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    pdf = tmp_path / "lakeside.pdf"
    assert pdf.exists(), done.stderr
    pages = pdf.read_bytes().count(b"/Type/Page") - pdf.read_bytes().count(b"/Type/Pages")
    assert pages == len(Presentation(str(deck)).slides)
