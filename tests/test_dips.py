"""Dips, widths and resonances read off a response whose answer is known in closed form."""

import json
import math

import numpy as np
import pytest

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.transformer import IDEAL_49_TO_1
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import Response, respond
from tautwire.studies.wants.dips.reading import band_row, minima, roots, sweep, the_dip, width, window

BAND = Band("20 m", 14.0e6, 14.35e6, "test")
F0, Q, R = 14.1e6, 12.0, 2450.0
FEED = FeedSystem(IDEAL_49_TO_1)


def parallel_circuit(f):
    """A parallel resonant circuit: what a half-wave's end looks like near its dip."""
    return R / (1 + 1j * Q * (f / F0 - F0 / f))


@pytest.fixture(scope="module")
def response():
    return respond(parallel_circuit, *window(BAND), tolerance=1e-8)


def test_a_resonant_circuit_is_reproduced_exactly(response):
    f = np.linspace(*window(BAND), 301)
    assert np.abs(response.impedance(f) / parallel_circuit(f) - 1).max() < 1e-9


def test_dip_and_width_of_a_parallel_circuit(response):
    """SWR s of R/(1 + jx) on R: x = (s - 1)/sqrt(s); width = x F0/Q. From |G| = x/sqrt(4 + x^2)."""
    row = band_row(BAND, response, FEED, threshold=3.0)
    assert row["dip_mhz"] == pytest.approx(F0 / 1e6, abs=1e-5)
    assert row["dip_swr"] == pytest.approx(1, abs=1e-6)
    assert row["feed_r_ohm"] == pytest.approx(R, rel=1e-6)
    for level, column in ((2.0, "width_2to1_khz"), (3.0, "width_user_khz")):
        x = (level - 1) / math.sqrt(level)
        assert row[column] == pytest.approx(x * F0 / Q / 1e3, rel=1e-6)
    assert float(row["resonances_mhz"]) == pytest.approx(F0 / 1e6, abs=1e-4)


def test_band_without_a_dip_has_empty_cells_not_zeros():
    row = band_row(BAND, respond(lambda f: 100 + 1e-6j * f, *window(BAND)), FEED, 3.0)
    assert math.isnan(row["dip_mhz"]) and math.isnan(row["width_2to1_khz"])
    assert row["swr_worst"] > 20


def test_the_bands_own_dip_is_chosen():
    found = [(13.2e6, 1.0), (14.2e6, 1.8), (15.3e6, 1.1)]
    assert the_dip(found, BAND) == (14.2e6, 1.8)
    assert the_dip([found[0], found[2]], BAND) == (13.2e6, 1.0)
    assert math.isnan(the_dip([], BAND)[0])


def test_minima_roots_and_width_of_a_cosine():
    f = np.linspace(0, 20, 400)
    assert [m[0] for m in minima(np.cos, f)] == pytest.approx([math.pi, 3 * math.pi, 5 * math.pi], abs=0.5)
    assert len(roots(np.cos, f)) == 6
    assert width(lambda x: np.asarray(x - 10.0) ** 2, f, 10.0, 4.0) == pytest.approx(4.0, abs=2.0)


def test_sweep_has_both_planes(response):
    columns = sweep(response, FEED, points=51)
    assert len(columns["swr"]) == 51 and columns["swr"][0] == pytest.approx(columns["swr_transformer"][0])


def test_a_stored_response_is_the_same(response):
    again = Response.of_numbers(json.loads(json.dumps(response.numbers())))
    f = np.linspace(response.lower, response.upper, 33)
    assert np.array_equal(again.impedance(f), response.impedance(f)) and again.error == response.error
