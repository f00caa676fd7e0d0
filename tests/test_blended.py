"""Cases that are blended between solved ones: how many solves that takes, and how exact it is."""

import pytest

from tautwire.model.solve.neighbours import Family
from tautwire.studies.running.families import NODES
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study

ANGLES = [20, 24, 28, 32, 36, 40, 44, 48, 52]


def study(angles, **sweep):
    return read_study({
        "study": {"bands": ["20 m"]},
        "antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg"},
        "coax": {"length": "5 m"},
        "sweep": {"antenna.slope": [f"{a} deg" for a in angles], **sweep},
    })  # fmt: skip


def test_a_long_axis_takes_few_matrices_and_keeps_the_dips(tmp_path):
    store = Store(tmp_path / "blended")
    long = run(study(ANGLES), store, workers=0)
    quality = long.frames["quality"]
    assert (quality["blend_error"] > 0).sum() == len(ANGLES) - NODES
    assert quality["blend_error"].max() < 1e-3
    alone = run(study([28, 40]), Store(tmp_path / "solved"), workers=0).frames["dips"]
    blended = long.frames["dips"].set_index("slope_deg").loc[alone["slope_deg"]]
    assert blended["dip_mhz"].to_numpy() == pytest.approx(alone["dip_mhz"].to_numpy(), abs=1.5e-3)
    assert store.contents()["volts"] <= NODES + 2  # a span each for a solved case, and those for the give or take


def test_over_several_soils_wires_are_blended_once(tmp_path, monkeypatch):
    made = []
    blends = Family._new_blends
    monkeypatch.setattr(Family, "_new_blends", lambda self, *at: made.append(at) or blends(self, *at))
    soils = ["average soil", "sea water", "very poor soil"]
    store = Store(tmp_path / "soils")
    many = run(study(ANGLES, **{"site.soil": soils}), store, workers=0)
    assert len(made) == len(ANGLES) - NODES
    assert store.contents()["volts"] <= NODES + 2
    alone = run(study(ANGLES, **{"site.soil": ["sea water"]}), Store(tmp_path / "one"), workers=0).frames["dips"]
    among = many.frames["dips"].query("soil == 'sea water'")
    assert among["dip_mhz"].to_numpy() == pytest.approx(alone["dip_mhz"].to_numpy(), abs=1e-6)


@pytest.mark.parametrize(
    "antenna, path, values",
    [
        ({"layout": "horizontal", "length": "19.8 m", "height": "4 m"}, "antenna.height", "{:.2f} m"),
        ({"layout": "sloper", "length": "19.8 m", "slope": "30 deg"}, "antenna.length", "{:.2f} m"),
    ],
)
def test_heights_and_lengths_over_a_wide_range_are_blended_too(tmp_path, antenna, path, values):
    low, high = (2.5, 9.0) if path == "antenna.height" else (13.0, 21.0)
    texts = [values.format(low * (high / low) ** (k / 8)) for k in range(9)]
    made = {"study": {"bands": ["20 m"], "spread": False}, "antenna": antenna, "counterpoise": [{"length": "2 m"}]}
    quality = run(read_study({**made, "sweep": {path: texts}}), Store(tmp_path), workers=0).frames["quality"]
    assert 0 < quality["blend_error"].max() < 4e-4
    assert (quality["blend_error"] > 0).sum() == 9 - NODES
