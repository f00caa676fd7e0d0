"""Studies of the coax shield, of stress and of exposure, run as studies."""

import math
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from check_findings import assert_titled, assert_traced

from tautwire.model.errors import InputError
from tautwire.studies.reports.answers import one_caution
from tautwire.studies.reports.folder import summary, write
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.findings import CAUTIONS, DEFERENCE, FORMS, caution_text, cautions_for
from tautwire.studies.wants.exposure.want import WANT as EXPOSURE
from tautwire.studies.wants.shield.want import WANT as SHIELD
from tautwire.studies.wants.shield.want import variants
from tautwire.studies.wants.shield.words import AS_BUILT, first_rows
from tautwire.studies.wants.stress.want import HOTTEST, safe_power
from tautwire.studies.wants.stress.want import WANT as STRESS

RAW = {
    "study": {"name": "shore", "bands": ["20 m"], "want": ["exposure", "stress", "shield"]},
    "antenna": {"layout": "sloper", "length": "10.0 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm"},
    "counterpoise": [{"length": "2 m", "height": "20 cm"}],
    "coax": {"type": "RG-58", "length": "5 m", "height": "5 cm"},
    "radio": {"power": "100 W", "duty": 0.5},
    "exposure": {"resolution": "0.3 m", "heights": ["0.5 m", "1.5 m"]},
    "shield": {"positions": ["0 m", "2.5 m"]},
}


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    return run(read_study(RAW), Store(tmp_path_factory.mktemp("store")), workers=0)


def test_a_choke_at_the_transformer_keeps_current_off_the_shield(result):
    table = result.frames["shield"].set_index("variant")
    assert table.loc["choke at transformer", "shield_feed_a"] < 0.3 * table.loc[AS_BUILT, "shield_feed_a"]
    assert table.loc[AS_BUILT, ["dip_shift_khz", "pattern_change_db"]].abs().max() == 0
    assert (table.loc[["choke at transformer", "choke at 2.5 m"], "choke_peak_w"] > 0).all()
    assert table.loc[[AS_BUILT, "counterpoise alone"], "choke_peak_w"].max() == 0
    assert table.loc["counterpoise alone", "shield_max_a"] == 0
    along = result.frames["shield_along"]
    built = along[along["variant"] == AS_BUILT]
    assert built["amps"].iloc[-1] < 0.5 * built["amps"].max()  # it ends there
    assert built["amps"].iloc[0] == pytest.approx(table.loc[AS_BUILT, "shield_feed_a"])


def test_tables_keep_their_columns_beside_variants_and_axes(tmp_path):
    """The shield's table has variants too, and tables of places have heights: axes go by longer names."""
    raw = RAW | {"study": {**RAW["study"], "want": ["shield"]}, "shield": {"positions": ["0 m"]}}
    study = read_study({**raw, "variant": [{"name": "dry", "site": {"soil": "very dry ground"}}, {"name": "wet"}]})
    both = run(study, Store(tmp_path / "store"), workers=0)
    table = both.frames["shield"]
    assert set(table["setup_variant"]) == {"dry", "wet"} and AS_BUILT in set(table["variant"])
    dry = table[(table["setup_variant"] == "dry") & (table["variant"] == AS_BUILT)].iloc[0]
    assert {row["setup_variant"] for row in first_rows(both)} == {"dry"}
    detail = next(f for f in SHIELD.findings(both) if f.role == "detail")
    assert [n.value for n in detail.words.numbers[:2]] == pytest.approx([100.0, dry["shield_feed_a"]])
    for finding in SHIELD.findings(both):
        assert_traced(both, finding)
    assert "shield.png" in {p.name for p in write(both, tmp_path / "out", formats=("png",))}
    assert read_study(RAW | {"sweep": {"antenna.bearing": ["0 deg", "9 deg"]}}).axes[0].column == "antenna_bearing_deg"


def test_variants_without_counterpoise_or_coax():
    setup = read_study(RAW | {"counterpoise": []}).cases()[0].setup()
    spec = read_study(RAW).options["shield"]
    assert variants(setup, spec)[-1][0] == "a counterpoise as long"
    assert variants(setup, spec)[-1][2].counterpoise[0].length == 5.0
    with pytest.raises(InputError, match="coax"):
        variants(setup.model_copy(update={"coax": None}), spec)
    with pytest.raises(InputError, match="shield.positions"):
        read_study(RAW | {"shield": {"positions": ["9 m"]}})


def test_exposure_is_told_in_words_and_grows_with_power(result, tmp_path):
    row = result.frames["exposure"].iloc[0]
    assert row["complete"]
    assert 0.2 < row["stay_away_m"] < 5
    assert row["wire_w"] < 100
    plan = result.frames["exposure_plan"]
    assert plan["quotient"].between(0, 1e6).all()
    over = plan[plan["quotient"] >= 1]
    assert np.hypot(over["east_m"], over["north_m"]).max() <= max(row["from_feed_m"], 10) + 0.3
    strong = RAW | {"radio": {"power": "400 W", "duty": 0.5}, "study": RAW["study"] | {"want": ["exposure"]}}
    more = run(read_study(strong), Store(tmp_path), workers=0)
    assert more.frames["exposure"].iloc[0]["stay_away_m"] > 1.2 * row["stay_away_m"]
    first, second = (EXPOSURE.findings(r)[0].words for r in (result, more))
    for words, found in ((first, result), (second, more)):
        far, power = words.numbers
        told = found.frames["exposure"].iloc[0]
        assert far.value == pytest.approx(max(told["stay_away_m"], told["any_part_m"]))
        assert power.value == told["power_w"]
        assert words.text().startswith("Keep everybody ")


def test_distances_are_rounded_away_from_the_wire():
    """0.81 m is 2.66 ft (international foot, 0.3048 m: NIST SP 811)."""
    assert [FORMS["distance"](x, "metric") for x in (0.81, 0.0)] == ["0.9 m", "0.1 m"]
    assert [FORMS["both distances"](0.81, x) for x in ("metric", "imperial")] == ["0.9 m (3 ft)", "3 ft (0.9 m)"]
    assert [FORMS["power limit"](x, "") for x in (8.79, 39.9, 0.0, 1290, 0.0589)] == [
        "8.7 W", "39 W", "0 W", "1200 W", "0.058 W",
    ]  # fmt: skip


def test_findings_come_from_cells_and_titles_from_what_is_drawn(result):
    for want in (EXPOSURE, STRESS, SHIELD):
        found = want.findings(result)
        assert found[0].role == "verdict" and [f.role for f in found].count("verdict") == 1
        for finding in found:
            assert_traced(result, finding)
        for figure in want.plots(result).values():
            assert_titled(result, figure)
    cautions = {f.kind for f in EXPOSURE.findings(result) if f.role == "caution"}
    assert {"rules", "assumptions"} <= cautions
    assert one_caution(result) == next(f.words.text() for f in EXPOSURE.findings(result) if f.role == "caution")


def test_in_feet_where_the_file_is(tmp_path):
    raw = RAW | {"exposure": {"resolution": "1 ft", "heights": ["2 ft", "5 ft"]}}
    raw["antenna"] = {**RAW["antenna"], "length": "33 ft", "feed_height": "4 ft"}
    found = run(read_study(raw), Store(tmp_path), workers=0)
    assert found.study.lengths == "imperial"
    lines = {want.name: [f.words.text("imperial") for f in want.findings(found)] for want in (EXPOSURE, STRESS, SHIELD)}
    assert re.match(r"Keep everybody \d+ ft \(\d\.\d m\) away from every part with 100 W", lines["exposure"][0])
    assert any("to 5 ft 0 in above soil" in line for line in lines["exposure"])
    assert not any(re.search(r"\d\.\d+ (m|cm)\b", line) for line in lines["stress"] + lines["shield"])


def test_the_safe_power_is_where_the_core_overheats(result, tmp_path):
    """Heat grows with power and rise with heat (Newton's law of cooling): at the safe power the rise is the limit."""
    row = result.frames["stress"].iloc[0]
    assert row["safe_w"] == pytest.approx(row["power_w"] * HOTTEST / row["core_rise_high_k"])
    assert row["safe_in_air_w"] == pytest.approx(row["power_w"] * HOTTEST / row["core_rise_low_k"])
    words = STRESS.findings(result)[0]
    assert words.kind == ("too hot" if row["safe_w"] < 100 else "cool enough")
    assert next(n for n in words.words.numbers if n.form == "power limit").value == row["safe_w"]
    only = RAW["study"] | {"want": ["stress"]}
    for part, kind in ((0.9, "cool enough"), (1.1, "too hot")):
        raw = RAW | {"study": only, "radio": {"power": f"{part * row['safe_w']} W", "duty": 0.5}}
        found = run(read_study(raw), Store(tmp_path), workers=0)
        again = found.frames["stress"].iloc[0]
        assert again["core_rise_high_k"] == pytest.approx(part * HOTTEST)
        assert again["safe_w"] == pytest.approx(row["safe_w"])
        assert STRESS.findings(found)[0].kind == kind
        assert ("overheats" in {f.kind for f in STRESS.findings(found)}) == (kind == "too hot")


def test_a_choke_may_be_what_overheats_and_nothing_may_be_known():
    level = SimpleNamespace(core_rise_high_k=math.nan, core_rise_low_k=math.nan, choke_w=40.0)
    assert safe_power(level, 100.0) == {"safe_w": 25.0, "safe_in_air_w": 25.0}  # 10 W overheat a ring
    assert math.isnan(safe_power(SimpleNamespace(**vars(level) | {"choke_w": 0.0}), 100.0)["safe_w"])


def test_summary_has_each_caution_once_and_says_who_comes_first(result):
    page = summary(result, "command")
    for caution in CAUTIONS:
        assert page.count(caution.words) == 1
    assert page.count(DEFERENCE) == 1
    assert "check the text in force" in page
    assert {c.name for c in cautions_for(["dips"])} < {c.name for c in CAUTIONS}
    assert "power lines" in caution_text([])


def test_every_column_is_explained(result):
    used = {c for name, frame in result.frames.items() if name != "quality" for c in frame.columns}
    assert used <= set(COLUMNS), used - set(COLUMNS)


def test_figures_are_drawn_and_no_value_is_lost(result):
    for want in (EXPOSURE, SHIELD, STRESS):
        figures = want.plots(result)
        assert figures
        for figure in figures.values():
            assert figure.pixels().std() > 5
    stress: pd.DataFrame = result.frames["stress"]
    assert stress.drop(columns=["choke_warning"]).notna().all().all()


def test_bad_options_are_refused():
    with pytest.raises(InputError, match="exposure.standard"):
        read_study(RAW | {"exposure": {"standard": "mine"}})
    with pytest.raises(InputError, match="exposure"):
        read_study(RAW | {"exposure": {"extend": "3 m"}})
