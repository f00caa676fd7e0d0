"""Names, regions and segments of the band plans."""

import numpy as np
import pytest

from tautwire.model.errors import InputError
from tautwire.model.operating import bands

REGIONS = (1, 2, 3, "US")


@pytest.mark.parametrize("name", ["20 m", "20m", " 20 M ", "20", "20 metres"])
def test_a_band_answers_to_its_usual_spellings(name: str) -> None:
    assert bands.band_named(name).name == "20 m"


@pytest.mark.parametrize("region", ["us", "US", " 2 ", 3])
def test_regions_by_name(region: object) -> None:
    assert bands.band_named("40 m", region).upper == (7.2e6 if region == 3 else 7.3e6)


@pytest.mark.parametrize("region", [0, 4, "EU", True, None, 1.5])
def test_unknown_region_is_refused(region: object) -> None:
    with pytest.raises(InputError, match="region"):
        bands.bands(region)


def test_unknown_names_are_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match="one of 160 m, 80 m"):
        bands.band_named("16 m")
    with pytest.raises(InputError, match="did you mean '20 m CW'"):
        bands.segment_named("20 m cws")
    with pytest.raises(InputError, match="of 30 m there are '30 m', '30 m CW', '30 m digital'"):
        bands.segment_named("30 m phone")
    with pytest.raises(InputError, match="one of"):
        bands.band_named("")


@pytest.mark.parametrize("region", REGIONS)
def test_every_segment_lies_in_its_band_and_has_a_source(region: object) -> None:
    known = {band.name: band for band in bands.bands(region)}
    names = [segment.name for segment in bands.band_segments(region)]
    assert len(names) == len(set(names))
    for segment in bands.band_segments(region):
        band = known[segment.band]
        assert band.lower <= segment.lower < segment.upper <= band.upper
        assert segment.source
        assert bands.segment_named(segment.name, region) == segment
    assert {segment.band for segment in bands.band_segments(region)} == set(known)


def test_phone_edges_follow_the_region() -> None:
    assert bands.segment_named("80m phone", 1).upper == 3.8e6
    assert bands.segment_named("80m phone", 3).upper == 3.9e6
    assert bands.segment_named("20 m phone", "US").lower == 14.15e6
    assert bands.segment_named("20 m phone", "US").source == bands.US_PHONE
    assert bands.segment_named("20 m CW", "US").source == bands.PRACTICE


def test_whole_band_and_own_segments() -> None:
    assert bands.segment_named("17m") == bands.band_named("17 m").whole
    own = bands.segment_named("14.000-14.070 MHz")
    assert (own.lower, own.upper, own.band, own.source) == (14e6, 14.07e6, "20 m", bands.OWN)
    assert bands.segment_named("7000 to 7040 kHz").band == "40 m"
    assert bands.segment_named("9.5-9.6 MHz").band == ""
    np.testing.assert_allclose(own.frequencies(3), [14e6, 14.035e6, 14.07e6])
    assert own.centre == 14.035e6 and own.width == pytest.approx(70e3)


@pytest.mark.parametrize("bad", ["14.1-14.0 MHz", "1.0-2.0 MHz", "50-60 MHz", "14.0-14.1", "14.0-14.1 Hz"])
def test_bad_own_segments_are_refused(bad: str) -> None:
    with pytest.raises(InputError, match="segment"):
        bands.segment_named(bad)


def test_a_band_of_ones_own() -> None:
    own = bands.band_named("13.9-14.4 MHz")
    assert (own.name, own.lower, own.upper, own.source) == ("13.9-14.4 MHz", 13.9e6, 14.4e6, bands.OWN)
    with pytest.raises(InputError, match="band = '14-18 MHz': a range within 4.6 to 15.9 MHz"):
        bands.band_named("14-18 MHz")


def test_band_of() -> None:
    found = bands.band_of(14.06e6)
    assert found is not None and found.name == "20 m"
    assert bands.band_of(7.25e6, 1) is None
    assert bands.band_of(7.25e6, 2) is not None


def test_segments_and_counts_are_checked() -> None:
    with pytest.raises(InputError):
        bands.BandSegment("x", "", 2.0, 1.0)
    with pytest.raises(InputError):
        bands.BandSegment("x", "", float("nan"), 1.0)
    with pytest.raises(InputError):
        bands.band_named("20 m").whole.frequencies(1)
