"""The pocket page: its script against Python, and an operator's walk from a dip typed to a log merged at home.

The study stands over perfect ground, where a solve takes little time; the page does not know.
"""

import itertools
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tautwire.studies.explorer.explorer import HERE as EXPLORER
from tautwire.studies.explorer.sliders import Controls, controls
from tautwire.studies.pocket.linear import causes, learned_from, predicted
from tautwire.studies.pocket.model import ALONG, Hung, Model, Read
from tautwire.studies.pocket.page import pocket
from tautwire.studies.pocket.stops import choose
from tautwire.studies.questions.explore import explored_study
from tautwire.studies.running.store import Store

RAW = {
    "study": {"name": "pine", "question": "How many turns tonight?", "swr_threshold": 2.0, "place": "The jetty"},
    "turns": {"segments": ["40 m CW", "20 m CW", "20 m phone"], "first": 60, "last": 72},
    "antenna": {"layout": "sloper", "length": "20.4 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    "coax": {"type": "RG-58", "length": "5 m", "height": "30 cm"},
    "mesh": {"segments_per_wavelength": 16, "max_segment": "2 m", "feed_segment": "30 cm"},
    "reel": {"wire_length": "22 m", "turn_length": "30 cm"},
    "site": {"soil": "perfect ground"},
}
SETTINGS, MEASURED = 20, 6  # of the 200 and 50 that tests/benchmarks/pocket_script.py does
Built = tuple[str, dict[str, Any], Model]


@pytest.fixture(scope="module")
def made() -> Controls:
    return controls(explored_study(RAW), [("antenna.slope", "25 deg", "35 deg")], [("coax.type", "RG-174")])


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
        const known = core.learned(log), o = log[log.length - 1], ahead = core.predicted(known, o), stops = core.stops(known, o);
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
