"""The report page as a person meets it: opened from a file without a network, on a desktop and on a phone."""

import html
import re
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import matplotlib.figure
import pytest
from browser import DESKTOP, PHONE, browser, complaints, offline, resize
from made_up_study import made_up_result, made_up_study

from tautwire.studies.reports.page import as_json, inline_svg, report, svg_text
from tautwire.studies.study.findings import DEFERENCE, cautions_for
from tautwire.studies.study.result import Failure, Result

SWEEP = {
    "antenna.slope": {"from": "20 deg", "to": "40 deg", "step": "10 deg"},
    "site.soil": ["sea water", "very dry ground"],
}


@pytest.fixture(scope="module")
def result() -> Result:
    return made_up_result(made_up_study(sweep=SWEEP))


@pytest.fixture(scope="module")
def page(result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    figure = matplotlib.figure.Figure()
    figure.subplots().plot([1, 2], [3, 4])
    folder = tmp_path_factory.mktemp("report")
    plots = {"a_plot": svg_text(figure), "again": svg_text(figure)}
    path = folder / "report.html"
    path.write_text(report(result, "tautwire run lakeside.toml", plots), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def driver(page: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with browser(tmp_path_factory.mktemp("profile")) as driver:
        offline(driver)
        yield driver


@pytest.fixture
def opened(driver: Any, page: Path) -> Iterator[Any]:
    resize(driver, DESKTOP)
    driver.get(page.as_uri())
    yield driver
    assert complaints(driver) == []


def test_every_caution_is_on_the_page_once(page: Path) -> None:
    text = html.unescape(page.read_text(encoding="utf-8"))
    assert [text.count(c.words) for c in cautions_for(["dips"])] == [1] * len(cautions_for(["dips"]))
    assert text.count(DEFERENCE) == 1


def column(driver: Any, name: str) -> list[str]:
    script = """
    const table = document.getElementById("table-dips");
    const i = [...table.tHead.rows[0].cells].findIndex((th) => th.textContent.trim() === arguments[0]);
    return [...table.tBodies[0].rows].map((row) => row.cells[i].textContent);"""
    cells: list[str] = driver.execute_script(script, name)
    return cells


def head(driver: Any, name: str) -> Any:
    buttons = driver.find_elements("css selector", "#table-dips thead button")
    return next(b for b in buttons if b.text == name)


class Outline(HTMLParser):
    """Ids and outside addresses of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("src", "href") and value and not value.startswith(("#", "data:")):
                self.outside.append(value)


def test_the_page_stands_alone(page: Path) -> None:
    """Nothing is fetched, and no id is there twice (HTML Living Standard, section 3.2.6: ids are unique)."""
    text = page.read_text(encoding="utf-8")
    outline = Outline()
    outline.feed(text)
    assert outline.outside == []
    assert "@import" not in text and not re.search(r"url\((?!#)", text)
    twice = {i for i in outline.ids if outline.ids.count(i) > 1}
    assert not twice, f"{twice}"


def test_the_answer_comes_first(opened: Any, result: Result) -> None:
    assert opened.find_element("tag name", "h1").text == result.study.spec.question
    places = [e.rect["y"] for e in opened.find_elements("css selector", "#answer, #live, section[aria-label=Plots], "
              "section[aria-label=Tables], section[aria-label=Inputs], #trust")]  # fmt: skip
    assert len(places) == 6 and places == sorted(places)
    dips = result.frames["dips"]
    mhz = dips[dips["band"] == "20 m"]["dip_mhz"]
    assert f"the 20 m dip moves by {(mhz.max() - mhz.min()) * 1e3:.0f} kHz" in opened.find_element("id", "answer").text


def test_tables_sort_by_mouse_and_keyboard(opened: Any, result: Result) -> None:
    expected = sorted(result.frames["dips"]["dip_mhz"])
    head(opened, "dip_mhz").click()
    assert [float(x) for x in column(opened, "dip_mhz")] == pytest.approx(expected, abs=1e-4)
    assert opened.find_element("css selector", "th[aria-sort]").get_attribute("aria-sort") == "ascending"
    head(opened, "dip_mhz").send_keys("\n")
    assert [float(x) for x in column(opened, "dip_mhz")] == pytest.approx(expected[::-1], abs=1e-4)
    assert opened.find_element("css selector", "th[aria-sort]").get_attribute("aria-sort") == "descending"
    head(opened, "band").send_keys(" ")
    assert column(opened, "band") == ["20 m"] * 6 + ["40 m"] * 6
    assert "Sorted by band" in opened.find_element("id", "spoken").get_attribute("textContent")


def test_choosing_a_case_shows_its_curve(opened: Any, result: Result) -> None:
    row = result.frames["dips"].query("slope_deg == 40 and soil == 'very dry ground' and band == '20 m'").iloc[0]
    select = opened.find_element("id", "case")
    option = next(o for o in select.find_elements("tag name", "option") if "40" in o.text and "very dry" in o.text)
    option.click()
    reading = opened.find_element("id", "reading").text
    assert f"20 m dips at {row['dip_mhz']:.3f} MHz with SWR {row['dip_swr']:.2f}" in reading
    opened.find_element("id", "before").click()
    assert "sea water" in opened.find_element("id", "reading").text


def test_the_curve_can_be_read_by_keyboard(opened: Any, result: Result) -> None:
    plot = opened.find_elements("css selector", "#swr svg")[1]
    plot.send_keys("\ue014")  # right arrow
    text = opened.find_element("id", "reading").text
    told = re.search(r"20 m, slope 20°, soil sea water: SWR ([\d.]+) at ([\d.]+) MHz", text)
    assert told, text
    sweep = result.frames["sweeps"].query("slope_deg == 20 and soil == 'sea water' and band == '20 m'")
    nearest = sweep.iloc[(sweep["f_mhz"] - float(told[2])).abs().argmin()]
    assert float(told[1]) == pytest.approx(nearest["swr"], abs=0.006)


def test_a_dip_leads_to_its_case(opened: Any) -> None:
    points = opened.find_elements("css selector", "#dips svg .point")
    assert len(points) == 12
    opened.execute_script("arguments[0].dispatchEvent(new MouseEvent('click'))", points[1])
    assert "slope 30" in opened.find_element("id", "reading").text


def test_a_phone_needs_no_sideways_scrolling(opened: Any) -> None:
    resize(opened, PHONE)
    time.sleep(0.2)
    assert opened.execute_script("return document.documentElement.scrollWidth") <= PHONE[0]
    small = opened.execute_script("""
        return [...document.querySelectorAll("button, select, summary")].filter((e) => e.offsetParent
          && e.getBoundingClientRect().height < 24).map((e) => e.textContent.trim());""")
    assert small == []  # WCAG 2.2, success criterion 2.5.8: targets of 24 by 24 CSS pixels at least


def test_rows_filter_by_what_is_typed(opened: Any) -> None:
    """Only rows that hold the words stay; all come back when they go."""
    box = next(b for b in opened.find_elements("css selector", ".filter") if b.is_displayed())
    table = box.find_element("xpath", "following-sibling::div[contains(@class, 'wide')]")

    def shown() -> list[str]:
        return [row.text for row in table.find_elements("css selector", "tbody tr") if row.is_displayed()]

    every, field = shown(), box.find_element("tag name", "input")
    field.send_keys("20 M")
    assert 0 < len(shown()) < len(every) and all("20 m" in row for row in shown())
    field.clear()
    field.send_keys(" ")
    assert shown() == every


def test_print_holds_the_answer_and_what_is_open(opened: Any) -> None:
    opened.execute_script("dispatchEvent(new Event('beforeprint'))")
    closed = opened.find_elements("css selector", "#answer details:not([open])")
    tables = opened.find_elements("css selector", "details.table[open]")
    assert not closed and len(tables) == 1
    opened.execute_script("dispatchEvent(new Event('afterprint'))")


def test_words_stand_out_from_the_paper_light_and_dark(opened: Any) -> None:
    """WCAG 2.2, success criterion 1.4.3: a contrast of 4.5 to 1; 1.4.11: 3 to 1 for curves."""
    for scheme in ("light", "dark"):
        media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        opened.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
        names = ("paper", "raised", "ink", "quiet", "pine", "ember", "plum", "lake", "bark", "stone")
        colours = opened.execute_script(
            "const s = getComputedStyle(document.documentElement);"
            "return arguments[0].map((n) => s.getPropertyValue('--' + n).trim());", names)  # fmt: skip
        light = {n: luminance(c) for n, c in zip(names, colours, strict=True)}
        for name in names[2:]:
            for paper in ("paper", "raised"):
                high, low = sorted((light[name], light[paper]), reverse=True)
                least = 4.5 if name in ("ink", "quiet") else 3.0
                assert (high + 0.05) / (low + 0.05) >= least, f"{name} on {paper}, {scheme}"
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb", as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_failures_are_named(result: Result) -> None:

    broken = Result(result.study, result.frames, [Failure({"slope_deg": 20}, "no answer within 5 s", {})])
    text = report(broken, "tautwire run x", {})
    assert "FAILED: slope 20°: no answer within 5 s" in text and 'class="mark"' in text


def test_texts_cannot_break_the_page(result: Result) -> None:
    study = made_up_study(study={"name": "odd", "question": "</script><b>is it?</b>", "bands": ["20 m"]})
    text = report(made_up_result(study), "tautwire run x", {})
    assert "<b>is it?" not in text
    assert "</script>" not in as_json({"a": "</script>"})


def test_ids_of_figures_do_not_meet() -> None:
    figure = matplotlib.figure.Figure()
    figure.subplots().plot([1, 2], [3, 4])
    text = inline_svg(svg_text(figure), "one", "a plot of one")
    assert 'aria-label="a plot of one"' in text
    assert all(i.startswith("one-") for i in re.findall(r'\bid="([^"]*)"', text))
    assert all(i.startswith("one-") for i in re.findall(r"url\(#([^)]*)\)", text))
