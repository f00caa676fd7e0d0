"""Studies of the coax shield, of stress and of exposure, run as studies."""

import numpy as np
import pandas as pd
import pytest

from tautwire.model.errors import InputError
from tautwire.studies.reports.folder import summary, write
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.cautions import CAUTIONS, DEFERENCE, caution_text, cautions_for
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.wants.exposure.want import rounded_up
from tautwire.studies.wants.shield import want as want_shield
from tautwire.studies.wants.shield.want import AS_BUILT, variants

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
    assert f"{dry['shield_feed_a']:.2f} A flows onto the shield" in want_shield.sentences(both)[1]
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
    assert rounded_up(0.81) == 0.9
    assert rounded_up(0.0) == 0.1


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
    from tautwire.studies.wants.exposure import want as want_exposure
    from tautwire.studies.wants.shield import want as want_shield
    from tautwire.studies.wants.stress import want as want_stress

    for want in (want_exposure.WANT, want_shield.WANT, want_stress.WANT):
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
