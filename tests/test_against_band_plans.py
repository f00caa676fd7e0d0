"""Band edges against published tables, typed here apart from the model."""

import pytest

from tautwire.model.operating import bands

# ADIF specification, band enumeration (an open log format), MHz, from memory. Its edges enclose every region's band.
ADIF = {
    "160 m": (1.8, 2.0),
    "80 m": (3.5, 4.0),
    "60 m": (5.06, 5.45),
    "40 m": (7.0, 7.3),
    "30 m": (10.1, 10.15),
    "20 m": (14.0, 14.35),
    "17 m": (18.068, 18.168),
    "15 m": (21.0, 21.45),
    "12 m": (24.89, 24.99),
    "10 m": (28.0, 29.7),
    "6 m": (50.0, 54.0),
}

# ITU Radio Regulations, article 5, table of frequency allocations, MHz, from memory: where regions differ.
ARTICLE_5 = {
    ("160 m", 1): (1.81, 1.85),
    ("160 m", 2): (1.8, 2.0),
    ("160 m", 3): (1.8, 2.0),
    ("80 m", 1): (3.5, 3.8),
    ("80 m", 2): (3.5, 4.0),
    ("80 m", 3): (3.5, 3.9),
    ("60 m", 1): (5.3515, 5.3665),
    ("60 m", 2): (5.3515, 5.3665),
    ("60 m", 3): (5.3515, 5.3665),
    ("40 m", 1): (7.0, 7.2),
    ("40 m", 2): (7.0, 7.3),
    ("40 m", 3): (7.0, 7.2),
    ("6 m", 1): (50.0, 52.0),
    ("6 m", 2): (50.0, 54.0),
    ("6 m", 3): (50.0, 54.0),
}

# 47 CFR 97.305(c), lowest frequency of phone emission in the US, MHz, from memory.
US_PHONE_FROM = {
    "80 m": 3.6,
    "40 m": 7.125,
    "20 m": 14.15,
    "17 m": 18.11,
    "15 m": 21.2,
    "12 m": 24.93,
    "10 m": 28.3,
    "6 m": 50.1,
}


@pytest.mark.parametrize("region", [1, 2, 3, "US"])
def test_bands_lie_within_the_adif_enumeration(region: object) -> None:
    assert [band.name for band in bands.bands(region)] == list(ADIF)
    for band in bands.bands(region):
        lower, upper = ADIF[band.name]
        assert lower * 1e6 <= band.lower < band.upper <= upper * 1e6


@pytest.mark.parametrize("name", ["30 m", "20 m", "17 m", "15 m", "12 m", "10 m"])
@pytest.mark.parametrize("region", [1, 2, 3, "US"])
def test_world_wide_bands_are_exactly_the_adif_ones(name: str, region: object) -> None:
    band = bands.band_named(name, region)
    assert (band.lower, band.upper) == pytest.approx([edge * 1e6 for edge in ADIF[name]], rel=1e-12)


def test_regional_edges_against_article_5() -> None:
    for (name, region), edges in ARTICLE_5.items():
        band = bands.band_named(name, region)
        assert (band.lower, band.upper) == pytest.approx([edge * 1e6 for edge in edges], rel=1e-12)
        assert "article 5" in band.source


def test_us_edges_are_region_2_except_60_m() -> None:
    """47 CFR 97.301(a) for region 2, from memory."""
    for us, two in zip(bands.bands("US"), bands.bands(2), strict=True):
        assert "47 CFR" in us.source
        if us.name != "60 m":
            assert (us.lower, us.upper) == (two.lower, two.upper)


def test_us_60_m_spans_the_five_channels() -> None:
    """47 CFR 97.303(h), from memory: centres 5332 to 5405 kHz, each 2.8 kHz wide."""
    band = bands.band_named("60 m", "US")
    assert (band.lower, band.upper) == pytest.approx((5332e3 - 1400, 5405e3 + 1400))


def test_us_phone_starts_where_97_305_says() -> None:
    for name, mhz in US_PHONE_FROM.items():
        assert bands.segment_named(f"{name} phone", "US").lower == pytest.approx(mhz * 1e6)
