"""What a case costs, in counts: clocks differ from machine to machine, these do not."""

import cProfile
import pstats
from typing import Any

import pytest

from tautwire.studies.running.runner import run
from tautwire.studies.running.store import ANSWERS, Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.study import Study

CALLS = 30_000  # a further case of one band on a blended axis; 23 000 when this was written, once 69 000
BYTES = 8_000  # of its answer in the store; 4 800 when this was written, sampled sweeps would be more than all of it


def slopes(count: int) -> Study:
    raw: dict[str, Any] = {
        "study": {"bands": ["20 m"]},
        "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "30 deg"},
        "coax": {"type": "RG-58", "length": "5 m"},
        "sweep": {"antenna.slope": {"from": "20 deg", "to": "50 deg", "count": count}},
    }
    return read_study(raw)


@pytest.fixture(scope="module")
def costs(tmp_path_factory) -> dict[int, tuple[int, int]]:
    """Number of cases -> calls and bytes stored."""
    found = {}
    run(slopes(2), Store(tmp_path_factory.mktemp("warm")), workers=0)  # modules are loaded
    for count in (30, 40):
        store, profile = Store(tmp_path_factory.mktemp("store")), cProfile.Profile()
        profile.enable()
        result = run(slopes(count), store, workers=0)
        profile.disable()
        assert len(result.rows("dips")) == len(result.rows("spread")) == count
        size = sum(f.stat().st_size for kind in ANSWERS for f in store.folder.rglob(f"{kind}-*"))
        found[count] = pstats.Stats(profile).total_calls, size  # type: ignore[attr-defined]
    return found


def test_a_further_case_costs_few_calls(costs) -> None:
    assert (costs[40][0] - costs[30][0]) / 10 < CALLS


def test_a_further_case_takes_little_of_the_store(costs) -> None:
    assert (costs[40][1] - costs[30][1]) / 10 < BYTES
