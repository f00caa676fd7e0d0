"""Cases row by row, from a table or drawn: what is asked for is what is computed, and told in the table "cases"."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from tautwire.model.errors import InputError
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import load_study, read_study

RAW: dict[str, Any] = {
    "study": {"name": "listed", "bands": ["20 m"], "spread": False},
    "antenna": {"layout": "sloper", "length": "10.1 m", "slope": "30 deg"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
}
HEAD = """
[study]
bands = ["20 m"]
[antenna]
layout = "sloper"
length = "10.1 m"
slope = "30 deg"
[coax]
length = "5 m"
"""


def test_rows_are_taken_together_and_told(tmp_path: Path) -> None:
    lists = {"antenna.length": ["10 m", "10.4 m"], "antenna": {"slope": ["20 deg", "40 deg"]}}
    study = read_study({**RAW, "cases": lists})
    assert [(c.labels["variant"], c.setup().antenna.length) for c in study.cases()] == [
        ("row 1", 10.0),
        ("row 2", 10.4),
    ]
    found = run(study, Store(tmp_path), workers=0).frames
    assert found["cases"].to_dict("list") == {
        "variant": ["row 1", "row 2"], "length_m": [10.0, 10.4], "slope_deg": [20.0, 40.0],
    }  # fmt: skip
    assert list(found["dips"]["variant"]) == ["row 1", "row 2"]
    alone = run(read_study({**RAW, "antenna": {**RAW["antenna"], "length": "10.4 m", "slope": "40 deg"}}),
                Store(tmp_path), workers=0).frames["dips"]  # fmt: skip
    assert found["dips"]["dip_mhz"][1] == pytest.approx(alone["dip_mhz"][0], rel=1e-9)


def test_a_table_beside_the_study(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text("name;antenna.length;site.soil\nshore;10 m;sea water\nwood;;poor soil\n")
    path = tmp_path / "s.toml"
    path.write_text(HEAD + '[cases]\nfile = "mine.csv"\n')
    study = load_study(path)
    assert [c.labels["variant"] for c in study.cases()] == ["shore", "wood"]
    assert [c.setup().antenna.length for c in study.cases()] == [10.0, 10.1]
    assert study.tables["cases"]["site.soil"] == ["sea water", "poor soil"]  # the study as run needs no other file


def test_samples_follow_their_laws() -> None:
    """Against scipy.stats: a Kolmogorov-Smirnov test of each law, seeded."""
    laws = {"antenna.length": {"mean": "10.1 m", "sd": "0.1 m"}, "antenna.slope": {"from": "20 deg", "to": "40 deg"},
            "site.soil": ["wet ground", "poor soil"]}  # fmt: skip
    study = read_study({**RAW, "sample": {"count": 200, **laws}})
    lengths, slopes, soils = (np.array(axis.labels) for axis in study.given)
    assert stats.kstest(lengths, stats.norm(10.1, 0.1).cdf).pvalue > 0.5
    assert stats.kstest(slopes, stats.uniform(20, 20).cdf).pvalue > 0.5
    assert (soils == "wet ground").sum() == 100
    assert abs(stats.pearsonr(lengths, slopes).statistic) < 0.2
    again = read_study({**RAW, "sample": {"count": 200, **laws}})
    assert again.given == study.given
    assert read_study({**RAW, "sample": {"count": 200, "seed": 2, **laws}}).given != study.given


@pytest.mark.parametrize("more, words", [
    ({"cases": {"antenna.length": ["10 m"], "antenna.slope": ["1 deg", "2 deg"]}}, "slope = 2 values: 1, as"),
    ({"cases": {"antenna.lenght": ["10 m"]}}, "antenna.length"),
    ({"cases": {"antenna.length": "10 m"}}, "cases.antenna.length = '10 m': a list"),
    ({"cases": {"antenna.length": ["10"]}}, "cases.antenna.length[0] = '10': a length with its"),
    ({"cases": {"antenna.length": ["10 m"]}, "variant": [{"name": "a"}]}, "only one of [cases], [sample]"),
    ({"sample": {"count": 1, "antenna.length": {"from": "9 m", "to": "10 m"}}}, "sample.count = 1: 2 to 2000"),
    ({"sample": {"antenna.length": {"from": "10 m", "to": "9 m"}}}, "rising"),
    ({"sample": {"antenna.length": {"from": "10 m"}}}, "sample.antenna.length"),
    ({"sample": {"site.soil": "mud"}}, "sample.site.soil = 'mud': a list of words"),
    ({"sample": {"count": 3}}, "sample = no key"),
    ({"sample": 3}, "a table [sample]"),
])  # fmt: skip
def test_faults_name_the_key(more: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as fault:
        read_study({**RAW, **more})
    assert words in str(fault.value)


@pytest.mark.parametrize("text, words", [
    (None, "a readable table"), ("", "a row of keys"), ("antenna.length\n", "a row of keys"),
    ("antenna.length,antenna.slope\n10 m\n", "row 1: 2 cells"), ("antenna.wire\n1 m\n", "antenna.wire"),
])  # fmt: skip
def test_faulty_tables_are_one_line(tmp_path: Path, text: str | None, words: str) -> None:
    if text is not None:
        (tmp_path / "mine.csv").write_text(text)
    path = tmp_path / "s.toml"
    path.write_text(HEAD + '[cases]\nfile = "mine.csv"\n')
    with pytest.raises(InputError) as fault:
        load_study(path)
    assert words in str(fault.value) and "\n" not in str(fault.value)
