"""How sure an answer is: what may be off, how far it moves dips and SWR, and what to measure to know better."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import band_named
from tautwire.studies.running.store import Store
from tautwire.studies.study.raw import USUAL, usual_sd
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.local_model import Known
from tautwire.studies.wants.spread import points
from tautwire.studies.wants.spread.sampling import Spread, narrowed, spread_of
from tautwire.studies.wants.spread.values import Joint, Uncertain, uncertain, with_offsets

RAW: dict[str, Any] = {
    "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm"},
    "coax": {"type": "RG-58", "length": "5 m"},
}
BAND = band_named("20 m")


@pytest.fixture(scope="module")
def remember(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("spread"))


@pytest.fixture(scope="module")
def spread(remember: Store) -> Spread:
    setup = Setup.read(RAW)
    return spread_of(setup, setup.build().solver(remember), BAND, Joint.of(uncertain(setup)))


def exact(u: np.ndarray, remember: Store) -> tuple[float, float]:
    setup = Setup.read(RAW)
    moved = with_offsets(setup, uncertain(setup), u)
    row = band_row(BAND, moved.build().solver(remember).response(*window(BAND)), moved.feed_system(), 3.0)
    return row["dip_mhz"] * 1e6, row["swr_worst"]


def test_every_part_of_a_set_up_has_its_usual_spread() -> None:
    paths = {v.path for v in uncertain(Setup.read(RAW))}
    assert {"antenna.length", "antenna.slope", "site.soil.er", "wire.jacket", "coax.height", "mesh.feed_segment",
            "transformer.terminal_capacitance", "transformer.core_scale", "coax.loss_scale"} <= paths  # fmt: skip
    assert "counterpoise.1.length" not in paths and "transformer.magnetising_inductance" not in paths
    two = Setup.read({**RAW, "counterpoise": [{"length": "2 m"}, {"length": "3 m", "height": "5 cm"}]})
    assert {"counterpoise.1.length", "counterpoise.2.height"} <= {v.path for v in uncertain(two)}
    free = Setup.read({**RAW, "site": {"soil": "free space"}})
    assert not any(v.path.startswith("site.") for v in uncertain(free))
    assert usual_sd("site.soil.er", 13) == pytest.approx(0.35 * 13) and usual_sd("antenna.length", 20) == 0.05
    assert all(row.measured < row.sd for row in USUAL.values())


def test_ones_own_spread_replaces_the_usual_one() -> None:
    own = {"antenna.length": Known(sd=0.01), "wire.jacket": Known(sd=0.0), "coax.height": Known(sd=0.005),
           "coax.length": Known(low=4.8, high=5.2)}  # fmt: skip
    here = {v.path: v for v in uncertain(Setup.read(RAW), own)}
    assert here["antenna.length"].sd == 0.01 and "wire.jacket" not in here
    assert here["coax.height"].at(1.0) == pytest.approx(0.02 * math.exp(0.25))
    assert here["coax.length"].sd == pytest.approx(0.4 / math.sqrt(12)) and here["coax.length"].at(9.0) == 5.2
    with pytest.raises(InputError, match="spread.antenna.apex_height"):
        uncertain(Setup.read(RAW), {"antenna.apex_height": Known(sd=0.1)})


def test_one_value_at_a_time_agrees_with_solves(spread: Spread, remember: Store) -> None:
    base, _ = exact(np.zeros(len(spread.joint.values)), remember)
    assert spread.base.dip[0] == pytest.approx(base, abs=1e3)
    for k in range(len(spread.joint.values)):
        u = np.zeros(len(spread.joint.values))
        u[k] = 1.0
        dip, worst = exact(u, remember)
        told = spread.at(u[None])
        near = pytest.approx(dip - base, abs=0.025 * spread.half_width("dip"), rel=0.06)
        assert told.dip[0] - spread.base.dip[0] == near, spread.joint.values[k]
        assert told.worst[0] == pytest.approx(worst, abs=0.03)


def test_all_values_together_agree_with_solves(spread: Spread, remember: Store) -> None:
    u = spread.joint.draw(6, seed=7)
    told = spread.at(u)
    truth = np.array([exact(x, remember) for x in u])
    assert np.abs(told.dip - truth[:, 0]).max() < 0.25 * spread.half_width("dip")
    assert told.worst == pytest.approx(truth[:, 1], rel=0.06)


def test_quantiles_are_those_of_the_sum_of_many_small_causes(spread: Spread) -> None:
    """Independent causes add as squares (any text); the quantiles of a normal law from scipy.stats.norm."""
    sd = math.sqrt(float(np.sum(spread.shares**2)))
    assert spread.half_width("dip") == pytest.approx(norm.ppf(0.84) * sd, rel=0.12)
    assert spread.half_width("dip", 95) == pytest.approx(norm.ppf(0.975) * sd, rel=0.12)
    low, high = spread.interval("worst", 95)
    assert 1 < low < spread.base.worst[0] < high
    assert spread.chance(low) < 0.05 < 0.95 < spread.chance(high)


def test_what_to_measure_is_what_leaves_least(spread: Spread, remember: Store) -> None:
    what, left = narrowed([spread])[0]
    names = [v.name for v in spread.joint.values]
    assert names[int(np.abs(spread.shares).argmax())] == "terminal capacitance" and "transformer" in what
    known = {"transformer.terminal_capacitance": Known(sd=0.3e-12)}
    narrower = Joint.of(uncertain(Setup.read(RAW), known))
    again = spread_of(spread.setup, spread.setup.build().solver(remember), spread.band, narrower)
    assert again.half_width("dip") < 0.75 * spread.half_width("dip")
    assert left[0] < again.half_width("dip") * 1.1


def test_values_that_hang_together_are_drawn_together() -> None:
    values = tuple(Uncertain(f"antenna.{n}", 1.0, 0.1, "added", n) for n in ("length", "slope"))
    joint = Joint.of(values, {("antenna.length", "antenna.slope"): -0.9})
    assert np.corrcoef(joint.draw(1024).T)[0, 1] == pytest.approx(-0.9, abs=0.02)
    with pytest.raises(InputError, match="spread.correlation"):
        Joint.of((*values, Uncertain("antenna.sag", 1.0, 0.1, "added", "sag")),
                 {("antenna.length", "antenna.slope"): 0.9, ("antenna.length", "antenna.sag"): 0.9,
                  ("antenna.slope", "antenna.sag"): -0.9})  # fmt: skip


def test_points_beside_the_code_are_scipys():
    kept = points.sobol(points.COUNT, points.DIMENSIONS)
    assert kept == pytest.approx(points.computed(points.COUNT, points.DIMENSIONS, points.SEED), abs=1e-9)
    assert points.sobol(100, 5) == pytest.approx(kept[:100, :5])
    assert len(points.sobol(points.COUNT + 1, 2)) == points.COUNT + 1
