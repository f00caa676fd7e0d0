"""Coax and the whole feed: textbook line cases, trade facts, invariants, bad input."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tautwire.model.basics import C0, reflection, swr
from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.coax import COAX_TYPES, CoaxType, coax_named
from tautwire.model.feed.transformer import IDEAL_49_TO_1, PORTABLE_49_TO_1

LOSSLESS = CoaxType("no loss", 50.0, 0.66, ((1e6, 0.0),))
HF = np.array([1.8, 3.6, 7.1, 14.2, 21.2, 28.5]) * 1e6
QUARTER = 0.66 * C0 / 14e6 / 4  # m, at 14 MHz

cables = st.sampled_from([LOSSLESS, *COAX_TYPES.values()])
feeds = st.builds(
    FeedSystem,
    transformer=st.sampled_from([None, IDEAL_49_TO_1, PORTABLE_49_TO_1]),
    coax=cables,
    coax_length=st.floats(0, 60),
    reference=st.floats(10, 200),
)
loads = st.builds(complex, st.floats(0, 1e6), st.floats(-1e5, 1e5)) | st.just(complex(math.inf, 0))
frequencies = st.floats(1.1e6, 60e6)


def radio_z(coax, length, z, f, transformer=None):
    return FeedSystem(transformer, coax, length).impedances(z, f).radio


@pytest.mark.validation
def test_quarter_and_half_wave_lines():
    """Zin = Z0^2/ZL and Zin = ZL (Pozar, Microwave Engineering, sect. 2.3-2.5, from memory)."""
    assert radio_z(LOSSLESS, QUARTER, 100 + 30j, 14e6) == pytest.approx(2500 / (100 + 30j))
    assert radio_z(LOSSLESS, 2 * QUARTER, 100 + 30j, 14e6) == pytest.approx(100 + 30j)


@pytest.mark.validation
def test_eighth_wave_stubs_and_transformer():
    """Shorted: +j Z0; open: -j Z0; resistive load gives |Zin| = Z0 (Pozar, sect. 2.3, from memory)."""
    eighth = QUARTER / 2
    assert radio_z(LOSSLESS, eighth, 0, 14e6) == pytest.approx(50j)
    assert radio_z(LOSSLESS, eighth, math.inf, 14e6) == pytest.approx(-50j)
    assert abs(radio_z(LOSSLESS, eighth, 180, 14e6)) == pytest.approx(50)


def test_quarter_wave_short_is_nearly_open_and_open_is_short():
    assert abs(radio_z(LOSSLESS, QUARTER, 0, 14e6)) > 1e12
    assert abs(radio_z(LOSSLESS, QUARTER, math.inf, 14e6)) < 1e-12
    assert FeedSystem(None).impedances(math.inf, 7e6).radio.real == math.inf


@pytest.mark.validation
@pytest.mark.parametrize("name", COAX_TYPES)
def test_matched_line_loses_its_catalogue_loss(name):
    """50 m into 50 ohm lose half the table's dB (definition of matched loss).

    The cable's slightly complex Z0 is a mismatch at both ends, of second order in a/b: 10 (a/b)^2 dB.
    """
    coax = COAX_TYPES[name]
    assert "from memory" in coax.source
    for f, db in coax.loss:
        split = FeedSystem(None, coax, 50.0).power_split(50, f)
        a_over_b = db / 868.6 / (2 * math.pi * f / (coax.velocity_factor * C0))
        assert split.coax_db == pytest.approx(db / 2, abs=10 * a_over_b**2)


@pytest.mark.validation
@pytest.mark.parametrize("standing", [1.5, 3.0, 10.0])
def test_added_loss_with_swr_against_handbook_formula(standing):
    """Total loss 10 log10((a^2 - g^2)/(a (1 - g^2))), a = matched loss ratio, g = |reflection| at the load.

    The amateur handbooks' formula, from memory; it holds for a real Z0, which equal conductor and dielectric
    loss gives: k1 sqrt(f) = k2 f at f. SWR is that on the line, whose Z0 the skin effect has raised.
    """
    f = 14e6
    table = tuple((x, math.sqrt(x / f) * 3 + x / f * 3) for x in (1e6, 5e6, f, 50e6))
    coax = CoaxType("balanced", 50.0, 0.66, table)
    conductor, dielectric = coax.attenuation(f)
    assert conductor == pytest.approx(dielectric, rel=1e-6)
    a, g = 10 ** (6 * 0.3 / 10), (standing - 1) / (standing + 1)
    expected = 10 * math.log10((a**2 - g**2) / (a * (1 - g**2)))
    z0 = coax.propagation(f)[1]
    assert abs(z0.imag) < 1e-3 * z0.real
    for load in (z0.real * standing, z0.real / standing):
        assert FeedSystem(None, coax, 30.0).power_split(load, f).coax_db == pytest.approx(expected, rel=3e-3)


def test_line_loss_flatters_the_radio_end():
    """SWR falls from antenna to radio on a lossy line: common practice, no source.

    |reflection| against the line's own Z0 falls by twice the matched loss (textbook). On a long line SWR at the radio
    says little: an open looks like under 1.5.
    """
    coax = coax_named("RG-174")
    z = FeedSystem(PORTABLE_49_TO_1, coax, 10.0).impedances(np.array([600, 2450, 9000 + 2000j])[:, None], HF)
    worst = swr(z.primary) > 2.5
    assert worst.any() and (swr(z.radio)[worst] < swr(z.primary)[worst]).all()
    z0 = coax.propagation(HF)[1]
    at_antenna, at_radio = (np.abs((x - z0) / (x + z0)) for x in (z.primary, z.radio))
    assert np.allclose(at_radio, at_antenna * 10 ** (-2 * coax.loss_db(10.0, HF) / 20), rtol=1e-3)
    assert swr(radio_z(coax, 100, math.inf, 14e6)) < 1.5


def test_attenuation_law_and_its_extension():
    """A table made from k1 sqrt f + k2 f comes back between and beyond its rows; one row goes as sqrt f."""

    def law(f):
        return 1.3e-3 * np.sqrt(f) + 2.1e-8 * f

    coax = CoaxType("law", 50.0, 0.7, tuple((f, law(f)) for f in (1e6, 7e6, 30e6)))
    f = np.array([0.5e6, 3e6, 14e6, 29e6, 100e6])
    assert coax.loss_db(100.0, f) == pytest.approx(law(f), rel=1e-9)
    single = CoaxType("one row", 50.0, 0.7, ((10e6, 4.0),))
    assert single.loss_db(100.0, 40e6) == pytest.approx(8.0)


def test_families_keep_their_rows_and_rise_with_frequency():
    f = np.geomspace(1e6, 100e6, 500)
    for coax in COAX_TYPES.values():
        rows = np.array(coax.loss)
        assert coax.loss_db(100.0, rows[:, 0]) == pytest.approx(rows[:, 1])
        assert (np.diff(coax.loss_db(1.0, f)) > 0).all()


def test_thin_cable_loses_more():
    """RG-174 > RG-58 > RG-213, and foam under solid at the same size; common practice, no source."""
    db = {name: COAX_TYPES[name].loss_db(100.0, 14e6) for name in COAX_TYPES}
    assert db["RG-174"] > db["RG-58"] > db["RG-213"]
    assert db["RG-58"] > db["5 mm foam"]
    cable = COAX_TYPES["RG-58"]
    assert cable.shield_diameter + 2 * cable.jacket == pytest.approx(4.95e-3)
    assert COAX_TYPES["RG-58"].shield_wire().diameter == COAX_TYPES["RG-58"].shield_diameter


@pytest.mark.validation
def test_swr_of_known_loads():
    """50 ohm on 50: 1; 100 and 25: 2; 50 + j50: 2.618; short, open, pure reactance: infinite (any textbook)."""
    z = np.array([50, 100, 25, 50 + 50j, 0, math.inf, 30j])
    golden = (3 + math.sqrt(5)) / 2
    assert swr(z) == pytest.approx([1, 2, 2, golden, math.inf, math.inf, math.inf])
    assert np.isnan(swr(math.nan))


def test_levels_by_hand():
    """10 W into a perfect 49:1: 22.4 V at 50 ohm, 156.5 V and 63.9 mA at 2450 ohm (Ohm's law)."""
    at = FeedSystem(IDEAL_49_TO_1).levels(2450, HF, 10.0)
    assert at.radio_volts == pytest.approx(math.sqrt(500))
    assert at.wire_volts == pytest.approx(math.sqrt(24500))
    assert at.wire_amps == pytest.approx(math.sqrt(10 / 2450))
    assert at.wire_watts == pytest.approx(10)
    assert at.core_flux is None


def test_core_flux_falls_with_frequency():
    """The same volts swing less flux at a higher frequency (Faraday); heat follows core_watts."""
    at = FeedSystem(PORTABLE_49_TO_1).levels(2450, HF, 10.0)
    assert at.core_flux is not None and (np.diff(at.core_flux) < 0).all()
    area = PORTABLE_49_TO_1.magnetising.shape.effective_area
    volts = at.wire_volts / 7
    assert at.core_flux == pytest.approx(math.sqrt(2) * volts / (2 * math.pi * HF * 2 * area))


def test_levels_add_up_to_the_power():
    at = FeedSystem(PORTABLE_49_TO_1, coax_named("RG-316"), 8.0).levels(1800 - 900j, HF, 25.0)
    parts = at.mismatch_watts + at.coax_watts + at.core_watts + at.winding_watts + at.wire_watts
    assert parts == pytest.approx(25.0)
    assert at.wire_watts == pytest.approx(at.wire_amps**2 * 1800)


def test_split_in_db_is_the_transformers_loss():
    split = FeedSystem(PORTABLE_49_TO_1, coax_named("RG-58"), 10.0).power_split(3000 + 500j, HF)
    assert split.transformer_db == pytest.approx(PORTABLE_49_TO_1.loss_db(3000 + 500j, HF))


def test_open_short_and_nan():
    feed = FeedSystem(PORTABLE_49_TO_1, coax_named("RG-58"), 5.0)
    opened = feed.power_split(math.inf, HF)
    assert (opened.wire == 0).all() and (opened.mismatch <= 1).all()
    assert feed.impedances(math.inf, HF).radio == pytest.approx(feed.impedances(1e12, HF).radio)
    assert feed.impedances(0, HF).radio == pytest.approx(feed.impedances(1e-9, HF).radio)
    with np.errstate(invalid="ignore"):
        mixed = feed.power_split([2450, math.nan], 7e6)
    assert np.isfinite(mixed.wire[0]) and np.isnan(mixed.wire[1]) and np.isnan(mixed.mismatch[1])


def test_arrays_broadcast_and_match_single_values():
    feed = FeedSystem(PORTABLE_49_TO_1, coax_named("RG-8X"), 7.0)
    z = np.array([1500 + 200j, 4000, 80 - 900j])[:, None]
    many = feed.impedances(z, HF).radio
    assert many.shape == (3, 6)
    assert feed.impedances(z[1, 0], HF[4]).radio == pytest.approx(many[1, 4])


@settings(deadline=None, max_examples=150)
@given(feeds, loads, frequencies)
def test_any_feed_is_passive_and_loses_nothing(feed, z, f):
    split = feed.power_split(z, f)
    parts = [getattr(split, field.name) for field in fields(split)]
    assert sum(parts) == pytest.approx(1, abs=1e-9)
    assert all(0 <= part <= 1 + 1e-9 for part in parts)
    at = feed.impedances(z, f)
    for plane in (at.primary, at.radio):
        assert abs(reflection(plane, feed.reference)) <= 1 + 1e-9
    assert abs(reflection(at.radio, feed.reference)) ** 2 == pytest.approx(split.mismatch, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(cables, st.floats(0, 60), frequencies)
def test_line_is_reciprocal_and_symmetric(coax, length, f):
    m = coax.chain(length, f)
    assert np.linalg.det(m) == pytest.approx(1, abs=1e-12 * max(1, abs(m[0, 0]) ** 2 * 10))
    assert m[0, 0] == m[1, 1]
    half = coax.chain(length / 2, f)
    assert np.allclose(half @ half, m, rtol=1e-9, atol=1e-9)


@settings(deadline=None, max_examples=60)
@given(st.floats(0, 100), st.builds(complex, st.floats(0, 1e4), st.floats(-1e4, 1e4)), frequencies)
def test_lossless_line_keeps_the_size_of_the_reflection(length, z, f):
    at_radio = reflection(radio_z(LOSSLESS, length, z, f))
    assert abs(at_radio) == pytest.approx(abs(reflection(z)), abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from(list(COAX_TYPES.values())),
    st.floats(0, 50),
    st.floats(0.01, 50),
    st.builds(complex, st.floats(1, 1e4), st.floats(-1e4, 1e4)),
    frequencies,
)
def test_longer_line_never_loses_less(coax, length, extra, z, f):
    """Power in at the nearer end cannot be less than further along: loss from input to load grows with length."""
    short = FeedSystem(None, coax, length).power_split(z, f)
    longer = FeedSystem(None, coax, length + extra).power_split(z, f)
    assert longer.coax_db >= short.coax_db - 1e-9


@pytest.mark.parametrize(
    "make, field",
    [
        (lambda: FeedSystem(coax=LOSSLESS, coax_length=-1), "feed.coax.length"),
        (lambda: FeedSystem(coax=LOSSLESS, coax_length=math.nan), "feed.coax.length"),
        (lambda: FeedSystem(coax_length=5), "feed.coax"),
        (lambda: FeedSystem(reference=0), "feed.reference"),
        (lambda: FeedSystem().impedances(-40 + 10j, 7e6), "feed.z_wire"),
        (lambda: FeedSystem().impedances(50, [7e6, 0]), "frequency"),
        (lambda: FeedSystem().levels(50, 7e6, 0), "power"),
        (lambda: FeedSystem().levels(50, 7e6, math.inf), "power"),
        (lambda: replace(LOSSLESS, z0=0), "feed.coax.z0"),
        (lambda: replace(LOSSLESS, velocity_factor=1.2), "feed.coax.velocity_factor"),
        (lambda: replace(LOSSLESS, loss=()), "feed.coax.loss"),
        (lambda: replace(LOSSLESS, loss=((1e6, -1.0),)), "feed.coax.loss"),
        (lambda: replace(LOSSLESS, loss=((1e6, 3.0), (2e6, 2.0))), "feed.coax.loss"),
        (lambda: replace(LOSSLESS, loss=((2e6, 1.0), (1e6, 2.0))), "feed.coax.loss"),
        (lambda: replace(LOSSLESS, loss=((1e6, math.nan),)), "feed.coax.loss"),
        (lambda: replace(LOSSLESS, shield_diameter=0), "feed.coax.shield_diameter"),
        (lambda: replace(LOSSLESS, jacket=-1), "feed.coax.jacket"),
        (lambda: replace(LOSSLESS, jacket_er=0.5), "feed.coax.jacket_er"),
        (lambda: COAX_TYPES["RG-174"].chain(-1, 7e6), "feed.coax.length"),
        (lambda: COAX_TYPES["RG-174"].chain(5000, 60e6), "feed.coax.length"),
    ],
)
def test_bad_input_names_its_field(make, field):
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.field == field
    assert "\n" not in str(caught.value)


def test_names_are_forgiving_and_helpful():
    assert coax_named("rg58") is coax_named("RG 58") is COAX_TYPES["RG-58"]
    with pytest.raises(InputError, match="did you mean 'RG-174'"):
        coax_named("RG-147")
