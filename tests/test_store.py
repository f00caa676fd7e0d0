"""The store on disk: shared, killed, bounded, and used so that nothing is computed twice."""

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
from click.testing import CliRunner
from small_study import SOILS, write_study

from tautwire.model.errors import InputError
from tautwire.model.solve import engine
from tautwire.studies.commands.cache import COMMAND as CACHE
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import FOLDER_VARIABLE, Store
from tautwire.studies.running.study_file import load_study

HAMMER = """
import sys, time
from pathlib import Path
import numpy as np
from tautwire.studies.running.store import Store
store, seed, end = Store(Path(sys.argv[1])), int(sys.argv[2]), time.monotonic() + float(sys.argv[3])
rng = np.random.default_rng(seed)
print("begun", flush=True)
while time.monotonic() < end:
    number = int(rng.integers(40))
    got = store(f"wires-{number}", lambda: {"y": np.full((120, 120), number, dtype=complex)})["y"]
    assert got.shape == (120, 120) and (got == number).all()
    if rng.random() < 0.02:
        store.prune(3_000_000)
print("fine")
"""


def hammer(folder, seed, seconds):
    return subprocess.Popen(
        [sys.executable, "-c", HAMMER, str(folder), str(seed), str(seconds)], stdout=subprocess.PIPE, text=True
    )


def never():
    raise AssertionError("computed again")


def test_arrays_and_json_come_back(tmp_path):
    arrays = {"y": np.arange(6).reshape(2, 3) * (1 + 2j), "k": np.array(0.25)}
    Store(tmp_path)("wires-1", lambda: arrays)
    again = Store(tmp_path)("wires-1", never)
    assert np.array_equal(again["y"], arrays["y"]) and again["k"] == 0.25
    Store(tmp_path).put_json("case-1", {"dips": [{"dip_mhz": 14.1}]})
    assert Store(tmp_path).get_json("case-1") == {"dips": [{"dip_mhz": 14.1}]}
    assert Store(tmp_path).get_json("case-2") is None


@pytest.mark.parametrize("folder", [False, True])
def test_what_is_no_store_is_told_in_one_line(tmp_path, monkeypatch, folder):
    place = tmp_path / "store"
    if folder:
        place.mkdir()
    (place / "cache.db" if folder else place).write_text("not a store, but a text of some length\n" * 9)
    monkeypatch.setenv(FOLDER_VARIABLE, str(place))
    told = CliRunner().invoke(CACHE, []).exception
    assert isinstance(told, InputError) and told.field == FOLDER_VARIABLE and "another" in str(told), told
    with pytest.raises(InputError, match=FOLDER_VARIABLE):
        Store()("wires-1", lambda: {"y": np.zeros(1)})


def test_two_processes_share_a_store(tmp_path):
    both = [hammer(tmp_path, seed, 2) for seed in (1, 2)]
    for one in both:
        assert one.communicate(timeout=60)[0].split() == ["begun", "fine"]


def test_a_kill_while_writing_leaves_a_good_store(tmp_path):
    for seed in range(3):
        one = hammer(tmp_path, seed, 60)
        assert one.stdout.readline() == "begun\n"
        until = time.monotonic() + 30
        while Store(tmp_path).contents().get("wires", 0) < 3 and time.monotonic() < until:
            time.sleep(0.02)
        time.sleep(0.3)
        os.kill(one.pid, signal.SIGKILL)
        one.communicate()
    store = Store(tmp_path)
    assert store.contents()["wires"] >= 3
    for key in list(store._disk):
        number = int(key.split("-")[1])
        assert (store(key, never)["y"] == number).all()
    store("wires-99", lambda: {"y": np.ones(3)})
    assert (Store(tmp_path)("wires-99", never)["y"] == 1).all()


def test_a_damaged_entry_is_computed_again(tmp_path):
    Store(tmp_path)("wires-1", lambda: {"y": np.ones((100, 100), dtype=complex)})
    (file,) = tmp_path.rglob("*.val")
    file.write_bytes(file.read_bytes()[:500])
    assert (Store(tmp_path)("wires-1", lambda: {"y": np.zeros(2)})["y"] == 0).all()
    Store(tmp_path).put_json("case-1", [1])
    store = Store(tmp_path)
    (place,) = [k for k in store._disk if k.startswith("case")]
    store._disk.set(place, "[1")
    assert store.get_json("case-1") is None


def test_size_is_bounded_and_the_oldest_go_first(tmp_path):
    limit = 3_000_000
    store = Store(tmp_path, limit)
    for number in range(60):  # 160 kB each
        store(f"wires-{number}", lambda n=number: {"y": np.full((100, 100), n, dtype=complex)})
    assert store.bytes() <= limit + 200_000
    on_disk = sum(f.stat().st_size for f in tmp_path.rglob("*.val"))
    assert on_disk <= limit + 200_000
    store("wires-59", never)
    with pytest.raises(AssertionError):
        store("wires-0", never)


def test_prune_keeps_the_newest(tmp_path):
    store = Store(tmp_path)
    for number in range(20):
        store(f"wires-{number}", lambda n=number: {"y": np.full((100, 100), n, dtype=complex)})
    assert store.prune(1_000_000) > 10
    assert store.bytes() <= 1_000_000
    assert 1 <= store.contents()["wires"] < 10
    store("wires-19", never)
    store.prune(0)
    assert store.contents() == {}


def test_cache_command_shows_and_prunes(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    Store()("wires-1", lambda: {"y": np.ones(9)})
    Store().put_json("case-1", [])
    shown = CliRunner().invoke(CACHE).output
    assert "1 engine matrices" in shown and "1 finished cases" in shown and str(tmp_path) in shown
    assert "2 results dropped" in CliRunner().invoke(CACHE, ["--prune", "0"]).output
    assert Store().contents() == {}


@pytest.fixture
def engine_calls(monkeypatch):
    """Number of the engine's matrices computed."""
    calls = []
    real = engine.admittance
    monkeypatch.setattr(engine, "admittance", lambda *args: calls.append(args) or real(*args))
    return calls


def test_a_soil_comparison_solves_the_wires_once(tmp_path, engine_calls):
    store = Store(tmp_path / "store")
    study = load_study(write_study(tmp_path, SOILS))
    run(study, store, workers=0)
    assert len(engine_calls) == 4 + 3  # nodes of one span in free space and over its image
    assert store.contents() == {"wires": 2, "volts": 1, "power": 1, "soil": 12, "rest": 3, "case": 3}


def test_a_repeated_study_only_reads(tmp_path, engine_calls, monkeypatch):
    store = Store(tmp_path / "store")
    study = load_study(write_study(tmp_path, SOILS))
    first = run(study, store, workers=0)
    before, engine_calls[:] = store.contents(), []
    monkeypatch.setattr(Store, "_put", lambda *_: pytest.fail("a repeated study wrote to the store"))
    again = run(study, Store(tmp_path / "store"), workers=0)
    assert again.cached == 3 and not engine_calls and store.contents() == before
    assert again.frames["dips"].equals(first.frames["dips"])


def test_a_full_disk_does_not_cost_the_answer(tmp_path, monkeypatch):
    store = Store(tmp_path)

    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store._disk, "set", full)
    assert (store("wires-1", lambda: {"y": np.ones(3)})["y"] == 1).all()
