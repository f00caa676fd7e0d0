"""Whole commands, start and drawing included: seconds from a cold store, and beside them those of another install.

    python tests/benchmarks/commands.py [--beside OTHER/.venv/bin/tautwire OTHER/studies/ready] [--only WORDS]

Run from the repository's root. Writes results/benchmark/commands.csv and commands.md. A script, not a test: it asserts
nothing about time.

Each command runs in a process and a store of its own, the two installs by turns, on one machine. Another install reads
its own ready-made studies, as set-ups and options have grown since.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

OUT = Path("results/benchmark")
OWN = Path(sys.executable).parent / "tautwire", Path("studies/ready").resolve()
HEAD = """
[study]
name = "timed"
bands = ["20 m"]

[antenna]
layout = "sloper"
length = "19.8 m"
slope = "30 deg"

[coax]
length = "5 m"
"""
CROWDED = (
    HEAD.replace('["20 m"]', '["40 m", "20 m"]').replace('slope = "30 deg"', 'slope = "30 deg"\nsag = "40 cm"')
    + """
[[counterpoise]]
length = "4 m"
height = "20 cm"

[[counterpoise]]
length = "3 m"
height = "20 cm"
bearing = "120 deg"

[[nearby]]
name = "fence"
start = ["-8 m", "3 m", "1 m"]
end = ["8 m", "3 m", "1 m"]

[sweep]
"antenna.length" = { from = "18 m", to = "21 m", count = 4 }
"""
)
LAYERS = '\n[site]\nsoil = [{ soil = "very dry ground", depth = "40 cm" }, { soil = "wet ground" }]\n'
SOILS = '"site.soil" = ["average soil", "poor soil", "very poor soil", "very good soil", "wet ground", "sandy soil"]\n'
SLOPES = '"antenna.slope" = {{ from = "15 deg", to = "60 deg", count = {} }}\n'


def sweep(*lines: str) -> str:
    return HEAD + "\n[sweep]\n" + "".join(lines)


@dataclass(frozen=True)
class Timed:
    """A command to time. files: study files that it needs, beside the ready-made ones. again: in the store of the one
    before it."""

    what: str
    args: tuple[str, ...]
    goal: str = ""
    files: tuple[tuple[str, str], ...] = ()
    again: bool = False
    old: tuple[str, ...] | None = None


COMMANDS = (
    Timed("predict", ("predict",), "1.0 s"),
    Timed("predict without give or take", ("predict", "--no-spread"), old=("predict",)),
    Timed("predict, warm store", ("predict", "--no-spread"), "0.4 s", again=True, old=("predict",)),
    Timed("README's main job, all plots", ("run", "{ready}/slope-20m.toml", "--out", "{out}"), "2.5 s"),
    Timed("turns, 31 settings x 10 segments", ("turns", "{ready}/turns-lakeside.toml", "--out", "{out}"), "5 s"),
    Timed("why", ("why", "{ready}/why-lakeside.toml", "--out", "{out}"), "4 s"),
    Timed("explore, one slider", ("explore", "{ready}/slope-20m.toml", "--out", "{out}.html"), "5 s"),
    Timed("explore, crowded set-up", ("explore", "{crowded}", "--out", "{out}.html"), "45 s", (("crowded", CROWDED),)),
    Timed(
        "fit, three bands, seven values",
        ("fit", "{ready}/fit-lakeside.toml", "--rehearse", "7", "--out", "{out}"),
        "10 s",
    ),
    Timed("exposure", ("run", "{ready}/power-and-safety.toml", "--out", "{out}"), "5 s"),
    Timed("one soil", ("run", "{one}", "--out", "{out}"), "", (("one", sweep(SLOPES.format(4))),)),
    Timed("two layers", ("run", "{two}", "--out", "{out}"), "2 x", (("two", LAYERS + sweep(SLOPES.format(4))),)),
    Timed("six soils", ("run", "{six}", "--out", "{out}"), "1.6 x", (("six", sweep(SLOPES.format(4), SOILS)),)),
    Timed("96 cases, six soils", ("run", "{few}", "--out", "{out}"), "", (("few", sweep(SLOPES.format(16), SOILS)),)),
    Timed(
        "1008 cases, six soils",
        ("run", "{many}", "--out", "{out}"),
        "0.05 s of processor a case",
        (("many", sweep(SLOPES.format(168), SOILS)),),
    ),
)


def used() -> float:
    own = resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime


def timed(one: Timed, program: Path, ready: Path, folder: Path, store: Path, limit: float) -> tuple[float, ...]:
    """Seconds until the answer stands in full, until all files are written, and of the processors; nan if the command
    fails or takes longer than limit."""
    names = {"ready": str(ready), "out": str(folder / "out")}
    for name, text in one.files:
        (folder / f"{name}.toml").write_text(text)
        names[name] = str(folder / f"{name}.toml")
    args = one.old if one.old and program != OWN[0] else one.args
    command = [str(program), *(a.format(**names) for a in args)]
    wall, cpu = time.perf_counter(), used()
    env = {**os.environ, "TAUTWIRE_CACHE": str(store)}
    with (folder / "errors").open("w+", encoding="utf-8") as errors:
        process = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=errors, text=True, cwd=folder)
        guard = threading.Timer(limit, process.kill)
        guard.start()
        answered = wall
        for line in process.stdout or ():
            if not line.startswith("Use it:") and " files in " not in line:
                answered = time.perf_counter()
        process.wait()
        guard.cancel()
        if process.returncode:
            print(f"{' '.join(command)}: {(folder / 'errors').read_text()[-300:]}", file=sys.stderr)
            return float("nan"), float("nan"), float("nan")
    return answered - wall, time.perf_counter() - wall, used() - cpu


def size_mb(store: Path) -> float:
    return sum(f.stat().st_size for f in store.rglob("*") if f.is_file()) / 1e6


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--beside", nargs=2, type=Path, help="another install's tautwire and its ready-made studies")
    parser.add_argument("--limit", type=float, default=600, help="seconds for a command")
    parser.add_argument("--only", default="", help="words in the names of the commands to time")
    given = parser.parse_args()
    installs = {"": OWN} | ({"before_": tuple(p.resolve() for p in given.beside)} if given.beside else {})
    rows = []
    with tempfile.TemporaryDirectory() as name:
        stores = {}
        for i, one in enumerate(COMMANDS):
            if given.only not in one.what:
                continue
            row: dict[str, object] = {"command": one.what, "goal": one.goal}
            for kind, (program, ready) in installs.items():
                folder = Path(name) / f"{kind}{i}"
                folder.mkdir()
                if not one.again:
                    stores[kind] = folder / "store"
                took = timed(one, program, ready, folder, stores[kind], given.limit)
                row |= {f"{kind}{what}_s": s for what, s in zip(("answer", "wall", "cpu"), took, strict=True)}
                row[f"{kind}store_mb"] = size_mb(stores[kind])
            rows.append(row)
            print(row, flush=True)
    table = pd.DataFrame(rows)
    if given.only:
        return
    OUT.mkdir(parents=True, exist_ok=True)
    table.to_csv(OUT / "commands.csv", index=False, float_format="%.3g")
    (OUT / "commands.md").write_text(summary(table, list(installs)), encoding="utf-8")
    print(summary(table, list(installs)))


def summary(table: pd.DataFrame, kinds: list[str]) -> str:
    cells = [[f"{v:.3g}" if isinstance(v, float) else str(v) for v in r] for r in table.itertuples(index=False)]
    lines = [list(table.columns), ["---"] * len(table.columns), *cells]
    said = []
    for kind in kinds:
        wall, cpu = (table.set_index("command")[f"{kind}{c}"] for c in ("wall_s", "cpu_s"))
        further = (cpu["1008 cases, six soils"] - cpu["96 cases, six soils"]) / (1008 - 96)
        ratio = wall["six soils"] / wall["one soil"]
        said.append(
            f"{'Before' if kind else 'Now'}: six soils take {ratio:.2f} times one soil, two layers "
            f"{wall['two layers'] / wall['one soil']:.2f} times; a further case of one band costs {further:.3f} s of "
            "processor time."
        )
    return "\n\n".join(
        [
            "# Whole commands",
            "Seconds with start, tables and drawing, from a store that is empty unless the line says warm; answer_s: "
            "until the answer stands on the screen. "
            f"{os.cpu_count()} processor cores.",
            "\n".join("| " + " | ".join(map(str, line)) + " |" for line in lines),
            "\n".join(said),
            "Made by `python tests/benchmarks/commands.py`.\n",
        ]
    )


if __name__ == "__main__":
    main()
