"""Faults tried on the store and on input: what they did once, and what they do now.

Run from the repository's root:  python tests/benchmarks/faults.py    (about 30 minutes; --count 0.1 tries a tenth)
Writes results/faults/summary.md. Ends with status 1 if a fault is not met as it should be.
"""

import os
import pickle
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import mutations
from small_study import SOILS, TEXT, write_study
from test_sweep_files import FORMS

from tautwire.model.errors import InputError
from tautwire.studies.running import store as store_module
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import load_study, read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.measurement import read_sweep

OUT = Path("results/faults/summary.md")
SEED = 2611
Row = tuple[str, str, str, bool]
"""fault, before, now, whether it is met"""


def tautwire(folder: Path, *words: str, **env: str) -> tuple[int, str]:
    """Exit status and last line said by a command run in folder, its store beside."""
    env = {**os.environ, "TAUTWIRE_CACHE": str(folder / "store"), "PYTHONWARNINGS": "ignore", **env}
    command = [sys.executable, "-c", "from tautwire.studies.commands.cli import main; main()", *words]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=300)
    said = (done.stderr + done.stdout).strip().replace(str(folder), "...")
    return done.returncode, "TRACEBACK" if "Traceback" in said else said.splitlines()[-1] if said else ""


def damages(folder: Path, count: int) -> Row:
    """Single bytes of a study's store changed at random; after each the answers are read, and computed if need be."""
    study, rng = load_study(write_study(folder, "")), np.random.default_rng(SEED)
    store = folder / "damaged"
    truth = run(study, Store(store), workers=0).frames
    files = {e.path: e.path.read_bytes() for e in Store(store)._entries()}
    answers = [path for path in files if path.name.startswith(store_module.ANSWERS)]
    wrong = tracebacks = again = 0
    for number in range(count):
        path = (answers if number % 2 else list(files))[int(rng.integers(len(answers if number % 2 else files)))]
        raw = bytearray(files[path])
        raw[int(rng.integers(len(raw)))] ^= int(rng.integers(1, 256))
        path.write_bytes(raw)
        if number % 10 == 0:  # so that matrices and tables are read as well
            for answer in answers:
                answer.unlink(missing_ok=True)
        try:
            result = run(study, Store(store), workers=0)
            wrong += any(not result.frames[name].equals(frame) for name, frame in truth.items())
            again += result.cached < len(study.cases())
        except Exception as error:  # noqa: BLE001  what is looked for
            print(repr(error))
            tracebacks += 1
        for file, whole in files.items():
            file.write_bytes(whole)
    now = f"{wrong} wrong answers, {tracebacks} tracebacks; {again} times cases were computed again"
    told = f"{count} single bytes of the store changed at random, the study run after each"
    return told, "silently wrong sweeps, or KeyError: 't0 m'", now, not wrong + tracebacks


def mutated(folder: Path, count: int, what: str) -> Row:
    if what == "study files":
        found = mutations.try_studies(folder, SEED, count)
    else:
        found = mutations.try_sweeps(folder, SEED, count, [(f.file, f.content) for f in FORMS])
    kinds, bad = Counter(a.kind for a in found), mutations.faults(found)
    print(*bad, sep="\n")
    now = ", ".join(f"{kinds[k]} {k}" for k in (mutations.READ, mutations.REFUSED, "traceback", "hang"))
    rest = len(found) - sum(kinds[k] for k in (mutations.READ, mutations.REFUSED, "traceback", "hang"))
    return f"{count} random mutations of {what}", "tracebacks", f"{now}, {rest} without key or remedy", not bad


def small_changes(folder: Path) -> Iterator[Row]:
    """What of a study of three soils is computed anew after a change that needs nothing or little."""
    base = load_tables(write_study(folder, SOILS))
    base["site"] = {"soil": {"er": 13, "sigma": "5 mS/m"}}
    base["sweep"] = {"antenna.slope": ["20 deg", "30 deg", "40 deg"]}
    store = folder / "changed"
    run(read_study(base), Store(store), workers=0)

    def tried(name: str, most: int, table: str = "", **values: Any) -> Row:
        raw = {**base, table: {**base.get(table, {}), **values}} if table else {**base, **values}
        before = Store(store).contents()
        result = run(read_study(raw), Store(store), workers=0)
        new = {k: n - before.get(k, 0) for k, n in Store(store).contents().items() if n > before.get(k, 0)}
        now = f"{result.cached} of {result.study.count} cases from the store; computed anew: " + (
            ", ".join(f"{n} {k}" for k, n in new.items()) or "nothing"
        )
        return name, "0 from the store", now, new.get("wires", 0) <= most

    yield tried("the same slopes in another order", 0, sweep={"antenna.slope": ["40 deg", "20 deg", "30 deg"]})
    yield tried("13.0 for 13, 0.005 S/m for 5 mS/m", 0, site={"soil": {"er": 13.0, "sigma": "0.005 S/m"}})
    yield tried("another swr_threshold", 0, "study", swr_threshold=2.5)
    yield tried("another power", 0, radio={"power": "20 W"})
    yield tried("another want beside", 0, "study", want=["dips", "stress"])
    yield tried("one more band (of another span)", 6, "study", bands=["20 m", "10 m"])


def same_bits(folder: Path) -> Row:
    """Tables of one study, digit by digit, over worker counts, thread counts, order and what the store holds."""
    script = (
        "import sys, hashlib, pathlib; from tautwire.studies.running.runner import run;"
        "from tautwire.studies.running.store import Store; from tautwire.studies.running.study_file import load_study;"
        "r = run(load_study(pathlib.Path(sys.argv[1])), Store(pathlib.Path(sys.argv[2])), workers=int(sys.argv[3]));"
        "t = ''.join(f.sort_values(list(f.columns)).to_csv(index=False) for n, f in sorted(r.frames.items())"
        " if n != 'differences');"  # whose signs are those of the cases' order
        "print(hashlib.sha256(t.encode()).hexdigest())"
    )
    other = SOILS.replace(
        '"average soil", "sandy soil", "very dry ground"', '"very dry ground", "average soil", "sandy soil"'
    )
    ways = [(SOILS, "a", 0, 1), (SOILS, "b", 1, 2), (SOILS, "c", 2, 4), (other, "d", 0, 2), (other, "a", 2, 1)]
    seen = set()
    for axes, store, workers, threads in ways:
        env = {**os.environ, **{f"{lib}_NUM_THREADS": str(threads) for lib in ("OMP", "OPENBLAS", "MKL")}}
        command = [sys.executable, "-W", "ignore", "-c", script, str(write_study(folder, axes)), str(folder / store)]
        seen.add(subprocess.run([*command, str(workers)], env=env, capture_output=True, text=True, check=True).stdout)
    told = "0, 1, 2 workers; 1, 2, 4 threads; two orders of the cases; empty and filled store"
    return told, "last digits differ", f"{len(seen)} set of tables from {len(ways)} runs", len(seen) == 1


class Trap:
    """Whoever unpickles it makes a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = str(folder)

    def __reduce__(self) -> Any:
        return os.mkdir, (self.folder,)


def pickles(folder: Path) -> Row:
    for name in ("a.s1p", "a.csv", "a.txt"):
        (folder / name).write_bytes(pickle.dumps(Trap(folder / "ran")))
        try:
            read_sweep(folder / name)
        except InputError:
            continue
    store = Store(folder / "trapped")
    store.put_json("case-1", 1)
    for entry in store._entries():
        entry.path.write_bytes(pickle.dumps(Trap(folder / "ran")))
    read = store.get_json("case-1")
    met = not (folder / "ran").exists() and read is None
    now = "refused; dropped; no code ran" if met else "CODE RAN"
    return "a pickle as .s1p, .csv, .txt, and in place of an entry", "its code ran", now, met


def pruned(folder: Path) -> Row:
    others = [folder / "store" / "thesis" / "chapter1.txt", folder / "store" / "sweep.s1p"]
    for file in others:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("mine")
    tautwire(folder, "cache", "--prune", "0")
    kept = sum(file.exists() for file in others)
    return "cache --prune 0 beside files of others", "both gone", f"{kept} of 2 still there", kept == 2


def full_disk(folder: Path, options: str, what: str, before: str) -> Row:
    """A file system of 2 MB, or one that is read-only, for the store."""
    place = folder / what.replace(" ", "-")
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", options, "none", str(place)], capture_output=True).returncode:
        return what, before, "not tried: mount is not allowed here", True
    try:
        write_study(folder)
        said = tautwire(folder, "run", "lakeside-small.toml", "--part", "1/1", TAUTWIRE_CACHE=str(place))[1]
        result = run(load_study(folder / "lakeside-small.toml"), Store(place), workers=0)
        pruned = tautwire(folder, "cache", "--prune", "0", TAUTWIRE_CACHE=str(place))[0]
    finally:
        subprocess.run(["umount", str(place)], check=True)
    now = f"{len(result.failed)} of 12 failed; cache --prune 0 ends with status {pruned}"
    return what, before, now, not result.failed and pruned == 0 and said != "TRACEBACK"


BASE = TEXT.replace("[sweep]\n", "")
LONG = "x" * 300 + ".s1p"
REFUSED: list[tuple[str, str, Callable[[str], str], tuple[str, ...]]] = [
    ("a unit expression that hangs", "hang", lambda t: t.replace("2 m", "5 (m**9**9**9)"), ()),
    ('sigma = "5 MS/m"', "5e6 S/m", lambda t: t.replace('"average soil"', '{ er = 13, sigma = "5 MS/m" }'), ()),
    ('slope = "100 %"', "57.3 degrees", lambda t: t.replace("30 deg", "100 %"), ()),
    ('slope = "1 sr"', "an angle", lambda t: t.replace("30 deg", "1 sr"), ()),
    ('bearing = "1e308 deg"', "moves the answer", lambda t: t.replace("\nslope", '\nbearing = "1e308 deg"\nslope'), ()),
    ("a bad value that [sweep] replaces", "taken", lambda t: t.replace("30 deg", "x") + "[sweep]\n"
     'antenna.slope = ["20 deg"]\n', ()),
    ('[sweep] "0" = 1', "traceback", lambda t: t + '[sweep]\n"0" = 1\n', ()),
    ("an integer of 400 digits", "traceback", lambda t: t.replace('"30 deg"', "9" * 400), ()),
    ("an integer of 5,000 digits", "traceback", lambda t: t.replace('"30 deg"', "9" * 5000), ()),
    ("nesting 5,000 deep", "traceback", lambda t: "a = " + "[" * 5000, ()),
    ("a question of 5,000 characters", "drawing fails", lambda t: t.replace("How", "o" * 5000), ()),
    ("--region ²", "traceback", str, ("predict", "--region", "²")),
    ("--slider 0", "traceback", str, ("explore", "a.toml", "--slider", "0", "0", "0")),
    ("--choice 0", "traceback", str, ("explore", "a.toml", "--choice", "0", "0")),
    ("cache --prune 1e308", "traceback", str, ("cache", "--prune", "1e308")),
    ("--counterpoise-height alone", "taken", str, ("predict", "--counterpoise-height", "1 m")),
    ("a sweep's name of 300 letters", "traceback", str, ("why", "a.toml", "--before", LONG, "--after", LONG)),
    ("an --out that cannot be written", "told after computing", str, ("run", "a.toml", "--out", "/proc/no")),
    ("--animate without a numeric axis", "told after computing", str, ("run", "a.toml", "--animate")),
    ("--part 4/3", "no such option", str, ("run", "a.toml", "--part", "4/3")),
    ('[sweep] "antenna.length" = "20 m"', "traceback", lambda t: t + '[sweep]\n"antenna.length" = "20 m"\n', ()),
    ('[choose] aims = [["gain"]]', "traceback", lambda t: t.replace("20 m", "20 m") + '[choose]\naims = [["gain"]]\n'
     '[choose.vary]\n"antenna.length" = { from = "9 m", to = "11 m" }\n', ("check", "a.toml")),
    ("a device as study", "traceback", str, ("check", "/dev/zero")),
    ("[choose] a slope to 150 degrees", "sound", lambda t: t + '[choose.vary]\n"antenna.slope" = { from = "10 deg", '
     'to = "150 deg" }\n', ("choose", "a.toml")),
    ("[choose] a length of 0.1 to 2000 m", "sound", lambda t: t + '[choose.vary]\n"antenna.length" = { from = "0.1 m", '
     'to = "2000 m" }\n', ("choose", "a.toml")),
    ('--bands "40 m ssb"', "suggests CW", str, ("predict", "--bands", "40 m ssb")),
    ("--length 65 ft without quotes", "no hint of quotes", str, ("predict", "--length", "65", "ft")),
]  # fmt: skip


def refusals(folder: Path) -> Iterator[Row]:
    for fault, before, change, words in REFUSED:
        (folder / "a.toml").write_text(change(BASE), encoding="utf-8")
        status, said = tautwire(folder, *(words or ("check", "a.toml")))
        yield fault, before, said.replace(LONG, "xxx.s1p")[:200], status == 2 and said.startswith("error: ")


POINTS = [(13.9 + 0.05 * i, 45 + i, 8.0 * i - 35) for i in range(12)]
GOOD = "MHz,R,X\n" + "".join(f"{f:.3f},{r},{x}\n" for f, r, x in POINTS)
READ_AS_FAR: list[tuple[str, str, str]] = [
    ("one NaN in a measured sweep", GOOD.replace("49,", "NaN,"), "left out: line 6 ('NaN')"),
    ("a half-written last line", GOOD[: GOOD.rindex(",")], "left out: line 13 (a number missing)"),
    ("19.9-j22.5 for R and X", "MHz,Z\n" + "".join(f"{f:.3f},{r}{x:+}j\n" for f, r, x in POINTS), "R and X"),
    ("a dummy load", "MHz,R,X\n" + "".join(f"{f:.3f},51,0.5\n" for f, _, _ in POINTS), "looks like a dummy load"),
]
"""fault, the file, what is to be said of it"""


def sweeps_read(folder: Path) -> Iterator[Row]:
    for fault, text, words in READ_AS_FAR:
        (folder / "sweep.csv").write_text(text)
        said = read_sweep(folder / "sweep.csv").how
        yield fault, "refused whole" if "load" not in fault else "fitted", said, words in said


def no_locks(folder: Path) -> Row:
    """A file system whose locks fail: flock and lockf raise."""
    script = (
        "import fcntl, errno, sys\n"
        "def no(*_): raise OSError(errno.ENOLCK, 'No locks available')\n"
        "fcntl.flock = fcntl.lockf = no\n"
        "from tautwire.studies.commands.cli import main; main()"
    )
    write_study(folder, SOILS)
    env = {**os.environ, "TAUTWIRE_CACHE": str(folder / "lockless"), "PYTHONWARNINGS": "ignore"}
    command = [sys.executable, "-c", script, "run", "lakeside-small.toml", "--part", "1/1"]
    done = subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, timeout=300)
    now = f"status {done.returncode}; {(done.stderr + done.stdout).splitlines()[0]}".replace(str(folder), "...")
    return "a file system without locks", "not tried", now, done.returncode == 0


PARK = BASE.replace("lakeside-small", "park")
Step = tuple[str, ...]
"""a command, or ("put", file, text)"""
KEPT_FILES: list[tuple[str, str, dict[str, str], list[Step]]] = [
    ("run study.toml --out . beside a summary.md of the user's", "study, summary.md and dips.csv rewritten, status 0",
     {"study.toml": "# mine\n" + PARK, "summary.md": "mine", "dips.csv": "mine"},
     [("run", "study.toml", "--out", ".")]),
    ("run a.toml --out o, then run b.toml --out o", "the tables of a gone",
     {"a.toml": PARK, "b.toml": BASE},
     [("run", "a.toml", "--out", "o"), ("keep", "o"), ("run", "b.toml", "--out", "o")]),
    ("p/park.toml and q/park.toml of one name", "the second replaces the first",
     {"p/park.toml": PARK, "q/park.toml": PARK.replace("30 deg", "40 deg")},
     [("run", "p/park.toml"), ("keep", "results"), ("run", "q/park.toml")]),
    ("a table of results edited, the study run again", "the edited table rewritten",
     {"a.toml": PARK}, [("run", "a.toml", "--out", "o"), ("put", "o/dips.csv", "edited"), ("keep", "o"),
                        ("run", "a.toml", "--out", "o")]),
    ("deck study.toml --out study.toml", "the study rewritten", {"study.toml": PARK},
     [("deck", "study.toml", "--out", "study.toml")]),
    ("explore mini.toml --out mini.toml", "the study rewritten", {"mini.toml": PARK},
     [("explore", "mini.toml", "--out", "mini.toml")]),
    ("manual --out over a page of the user's", "the page rewritten", {"page.html": "mine"},
     [("manual", "--out", "page.html")]),
    *((f"a planted provenance.json: {text}", before,
       {"a.toml": PARK, "o/thesis.docx": "mine", "o/provenance.json": text}, [("run", "a.toml", "--out", "o")])
      for text, before in (('{"files": ["thesis.docx"]}', "thesis.docx deleted"), ("5", "traceback"),
                           ("[5]", "traceback"), ("[{}]", "traceback"), ('{"files": [".."]}', "traceback"),
                           ('{"files": [""]}', "traceback"), ("null", "traceback"))),
]  # fmt: skip


def kept_files(folder: Path) -> Iterator[Row]:
    """Each ends with a refusal in one line, and every file is as it was."""
    for number, (fault, before, files, steps) in enumerate(KEPT_FILES):
        place = folder / f"kept-{number}"
        for name, text in files.items():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            (place / name).write_text(text)
        mine = {place / name: text.encode() for name, text in files.items()}
        status, said = 0, ""
        for step in steps:
            if step[0] == "put":
                (place / step[1]).write_text(step[2])
            elif step[0] == "keep":
                mine |= {p: p.read_bytes() for p in (place / step[1]).rglob("*") if p.is_file()}
            else:
                status, said = tautwire(place, *step, TAUTWIRE_CACHE=str(folder / "store"))
        stays = all(path.is_file() and path.read_bytes() == data for path, data in mine.items())
        yield fault, before, said[:200], status == 2 and said.startswith("error: ") and stays


def undone(folder: Path) -> Row:
    """--replace, then undo."""
    place = folder / "undone"
    place.mkdir()
    (place / "study.toml").write_text("# mine\n" + PARK)
    before = (place / "study.toml").read_bytes()
    tautwire(place, "run", "study.toml", "--out", ".", "--replace", TAUTWIRE_CACHE=str(folder / "store"))
    replaced = (place / "study.toml").read_bytes() != before
    said = tautwire(place, "undo", ".")[1]
    back = (place / "study.toml").read_bytes() == before and not (place / "dips.csv").exists()
    return "run study.toml --out . --replace, then undo", "no way back", said[:120], replaced and back


def logbook(folder: Path) -> Iterator[Row]:
    """Commands in one logbook, and what is read from it."""
    place = folder / "logged"
    place.mkdir()
    (place / "a.toml").write_text(PARK)
    log = {"TAUTWIRE_LOG": str(place / "log")}

    def entries() -> list[Path]:
        return sorted((place / "log").rglob("*.toml"))

    def keep(name: str, mhz: str, day: str, *more: str) -> tuple[int, str]:
        return tautwire(place, "log", name, "a.toml", "--dip", f"{mhz} MHz", "--date", day, *more, **log)

    for mhz in ("14.1", "14.2", "14.3"):
        keep("Pine", mhz, "2026-05-01")
    entries()[1].unlink()
    keep("Pine", "14.35", "2026-05-01")
    now = f"{len(entries())} of 3 there"
    yield "three entries on a day, one removed, another kept", "the fourth replaces the third", now, len(entries()) == 3
    bad = entries()[0].parent / "half.toml"
    bad.write_text("[log")
    status, said = tautwire(place, "log", "Pine", **log)
    yield "a half-written file in the logbook", "every place disabled", said.splitlines()[-1][:100], status == 0
    bad.unlink()
    for name in ("Pine (a)", "Pine a", "a/b", "a\\b", "CON"):
        keep(name, "14.1", "2026-05-01")
    folders = sorted(p.name for p in (place / "log").iterdir())
    yield (
        "places Pine (a), Pine a, a/b, a\\b, CON",
        "two pairs become one; a folder CON",
        ", ".join(folders),
        len(folders) == 6,
    )
    status, said = keep("Pine", "13.5", "2026-05-02")
    yield "--dip 13.5 MHz, outside 20 m", "refused", said.split("  ")[-1].strip()[:100], status == 0 and "13.5" in said
    keep("\x1b]0;x\x07", "14.1", "2026-05-01", "--note", "\x1b[2J")
    command = [sys.executable, "-c", "from tautwire.studies.commands.cli import main; main()", "log"]
    raw = b"".join(
        subprocess.run([*command, *name], capture_output=True, env={**os.environ, **log}).stdout
        for name in ([], ["\x1b]0;x\x07"])
    )
    plain = b"\x1b" not in raw and b"\x07" not in raw and b"\\x1b[2J" in raw
    yield (
        "escape sequences in a place's name and note",
        "raw to the terminal",
        "shown as \\x1b" if plain else "RAW",
        plain,
    )


def sizes(folder: Path) -> str:
    """What a case leaves in the store: nine bands, 20 m of wire, 5 m of coax."""
    raw = load_tables(write_study(folder, ""))
    raw["study"]["bands"] = ["80 m", "60 m", "40 m", "30 m", "20 m", "17 m", "15 m", "12 m", "10 m"]
    raw["antenna"]["length"] = "20.3 m"
    del raw["sweep"]
    store = Store(folder / "sizes")
    run(read_study(raw), store, workers=0)
    table = pd.DataFrame(store._entries()).groupby("kind")["size"].agg(["count", "sum"])
    lines = [f"| {kind} | {row['count']} | {row['sum'] / 1e3:.0f} |" for kind, row in table.iterrows()]
    needed = sum(e.size for e in store._entries() if e.kind in store_module.ANSWERS) / 1e6
    note = f"A running study needs case and quality, {needed:.2f} MB: they stay; the rest may go and is computed again."
    return "\n".join(["| kind | entries | kB |", "|---|---|---|", *lines, "", note])


def cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


def main() -> None:
    share = float(sys.argv[2]) if sys.argv[1:2] == ["--count"] else 1.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [
            mutated(folder, round(10_000 * share), "study files"),
            mutated(folder, round(3000 * share), "measurement files"),
            same_bits(folder),
            *small_changes(folder),
            pickles(folder),
            pruned(folder),
            full_disk(folder, "size=2m", "a store of 2 MB", "29 of 32 cases failed"),
            full_disk(folder, "ro", "a store that cannot be written", "told to remove it"),
            *refusals(folder),
            *sweeps_read(folder),
            no_locks(folder),
            *kept_files(folder),
            undone(folder),
            *logbook(folder),
            damages(folder, round(330 * share)),
        ]
        size = sizes(folder)
    lines = [
        f"| {cell(fault)} | {cell(before)} | {cell(now)} | {'yes' if met else 'NO'} |"
        for fault, before, now, met in rows
    ]
    text = [
        "# Faults tried", "", "What each did at first, and what it does now.", "",
        "| fault | before | now | met |", "|---|---|---|---|", *lines, "",
        "## What a case of nine bands leaves in the store", "", size, "",
        "Made with: `python tests/benchmarks/faults.py`", "",
    ]  # fmt: skip
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text("\n".join(text), encoding="utf-8")
    print("\n".join(text))
    sys.exit(not all(met for *_, met in rows))


if __name__ == "__main__":
    main()
