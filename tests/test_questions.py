"""What a command answers, a function answers: the same numbers from both; ranges wider than a mesh; Touchstone out.

Touchstone files are read back by scikit-rf.
"""

import numpy as np
import pandas as pd
import pytest
import skrf

import tautwire
from tautwire.studies.commands.cli import main

VERTICAL = {
    "study": {"name": "pine", "bands": ["20 m"]},
    "antenna": {"layout": "vertical", "length": "10.3 m"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
}
TOML = """
[study]
name = "pine"
bands = ["20 m"]
[antenna]
layout = "vertical"
length = "10.3 m"
[[counterpoise]]
length = "2 m"
height = "30 cm"
"""
SETUP = {k: v for k, v in VERTICAL.items() if k != "study"}


def command(tmp_path, name, more, *words):
    file = tmp_path / "pine.toml"
    file.write_text(TOML + more)
    main([name, str(file), *words, "--out", str(tmp_path / "out")])
    return {f.stem: pd.read_csv(f) for f in (tmp_path / "out").glob("*.csv")}


def same(frame, written):
    numbers = [c for c in frame if pd.api.types.is_numeric_dtype(frame[c])]
    assert len(frame) == len(written) and numbers
    np.testing.assert_allclose(frame[numbers].to_numpy(float), written[numbers].to_numpy(float), rtol=1e-5, atol=1e-8)


def test_turns_as_the_command(tmp_path):
    reel = {"reel": {"wire_length": "12 m", "turn_length": "30 cm"}}
    asked = {"turns": {"segments": ["20 m CW"], "first": 32, "last": 36}}
    more = (
        '[reel]\nwire_length = "12 m"\nturn_length = "30 cm"\n[turns]\nsegments = ["20 m CW"]\nfirst = 32\nlast = 36\n'
    )
    result = tautwire.turns({**VERTICAL, **reel, **asked}, workers=0)
    same(result.frames["turns"], command(tmp_path, "turns", more)["turns"])


def test_why_as_the_command(tmp_path):
    moves = [("13.9 MHz", "13.6 MHz")]
    result = tautwire.why(VERTICAL, moves, without=["soil"], workers=0)
    words = ("--was", "13.9 MHz", "--now", "13.6 MHz", "--without", "soil")
    same(result.frames["why"], command(tmp_path, "why", "", *words)["why"])
    assert not result.frames["why"]["cause"].str.contains("soil").any()


def test_fit_finds_the_wire_that_made_the_sweep_and_its_set_up_predicts_it(tmp_path):
    true = {**SETUP, "antenna": {"layout": "vertical", "length": "10.45 m"}}
    file = tautwire.write_touchstone(tautwire.response(true, "12.6-15.7 MHz", points=81), tmp_path / "pine.s1p")
    result = tautwire.fit(VERTICAL, [file], {"antenna.length": {"sd": "20 cm"}}, workers=0)
    row = result.rows("fit")[0]
    assert abs(row["estimate"] - 10.45) < 0.02
    found = tautwire.fitted(result)
    assert float(found["antenna"]["length"].split()[0]) == pytest.approx(row["estimate"], abs=1e-4)
    dips = [tautwire.predict(setup, ["20 m"])["dip_mhz"].iloc[0] for setup in (found, true)]
    assert dips[0] == pytest.approx(dips[1], abs=0.02)


def test_a_study_or_its_tables():
    study = tautwire.read_study(VERTICAL)
    assert tautwire.why(study, [("13.9 MHz", "13.6 MHz")], workers=0).rows("why")[0]["rank"] == 1
    with pytest.raises(tautwire.InputError, match="study = 3: a study, or a mapping"):
        tautwire.turns(3)
    with pytest.raises(tautwire.InputError, match=r"why.moves = '14 MHz': where a dip was and is now"):
        tautwire.why(VERTICAL, ["14 MHz"])
    with pytest.raises(tautwire.InputError, match="reel = nothing"):
        tautwire.turns({**VERTICAL, "turns": {"segments": ["20 m CW"]}})


def test_explorer_page(tmp_path):
    page = tautwire.explore({**VERTICAL, "sweep": {"antenna.length": ["10.2 m", "10.4 m"]}}, workers=0)
    page.write(tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == page.page
    assert page.axes and page.errors["reflection"] < 0.02


def test_response_over_any_range():
    """Each part of a wide range is what a narrow one gives there, on both sides of where meshes change."""
    wide = tautwire.response(SETUP, "1.8-30 MHz", points=1411)
    assert wide["f_mhz"].iloc[[0, -1]].tolist() == [1.8, 30.0]
    for low, high in ((7.0, 7.2), (14.0, 14.4), (21.0, 21.4)):
        narrow = tautwire.response(SETUP, f"{low}-{high} MHz", points=round((high - low) / 0.02) + 1)
        part = wide[(wide["f_mhz"] > low - 0.001) & (wide["f_mhz"] < high + 0.001)]
        z = [f["feed_r_ohm"].to_numpy() + 1j * f["feed_x_ohm"].to_numpy() for f in (part, narrow)]
        gamma = [(x - 2450) / (x + 2450) for x in z]
        assert np.abs(gamma[0] - gamma[1]).max() < 2e-3
    steps = np.abs(np.diff((wide["swr"] - 1) / (wide["swr"] + 1)))
    assert steps.max() < 0.05


def test_touchstone_of_a_case_is_read_by_scikit_rf(tmp_path):
    study = tautwire.read_study({**VERTICAL, "sweep": {"antenna.length": ["10.2 m", "10.4 m"]}})
    result = tautwire.run(study, workers=0)
    rows = result.of("sweeps", study.cases()[1])
    for plane, column in (("radio", "radio"), ("wire", "feed")):
        file = tautwire.write_touchstone(rows, tmp_path / f"{plane}.s1p", plane, z0=200.0)
        network = skrf.Network(str(file))
        assert network.z0[0, 0] == 200
        expected = rows[f"{column}_r_ohm"].to_numpy() + 1j * rows[f"{column}_x_ohm"].to_numpy()
        np.testing.assert_allclose(network.z[:, 0, 0], expected, rtol=1e-6)
        np.testing.assert_allclose(network.f, rows["f_mhz"].to_numpy() * 1e6, rtol=1e-9)
    with pytest.raises(tautwire.InputError, match="rows of one case and one band"):
        tautwire.write_touchstone(result.frames["sweeps"], tmp_path / "two.s1p")
    with pytest.raises(tautwire.InputError, match="a table without f_mhz"):
        tautwire.write_touchstone(result.frames["dips"], tmp_path / "dips.s1p")
