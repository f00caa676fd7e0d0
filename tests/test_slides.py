"""Slides: native words and tables, notes with the numbers, and that another program opens them."""

import io
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from made_up_study import SLOPES, made_up_result, made_up_study
from pptx import Presentation
from pptx.util import Emu

from tautwire.studies.commands import slides as command_slides
from tautwire.studies.drawing.style import LOOKS
from tautwire.studies.reports import answers
from tautwire.studies.reports import slides as slide_words
from tautwire.studies.reports.answers import big_numbers, one_caution
from tautwire.studies.reports.handout import handout
from tautwire.studies.reports.slides import BULLET_ROOM, BULLETS, ROWS, chunks, slides, take_away
from tautwire.studies.study.findings import DEFERENCE, Finding, Role, cautions_for, say
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
    order = ("What is compared: first case", "The highest SWR", "How it hangs: last case", "The numbers",
             "How sure this is", "What it means in the field")  # fmt: skip
    places = [next(k for k, title in enumerate(titles) if title.startswith(start)) for start in order]
    assert places == sorted(places) and places[0] == 1
    assert titles[-1].startswith("Before you put wire up")
    last = show.slides[titles.index("What it means in the field")]
    assert take_away(result) and all(s in words(last) for s in take_away(result))
    assert show.slide_width / show.slide_height == pytest.approx(16 / 9, abs=0.001)


def test_the_table_is_native_and_holds_every_row(deck: Path, result: Result) -> None:
    tables = [s.table for slide in Presentation(str(deck)).slides for s in slide.shapes if s.has_table]
    rows = [[c.text for c in row.cells] for t in tables for row in list(t.rows)[1:]]
    dips = result.frames["dips"]
    assert len(rows) == len(dips) == 20
    assert max(len(t.rows) for t in tables) <= ROWS + 1
    for shown, row in zip(rows, dips.to_dict("records"), strict=True):
        assert shown[:4] == [f"{row['slope_deg']:g}", row["band"], f"{row['dip_mhz']:.3f}", f"{row['dip_swr']:.2f}"]


def test_notes_are_40_to_90_words_a_slide_and_nothing_is_said_twice(deck: Path) -> None:
    said: list[str] = []
    for slide in Presentation(str(deck)).slides:
        notes = slide.notes_slide.notes_text_frame.text
        assert 40 <= len(notes.split()) <= 90, slide.shapes.title.text_frame.text
        said += notes.splitlines()
    assert len(said) == len(set(said))


def test_charts_are_native_and_have_the_numbers_of_the_tables(deck: Path, result: Result) -> None:
    charts = [s.chart for slide in Presentation(str(deck)).slides for s in slide.shapes if s.has_chart]
    assert len(charts) == 4  # dips and SWR of two bands
    dips = result.frames["dips"]
    for band, chart in zip(("40 m", "20 m"), charts[:2], strict=True):
        shown = list(chart.plots[0].series[0].values)
        assert shown == pytest.approx(list(dips[dips["band"] == band]["dip_mhz"]), abs=1e-4)
    for chart in charts[2:]:
        names = [s.name for s in chart.plots[0].series]
        assert names[-1] == "the band" and len(names) == 7
        assert all(20 <= len(list(s.values)) <= 60 and min(s.values) >= 1 for s in list(chart.plots[0].series)[:-1])


def test_no_type_is_below_14_points(deck: Path) -> None:
    for slide in Presentation(str(deck)).slides:
        texts = [s.text_frame for s in slide.shapes if s.has_text_frame]
        texts += [c.text_frame for s in slide.shapes if s.has_table for row in s.table.rows for c in row.cells]
        for run in (r for t in texts for p in t.paragraphs for r in p.runs):
            assert run.font.size is not None and run.font.size.pt >= 14, run.text
        assert all(s.chart.font.size.pt >= 14 for s in slide.shapes if s.has_chart)
    assert LOOKS["slide"].small >= 14


def test_the_case_that_serves_best_is_on_slide_3(deck: Path, result: Result) -> None:
    dips = result.frames["dips"]
    worst = dips.groupby("slope_deg")["swr_worst"].max()
    told = words(list(Presentation(str(deck)).slides)[2])
    assert f"Best in all bands: slope {worst.idxmin():g}\u00b0, SWR at most {worst.min():.2f}" in told
    assert f"worst: slope {worst.idxmax():g}\u00b0, {worst.max():.2f}" in told


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
    assert seen >= 3


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
    assert not any("groups" in w for w in told.values())


def test_what_to_take_away_is_a_verdict_a_want_then_more_of_the_main_one(
    result: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    def found(name: str) -> Want:
        roles: list[tuple[str, Role]] = [
            ("first", "verdict"),
            ("large", "big"),
            ("then", "answer"),
            ("beware", "caution"),
        ]
        return Want(name, lambda *_: {}, findings=lambda _: [Finding(say(f"{name} {w}."), r) for w, r in roles])

    for module in (slide_words, answers):
        monkeypatch.setattr(module, "want_named", found)
    study = replace(result.study, spec=result.study.spec.model_copy(update={"want": ("dips", "pattern", "exposure")}))
    lines = take_away(Result(study, {}, []))
    assert lines == ["Pattern first.", "Dips first.", "Exposure first.", "Pattern beware.", "Pattern then."]
    assert len(lines) <= BULLETS and sum(map(len, lines)) <= BULLET_ROOM


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
    charts = [s.chart.chart_title.text_frame.text for slide in show.slides for s in slide.shapes if s.has_chart]
    assert all(sum(title.startswith(b.name) for title in charts) == 2 for b in study.bands)


def test_one_slide_answers_the_question_with_numbers_and_a_caution(deck: Path, result: Result) -> None:
    """The third slide: its title is the answer, the question is on it, and what it says comes from the tables."""
    answer = list(Presentation(str(deck)).slides)[2]
    told = words(answer)
    assert answer.shapes.title.text_frame.text == list(answers.verdicts(result).values())[0].title()
    assert result.study.spec.question in told and one_caution(result) in told
    numbers = [(f.number.text(), f.words.text()) for f in big_numbers(result) if f.number]
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


def test_the_handout_is_one_page_of_words_with_verdict_table_and_cautions(result: Result, tmp_path: Path) -> None:
    """Read by another program: pdftotext of poppler."""
    (tmp_path / "page.pdf").write_bytes(handout(result))
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    done = subprocess.run(["pdftotext", "-layout", str(tmp_path / "page.pdf"), "-"], capture_output=True, text=True)
    told = " ".join(done.stdout.split())
    assert done.stdout.count("\f") == 1
    assert result.study.spec.question in told
    for words in answers.verdicts(result).values():
        assert words.text() in told
    row = result.frames["dips"].iloc[0]
    assert f"{row['dip_mhz']:.3f} {row['dip_swr']:.2f}" in told
    assert all(c.words in told for c in cautions_for(result.study.spec.want)) and DEFERENCE in told
