"""Every number that is reported comes from cells of the tables, and every title's numbers are drawn below it."""

import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from made_up_study import RAW, SLOPES, made_up_result, made_up_study
from pptx import Presentation
from printed import Printed

from tautwire.studies.drawing.style import Heading, Sheet, style
from tautwire.studies.reports.answers import big_numbers, findings, sentences, trust
from tautwire.studies.reports.slides import slides
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import asking, read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import (
    CONVENTIONS,
    Cell,
    Drawn,
    Finding,
    Name,
    Number,
    Title,
    Words,
    say,
    table_of,
)
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import FOOT
from tautwire.studies.wants.fit.want import made_up as made_up_sweeps
from tautwire.studies.wants.turns.want import with_turn_axis

READY = Path(__file__).parents[1] / "studies" / "ready"


def untraced(result: Result, found: list[Finding]) -> list[str]:
    """Sentences with a figure that no cell has: a digit in plain text, a number that its cells do not give, a name that
    is none."""
    out = []
    for finding in found:
        words = [finding.words]
        if isinstance(finding.number, Words):
            words.append(finding.number)
        elif finding.number is not None:
            words.append(Words((finding.number,)))
        for part in (p for w in words for p in w.parts):
            if isinstance(part, Number):
                again = part.again(result)
                if not part.cells or again != pytest.approx(part.value, rel=1e-9, nan_ok=True):
                    out.append(f"{part} in {finding.words.text()!r}")
            elif isinstance(part, Name):
                if not named(result, part):
                    out.append(f"{part} in {finding.words.text()!r}")
            elif re.search(r"\d", part):
                out.append(f"{part!r} in {finding.words.text()!r}")
    return out


def named(result: Result, name: Name) -> bool:
    """Whether a name is what it says it is."""
    if not re.search(r"\d", name.words):
        return True
    if name.kind == "band":
        known = {b.name for b in result.study.bands} | {str(r["band"]) for r in result.rows("all_dips")}
        return name.words in known
    if name.kind == "case":
        words = {result.study.words_of(c.labels) for c in result.study.cases()}
        return name.words in words or any(all(p in w for p in name.words.split(", ")) for w in words)
    if name.kind == "convention":
        return name.words in CONVENTIONS or name.words == "2"
    if name.kind == "study":
        return (
            name.words in repr((result.study.spec, result.study.options, result.study.tables)) or "reel" in name.words
        )
    texts = {
        str(v).replace(";", ",")
        for t in result.frames
        for row in result.rows(t)
        for v in row.values()
        if isinstance(v, str)
    }
    return name.words in texts


def untrue_titles(figures: dict[str, object]) -> list[str]:
    """Stems of figures whose title has a number that they do not draw, or that has no title."""
    return [
        stem
        for stem, figure in figures.items()
        if isinstance(figure, Sheet) and not stem.startswith("card") and not _true(figure)
    ]


def _true(sheet: Sheet) -> bool:
    return bool(sheet.title) and sheet.drawn.shows(sheet.title)


@pytest.fixture(scope="module")
def made_up() -> Result:
    return made_up_result(made_up_study(sweep=SLOPES))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("store"))


def small(name: str, store: Store, feet: bool = False) -> Result:
    """A ready-made study with at most two values on each axis, two bands or segments, and a short search."""
    raw = load_tables(READY / f"{name}.toml")
    raw = in_feet(raw) if feet else raw
    if name != "why-lakeside":  # it asks about three
        raw["study"]["bands"] = raw["study"].get("bands", ["20 m", "10 m"])[:2]
    if name == "fit-lakeside":
        raw["fit"] = {"free": "named", "parameters": {"antenna.length": {"sd": "20 cm"}}}
        raw["fit"]["sweeps"] = sweeps_for(read_study(raw, name), store)
    if name == "turns-lakeside":
        raw["turns"] |= {"segments": ["40 m CW", "20 m CW", "15 m CW"], "first": 60, "last": 62}
        return run(with_turn_axis(read_study(raw, name)), store, workers=0)
    if "choose" in raw:
        raw["choose"]["solves"] = 8
        raw["choose"]["segments"] = ["20 m CW"]
    study = read_study(asking(raw), name)
    axes = tuple(
        dataclasses.replace(a, texts=a.texts[:2], numbers=None if a.numbers is None else a.numbers[:2])
        for a in study.axes
    )
    return run(dataclasses.replace(study, axes=axes), store, workers=0)


def in_feet(tables: Any) -> Any:
    """Tables of a study with its lengths in feet; bands and segments keep their names."""
    if isinstance(tables, dict):
        return {k: v if k in ("bands", "segments", "region") else in_feet(v) for k, v in tables.items()}
    if isinstance(tables, list):
        return [in_feet(v) for v in tables]
    found = re.fullmatch(r"([\d.]+) (m|cm)", tables) if isinstance(tables, str) else None
    return f"{float(found[1]) * {'m': 1, 'cm': 0.01}[found[2]] / FOOT:.3g} ft" if found else tables


def sweeps_for(study: Study, store: Store) -> list[str]:
    """Files of made-up sweeps."""
    folder = Path(store.folder)
    files, _ = made_up_sweeps(study, 7, store)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return [str(folder / name) for name in files]


@pytest.mark.parametrize("name", sorted(path.stem for path in READY.glob("*.toml")))
def test_every_number_of_ready_studies_traces_to_cells_and_titles_are_drawn(name: str, store: Store) -> None:
    """In findings by the cells they name; in all that is printed by a cell of that value and unit."""
    result = small(name, store)
    printed = Printed(result, store)
    assert untraced(result, findings(result)) == []
    assert untrue_titles(printed.sheets) == []
    assert printed.from_nowhere() == []


@pytest.mark.parametrize("name", ["slope-20m", "power-and-safety", "turns-lakeside", "why-lakeside", "fit-lakeside"])
def test_the_same_in_feet_without_a_metre(name: str, store: Store) -> None:
    result = small(name, store, feet=True)
    assert result.study.lengths == "imperial"
    assert untraced(result, findings(result)) == []
    printed = Printed(result, store)
    assert printed.from_nowhere() == []
    assert printed.in_metres() == []


@pytest.mark.parametrize("feet", [False, True])
def test_the_same_for_128_variants_of_layouts(feet: bool, store: Store) -> None:
    """Four layouts, each with 32 heights or slopes; their wires are made up."""
    low = {"feed_height": "1.2 m"}
    shapes = (
        ({"layout": "sloper", **low}, "slope", "deg", 15.0), ({"layout": "inverted L", **low}, "height", "m", 6.0),
        ({"layout": "inverted V", "end_height": "1.5 m", **low}, "apex_height", "m", 6.0),
        ({"layout": "horizontal"}, "height", "m", 4.0),
    )  # fmt: skip
    many = [
        {"name": f"{rest['layout']} {k}", "antenna": {**rest, "length": "20.1 m", key: f"{first + k / 10:.1f} {unit}"}}
        for rest, key, unit, first in shapes
        for k in range(32)
    ]
    tables = in_feet({**RAW, "variant": many}) if feet else {**RAW, "variant": many}
    result = made_up_result(read_study(tables))
    assert result.study.count == 128 and result.study.lengths == ("imperial" if feet else "metric")
    assert untraced(result, findings(result)) == []
    assert Printed(result, store).from_nowhere() == []


def test_a_number_changed_by_hand_is_found(store: Store) -> None:
    """Of the numbers in titles, captions and findings nearly every one, if its last digit is changed; never one in a
    title's own words."""
    result = small("slope-20m", store)
    printed = Printed(result, store)
    may = printed.may
    lines = [line for line in (*printed.texts["titles"], *printed.texts["gallery"]) if re.search(r"\d (kHz|MHz)", line)]
    assert lines and not any(may.unaccounted(line) for line in lines)
    for line in lines:
        digits = re.search(r"(\d) (?:kHz|MHz)", line)
        assert digits
        other = str((int(digits[1]) + 5) % 10)
        assert may.unaccounted(line[: digits.start(1)] + other + line[digits.end(1) :]), line


def test_every_number_of_a_made_up_result_traces_to_cells(made_up: Result, store: Store) -> None:
    assert untraced(made_up, findings(made_up)) == []


def test_a_changed_number_a_changed_name_and_a_digit_in_the_text_are_found(made_up: Result) -> None:
    first = findings(made_up)[0]
    wrong = tuple(
        dataclasses.replace(p, value=p.value * 1.001) if isinstance(p, Number) else p for p in first.words.parts
    )
    assert untraced(made_up, [dataclasses.replace(first, words=Words(wrong))])
    assert untraced(made_up, [Finding(Words(("about 7 kHz",)))])
    assert untraced(made_up, [Finding(Words((Name("19 m", "band"),)))])
    with pytest.raises(ValueError, match="a digit"):
        say("it moves by 7 kHz")


def test_a_figure_refuses_a_title_whose_numbers_it_does_not_draw(made_up: Result) -> None:
    row = table_of(made_up, "dips")[3]
    title = say("A dip at {mhz}", mhz=row.number("dip_mhz", "frequency")).title()
    for rows, shown in (([3], True), ([2], False)):
        with style("print") as look:
            sheet = Sheet(look)
            sheet.draws("dips", rows, "dip_mhz")
            sheet.header(Heading(title))
        assert bool(sheet.title) is shown
    assert not Drawn().shows(title) and Drawn({Cell("dips", 3, "dip_mhz")}).shows(title)
    sheet.title = Title(
        "A dip at 99.000 MHz", (dataclasses.replace(title.numbers[0], cells=(Cell("dips", 3, "dip_mhz"),)),)
    )
    assert not _true(sheet)  # changed by hand: the last sheet draws row 2


def lines_of(deck: Path) -> Iterator[str]:
    for slide in Presentation(str(deck)).slides:
        for shape in slide.shapes:
            if shape.has_text_frame:
                yield from shape.text_frame.text.split("\n")


def test_slides_say_what_the_findings_say(made_up: Result, tmp_path: Path) -> None:
    """Every line of a slide with a figure is a finding, a title that is drawn, the set-up, or a caption."""
    deck = tmp_path / "deck.pptx"
    deck.write_bytes(slides(made_up))
    known = [*sentences(made_up), *trust(made_up)]
    known += [words for f in big_numbers(made_up) if f.number for words in (f.number.text(), f.words.text())]
    kilohertz = [line for line in lines_of(deck) if re.search(r"\d kHz", line)]
    assert kilohertz
    for line in kilohertz:
        number = re.search(r"[\d.]+ kHz", line)
        assert number and any(number[0] in words for words in known), line
