"""What it costs that predict says how sure it is: processor seconds with and without, cold stores.

    python tests/benchmarks/spread_cost.py

Writes results/benchmark/spread_cost.md. Three set-ups; each the whole command, imports included, and the computing
alone. The least of RUNS runs counts, in processor seconds, as other work on the machine only adds to wall seconds.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tautwire.studies.running.one_setup import predicted
from tautwire.studies.running.store import FOLDER_VARIABLE

OUT = Path("results/benchmark/spread_cost.md")
RUNS = 3
MOST = 2.5  # times predict without
SETUPS = {
    "sloper, 5 m of coax": ["--layout", "sloper", "--length", "19.8 m", "--slope", "25 deg", "--coax-length", "5 m"],
    "inverted V, 10 m of coax": ["--layout", "inverted V", "--length", "19.8 m", "--apex-height", "7 m",
                                 "--end-height", "2 m", "--coax-length", "10 m"],
    "sloper, sea water": ["--layout", "sloper", "--length", "20.1 m", "--slope", "15 deg", "--soil", "sea water"],
}  # fmt: skip
ALONE = {"antenna": {"layout": "sloper", "length": "19.8 m", "slope": "25 deg"}, "coax": {"length": "5 m"}}


def command_seconds(options: list[str], spread: bool) -> float:
    """Processor seconds of the command with an empty store."""
    program = "from tautwire.studies.commands.cli import main; main()"
    with tempfile.TemporaryDirectory() as folder:
        env = {**os.environ, FOLDER_VARIABLE: folder}
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        line = [sys.executable, "-c", program, "predict", *options, "--spread" if spread else "--no-spread"]
        subprocess.run(line, env=env, check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def computing_seconds(spread: bool) -> float:
    """Processor seconds of the computing alone with an empty store."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ[FOLDER_VARIABLE] = folder
        began = time.process_time()
        predicted(ALONE, spread=spread)
        return time.process_time() - began


def main() -> None:
    rows = [
        (name, *(min(command_seconds(options, s) for _ in range(RUNS)) for s in (False, True)))
        for name, options in SETUPS.items()
    ]
    predicted(ALONE)  # imports
    rows.append(("computing alone", *(min(computing_seconds(s) for _ in range(RUNS)) for s in (False, True))))
    worst = max(b / a for _, a, b in rows)
    text = [
        "# What the give or take costs",
        "",
        f"`tautwire predict` on 40, 20, 15 and 10 m with an empty store, processor seconds, least of {RUNS} runs.",
        "",
        "| set-up | without, s | with, s | times |",
        "| --- | --- | --- | --- |",
        *(f"| {name} | {a:.2f} | {b:.2f} | {b / a:.2f} |" for name, a, b in rows),
        "",
        f"At most {worst:.2f} times; at most {MOST:g} is the aim.",
        "",
        "Made with\n\n    python tests/benchmarks/spread_cost.py",
        "",
    ]
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text("\n".join(text), encoding="utf-8")
    print("\n".join(text))


if __name__ == "__main__":
    main()
