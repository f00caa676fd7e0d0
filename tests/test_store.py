"""The store on disk: shared, killed, damaged, full, bounded, and used so that nothing is computed twice."""

import errno
import io
import os
import pickle
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from small_study import SOILS, write_study

from tautwire.model.errors import InputError
from tautwire.model.solve import engine
from tautwire.studies.commands.cache import COMMAND as CACHE
from tautwire.studies.running import store as code
from tautwire.studies.running import store as store_module
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import FOLDER_VARIABLE, LIMIT_VARIABLE, Store
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


def test_what_is_held_in_memory_is_bounded(tmp_path, monkeypatch):
    """The tables used last stay, without a look at the disk; of those before them the disk has a copy."""
    monkeypatch.setattr(store_module, "MOST_RECENT", 3)
    store = Store(tmp_path)
    for number in (1, 2, 3, 1, 4):
        store(f"soil-{number}", lambda number=number: {"c": np.full(9, float(number))})
    assert list(store._recent) == ["soil-3", "soil-1", "soil-4"]
    assert (store("soil-2", never)["c"] == 2).all()


def test_only_what_the_store_wrote_is_ever_removed(tmp_path, monkeypatch):
    """A folder with other files in it, also with names like the store's own."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    store = Store()
    store("wires-1", lambda: {"y": np.ones(9)})
    others = ["thesis/chapter1.txt", "sweep.s1p", "cache.db", "ab/wires-1", "tautwire-store/notes.txt"]
    others += ["tautwire-store/ab/notes.txt", "tautwire-store/my folder/wires-" + 40 * "0"]
    for name in others:
        (tmp_path / name).parent.mkdir(exist_ok=True, parents=True)
        (tmp_path / name).write_text("mine")
    assert "1 results dropped" in CliRunner().invoke(CACHE, ["--prune", "0"]).output
    assert Store(limit=1).can_write() and Store().contents() == {}
    assert all((tmp_path / name).read_text() == "mine" for name in others)


def test_the_store_is_private_to_its_user(tmp_path):
    store = Store(tmp_path)
    store("wires-1", lambda: {"y": np.ones(9)})
    folders = [store.own_folder, *(f for f in store.own_folder.iterdir() if f.is_dir())]
    assert len(folders) == 2 and all(f.stat().st_mode & 0o077 == 0 for f in folders)


def entries(store):
    return [e.path for e in store._entries()]


@pytest.mark.parametrize("place", ["a file", "below a file", "not to be read"])
def test_a_folder_that_cannot_be_used_costs_one_warning(tmp_path, monkeypatch, place):
    (tmp_path / "file").write_text("not a store")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "file" / ("x" if place == "below a file" else "")).rstrip("/"))
    if place == "not to be read":
        monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
        monkeypatch.setattr(Path, "read_bytes", lambda self: refuse(errno.EACCES))
        monkeypatch.setattr(Path, "write_bytes", lambda *_: refuse(errno.EACCES))
    store = Store()
    with pytest.warns(UserWarning, match="computing goes on without") as told:
        assert (store("wires-1", lambda: {"y": np.ones(1)})["y"] == 1).all()
        assert store.get_json("case-1") is None
        store.put_json("case-1", 1)
    assert len(told) == 1 and "remove" not in str(told[0].message)
    assert store.contents() == {} and store.prune(0) == 0


def refuse(number):
    raise OSError(number, os.strerror(number))


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EDQUOT])
def test_a_full_or_read_only_disk_costs_speed_not_answers(tmp_path, monkeypatch, number):
    kept = Store(tmp_path)
    kept("wires-1", lambda: {"y": np.full(3, 7.0)})
    monkeypatch.setattr(os, "replace", lambda *_: refuse(number))
    monkeypatch.setattr(os, "utime", lambda *_: refuse(number))
    store = Store(tmp_path, began=time.time() + 9)
    with pytest.warns(UserWarning, match=os.strerror(number)) as told:
        assert (store("wires-1", never)["y"] == 7).all()
        for _ in range(2):
            assert (store("wires-2", lambda: {"y": np.ones(3)})["y"] == 1).all()
    assert len(told) == 1 and len(entries(store)) == 1, "nothing half written stays"


def test_a_study_runs_on_a_disk_with_no_room(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "replace", lambda *_: refuse(errno.ENOSPC))
    study = load_study(write_study(tmp_path, SOILS))
    with pytest.warns(UserWarning) as told:
        result = run(study, Store(tmp_path / "store"), workers=2)
    assert not result.failed and len(result.frames["dips"]) == 3
    assert sum(w.category is UserWarning for w in told) == 1  # Python 3.12 and later also warn of forks


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
    kept = 0
    for number in range(40):
        kept += bool((store(f"wires-{number}", lambda: {"y": np.array(-1)})["y"] == number).all())
    assert kept >= 3
    store("wires-99", lambda: {"y": np.ones(3)})
    assert (Store(tmp_path)("wires-99", never)["y"] == 1).all()


@pytest.mark.parametrize(
    "spoil", [lambda raw: raw[:500], lambda raw: b"", lambda raw: raw + b"0", lambda raw: b"\n\n\n"]
)
def test_a_damaged_entry_is_dropped_and_computed_again(tmp_path, spoil):
    Store(tmp_path)("wires-1", lambda: {"y": np.random.default_rng(1).random(900)})
    (file,) = entries(Store(tmp_path))
    file.write_bytes(spoil(file.read_bytes()))
    assert Store(tmp_path)("wires-1", lambda: {"y": np.zeros(2)})["y"].shape == (2,)
    assert Store(tmp_path)("wires-1", never)["y"].shape == (2,)


def test_an_entry_in_anothers_place_is_not_taken_for_it(tmp_path):
    store = Store(tmp_path)
    store("wires-1", lambda: {"y": np.ones(9)})
    store("wires-2", lambda: {"y": np.zeros(9)})
    one, two = entries(store)
    one.rename(two)
    assert (Store(tmp_path)("wires-1", lambda: {"y": np.ones(9)})["y"] == 1).all()
    assert (Store(tmp_path)("wires-2", lambda: {"y": np.zeros(9)})["y"] == 0).all()


class Trap:
    """Whoever unpickles it makes a folder."""

    def __init__(self, folder):
        self.folder = str(folder)

    def __reduce__(self):
        return os.mkdir, (self.folder,)


def test_no_pickle_is_loaded_from_the_store(tmp_path):
    """Neither in place of an entry nor, rightly sealed, inside one."""
    store = Store(tmp_path / "store")
    for key in ("wires-1", "case-1"):
        place = store_module._place(key)
        buffer = io.BytesIO()
        np.savez(buffer, y=np.array([Trap(tmp_path / "ran")], dtype=object))
        for content in (pickle.dumps(Trap(tmp_path / "ran")), buffer.getvalue()):
            for raw in (content, store_module._sealed(place, content)):
                store.put_json("case-0", 0)
                store._make(store._file(place).parent)
                store._file(place).write_bytes(raw)
                assert store.get_json("case-1") is None
                assert (store("wires-1", lambda: {"y": np.zeros(1)})["y"] == 0).all()
    assert not (tmp_path / "ran").exists()


def test_a_thousand_damaged_bytes_and_not_one_wrong_answer(tmp_path):
    """Single bytes of a study's store, changed at random one after the other: the tables stay as they are."""
    study = load_study(write_study(tmp_path, SOILS))
    folder, rng = tmp_path / "store", np.random.default_rng(20)
    run(study, Store(folder), workers=0)
    whole = {str(e.path): e.path.read_bytes() for e in Store(folder)._entries()}
    truth = {path: store_module._opened(raw.split(b"\n")[1].decode(), raw) for path, raw in whole.items()}
    seen = 0
    for _ in range(1000):
        path = list(whole)[rng.integers(len(whole))]
        raw = bytearray(whole[path])
        raw[int(rng.integers(len(raw)))] ^= int(rng.integers(1, 256))
        Path(path).write_bytes(raw)
        place = whole[path].split(b"\n")[1].decode()
        found = Store(folder)._get(place)
        assert found is None or found == truth[path]
        seen += found is None
        Path(path).write_bytes(whole[path])
    assert seen == 1000
    expected = run(study, Store(folder), workers=0).frames
    for path, raw in whole.items():  # and all of them at once, through the whole of a run
        spoiled = bytearray(raw)
        spoiled[int(rng.integers(len(raw)))] ^= 1 << int(rng.integers(8))
        Path(path).write_bytes(spoiled)
    again = run(study, Store(folder), workers=0)
    assert again.cached == 0 and not again.failed
    assert all(again.frames[name].equals(expected[name]) for name in expected)


def test_size_is_bounded_and_the_oldest_go_first(tmp_path):
    limit = 3_000_000
    store = Store(tmp_path, limit)
    rng = np.random.default_rng(1)
    for number in range(100):  # 48 kB each
        store(f"wires-{number}", lambda: {"y": rng.random(10_000)})
        os.utime(store._file(store_module._place(f"wires-{number}")), (number, number))
    assert store.bytes() <= limit + 200_000
    store("wires-99", never)
    with pytest.raises(AssertionError):
        store("wires-0", never)


def test_answers_that_a_running_study_needs_stay(tmp_path):
    """They outlive matrices, and outgrow the limit rather than being computed for nothing."""
    store = Store(tmp_path, 1_000_000)
    rng = np.random.default_rng(1)
    for number in range(30):
        store(f"wires-{number}", lambda: {"y": rng.random(10_000)})
        store.put_json(f"case-{number}", rng.random(3000).tolist())
    assert store.contents()["case"] == 30 and store.contents().get("wires", 0) < 15
    for path in entries(store):
        os.utime(path, (1, 1))
    assert store.get_json("case-3")  # used again, so it stays
    for number in range(30, 70):
        store(f"wires-{number}", lambda: {"y": rng.random(10_000)})
    assert store.get_json("case-3") and store.get_json("case-4") is None


def test_the_limit_can_be_set(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert Store().limit == store_module.LIMIT
    assert "at most 50 MB" in CliRunner().invoke(CACHE, ["--limit", "50"]).output
    assert Store().limit == 50_000_000
    monkeypatch.setenv(LIMIT_VARIABLE, "7000")
    assert Store().limit == 7_000_000_000 and Store(limit=5).limit == 5
    for text in ("much", "nan", "-1", "1e308"):
        monkeypatch.setenv(LIMIT_VARIABLE, text)
        with pytest.raises(InputError, match=LIMIT_VARIABLE):
            Store()
        monkeypatch.delenv(LIMIT_VARIABLE)
        for option in ("--limit", "--prune"):
            told = CliRunner().invoke(CACHE, [option, text]).exception
            assert isinstance(told, InputError) and option in str(told)


def test_what_is_stored_carries_the_digest_of_its_code(monkeypatch):
    """Engine matrices: engine.py and what it imports. Answers: the want's module and what it reaches, not drawing."""
    behind = code.modules_behind("tautwire.studies.wants.dips.want")
    assert {"tautwire.model.solve.engine", "tautwire.studies.wants.dips.reading", "tautwire.model.wires.mesh"} <= set(
        behind
    )
    assert "tautwire.model.feed.ferrite" in behind, "imports inside functions and of packages count"
    assert not [m for m in behind if "figures" in m or "drawing" in m or "reports" in m]
    wires = code.modules_behind("tautwire.model.solve.engine")
    assert "tautwire.model.errors" in wires and "tautwire.model.wires.mesh" not in wires


def test_a_change_in_the_code_makes_other_keys(tmp_path, monkeypatch):
    """Of exactly what it makes: the engine's door changes matrices and answers, a style sheet neither."""
    roots = {}
    for top, root in code.ROOTS.items():
        roots[top] = Path(shutil.copytree(root, tmp_path / top, ignore=shutil.ignore_patterns("__pycache__")))
    monkeypatch.setattr(code, "ROOTS", roots)

    def digests():
        for cached in (code.code_digest, code._text_and_imports, store_module._place):
            cached.cache_clear()
        kinds = {k: store_module._place(f"{k}-1") for k in ("wires", "volts", "soil", "rest", "power", "plots")}
        own = {
            "dips": "tautwire.studies.wants.dips.want",
            "give": "tautwire.studies.wants.spread.want",
            "choose": "tautwire.studies.wants.choose.candidates",
            "choose want": "tautwire.studies.wants.choose.want",
        }
        return kinds | {k: code.code_digest(module) for k, module in own.items()}

    def changed(path):
        before = digests()
        with (tmp_path / path).open("a") as file:
            file.write("\n# a remark\n" if path.endswith("py") else "\n/* a remark */\n")
        after = digests()
        return {k for k in before if before[k] != after[k]}

    answers = {"dips", "give", "choose", "choose want"}
    try:
        assert changed("model/solve/engine.py") == {"wires", "volts", "power", "plots", *answers}
        assert changed("model/soil/sommerfeld.py") == {"soil", "rest", "power", "plots", *answers}
        assert changed("studies/wants/dips/reading.py") == {"plots", *answers}
        assert changed("studies/wants/dips/figures.py") == {"plots"}
        assert changed("studies/reports/page.css") == {"plots"}
        assert changed("studies/wants/stress/want.py") == {"plots"}
        assert changed("model/fields/hop_angles.py") == {"choose", "choose want", "plots"}, (
            "[target] is read by its name"
        )
        assert changed("studies/wants/spread/points.npy") == {"choose want", "give", "plots"}, "data beside a module"
    finally:
        monkeypatch.undo()
        digests()


def test_prune_keeps_the_newest(tmp_path):
    store = Store(tmp_path)
    rng = np.random.default_rng(1)
    for number in range(20):
        store(f"wires-{number}", lambda: {"y": rng.random(20_000)})
        os.utime(store._file(store_module._place(f"wires-{number}")), (number, number))
    assert store.prune(800_000) > 10
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
    assert "1 engine matrices" in shown and "1 answers" in shown and str(tmp_path) in shown
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
    assert len(engine_calls) == 3 + 2  # nodes of one span in free space and over its image
    assert store.contents() == {"wires": 2, "volts": 1, "power": 1, "soil": 9, "rest": 3, "case": 3, "give": 3,
                                "quality": 3}  # fmt: skip


def test_a_repeated_study_only_reads(tmp_path, engine_calls, monkeypatch):
    store = Store(tmp_path / "store")
    study = load_study(write_study(tmp_path, SOILS))
    first = run(study, store, workers=0)
    before, engine_calls[:] = store.contents(), []
    monkeypatch.setattr(Store, "_put", lambda *_: pytest.fail("a repeated study wrote to the store"))
    again = run(study, Store(tmp_path / "store"), workers=0)
    assert again.cached == 3 and not engine_calls and store.contents() == before
    assert again.frames["dips"].equals(first.frames["dips"])
