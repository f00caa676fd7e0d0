"""Names and questions with dollars, HTML, pipes, formulas and great length: drawn, tabled and shown as they are."""

import io
from pathlib import Path

import pandas as pd
import pytest
from made_up_study import made_up_result, made_up_study
from pptx import Presentation

from tautwire.model.errors import InputError
from tautwire.studies.drawing.style import Heading, Sheet, style
from tautwire.studies.reports import folder
from tautwire.studies.reports.folder import write
from tautwire.studies.reports.slides import slides
from tautwire.studies.study.measurement import read_sweep

QUESTION = (
    r"Why $\frac{x$ <script>alert(1)</script> | for $5 ![b](http://example.org) at the lake, once more, " + "o" * 90
)
NAMES = ("=cmd|' /C calc'!A0", r"$\frac{x$ <b>|", "@" + "w" * 59)


@pytest.fixture(scope="module")
def result():
    study = made_up_study(
        study={"name": "odd", "bands": ["20 m"], "question": QUESTION}, variant=[{"name": name} for name in NAMES]
    )
    return made_up_result(study)


def test_a_folder_and_slides_of_odd_texts(result, tmp_path):
    names = {path.name for path in write(result, tmp_path, "tautwire run odd.toml")}
    assert {"dips.csv", "summary.md", "report.html", "swr.png"} <= names
    assert pd.read_csv(tmp_path / "dips.csv")["variant"].unique().tolist() == ["'" + NAMES[0], NAMES[1], "'" + NAMES[2]]
    summary = (tmp_path / "summary.md").read_text(encoding="utf-8")
    assert "&lt;script" in summary and "<script" not in summary and "<b>" not in summary and "![b]" not in summary
    row = next(line for line in summary.splitlines() if line.startswith("| $"))
    assert row.replace("\\|", "").count("|") == summary.count("---|") + 1
    assert "<script>alert(1)" not in (tmp_path / "report.html").read_text(encoding="utf-8")
    deck = Presentation(io.BytesIO(slides(result)))
    assert QUESTION in [s.text_frame.text for s in deck.slides[0].shapes if s.has_text_frame]


def test_a_dollar_is_a_dollar_in_every_figure():
    with style("print") as look:
        sheet = Sheet(look)
        sheet.header(Heading(r"$\frac{x$", r"costs $5 or $6"))
        sheet.canvas.draw()


def test_long_questions_and_names_are_refused_before_anything_is_drawn():
    with pytest.raises(InputError, match="study.question = a text of 201 characters: at most 200"):
        made_up_study(study={"name": "odd", "bands": ["20 m"], "question": "x" * 201})
    with pytest.raises(InputError, match=r"variant.1.name = .*a name of 1 to 60 characters"):
        made_up_study(variant=[{"name": "x" * 61}])
    with pytest.raises(InputError, match=r"nearby.1.name = .*a name of 1 to 60 characters"):
        made_up_study(nearby=[{"name": "", "start": ["9 m", "9 m", "1 m"], "end": ["9 m", "9 m", "5 m"]}])


def test_a_question_over_several_lines_is_one():
    study = made_up_study(study={"name": "odd", "bands": ["20 m"], "question": "How far?\n\tAnd why?"})
    assert study.spec.question == "How far? And why?"


def test_what_looks_like_a_sign_is_kept_in_tables():
    frame = pd.DataFrame({"change": ["+5 cm", "-0.3 m", "+1|x", "=1", "\t=1", "plain"], "n": [-1.0, 2, 3, 4, 5, 6]})
    assert list(folder.cells(frame)["change"]) == ["+5 cm", "-0.3 m", "'+1|x", "'=1", "'\t=1", "plain"]
    assert list(folder.cells(frame)["n"]) == list(frame["n"])


def test_a_sweep_is_named_in_printable_characters(tmp_path: Path):
    path = tmp_path / "a\x07\u202eb.csv"
    path.write_text("freq_mhz,swr\n7,1\n7.1,2\n7.2,3\n")
    assert read_sweep(path).name == "a??b"
