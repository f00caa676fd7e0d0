"""Columns by functions of one's own: alike in workers and here, kept, and computed again when their code changes."""

import own_columns
import pytest

import tautwire
from tautwire.studies.running.store import Store
from tautwire.studies.wants.own import OwnTable

STUDY = {
    "study": {"name": "own", "bands": ["20 m", "15 m"], "spread": False},
    "antenna": {"layout": "vertical", "length": "10.3 m"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    "sweep": {"antenna.length": ["10.1 m", "10.3 m"]},
}


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "store")


def test_the_same_in_workers_and_here_and_from_the_store(store, tmp_path):
    study = tautwire.read_study(STUDY)
    here = tautwire.run(study, store, workers=0, own=[own_columns.middle])
    again = tautwire.run(study, store, workers=0, own=[own_columns.middle])
    workers = tautwire.run(study, Store(tmp_path / "other"), workers=2, own=[own_columns.middle])
    assert again.cached == 2 and here.cached == 0
    for other in (again, workers):
        assert other.frames["middle"].round(6).equals(here.frames["middle"].round(6))
    frame = here.frames["middle"]
    assert list(frame) == ["length_m", "band", "middle_x_ohm", "doubled", "capacitive"]
    dips = here.frames["dips"]
    assert frame["middle_x_ohm"].to_numpy() == pytest.approx(dips["centre_x_ohm"].to_numpy(), rel=2e-3, abs=2)
    assert frame["doubled"].to_numpy() == pytest.approx(2 * dips["centre_r_ohm"].to_numpy(), rel=2e-3)


def test_changed_code_or_values_it_uses_change_the_key(monkeypatch):
    before = OwnTable(own_columns.middle).code
    assert OwnTable(own_columns.middle).code == before
    monkeypatch.setattr(own_columns, "SCALE", 3.0)
    changed = OwnTable(own_columns.middle).code
    assert changed != before
    monkeypatch.setattr(own_columns, "helper", own_columns.broken)
    assert OwnTable(own_columns.middle).code not in (before, changed)


def test_a_fault_costs_its_cases_only_and_is_named(store):
    study = tautwire.read_study(STUDY)
    for function, words in (
        (own_columns.broken, "broken: ZeroDivisionError: division by zero"),
        (own_columns.taken, "taken.column = 'dip_mhz': a name of small letters"),
        (own_columns.no_mapping, "no_mapping = 3.0: a mapping of column names to values"),
    ):
        with pytest.raises(tautwire.SolveError, match=words):
            tautwire.run(study, store, workers=0, own=[function])
    assert len(tautwire.run(study, store, workers=0).frames["dips"]) == 4


def test_what_other_processes_cannot_import_is_refused():
    def inner(band, solve):
        return {}

    study = tautwire.read_study(STUDY)
    for function in (inner, lambda band, solve: {}, print):
        with pytest.raises(tautwire.InputError, match="defined at the top of a module"):
            tautwire.run(study, workers=0, own=[function])
