"""The pocket page: its script against Python, and an operator's walk from a dip typed to a log merged at home.

The study stands over perfect ground, where a solve takes little time; the page does not know.
"""

import html
import itertools
import json
import re
import shutil
import subprocess
import time
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import PHONE, browser, complaints, offline, resize

from tautwire.model.errors import InputError
from tautwire.studies.explorer.explorer import HERE as EXPLORER
from tautwire.studies.explorer.sliders import Controls, controls
from tautwire.studies.learned.outing import Dip, Outing
from tautwire.studies.learned.place import log_of
from tautwire.studies.learned.posterior import Log, learned, predict
from tautwire.studies.logbook import logbook
from tautwire.studies.pocket.basis import ALONG, Hung, Model, Read
from tautwire.studies.pocket.linear import causes, choose, learned_from, predicted
from tautwire.studies.pocket.page import HERE as POCKET
from tautwire.studies.pocket.page import pocket
from tautwire.studies.questions.explore import explored_study
from tautwire.studies.running.store import Store
from tautwire.studies.study.findings import DEFERENCE, cautions_for
from tautwire.studies.study.setup import Setup

RAW = {
    "study": {"name": "pine", "question": "How many turns tonight?", "swr_threshold": 2.0, "place": "The jetty"},
    "turns": {"segments": ["40 m CW", "20 m CW", "20 m phone"], "first": 60, "last": 72},
    "antenna": {"layout": "sloper", "length": "20.4 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    "coax": {"type": "RG-58", "length": "5 m", "height": "30 cm"},
    "mesh": {"segments_per_wavelength": 16, "max_segment": "2 m", "feed_segment": "30 cm"},
    "reel": {"wire_length": "22 m", "turn_length": "30 cm"},
    "site": {"soil": "perfect ground"},
    "sweep": {"site.soil": ["perfect ground", "free space"]},
}
RANGES = [("antenna.slope", "25 deg", "35 deg")]
SETTINGS, MEASURED = 20, 6  # of the 200 and 50 that tests/benchmarks/pocket_script.py does
Built = tuple[str, dict[str, Any], Model]


@pytest.fixture(scope="module")
def made() -> Controls:
    return controls(explored_study(RAW), RANGES)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("store"))


@pytest.fixture(scope="module")
def built(made: Controls, store: Store) -> Built:
    return pocket(made, store, workers=0)


def told_by_script(data: dict[str, Any], asks: dict[str, Any], folder: Path) -> dict[str, Any]:
    """What core.js makes of settings and outings, by Node."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no Node on this machine")
    (folder / "data.json").write_text(json.dumps({"data": data, "asks": asks}))
    script = """
      const { data, asks } = JSON.parse(require("fs").readFileSync(process.argv[1]));
      const core = require(process.argv[2])(data);
      const curves = asks.settings.map(([s, p]) => { const { curves, readings } = core.nominalCurves(s, p);
        return { curves: curves.map((c) => [...c]), readings }; });
      const measured = asks.outings.map((log) => {
        const known = core.learned(log), o = log[log.length - 1];
        const ahead = core.predicted(known, o), stops = core.stops(known, o);
        return { weights: known.weights, mean: known.usual.mean, covariance: known.usual.covariance, shift: ahead.shift,
          sd: ahead.sd, size: ahead.size, causes: core.causes(known, o).slice(0, 3).map((c) => c.index),
          matrix: stops.matrix, list: stops.list, at: stops.segments.map((s) => s.stop),
          chance: stops.segments.map((s) => s.chance) };
      });
      console.log(JSON.stringify({ curves, measured }));"""
    done = subprocess.run(
        [node, "-e", script, str(folder / "data.json"), str(EXPLORER / "core.js")], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def random_settings(model: Model, count: int, seed: int = 3) -> list[tuple[dict[str, float], tuple[int, ...]]]:
    """Settings anywhere on the sliders, and choices."""
    rng, made = np.random.default_rng(seed), model.controls
    return [
        ({s.path: float(rng.uniform(s.low, s.high)) for s in made.sliders},
         tuple(int(rng.integers(len(c.texts))) for c in made.choices))
        for _ in range(count)
    ]  # fmt: skip


def random_outings(model: Model, count: int, seed: int = 4) -> list[list[Hung]]:
    """Logs of one to three outings at random settings, each with one or more dips near those modelled."""
    rng, logs = np.random.default_rng(seed), []
    for (setting, picked), more in zip(random_settings(model, count, seed), itertools.cycle((1, 2, 3)), strict=False):
        log = []
        for k in range(more):
            there = {**setting, ALONG: float(np.clip(setting[ALONG] + 0.3 * k, *ends(model)))}
            base = model.nominal(there, picked)
            which = rng.permutation([b for b, n in enumerate(base) if np.isfinite(n.dip)])[: int(rng.integers(1, 3))]
            dips = tuple(
                Read(int(b), float(base[b].dip * np.exp(rng.normal(0, 0.008))),
                     float(rng.uniform(1.1, 2.0)) if rng.random() < 0.6 else None)
                for b in which
            )  # fmt: skip
            log.append(Hung("The jetty", f"day {k // 2}", there, picked, dips))
        if all(o.dips for o in log):
            logs.append(log)
    return logs


def ends(model: Model) -> tuple[float, float]:
    return next((s.low, s.high) for s in model.controls.sliders if s.path == ALONG)


def as_asked(log: list[Hung]) -> list[dict[str, Any]]:
    return [
        {"place": o.place, "hang": o.hang, "setting": o.setting, "picked": o.picked,
         "dips": [{"band": d.band, "f": d.f_mhz, "swr": d.swr} for d in o.dips]}
        for o in log
    ]  # fmt: skip


def compare(built: Built, settings: int, measured: int, folder: Path) -> None:
    """Script and Python, at random settings and after random measurements."""
    _, data, model = built
    places, logs = random_settings(model, settings), random_outings(model, measured)
    told = told_by_script(data, {"settings": places, "outings": [as_asked(log) for log in logs]}, folder)
    for (setting, picked), shown in zip(places, told["curves"], strict=True):
        for one, curve, read in zip(model.nominal(setting, picked), shown["curves"], shown["readings"], strict=True):
            assert np.array(curve) == pytest.approx(one.size, abs=1e-9)
            assert (read["dip"] is None) == (not np.isfinite(one.dip))
            if read["dip"] is not None:
                assert (read["dip"], read["size"]) == pytest.approx((one.dip, one.least), abs=1e-7)
    assert len(logs) >= 0.8 * measured
    for log, shown in zip(logs, told["measured"], strict=True):
        known, now = learned_from(model, log), log[-1]
        assert shown["weights"] == pytest.approx(known.weights, abs=1e-7)
        assert np.array(shown["mean"]) == pytest.approx(known.usual.mean, abs=1e-7)
        assert np.array(shown["covariance"]) == pytest.approx(known.usual.covariance, abs=1e-7)
        ahead, stops = predicted(model, known, now), choose(model, known, now)
        for name in ("shift", "sd", "size"):
            assert shown[name] == pytest.approx(getattr(ahead, name), abs=1e-9)
        assert shown["causes"] == [i for i, _ in causes(model, known, now)][:3]
        assert np.array(shown["matrix"]) == pytest.approx(stops.matrix, rel=1e-7)
        assert [(s["stop"], tuple(s["segments"])) for s in shown["list"]] == [(s.stop, s.segments) for s in stops.stops]
        assert tuple(shown["at"]) == stops.at and shown["chance"] == pytest.approx(stops.chance)


def test_the_script_computes_what_python_does(built: Built, tmp_path: Path) -> None:
    compare(built, SETTINGS, MEASURED, tmp_path)


def test_without_readings_nothing_is_learned(built: Built) -> None:
    """The page's ± beforehand is that of the usual table: about what 'tautwire predict' states, in the same units."""
    model = built[2]
    place = {s.path: s.start for s in model.controls.sliders}
    ahead = predicted(model, learned_from(model, []), Hung("x", "y", place, (0,)))
    assert np.all((ahead.sd > 0.004) & (ahead.sd < 0.04))


def test_a_reading_is_taken_over_and_narrows_others(built: Built) -> None:
    """A dip read 1.3 % low moves its own band almost all the way, and the next band with it."""
    model = built[2]
    place = {s.path: s.start for s in model.controls.sliders}
    base = model.nominal(place, (0,))
    before = predicted(model, learned_from(model, []), Hung("x", "y", place, (0,)))
    now = Hung("x", "y", place, (0,), (Read(1, base[1].dip * 0.987, 1.4),))
    after = predicted(model, learned_from(model, [now]), now)
    assert after.shift[1] == pytest.approx(np.log(0.987), abs=0.002)
    assert after.shift[0] < 0.3 * np.log(0.987) and after.sd[0] < 0.8 * before.sd[0] and after.sd[1] < 0.003


def test_it_says_what_the_full_model_of_the_logbook_does(built: Built, store: Store) -> None:
    """studies/learned, which solves near the set-up instead of using slopes: dips and ± of the next outing."""
    model = built[2]
    made = model.controls
    place = {s.path: s.start for s in made.sliders}
    base = model.nominal(place, (0,))
    seen = [(b, base[b].dip * f) for b, f in ((1, 0.993), (0, 0.996))]
    setup = Setup.read({k: v for k, v in made.raw(place, (0,)).items() if k in Setup.model_fields})
    there = Outing("x", "y", setup, tuple(Dip(model.bands[b], f * 1e6) for b, f in seen))
    full = predict(learned(Log([there], model.bands, store)), there, model.bands)
    now = Hung("x", "y", place, (0,), tuple(Read(b, f) for b, f in seen))
    page = predicted(model, learned_from(model, [now]), now)
    for b, one in enumerate(full):
        assert base[b].dip * np.exp(page.shift[b]) == pytest.approx(one.middle / 1e6, rel=0.001)
        assert page.sd[b] == pytest.approx(one.sd / one.middle, rel=0.4)


@pytest.fixture(scope="module")
def page(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "pocket.html"
    path.write_text(built[0], encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with browser(tmp_path_factory.mktemp("profile"), PHONE) as driver:
        yield driver


class Hand:
    """A finger that counts its touches."""

    def __init__(self, driver: Any) -> None:
        self.driver, self.touches = driver, 0

    def touch(self, selector: str, name: str = "") -> None:
        found = [e for e in self.driver.find_elements("css selector", selector) if e.text.startswith(name)]
        found[0].click()
        self.touches += 1

    def dip(self, band: str, digits: str) -> None:
        self.touch("#bands button", band)
        for key in digits:
            self.touch(f"#pad [data-key='{key}']")

    def text(self, name: str) -> str:
        return str(self.driver.find_element("id", name).text)


def offsets(driver: Any) -> list[str]:
    return [e.text for e in driver.find_elements("css selector", "#after tbody tr")]


@pytest.mark.parametrize("size", [PHONE, (844, 390)])
def test_an_operators_walk(
    driver: Any, page: Path, built: Built, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A dip typed, turns named in six touches; a second one, its cause, kept and exported in twelve more; merged."""
    model = built[2]
    resize(driver, size)
    offline(driver)
    driver.get(page.as_uri())
    driver.execute_script("localStorage.clear()")
    driver.refresh()
    hand = Hand(driver)
    place = {s.path: s.start for s in model.controls.sliders}
    base = model.nominal(place, (0,))
    low = f"{base[1].dip - 0.4:.2f}".replace(".", "")
    hand.touch("#tab-measured")
    hand.dip("20 m", low)
    assert hand.touches <= 6
    answer = hand.text("answer")
    assert re.match(r"\d+(\.5)? turns? in\n", answer) and "20 m CW" in answer and "%" in answer
    box = driver.find_element("css selector", "#answer b").rect
    assert box["y"] + box["height"] <= size[1]  # seen without scrolling
    hand.touches = 0
    hand.dip("40 m", f"{base[0].dip - 0.12:.2f}".replace(".", ""))
    hand.touch("#tab-why")
    assert len(driver.find_elements("css selector", "#why li")) == 3 and "kHz" in hand.text("why")
    hand.touch("#tab-log")
    hand.touch("#keep")
    assert hand.text("said") == "Kept in this phone."
    hand.touch("#save")
    assert hand.touches <= 12
    assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0]
    told = driver.execute_script("return document.getElementById('text').value")
    file = tmp_path / "tautwire-log.json"
    file.write_text(told)
    driver.refresh()  # what was kept is there again, and learned from
    hand.touch("#tab-log")
    assert "20 m" in hand.text("history") and driver.find_elements("css selector", "#qr svg")
    assert complaints(driver) == []
    monkeypatch.setenv(logbook.FOLDER_VARIABLE, str(tmp_path / "book"))
    assert logbook.merge(file) == (1, 0) and logbook.merge(file) == (0, 1)
    (entry,) = logbook.entries("The jetty")
    assert set(entry.dips_hz) == {"20 m", "40 m"} and entry.log.turns[0].turns == pytest.approx(68)
    log = log_of([entry], model.bands, Store(tmp_path / "store"))
    none = Log([], model.bands, log.remember)
    then, before = (predict(learned(one), replace(log.outings[0], dips=()), model.bands, 256) for one in (log, none))
    assert all(a.sd < 0.7 * b.sd for a, b in zip(then, before, strict=True))


def test_it_can_be_used_with_keys_and_is_named(driver: Any, page: Path) -> None:
    resize(driver, PHONE)
    driver.get(page.as_uri())
    unnamed = driver.execute_script("""
      return [...document.querySelectorAll("button, input, select, textarea, [role=tabpanel]")].filter((e) =>
        !(e.getAttribute("aria-label") || e.getAttribute("aria-labelledby") || e.textContent.trim()
          || e.labels?.length));""")
    assert unnamed == []
    tab = driver.find_element("id", "tab-where")
    tab.send_keys("\ue014")  # right
    assert driver.switch_to.active_element.get_attribute("id") == "tab-measured"
    driver.find_element("css selector", "#bands button").send_keys("\ue014")
    band = driver.find_element("css selector", "#bands [aria-checked=true]")
    driver.find_element("id", "mhz").send_keys("13,92" if band.text == "20 m" else "7,02")
    assert driver.find_element("css selector", "#answer b").text
    buttons = [e for e in driver.find_elements("css selector", "button") if e.is_displayed()]
    assert min(e.rect["height"] for e in buttons) >= 44  # WCAG 2.2, success criterion 2.5.5


@pytest.mark.parametrize(("text", "words"), [("99", ""), ("3.5", "no frequency near"), ("20.5", "no frequency near")])
def test_a_frequency_that_is_none_is_told(driver: Any, page: Path, text: str, words: str) -> None:
    driver.get(page.as_uri())
    hand = Hand(driver)
    hand.touch("#tab-measured")
    hand.touch("#bands button", "20 m")
    driver.find_element("id", "mhz").send_keys(text + ("00" if words else ""))
    assert words in hand.text("fault") and not driver.find_elements("css selector", "#answer b")


def test_a_sweep_file_is_read(driver: Any, page: Path, built: Built, tmp_path: Path) -> None:
    """Touchstone, as the standard has it: comments, frequency unit, magnitude and angle."""
    f = np.linspace(13, 15, 201)
    size = np.minimum(0.1 + np.abs(f - 13.9), 0.9)
    lines = ["! from a test", "# MHZ S MA R 50", *(f"{a:.3f} {b:.4f} 0" for a, b in zip(f, size, strict=True))]
    file = tmp_path / "tonight.s1p"
    file.write_text("\n".join(lines))
    driver.get(page.as_uri())
    hand = Hand(driver)
    hand.touch("#tab-measured")
    driver.find_element("id", "sweep").send_keys(str(file))
    time.sleep(0.5)
    assert driver.find_element("id", "mhz").get_attribute("value") == "13.900"
    assert "in" in hand.text("answer")


def test_every_caution_is_on_the_page_once(built: Built) -> None:
    text = html.unescape(built[0].split('<script type="application/json"')[0])
    cautions = cautions_for(["stress", "exposure"])
    assert [text.count(c.words) for c in cautions] == [1] * len(cautions) and text.count(DEFERENCE) == 1


def test_texts_are_all_used_and_all_there() -> None:
    """The one table for translation against script and template."""
    texts = set(tomllib.loads((POCKET / "texts.toml").read_text(encoding="utf-8")))
    code = (POCKET / "pocket.js").read_text() + (POCKET / "pocket.html.j2").read_text()
    used = set(re.findall(r"\bT\.(\w+)", code)) | set(re.findall(r"{{ t(?:\.|\[\")(\w+)", code))
    used |= set(re.findall(r"}} {{ t\.(\w+)", code)) | {"where", "measured", "why", "log", "safety", "curves"}
    assert used <= texts
    assert texts <= used


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ("nonsense", "--merge"),
        ('{"tautwire_log": 3, "entries": []}', "--merge"),
        (
            '{"tautwire_log": 2, "entries": [{"log": {"id": "../../etc/x", "place": "a", "date": "2026-05-31"}}]}',
            "log.id",
        ),
        ('{"tautwire_log": 2, "entries": [{"log": {"id": "0123456789", "place": "a", "date": "today"}}]}', "log.date"),
        (
            '{"tautwire_log": 2, "entries": [{"log": {"id": "0123456789", "place": "a", "date": "2026-05-31"}}]}',
            "antenna",
        ),
    ],
)
def test_a_file_that_is_no_log_is_refused(
    told: str, field: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(logbook.FOLDER_VARIABLE, str(tmp_path / "book"))
    file = tmp_path / "log.json"
    file.write_text(told)
    with pytest.raises(InputError) as caught:
        logbook.merge(file)
    assert str(caught.value.field).startswith(field) and not (tmp_path / "book").exists()
