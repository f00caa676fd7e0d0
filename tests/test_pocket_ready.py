"""The ready pocket page, results/pocket: its formulas against the solver, and that it works with the network gone."""

import base64
import functools
import json
import re
import threading
import time
from collections.abc import Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import PHONE, browser, complaints, offline, resize
from test_pocket import Hand, told_by_script

from tautwire.model.basics import Real
from tautwire.model.solve.solver import Arrays
from tautwire.studies.explorer.surface import POINTS
from tautwire.studies.pocket.fitted import PATHS, Form, chebyshev, exact, powers
from tautwire.studies.pocket.ready import HIGH, LEFT_OUT, LOW, dips_near, fitted_surface, radio_size, ready_controls
from tautwire.studies.study.setup import Setup

FOLDER = Path(__file__).parents[1] / "results" / "pocket"
FRESH = 4  # settings solved here; results/pocket/errors.csv has more
WORSE = 1.5  # times the worst error stated, which more settings would raise


@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    text = (FOLDER / "index.html").read_text(encoding="utf-8")
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)
    assert found
    told: dict[str, Any] = json.loads(found[1])
    return told


def form_of(told: dict[str, Any]) -> Form:
    whole = (
        np.frombuffer(base64.b64decode(told["data"]), "<i2").reshape(7, -1, 2) * np.array(told["scales"])[:, None, None]
    )
    ends = np.array(told["low"]), np.array(told["high"])
    return Form(
        tuple(map(tuple, told["powers"])), *ends, tuple(told["band"]), whole[..., 0] + 1j * whole[..., 1],
        tuple(told["speeds"]),
    )  # fmt: skip


def fresh(count: int, seed: int) -> Real:
    return np.random.default_rng(seed).uniform(LOW, HIGH, (count, 4))


def settings(places: Real) -> list[Any]:
    return [(dict(zip(PATHS, map(float, place), strict=True)), (0,)) for place in places]


def test_the_script_has_the_formulas_of_python(data: dict[str, Any], tmp_path: Path) -> None:
    surface = fitted_surface(ready_controls(), [form_of(one) for one in data["wires"][0]["fitted"]])
    asked = settings(fresh(20, 8))
    told = told_by_script(data, {"settings": asked, "outings": []}, tmp_path)
    for (setting, picked), shown in zip(asked, told["curves"], strict=True):
        right = surface.radio(surface.reflection(setting, picked), setting, picked)
        for curve, gamma in zip(shown["curves"], right, strict=True):
            assert np.array(curve) == pytest.approx(np.minimum(np.abs(gamma), 0.9999), abs=1e-9)


def test_what_the_page_says_of_its_errors_is_true(data: dict[str, Any], tmp_path: Path) -> None:
    """Fresh settings solved here: no dip below SWR 2 near a band is lost, and none is further off than is said."""
    made, places = ready_controls(), fresh(FRESH, 9)
    stated = {row["band"]: row for row in data["errors"]["bands"]}
    told = told_by_script(data, {"settings": settings(places), "outings": []}, tmp_path)
    soil: dict[str, Arrays] = {}
    compared = 0
    for (setting, picked), shown in zip(settings(places), told["curves"], strict=True):
        raw = made.raw(setting, picked)
        setup = Setup.read({k: v for k, v in raw.items() if k in Setup.model_fields})
        solved = exact(setup, made.study.bands, soil, POINTS)
        for band, gamma, curve in zip(made.study.bands, solved, shown["curves"], strict=True):
            row = next(b for b in data["bands"] if b["name"] == band.name)
            f = np.linspace(row["low"], row["high"], POINTS) * 1e6
            right, page = (
                dips_near(band, f, radio_size(setup.feed_system(), gamma, f)),
                dips_near(band, f, np.array(curve)),
            )
            for at in right:
                off = min((abs(x - at) for x in page), default=np.inf) / 1e3
                assert off < WORSE * stated[band.name]["worst_khz"] + 1
                compared += 1
    assert compared > FRESH


def test_each_bands_error_and_what_is_left_out_are_on_the_page(data: dict[str, Any]) -> None:
    text = (FOLDER / "index.html").read_text(encoding="utf-8")
    words = data["errors"]["words"]
    assert all(
        f"{b['name']} {r['median_khz']:.1f}" in words
        for b, r in zip(data["bands"], data["errors"]["bands"], strict=True)
    )
    assert all(row["settings"] >= 40 for row in data["errors"]["bands"]) and "Lost or merged dips" in words
    assert LEFT_OUT in text and "Not tried on a real phone" in text
    assert sum(f.stat().st_size for f in FOLDER.iterdir()) < 2e6


def test_formulas_have_the_terms_that_they_say() -> None:
    """Chebyshev's polynomials against cos(n arccos x); the powers below a plane."""
    x = np.linspace(-1, 1, 9)
    assert chebyshev(x, 5)[5] == pytest.approx(np.cos(5 * np.arccos(x)), abs=1e-12)
    assert len(powers((2, 2, 2, 2, 2))) == 21  # of total degree 2 in five variables: (7 over 2)


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def address() -> Iterator[tuple[str, ThreadingHTTPServer]]:
    with ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(FOLDER))) as server:
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/", server
        server.shutdown()


def test_served_once_it_works_without_a_network(address: tuple[str, ThreadingHTTPServer], tmp_path: Path) -> None:
    """From a plain static server; then server and network are gone, the page is opened anew, and answers."""
    where, server = address
    with browser(tmp_path / "profile", PHONE) as driver:
        resize(driver, PHONE)
        driver.get(where)
        driver.set_script_timeout(90)
        told = driver.execute_async_script(
            "const done = arguments[0]; navigator.serviceWorker.ready.then((r) => {"
            "const at = () => r.active.state === 'activated' ? done('ready') : setTimeout(at, 50); at(); });"
        )
        assert told == "ready"
        server.shutdown()
        server.server_close()
        offline(driver)
        driver.get("about:blank")
        driver.get(where)
        hand = Hand(driver)
        hand.touch("#tab-measured")
        hand.dip("20 m", "1392")
        assert re.match(r"(\d+ ft \d+ in|[\d.]+ m|\d+ cm) (in|out)|stay here", hand.text("answer"))
        began = time.monotonic()
        hand.touch("#tab-why")
        assert len(driver.find_elements("css selector", "#why li")) == 3 and time.monotonic() - began < 60
        assert complaints(driver) == []
        manifest = json.loads((FOLDER / "manifest.webmanifest").read_text(encoding="utf-8"))
        assert {"name", "short_name", "start_url", "display", "icons"} <= set(manifest)
        assert all((FOLDER / icon["src"]).exists() for icon in manifest["icons"])
