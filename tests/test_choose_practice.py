"""What choosing finds against what operators of end-fed half-waves find. Source of all: common practice, no source."""

from typing import Any

import pytest

from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.wants.choose.candidates import read_problem
from tautwire.studies.wants.choose.search import Candidate
from tautwire.studies.wants.choose.want import one_by_one, search

SLOPER = {"layout": "sloper", "length": "20 m", "feed_height": "1.2 m", "slope": "25 deg"}
V = {"layout": "inverted V", "length": "20 m", "feed_height": "1.2 m", "apex_height": "8 m", "end_height": "2 m"}
LONG = {"antenna.length": {"from": "18 m", "to": "22.5 m"}}


def best(bands: list[str], choose: dict[str, Any], remember: Store, **setup: Any) -> Candidate:
    head = {"name": "practice", "want": ["choose"], "bands": bands}
    wire = {"diameter": "0.8 mm", "jacket": "0.3 mm"}
    study = read_study({"study": head, "wire": wire, "antenna": SLOPER, **setup, "choose": choose})
    problem = read_problem(study, study.raw)
    return search(problem, remember, one_by_one(problem, remember)).run()[0]


@pytest.mark.parametrize("hung", [{"antenna": SLOPER}, {"antenna": V}], ids=["sloper", "V"])
def test_one_wire_for_four_bands_is_as_long_as_people_cut_it(hung: dict[str, Any], remember: Store) -> None:
    """19.5 to 21 m for 40, 20, 15 and 10 m, as handbooks give it for an end-fed half-wave of 40 m."""
    bands = ["40 m", "20 m", "15 m", "10 m"]
    found = best(bands, {"vary": LONG, "solves": 10, "swr": 3}, remember, coax={"length": "10 m"}, **hung)
    assert 19.5 <= found.measures.wire <= 21.0
    assert not found.misses


def test_a_short_counterpoise_or_the_first_metres_of_coax_are_enough(remember: Store) -> None:
    """0.05 wavelength of the lowest band (2.1 m at 7.1 MHz), or 3 m of coax: as good as much more of either, with the
    wire cut anew for each; a tenth of a counterpoise is not."""
    choose = {"vary": LONG, "solves": 8, "aims": {"swr": 1, "gain": 1e-3}}

    def swr_and_gain(**returns: Any) -> tuple[float, float]:
        found = best(["40 m"], choose, remember, **returns)
        return float(found.measures.swr[0]), -found.measures.aims["gain"]

    def wire(length: str) -> dict[str, Any]:
        return {"counterpoise": [{"length": length, "height": "30 cm"}]}

    usual, long = swr_and_gain(**wire("2.1 m")), swr_and_gain(**wire("8 m"))
    little, coax, much_coax = (
        swr_and_gain(**wire("0.25 m")), swr_and_gain(coax={"length": "3 m"}), swr_and_gain(coax={"length": "10 m"})
    )  # fmt: skip
    assert usual[0] < long[0] + 0.1 and usual[1] > long[1] - 0.3
    assert coax[0] < much_coax[0] + 0.1 and coax[1] > much_coax[1] - 0.3
    assert little[0] > usual[0] + 1


def test_wire_goes_as_one_over_the_frequency(remember: Store) -> None:
    products = []
    for band, mhz, low, high in (("40 m", 7.1, 17.5, 23), ("20 m", 14.175, 8.8, 11.5), ("10 m", 28.85, 4.2, 5.8)):
        vary = {"antenna.length": {"from": f"{low} m", "to": f"{high} m"}}
        returns = {"counterpoise": [{"length": f"{0.05 * 299.79 / mhz:.2f} m", "height": "30 cm"}]}
        found = best([band], {"vary": vary, "solves": 8}, remember, **returns)
        products.append(found.measures.wire * mhz)
    assert max(products) / min(products) < 1.05
    assert 130 < products[0] < 150  # m MHz: half a wave is 150, less the end effect and the jacket
