"""Does a choice keep its promise? The chance of success that choosing tells against exact solves of samples.

    python tests/benchmarks/choose_chance.py [--samples 500] [--workers 2] [--out results/choose-chance]

Each problem is searched; its best choice is then drawn from what is usually not known about it, and each draw is solved
in full and read like any case. Nothing of the search's surrogate or of its spread is used for that.
"""

import argparse
import json
import math
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from tautwire.model.basics import swr
from tautwire.model.errors import InputError, SolveError
from tautwire.model.solve.solver import compute_always
from tautwire.studies.running.store import digest
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose.candidates import Problem, read_problem
from tautwire.studies.wants.choose.want import certainty, one_by_one, search
from tautwire.studies.wants.spread.values import Joint, uncertain, with_offsets

SLOPER = {"layout": "sloper", "length": "20 m", "feed_height": "1.2 m", "slope": "25 deg"}
V = {"layout": "inverted V", "length": "20 m", "feed_height": "1.2 m", "apex_height": "8 m", "end_height": "1.5 m"}
LONG = {"antenna.length": {"from": "18.6 m", "to": "21.4 m"}}
PROBLEMS: tuple[tuple[str, Raw], ...] = (
    ("sloper, 40 and 20 m", {
        "study": {"name": "a", "bands": ["40 m", "20 m"]}, "antenna": SLOPER, "coax": {"length": "5 m"},
        "choose": {"vary": {**LONG, "antenna.slope": {"from": "15 deg", "to": "40 deg"}}, "swr": 2.0}}),
    ("V, 20 and 15 m", {
        "study": {"name": "b", "bands": ["20 m", "15 m"]}, "antenna": V, "coax": {"length": "8 m"},
        "choose": {"vary": {**LONG, "antenna.apex_height": {"from": "6 m", "to": "9 m"}}, "swr": 2.5}}),
    ("short sloper with counterpoise, 20 m, poor soil", {
        "study": {"name": "c", "bands": ["20 m"]}, "site": {"soil": "poor soil"},
        "antenna": SLOPER | {"length": "10 m"}, "counterpoise": [{"length": "2 m", "height": "10 cm"}],
        "choose": {"vary": {"antenna.length": {"from": "9.2 m", "to": "10.8 m"},
                            "counterpoise.length": {"from": "0.5 m", "to": "4 m"}}, "swr": 1.7}}),
    ("sloper, 40, 20, 15 and 10 m", {
        "study": {"name": "d", "bands": ["40 m", "20 m", "15 m", "10 m"]}, "antenna": SLOPER,
        "coax": {"length": "5 m"},
        "choose": {"vary": {**LONG, "antenna.slope": {"from": "15 deg", "to": "40 deg"}}, "swr": 3.0}}),
)  # fmt: skip


def problem_of(tables: Raw) -> Problem:
    wish = tables["choose"] | {"certainty": "80 %", "solves": 40}
    head = tables["study"] | {"want": ["choose"]}
    wire = {"diameter": "0.8 mm", "jacket": "0.3 mm"}
    study = read_study({"wire": wire, **tables, "study": head, "choose": wish})
    return read_problem(study, study.raw)


def exact(raw: Raw, bands: list[tuple[float, float]], offsets: Any, keep: Path) -> float:
    """Highest SWR across the bands of a set-up whose values are off; solved in full, or as kept; NaN for what cannot
    be built."""
    setup = Setup.read(raw)
    values = uncertain(setup)
    told = sorted((v.path, f"{float(v.at(u)):.9g}") for v, u in zip(values, offsets, strict=True))
    file = keep / f"{digest('chance', raw, bands, told)}.json"
    if not file.exists():
        with threadpool_limits(1):
            file.write_text(json.dumps(solved(with_offsets(setup, values, offsets), bands)))
    return float(json.loads(file.read_text()))


def solved(setup: Setup, bands: list[tuple[float, float]]) -> float:
    try:
        feed, solver, worst = setup.feed_system(), setup.build().solver(compute_always), 1.0
        for lower, upper in bands:
            f = np.linspace(lower, upper, 101)
            seen = swr(feed.impedances(solver.response(lower, upper).impedance(f), f).radio, feed.reference)
            worst = max(worst, float(seen.max()))
    except (InputError, SolveError):
        return math.nan
    return worst


def row_of(name: str, tables: Raw, samples: int, workers: int, keep: Path) -> dict[str, Any]:
    began, problem = time.time(), problem_of(tables)
    found = search(problem, compute_always, one_by_one(problem, compute_always))
    best = found.run()[0]
    promised = certainty(problem, best.place, compute_always)[0]
    # as the search saved with its choice: the digits of the study file
    raw, bands = problem.candidate(best.place), [(s.lower, s.upper) for s in problem.segments]
    offsets = Joint.of(uncertain(Setup.read(raw))).draw(samples, seed=777)
    with ProcessPoolExecutor(workers) as pool:
        worst = np.array(
            list(pool.map(exact, [raw] * samples, [bands] * samples, offsets, [keep] * samples, chunksize=4))
        )
    worst = worst[np.isfinite(worst)]
    share = float(np.mean(worst <= problem.swr))
    return {
        "problem": name, "swr_wanted": problem.swr, "choice": " ".join(f"{k.label} {k.shown(x):.4g}" for k, x in
                                                                      zip(problem.knobs, best.place, strict=True)),
        "promised_percent": 100 * promised, "exact_percent": 100 * share, "off_by": 100 * (promised - share),
        "samples": len(worst), "solves": found.count, "seconds": round(time.time() - began),
    }  # fmt: skip


def summary(rows: list[dict[str, Any]]) -> str:
    lines = [
        "# The chance that a choice promises", "",
        "Share of samples, drawn from what is usually not known and solved in full, whose SWR stays within the wish in",
        "all bands, against the chance that choosing promised.", "",
        "| problem | SWR | choice | promised % | exact % | off by | exact samples |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]  # fmt: skip
    lines += [
        f"| {r['problem']} | {r['swr_wanted']:g} | {r['choice']} | {r['promised_percent']:.1f} | "
        f"{r['exact_percent']:.1f} | {r['off_by']:+.1f} | {r['samples']} |"
        for r in rows
    ]
    return "\n".join([*lines, "", "Made with", "", "    python tests/benchmarks/choose_chance.py", ""])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=500)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("results/choose-chance"))
    parser.add_argument("--keep", type=Path, default=Path("/tmp/choose-chance"), help="where exact solves are kept")
    given = parser.parse_args()
    given.keep.mkdir(parents=True, exist_ok=True)
    given.out.mkdir(parents=True, exist_ok=True)
    rows = []
    for name, tables in PROBLEMS:
        rows.append(row_of(name, tables, given.samples, given.workers, given.keep))
        print(json.dumps(rows[-1], indent=1), flush=True)
    (given.out / "summary.md").write_text(summary(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
