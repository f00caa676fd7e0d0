"""Fit once, predict with give or take: a third hang of the same wire, from sweeps of two others.

The truth is made up: values drawn from their usual spreads, sweeps with an analyser's noise.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from lakeside import RAW

from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.running.store import Store
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.fit.fitted import fit_text, posterior, with_fit, without
from tautwire.studies.wants.fit.fitting import Measured, fit
from tautwire.studies.wants.fit.want import FitSpec, fit_tables, made_up_sweep, parameters_of
from tautwire.studies.wants.local_model import WireModel, with_values
from tautwire.studies.wants.spread.sampling import Spread, spread_of
from tautwire.studies.wants.spread.values import uncertain
from tautwire.studies.wants.spread.want import SpreadSpec

HANGS = ({"antenna.slope": np.radians(20)}, {"antenna.slope": np.radians(35)})
THIRD = {"antenna.slope": np.radians(50), "antenna.feed_height": 1.6}
F = (np.linspace(6.6e6, 7.8e6, 41), np.linspace(13e6, 15.4e6, 41))
BANDS = (band_named("40 m"), band_named("20 m"))
STAYS = ("antenna.length", "wire.", "transformer.", "mesh.", "coax.loss_scale")  # what the next hang has too


def truth_of(seed: int) -> dict[str, float]:
    """Values of the wire, transformer and coax drawn from their usual spreads, up to 2 standard deviations off."""
    rng = np.random.default_rng(seed)
    values = [v for v in uncertain(Setup.read(RAW)) if v.path.startswith(STAYS)]
    return {v.path: float(v.at(np.clip(rng.normal(), -2, 2))) for v in values}


def spread_in(setup: Setup, band: Band, spec: SpreadSpec, remember: Store) -> Spread:
    return spread_of(setup, setup.build().solver(remember), band, spec.joint(setup))


def reach(spread: Spread) -> tuple[float, float, float]:
    low, high = spread.interval("dip", 95)
    return low, high, high - low


@pytest.mark.parametrize("seed", [1, 2])
def test_a_third_hang_is_predicted_within_half_the_interval(seed: int, remember: Store) -> None:
    start, truth = Setup.read(RAW), truth_of(seed)
    rng = np.random.default_rng(seed)
    measured = [
        Measured(made_up_sweep(with_values(start, {**truth, **hang}), f, "radio", 0.003, rng, "", remember), hang)
        for hang in HANGS for f in F
    ]  # fmt: skip
    spec = FitSpec.model_validate({"free": "usual", "sweeps": [{"file": "x", "change": {"antenna.slope": "20 deg"}}]})
    found = fit(start, measured, parameters_of(start, spec), wires=WireModel(remember))
    frames: dict[str, Any] = {k: pd.DataFrame(v) for k, v in fit_tables(found).items()}
    after = SpreadSpec.model_validate(posterior(frames))
    for band in BANDS:
        true = with_values(start, {**truth, **THIRD})
        dip = band_row(band, true.build().solver(remember).response(*window(band)), true.feed_system(), 3.0)["dip_mhz"]
        before = spread_in(with_values(start, THIRD), band, SpreadSpec(), remember)
        fitted = spread_in(with_values(found.setup, THIRD), band, after, remember)
        low, high, wide = reach(fitted)
        assert low < dip * 1e6 < high
        assert wide < 0.5 * reach(before)[2]


def test_a_fit_file_carries_what_stays_unsure_and_ones_own_words_go_before(tmp_path: Path) -> None:
    rows = [
        {"parameter": "antenna.length", "estimate_sd": 0.012},
        {"parameter": "wire.jacket", "estimate_sd": 4e-5},
        {"parameter": "antenna.slope", "estimate_sd": 1.0},
    ]
    pairs = [
        {"parameter": "wire.jacket", "with_parameter": "antenna.length", "correlation": -0.8},
        {"parameter": "antenna.slope", "with_parameter": "antenna.length", "correlation": 0.3},
    ]
    table = posterior({"fit": pd.DataFrame(rows), "fit_correlation": pd.DataFrame(pairs)})
    assert set(table["values"]) == {"antenna.length", "wire.jacket"}, "a slope is hung anew each time"
    assert table["correlation"] == [["wire.jacket", "antenna.length", -0.8]]
    (tmp_path / "fit.toml").write_text(fit_text({**RAW, "spread": table}, {"notes": []}), encoding="utf-8")
    both = with_fit({"spread": {"samples": 64}}, tmp_path / "fit.toml")["spread"]
    assert both["samples"] == 64 and both["values"] == table["values"]
    joint = SpreadSpec.model_validate(both).joint(Setup.read(RAW))
    place = {v.path: i for i, v in enumerate(joint.values)}
    assert joint.values[place["antenna.length"]].sd == pytest.approx(0.012)
    assert joint.correlation[place["antenna.length"], place["wire.jacket"]] == pytest.approx(-0.8)
    own = with_fit({"spread": {"antenna.length": {"sd": "1 m"}}}, tmp_path / "fit.toml")["spread"]
    assert own["values"]["antenna.length"] == {"sd": "1 m"} and own["correlation"] == []
    anew = without(both, ["antenna.length"])
    assert set(anew["values"]) == {"wire.jacket"} and anew["correlation"] == []
