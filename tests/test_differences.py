"""The give or take of what is compared, of one set-up asked in several ways, and where it is withheld."""

from typing import Any

import numpy as np
import pytest

from tautwire.model.operating.bands import band_named
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose.candidates import read_problem
from tautwire.studies.wants.choose.want import certainty
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.give_or_take import sureness
from tautwire.studies.wants.spread.sampling import Spread, held, spread_of, withhold
from tautwire.studies.wants.spread.values import Joint, uncertain, with_offsets
from tautwire.studies.wants.turns.want import with_turn_axis

RAW: dict[str, Any] = {
    "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
    "coax": {"type": "RG-58", "length": "5 m"},
}
BAND = band_named("20 m")


def sloped(slope: str) -> Setup:
    return Setup.read({**RAW, "antenna": {**RAW["antenna"], "slope": slope}})


def spread(setup: Setup) -> Spread:
    return spread_of(setup, setup.build().solver(), BAND, Joint.of(uncertain(setup)))


def test_differences_from_the_same_draws_agree_with_exact_pairs() -> None:
    """Exact pairs: slopes of 15 and 45 degrees differ by far less than either is unsure by."""
    first, second = sloped("15 deg"), sloped("45 deg")
    a, b = spread(first), spread(second)
    u = a.joint.draw(8, seed=5)
    exact = []
    for setup in (first, second):
        row = []
        for x in u:
            moved = with_offsets(setup, uncertain(setup), x)
            row.append(
                band_row(BAND, moved.build().solver().response(*window(BAND)), moved.feed_system(), 3.0)["dip_mhz"]
            )
        exact.append(np.array(row) * 1e3)
    truth, told = exact[1] - exact[0], (b.at(u).dip - a.at(u).dip) / 1e3
    assert np.abs(told - truth).max() < 10
    low, high = held((b.samples.dip - a.samples.dip) / 1e3, 68)
    assert (high - low) / 2 < 0.15 * a.half_width("dip") / 1e3


def test_a_study_tells_its_differences(tmp_path) -> None:
    study = read_study(
        {**RAW, "study": {"bands": ["20 m"]}, "sweep": {"antenna.slope": ["15 deg", "45 deg", "60 deg"]}}
    )
    result = run(study, Store(tmp_path), workers=0)
    rows, dips = result.rows("differences"), result.rows("dips")
    assert [(r["case_a"], r["case_b"]) for r in rows] == [
        ("slope 15°", "slope 45°"), ("slope 15°", "slope 60°"), ("slope 45°", "slope 60°")
    ]  # fmt: skip
    apart = (dips[1]["dip_mhz"] - dips[0]["dip_mhz"]) * 1e3
    assert rows[0]["dip_difference_khz"] == pytest.approx(apart, abs=1)
    for r in rows:
        for name, unit in (("dip", "_khz"), ("swr", "")):
            ends = [r[f"{name}_difference_{end}{unit}"] for end in ("low_95", "low_68", "high_68", "high_95")]
            assert ends[0] <= ends[1] <= r[f"{name}_difference{unit}"] <= ends[2] <= ends[3]
    assert "spread_draws" not in result.frames


def test_one_set_up_has_one_give_or_take(tmp_path) -> None:
    store = Store(tmp_path)
    alone = run(read_study({**RAW, "study": {"bands": ["20 m"]}}), store, workers=0).rows("spread")[0]
    lengths = [f"{x:.1f} m" for x in np.arange(19.0, 20.61, 0.2)]  # blended along this axis
    swept = run(
        read_study({**RAW, "study": {"bands": ["20 m"]}, "sweep": {"antenna.length": lengths}}), store, workers=0
    )
    case = next(r for r in swept.rows("spread") if abs(r["length_m"] - 19.8) < 1e-6)
    reel = {"reel": {"wire_length": "21 m", "turn_length": "30 cm"}, "spread": {"reel.turn_length": {"sd": 0}}}
    turns = {**RAW, **reel, "study": {"bands": ["20 m"], "want": ["turns"]}, "turns": {"first": 65, "last": 67}}
    counted = run(with_turn_axis(read_study(turns)), store, workers=0)
    stop = next(r for r in counted.rows("spread") if r["turns_out"] == 66)
    chosen = read_study({**RAW, "study": {"bands": ["20 m"], "want": ["choose"]},
                         "choose": {"vary": {"antenna.length": ["19.8 m", "20 m"]}}})  # fmt: skip
    _, swings = certainty(read_problem(chosen, chosen.raw), (0.0,), store)
    own = spread(Setup.read(RAW))
    assert swings[0] == pytest.approx(own.half_width("worst"), rel=0.05)
    for row in (case, stop):
        assert row["dip_give_khz"] == pytest.approx(alone["dip_give_khz"], rel=0.05)
        assert row["swr_worst_high"] == pytest.approx(alone["swr_worst_high"], rel=0.05)


def test_give_or_take_is_withheld_where_a_mark_stands(tmp_path) -> None:
    result = run(read_study({**RAW, "study": {"bands": ["20 m"]}}), Store(tmp_path), workers=0)
    result.frames["quality"] = [{**r, "marks": "a wire in the soil"} for r in result.rows("quality")]
    withhold(result)
    row = result.rows("spread")[0]
    assert np.isnan(row["dip_give_khz"]) and "a wire in the soil" in row["withheld"] and row["dip_mhz"] > 14


def test_lying_coax_can_only_lie_higher() -> None:
    setup = Setup.read({**RAW, "coax": {**RAW["coax"], "height": "2.5 mm"}})
    one = next(v for v in uncertain(setup) if v.path == "coax.height")
    lowest, raised = float(one.at(-2.0)), float(one.at(2.0))
    assert lowest == pytest.approx(2.475e-3, abs=3e-5) and raised > 5e-3  # RG-58: half of 4.95 mm


def test_the_sea_is_known_better_than_a_meadow() -> None:
    """Sea water of 35 g/kg: 3.5 S/m at 7 and 5.3 at 25 degrees C (ITU-R P.527-4, its formula for s35)."""

    def s35(t: float) -> float:
        return 2.903602 + 8.607e-2 * t + 4.738817e-4 * t**2 - 2.991e-6 * t**3 + 4.3047e-9 * t**4

    sea = {v.path: v for v in uncertain(Setup.read({**RAW, "site": {"soil": "sea water"}}))}
    meadow = {v.path: v for v in uncertain(Setup.read(RAW))}
    sigma = sea["site.soil.sigma"]
    assert sigma.at(-2) < s35(7) < s35(25) < sigma.at(2)
    assert sigma.sd < meadow["site.soil.sigma"].sd / 2 and sea["site.soil.er"].sd < meadow["site.soil.er"].sd / 2


def test_a_coax_beside_a_counterpoise_moves_the_dip_as_exact_solves_say() -> None:
    """Its shift changes along the band: taken as the same everywhere, a higher coax moved this dip a third as far."""
    raw = {
        "site": {"soil": "poor soil"},
        "antenna": {"layout": "inverted V", "length": "19.93 m", "feed_height": "1.29 m", "apex_height": "6 m",
                    "end_height": "2.7 m"},
        "wire": {"diameter": "0.8 mm", "jacket": "0.26 mm"},
        "coax": {"type": "RG-316", "length": "13.8 m"},
        "counterpoise": [{"length": "1.4 m", "height": "5 cm"}],
    }  # fmt: skip
    setup, band = Setup.read(raw), band_named("40 m")
    values = uncertain(setup)
    found = spread_of(setup, setup.build().solver(), band, Joint.of(values))
    place = [v.path for v in values].index("coax.height")
    u = np.zeros((2, len(values)))
    u[:, place] = -1, 0.5
    exact = []
    for x in u:
        moved = with_offsets(setup, values, x)
        response = moved.build().solver().response(*window(band))
        exact.append(band_row(band, response, moved.feed_system(), 3.0)["dip_mhz"] * 1e3)
    moves = (found.at(u).dip - found.base.dip) / 1e3
    assert moves == pytest.approx(np.array(exact) - found.base.dip / 1e3, rel=0.25)
    assert not found.withheld


def test_no_give_or_take_where_one_value_moves_the_antenna_far(tmp_path) -> None:
    """A coax near resonance: half a metre behind it brings another dip forward, which small shifts cannot follow."""
    raw = {
        "site": {"soil": "sandy soil"},
        "antenna": {"layout": "sloper", "length": "19.48 m", "feed_height": "1.42 m", "slope": "33 deg"},
        "wire": {"diameter": "0.8 mm", "jacket": "0.27 mm"},
        "coax": {"type": "RG-316", "length": "5.9 m"},
        "study": {"bands": ["40 m", "15 m"]},
    }
    result = run(read_study(raw), Store(tmp_path), workers=0)
    first, second = result.rows("spread")
    assert first["withheld"] == "" and first["dip_give_khz"] > 50
    assert "behind the coax" in second["withheld"] and np.isnan(second["dip_give_khz"])
    found = [f for f in sureness(result) if f.kind == "uncertainty withheld"]
    assert len(found) == 1 and found[0].words.text().startswith("No ± on 15 m: what hangs behind the coax alone")
