"""Wants "pattern" and "target": tables that agree with the model, words, figures, options refused in one line."""

import math

import numpy as np
import pytest
from check_findings import assert_titled, assert_traced

from tautwire.model.errors import InputError
from tautwire.model.fields.far_field import gain
from tautwire.studies.running.runner import run
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.wants.pattern.figures import LOWEST, from_radio
from tautwire.studies.wants.pattern.want import plots
from tautwire.studies.wants.pattern.words import findings
from tautwire.studies.wants.target.want import plots as target_plots
from tautwire.studies.wants.target.words import findings as target_findings

RAW = {
    "study": {"name": "lakeside pattern", "bands": ["40 m", "20 m"], "want": ["pattern", "target"]},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "bearing": "60 deg"},
    "counterpoise": [{"length": "2 m", "end_height": "1 m"}],
    "target": {
        "region": [
            {"name": "near", "nearest": "0 km", "farthest": "400 km"},
            {"name": "east", "nearest": "1500 km", "farthest": "2500 km", "bearing": "90 deg"},
            {"name": "overseas", "nearest": "6 Mm", "bearing": "50 deg"},
        ]
    },
    "sweep": {"antenna.slope": ["15 deg", "45 deg"]},
}


@pytest.fixture(scope="module")
def result(remember):
    return run(read_study(RAW), remember, workers=0)


def test_rows_and_columns(result):
    assert not result.failed
    frames = result.frames
    assert len(frames["pattern"]) == 4
    assert len(frames["pattern_gains"]) == 4 * 4
    assert len(frames["target"]) == 4 * 3 * 2
    for name in ("pattern", "pattern_gains", "pattern_cuts", "pattern_sphere", "target", "target_best"):
        assert set(frames[name]) - {"slope_deg"} <= set(COLUMNS), name


def test_shares_add_up(result):
    table = result.frames["pattern"]
    shares = table[[c for c in table if c.startswith("share_")]]
    assert shares.sum(axis=1).to_numpy() == pytest.approx(1, abs=1e-6)
    assert (shares.to_numpy() >= 0).all()
    assert (table["balance_error_percent"].abs() < 1).all()


def test_tables_agree_with_each_other_and_the_model(result, remember):
    table, cuts, gains = (result.frames[n] for n in ("pattern", "pattern_cuts", "pattern_gains"))
    row = table[(table["slope_deg"] == 45) & (table["band"] == "20 m")].iloc[0]
    mine = cuts[(cuts["slope_deg"] == 45) & (cuts["band"] == "20 m")]
    around = mine[mine["cut"] == "azimuth"]
    assert around.loc[around["angle_deg"] == 60, "gain_dbi"].item() == pytest.approx(row["forward_gain_dbi"], abs=1e-9)
    assert mine["gain_dbi"].max() <= row["peak_gain_dbi"] + 1e-6
    behind = around.loc[around["angle_deg"] == 240, "gain_dbi"].item()
    assert row["front_to_back_db"] == pytest.approx(row["forward_gain_dbi"] - behind, abs=1e-9)
    at20 = gains[(gains["slope_deg"] == 45) & (gains["band"] == "20 m") & (gains["elevation_deg"] == 20)]
    assert at20["forward_gain_dbi"].item() == pytest.approx(row["forward_gain_dbi"], abs=1e-9)
    case = next(c for c in result.study.cases() if c.labels["slope_deg"] == 45)
    solution = case.setup().build().solver(remember).solve(row["f_mhz"] * 1e6)
    raw = 10 * math.log10(float(gain(solution, math.radians(20), math.radians(60))))
    off = 10 * math.log10(1 + row["balance_error_percent"] / 100)
    assert row["forward_gain_dbi"] == pytest.approx(raw - off, abs=1e-6)


def test_the_dip_may_be_asked_for(remember):
    raw = {**RAW, "pattern": {"at": "dip", "cut_elevation": "takeoff", "sphere": False}, "sweep": {}}
    raw["antenna"] = {**RAW["antenna"], "slope": "30 deg"}
    raw["study"] = {**RAW["study"], "want": ["dips", "pattern"], "bands": ["20 m"]}
    frames = run(read_study(raw), remember, workers=0).frames
    row = frames["pattern"].iloc[0]
    assert row["f_mhz"] == pytest.approx(frames["dips"]["dip_mhz"].iloc[0], abs=1e-6)
    assert row["cut_elevation_deg"] == pytest.approx(row["takeoff_deg"])
    assert "pattern_sphere" not in frames


def test_out_of_reach_is_said_and_two_hops_serve(result):
    table, best = result.frames["target"], result.frames["target_best"]
    far = table[table["region"] == "overseas"]
    assert far[far["hops"] == 1]["region_gain_dbi"].isna().all()
    assert far[far["hops"] == 1]["note"].str.contains("3836 km").all()
    assert (best[best["region"] == "overseas"]["hops"] == 2).all()


def test_best_case_and_best_bearing(result):
    table, best = result.frames["target"], result.frames["target_best"]
    for row in best.to_dict("records"):
        mine = table[
            (table["band"] == row["band"]) & (table["region"] == row["region"]) & (table["hops"] == row["hops"])
        ]
        assert row["region_radio_gain_dbi"] == mine["region_radio_gain_dbi"].max()
    aimed = table[table["region"] == "east"].dropna(subset=["turn_gain_db"])
    assert len(aimed) and (aimed["turn_gain_db"] >= 0).all()


def test_turning_to_the_best_bearing_gives_what_was_promised(result, remember):
    row = result.frames["target"].query("region == 'east' and hops == 1 and band == '20 m' and slope_deg == 45").iloc[0]
    raw = {**RAW, "sweep": {"antenna.slope": ["45 deg"]}}
    raw["study"] = {**RAW["study"], "want": ["target"], "bands": ["20 m"]}
    raw["antenna"] = {**RAW["antenna"], "bearing": f"{row['best_bearing_deg']} deg"}
    turned = run(read_study(raw), remember, workers=0).frames["target"].query("region == 'east' and hops == 1").iloc[0]
    assert turned["region_gain_dbi"] == pytest.approx(row["region_gain_dbi"] + row["turn_gain_db"], abs=0.01)


def words_of(found, role):
    return [f.words.text() for f in found if f.role == role]


def test_findings_come_from_cells(result):
    for found in (findings(result), target_findings(result)):
        assert [f.role for f in found].count("verdict") == 1 and found[0].role == "verdict"
        for finding in found:
            assert_traced(result, finding)
    assert any("take-off angle goes from" in w for w in words_of(findings(result), "detail"))
    assert any("not a prediction" in w for w in words_of(target_findings(result), "caution"))


def test_the_verdict_is_the_widest_lead(result):
    """The mean all round, of the band on which the two slopes differ most."""
    table = result.frames["pattern"].pivot(index="slope_deg", columns="band", values="around_radio_gain_dbi")
    leads = (table.loc[45] - table.loc[15]).abs()
    verdict = findings(result)[0]
    assert verdict.about["band"] == leads.idxmax()
    lead = next(n for n in verdict.words.numbers if n.form == "dB")
    assert lead.value == pytest.approx(leads.max()) and len(lead.cells) == 2


def test_the_case_that_serves_most_regions_is_the_verdict(result):
    best = result.frames["target_best"]
    counts = best["slope_deg"].value_counts()
    verdict, answer = target_findings(result)[:2]
    assert [n.value for n in verdict.words.numbers] == [counts.max(), len(best)]
    assert answer.words.numbers[0].value == pytest.approx(best["spread_db"].max())


def test_one_set_up_has_a_verdict_a_band_and_what_is_out_of_reach(remember):
    raw = {**RAW, "target": {**RAW["target"], "hops": [1]}, "sweep": {}}
    raw["antenna"] = {**RAW["antenna"], "slope": "30 deg"}
    found = run(read_study(raw), remember, workers=0)
    verdict, answer = findings(found)[:2]
    table = found.frames["pattern"]
    angles = [n.value for n in verdict.words.numbers if n.form == "angle"]
    assert angles == pytest.approx(list(np.radians(table["takeoff_deg"])))
    assert [n.value for n in answer.words.numbers] == pytest.approx(list(table["share_sky"]))
    best = found.frames["target_best"].groupby("region", sort=False)["region_radio_gain_dbi"].max()
    assert [n.value for n in target_findings(found)[0].words.numbers] == pytest.approx(list(best))
    assert "overseas is out of reach: one hop reaches 3836 km." in words_of(target_findings(found), "caution")
    for finding in findings(found) + target_findings(found):
        assert_traced(found, finding)
    for figure in (plots(found) | target_plots(found)).values():
        assert_titled(found, figure)


def test_gains_compared_are_one_kind_in_text_and_plots(result):
    """All from the radio: the wire's gain less what mismatch, coax and transformer take."""
    table, cuts = result.frames["pattern"], result.frames["pattern_cuts"]
    lost = table["peak_radio_gain_dbi"] - table["peak_gain_dbi"]
    assert (lost < 0).all()
    assert list(table["forward_radio_gain_dbi"] - table["forward_gain_dbi"]) == pytest.approx(list(lost))
    drawn = from_radio(cuts, table, result.axis_columns)
    for row, off in zip(table.to_dict("records"), lost, strict=True):
        here = (drawn["band"] == row["band"]) & (drawn["slope_deg"] == row["slope_deg"]) & (drawn["cut"] == "azimuth")
        line, wire = drawn[here], cuts[here]
        assert np.allclose(line["gain_dbi"], wire["gain_dbi"] + off)
        assert line["gain_dbi"].max() == pytest.approx(row["cut_peak_radio_gain_dbi"], abs=1e-6)
        at = line[np.isclose(line["angle_deg"], row["cut_peak_bearing_deg"])]
        assert at["gain_dbi"].max() == pytest.approx(row["cut_peak_radio_gain_dbi"], abs=1e-6)
        once = line[line["angle_deg"] < 360]["gain_dbi"]
        assert 10 * np.log10((10 ** (once / 10)).mean()) == pytest.approx(row["around_radio_gain_dbi"], abs=0.01)
        assert row["around_radio_gain_dbi"] <= row["cut_peak_radio_gain_dbi"]
        assert row["forward_radio_gain_dbi"] <= row["cut_peak_radio_gain_dbi"] + 0.01


def test_soils_are_compared_by_what_reaches_the_sky(remember):
    raw = {**RAW, "sweep": {"site.soil": ["sea water", "very poor soil"]}}
    raw["antenna"] = {**RAW["antenna"], "slope": "30 deg"}
    raw["study"] = {**RAW["study"], "want": ["pattern"], "bands": ["20 m"]}
    found = run(read_study(raw), remember, workers=0)
    table = found.frames["pattern"].set_index("soil")
    most, least, db = findings(found)[0].words.numbers
    assert most.value == pytest.approx(table.loc["sea water", "share_sky"])
    assert least.value == pytest.approx(table.loc["very poor soil", "share_sky"])
    assert db.value == pytest.approx(10 * math.log10(most.value / least.value))
    assert "reaches the sky with sea water" in findings(found)[0].words.text()
    assert any("Gains are from the radio, in text and plots" in w for w in words_of(findings(found), "detail"))
    for figure in plots(found).values():
        assert_titled(found, figure)


def test_figures_draw(result, tmp_path):
    figures = plots(result) | target_plots(result)
    assert set(figures) == {
        "pattern_elevation", "pattern_azimuth", "pattern_power", "pattern_gain", "pattern_solid", "target",
        "target_angles",
    }  # fmt: skip
    for stem, figure in figures.items():
        figure.savefig(tmp_path / f"{stem}.png", dpi=40)
        assert np.ptp(figure.pixels()) > 100
        assert_titled(result, figure)


def numbers_of(figure):
    return {n.form: n.value for n in figure.title.numbers}


def test_titles_are_of_what_is_drawn(result):
    """The greatest gain in the plane that is drawn, not of the whole sky; of the curves, not of the peak."""
    table, figures = result.frames["pattern"], plots(result)
    drawn = from_radio(result.frames["pattern_cuts"], table, result.axis_columns)
    plane = drawn[drawn["cut"] == "elevation"]
    best = plane.loc[plane["gain_dbi"].idxmax()]
    told = numbers_of(figures["pattern_elevation"])
    assert told["dBi"] == pytest.approx(best["gain_dbi"], abs=1e-6)
    assert math.degrees(told["angle"]) == pytest.approx(min(best["angle_deg"], 180 - best["angle_deg"]), abs=1e-6)
    assert told["dBi"] < table["peak_radio_gain_dbi"].max() + 1e-9
    gains = result.frames["pattern_gains"].groupby(["band", "elevation_deg"])["forward_radio_gain_dbi"]
    change = gains.agg(np.ptp)[gains.min() >= LOWEST]  # the others are cut off below
    told = numbers_of(figures["pattern_gain"])
    assert told["dB"] == pytest.approx(change.max())
    assert told["dBi"] == pytest.approx(gains.max()[change.idxmax()])
    around = drawn[drawn["cut"] == "azimuth"].groupby(["band", "slope_deg"])["gain_dbi"].max()
    told = [n.value for n in figures["pattern_azimuth"].title.numbers if n.form == "dBi"]
    assert told == pytest.approx(sorted(around[max(("40 m", "20 m"), key=lambda b: np.ptp(around[b]))])[::-1], abs=1e-6)


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ({"pattern": {"elevations": ["120 deg"]}}, "elevation"),
        ({"pattern": {"cut_elevation": "-5 deg"}}, "cut_elevation"),
        ({"pattern": {"at": "noon"}}, "at"),
        ({"target": {"layer": "D2"}}, "layer"),
        ({"target": {"layer": "3 km"}}, "layer"),
        ({"target": {"hops": [0]}}, "hops"),
        ({"target": {"region": [{"name": "x", "nearest": "900 km", "farthest": "100 km"}]}}, "region"),
    ],
)
def test_odd_options_are_refused_in_one_line(table, field):
    with pytest.raises(InputError, match=field) as caught:
        read_study({**RAW, **table})
    assert "\n" not in str(caught.value)


LAKE = {
    **RAW,
    "site": {"shore": {"distance": "20 m", "bearing": "180 deg"}},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "pattern": {"bearing": "180 deg"},
}


@pytest.fixture(scope="module")
def lakeside(remember):
    axes = {"antenna.bearing": ["0 deg", "90 deg"], "site.shore.distance": ["5 m", "100 m"]}
    spec = {"name": "lake", "bands": ["20 m"], "want": ["pattern", "target"]}
    return run(read_study({**LAKE, "study": spec, "sweep": axes}), remember, workers=0)


def test_what_the_shore_adds(lakeside):
    """The nearer the water the more low-angle gain along the wire's plane; the figure and the first sentence say so."""
    assert not lakeside.failed
    gains = lakeside.frames["pattern_gains"].query("elevation_deg == 10 and antenna_bearing_deg == 0")
    near, far = (float(gains[gains["shore_distance_m"] == d]["around_db"].iloc[0]) for d in (5, 100))
    assert near > far and near > 1
    assert set(lakeside.frames["pattern_gains"]) - {"antenna_bearing_deg", "shore_distance_m"} <= set(COLUMNS)
    first = findings(lakeside)[0]
    assert first.kind == "terrain" and first.role == "verdict"
    assert any(n.form == "signed dB" and n.value == near for n in first.words.numbers)
    assert "pattern_shore" in plots(lakeside)


def test_turning_the_wire_beside_a_shore(lakeside):
    """What turning would gain, by terrain turned back, is what the case that is turned has."""
    table = lakeside.frames["target"].query("region == 'east' and hops == 1 and shore_distance_m == 5")
    gain_of = dict(zip(table["antenna_bearing_deg"], table["region_radio_gain_dbi"], strict=True))
    row = table.iloc[0]
    best = gain_of[0.0] + row["turn_gain_db"]
    assert best >= max(gain_of.values()) - 1e-3
