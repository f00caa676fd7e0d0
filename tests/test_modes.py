"""Dips and their modes: half-waves of the solved current, no dip told for two bands, one dip followed along an axis."""

import math
import re

import numpy as np
import pytest

from tautwire.model.operating.bands import band_named, bands
from tautwire.model.wires.segments import half_waves
from tautwire.studies.reports.answers import sentences
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.findings import part_of
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import territory, the_dip, window
from tautwire.studies.wants.dips.words import turning_point

FEED = {
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "coax": {"type": "RG-58", "length": "5 m", "height": "2 cm"},
    "transformer": {"terminal_capacitance": "0.5 pF"},
}
V = {"layout": "inverted V", "length": "19.6 m", "apex_height": "8 m", "feed_height": "1.2 m", "end_height": "1.5 m"}


@pytest.fixture(scope="module")
def shore(remember: Store) -> Result:
    """A flat sloper over sea water, whose return conductor resonates on 10 m: two dips of one mode there."""
    return run(
        read_study({
            **FEED,
            "study": {"name": "shore", "bands": ["10 m"]},
            "site": {"soil": {"er": 70, "sigma": "5 S/m"}},
            "antenna": {"layout": "sloper", "length": "20 m", "feed_height": "1.2 m", "slope": "15 deg"},
            "sweep": {"antenna.length": {"from": "19.5 m", "to": "20.7 m", "step": "0.2 m"}},
        }),
        remember,
        workers=0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def two_bands(remember: Store) -> Result:
    """A V whose third mode dips between 15 m and 12 m."""
    study = read_study({**FEED, "study": {"name": "v", "bands": ["15 m", "12 m"]}, "antenna": V})
    return run(study, remember, workers=0)


def test_half_waves_of_a_wire_in_free_space(remember: Store) -> None:
    """A thin wire is shortened by some 2 to 5 % at each resonance (antenna handbooks, common practice, no source)."""
    raw = {"antenna": {"layout": "sloper", "length": "20 m", "slope": "20 deg"}, "coax": {"length": "5 m"}}
    solver = Setup.read({**raw, "site": {"soil": "free space"}}).build().solver(remember)
    c = 299_792_458.0
    for mode in (1, 2, 3, 4):
        found = half_waves(solver.solve(mode * c / 40.0 * 0.97))
        assert found == pytest.approx(mode, abs=0.12), mode


def test_bands_share_the_spectrum_without_gaps_or_overlaps() -> None:
    edges = [territory(b) for b in bands()]
    for (_, high), (low, _) in zip(edges, edges[1:], strict=False):
        assert high == pytest.approx(low)
    assert territory(band_named("15 m"))[1] == pytest.approx(math.sqrt(21.45e6 * 24.89e6))
    own = band_named("22-24 MHz")
    assert territory(own) == (0.0, math.inf)


def test_no_dip_is_told_for_two_bands(two_bands: Result) -> None:
    dips, every = two_bands.frames["dips"].set_index("band"), two_bands.frames["all_dips"]
    assert dips["dip_mhz"].dropna().is_unique
    between = every[every["f_mhz"].between(21.5, 24.8)]
    assert len(between) and (between["mode"] == 3).all()
    nearer = ["15 m" if f < math.sqrt(21.45 * 24.89) else "12 m" for f in between["f_mhz"]]
    assert list(between["band"]) == nearer
    low, high = (f / 1e6 for f in window(band_named("15 m")))
    assert between["f_mhz"].between(low, high).any(), "this case must have a dip that both bands see"
    other = next(n for n in ("15 m", "12 m") if n not in nearer)
    assert math.isnan(dips.loc[other, "dip_mhz"])
    assert f"{other}: there is no dip of its own" in " ".join(sentences(two_bands))


def test_asking_for_one_band_more_changes_nothing(two_bands: Result, remember: Store) -> None:
    for name in ("15 m", "12 m"):
        alone = run(read_study({**FEED, "study": {"name": "v", "bands": [name]}, "antenna": V}), remember, workers=0)
        row = two_bands.frames["dips"].set_index("band").loc[name]
        assert alone.frames["dips"]["dip_mhz"][0] == pytest.approx(row["dip_mhz"], nan_ok=True)


def test_the_dip_is_followed_over_sea_water(shore: Result) -> None:
    """By the deepest in the band it would go from 28.5 to 29.8 MHz between 20.1 and 20.3 m."""
    dips, every = shore.frames["dips"], shore.frames["all_dips"]
    deepest = every[every["f_mhz"].between(28.0, 29.7)].groupby("length_m")["swr"].idxmin()
    assert np.abs(np.diff(every.loc[deepest, "f_mhz"])).max() > 1.0, "this case must be one that could hop"
    assert (every.groupby("length_m").size() == 2).sum() >= 3
    steps = dips.sort_values("length_m")["dip_mhz"].dropna().diff().dropna()
    assert len(steps) >= 5 and (steps < 0).all() and steps.abs().max() < 0.3
    assert (every["mode"] == 4).all() and (dips["dip_mode"].dropna() == 4).all()
    chosen = every[every["chosen"]]
    assert (chosen["followed"] == 1).all()
    assert list(chosen["f_mhz"]) == list(dips["dip_mhz"].dropna())
    assert list(chosen["width_2to1_khz"]) == list(dips.loc[dips["dip_mhz"].notna(), "width_2to1_khz"])


def test_no_line_of_a_grid_hops(remember: Store) -> None:
    """Two soils, on each of which the two dips of the mode come and go: no step of 1 % of wire moves a dip by 2 %."""
    raw = {"layout": "sloper", "length": "20 m", "feed_height": "1.2 m", "slope": "15 deg"}
    study = read_study({
        **FEED,
        "study": {"name": "grid", "bands": ["10 m"]},
        "antenna": raw,
        "sweep": {
            "site.soil": ["sea water", "very dry ground"],
            "antenna.length": {"from": "19.3 m", "to": "20.9 m", "step": "0.2 m"},
        },
    })  # fmt: skip
    result = run(study, remember, workers=0)
    every = result.frames["all_dips"]
    for soil, rows in result.frames["dips"].groupby("soil"):
        dips = rows.sort_values("length_m")["dip_mhz"].to_numpy(float)
        here = every[every["soil"] == soil]
        alone = [
            the_dip(list(zip(part["f_mhz"] * 1e6, part["swr"], strict=True)), band_named("10 m"))[0]
            for _, part in here.groupby("length_m")
        ]
        assert np.abs(np.diff(np.log(alone))).max() > 0.02, "this case must be one that could hop"
        assert np.nanmax(np.abs(np.diff(np.log(dips)))) < 0.02
        assert np.isfinite(dips).sum() >= 5
    followed = every[every["followed"] > 0]
    assert not followed.duplicated(["soil", "length_m", "followed"]).any()


def test_summary_opens_with_the_finding(shore: Result, two_bands: Result) -> None:
    said = sentences(shore)[0]
    assert said.startswith("Much: the 10 m dip moves by") and "the band's 1700 kHz" in said
    assert "10 cm" not in said  # the wire itself is what changes
    assert re.fullmatch(
        r"The dip is 1\d\d\d kHz (above the band on 15|below the band on 12) m\.", sentences(two_bands)[0]
    )


def test_shares_in_words() -> None:
    told = {
        0.26: "a quarter of",
        0.0625: "6 % of",
        0.5: "half of",
        2.34: "2.3 times",
        1.0: "as much as",
        0.8: "80 % of",
    }
    assert {share: part_of(share) for share in told} == told


def test_a_turning_point_lies_outside_what_the_ends_span() -> None:
    told = {(7083, 7066, 7074): 1, (14208, 14199, 14212, 14259): 1, (14193, 14215, 14191): 1, (1, 5, 9): None}
    assert {dips: turning_point(dips) for dips in told} == told


def test_variants_are_not_followed(remember: Store) -> None:
    study = read_study({
        **FEED,
        "study": {"name": "ways", "bands": ["20 m"]},
        "antenna": V,
        "variant": [{"name": "short", "antenna": {**V, "length": "19.2 m"}}, {"name": "long", "antenna": V}],
    })  # fmt: skip
    found = run(study, remember, workers=0).frames["all_dips"]
    assert len(found) == 2 and (found["followed"] == 0).all()
