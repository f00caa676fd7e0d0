"""The change of wire told beside dips outside their bands, against exact solves of the changed wire."""

import re

import pytest

from tautwire.studies.reports.answers import sentences
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.result import Result

BANDS = ["40 m", "20 m", "15 m"]
REEL = {"wire_length": "21 m", "turn_length": "30 cm"}


def result_of(length: str, remember: Store, bands: list[str] = BANDS, **more: object) -> Result:
    study = {
        "study": {"bands": bands},
        "antenna": {"layout": "sloper", "length": length, "slope": "25 deg"},
        "coax": {"length": "5 m"},
        **more,
    }
    return run(read_study(study), remember, workers=0)


def told(result: Result) -> str:
    return next(line for line in sentences(result) if " more wire" in line or " less wire" in line)


def test_one_change_puts_every_dip_into_its_band(remember: Store) -> None:
    result = result_of("20.5 m", remember)
    line, before = told(result), result.frames["dips"].set_index("band")["dip_mhz"]
    size = re.match(r"(\d+\.\d) cm less wire puts every dip into its band: about ", line)
    change = float(size[1]) / 100 if size else float(re.match(r"(\d\.\d\d) m less wire puts", line)[1])
    rows = result.rows("wire_change")
    assert [row["band"] for row in rows] == BANDS and {row["for_band"] for row in rows} == {"all"}
    assert all(row["change_m"] == pytest.approx(-change, abs=0.005) for row in rows)
    exact = result_of(f"{20.5 - change:.2f} m", remember).frames["dips"].set_index("band")["dip_mhz"]
    places = dict(re.findall(r"(\d+ m) at (\d+\.\d+)", line))
    assert list(places) == BANDS
    for band in result.study.bands:
        moves = exact[band.name] - before[band.name]
        assert float(places[band.name]) == pytest.approx(exact[band.name], abs=0.12 * moves)
        assert band.lower <= exact[band.name] * 1e6 <= band.upper


def test_where_no_change_serves_all_each_band_has_its_own(remember: Store) -> None:
    line = told(result_of("19.8 m", remember, ["20 m", "28.0-28.2 MHz"], reel=REEL))
    change, turns = re.match(r"28\.0-28\.2 MHz: (\d+\.\d) cm more wire \((\d\.\d) turns out\) brings its dip to the "
                             r"band's edge; then about 20 m at \d", line).groups()  # fmt: skip
    assert float(turns) == pytest.approx(float(change) / 30, abs=0.1)


def test_feet_where_lengths_are_in_feet_and_nothing_where_all_is_well(remember: Store) -> None:
    assert re.match(r"\d ft \d+ in less wire puts", told(result_of("67 ft 6 in", remember)))
    inside = sentences(result_of("19.7 m", remember, ["40 m", "20 m"]))
    assert not any(" more wire" in line or " less wire" in line for line in inside)
    unsure = sentences(result_of("20.5 m", remember, ["20 m"], spread={"values": {"antenna.length": {"sd": "0 m"}}}))
    assert not any(" less wire" in line for line in unsure)


def test_a_change_beyond_the_reel_says_so(remember: Store) -> None:
    line = told(result_of("19.4 m", remember, ["6.7-6.8 MHz"], reel={**REEL, "wire_length": "19.9 m"}))
    assert "more wire (more than the reel holds) brings" in line
