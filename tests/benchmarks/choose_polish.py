"""How far from the best is what choosing finds? Four problems against longer searches with a polish on exact solves.

    python tests/benchmarks/choose_polish.py [--solves 60] [--more 120] [--exact 40] [--out results/choose-polish]

The reference of each problem: the best of the search itself and of one with more solves and another seed, each then
moved downhill by a simplex search (Nelder and Mead) on exact solves only, which uses nothing of the surrogate.
"""

import argparse
import time
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from choose_grid import BASE, HANGINGS
from threadpoolctl import threadpool_limits

from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.wants.choose.candidates import Problem, read_problem
from tautwire.studies.wants.choose.search import Candidate, Search
from tautwire.studies.wants.choose.want import one_by_one, search

SLOPER = {k: v for k, v in HANGINGS[0].items() if k != "name"}
V = {k: v for k, v in HANGINGS[1].items() if k != "name"}
LENGTH = {"from": "18.6 m", "to": "21.4 m"}
PROBLEMS: dict[str, tuple[dict[str, Any], list[str], dict[str, Any]]] = {
    "sloper with counterpoise, CW": (
        {"antenna": SLOPER, "counterpoise": [{"length": "2 m"}]}, ["40 m CW", "20 m CW", "10 m CW"],
        {"antenna.length": LENGTH, "antenna.slope": {"from": "10 deg", "to": "50 deg"},
         "antenna.feed_height": {"from": "0.8 m", "to": "2.5 m"},
         "counterpoise.length": {"from": "0.5 m", "to": "5 m"}},
    ),
    "sloper and its coax": (
        {"antenna": SLOPER}, ["40 m", "20 m"],
        {"antenna.length": LENGTH, "antenna.slope": {"from": "10 deg", "to": "45 deg"},
         "coax.length": {"from": "2 m", "to": "10 m"}},
    ),
    "V and its heights": (
        {"antenna": V}, ["20 m", "15 m"],
        {"antenna.length": LENGTH, "antenna.apex_height": {"from": "5 m", "to": "9 m"},
         "antenna.end_height": {"from": "1 m", "to": "4 m"}, "antenna.apex_at": {"from": "8 m", "to": "12 m"}},
    ),
    "sloper on four bands": (
        {"antenna": SLOPER}, ["40 m CW", "20 m CW", "15 m CW", "10 m CW"],
        {"antenna.length": LENGTH, "antenna.slope": {"from": "10 deg", "to": "60 deg"},
         "coax.length": {"from": "2 m", "to": "10 m"}},
    ),
}  # fmt: skip


def problem_of(name: str, solves: int, seed: int) -> Problem:
    tables, segments, vary = PROBLEMS[name]
    bands = list(dict.fromkeys(" ".join(s.split()[:2]) for s in segments))
    wish = {"vary": vary, "solves": solves, "swr": 2.0, "aims": ["swr"], "segments": segments, "seed": seed}
    head = {"name": "polish", "bands": bands, "want": ["choose"]}
    study = read_study({**BASE, **tables, "study": head, "choose": wish})
    return read_problem(study, study.raw)


def run(name: str, solves: int, seed: int, store: Store) -> tuple[Search, Candidate]:
    problem = problem_of(name, solves, seed)
    hunt = search(problem, store, one_by_one(problem, store))
    return hunt, hunt.run()[0]


def polished(hunt: Search, start: Candidate, most: int) -> float:
    """The least cost that a simplex search on exact solves finds from a candidate on."""
    branch = hunt.homes[start.place]
    bounds = branch.bounds()
    wide = np.array([hi - lo for lo, hi in bounds])
    at = np.array([start.place[i] for i in branch.free])

    def cost(x: np.ndarray) -> float:
        place = branch.place([min(max(v, lo), hi) for v, (lo, hi) in zip(x, bounds, strict=True)])
        hunt.solve([(branch, place)])
        return hunt.candidates[place].cost if place in hunt.candidates else 1e4

    simplex = np.vstack([at, at + np.where(at + 0.05 * wide < [hi for _, hi in bounds], 0.05, -0.05) * np.diag(wide)])
    done = scipy.optimize.minimize(cost, at, method="Nelder-Mead", bounds=bounds,
                                   options={"initial_simplex": simplex, "maxfev": most, "fatol": 2e-4})  # fmt: skip
    return float(min(done.fun, start.cost))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--solves", type=int, default=60)
    parser.add_argument("--more", type=int, default=120)
    parser.add_argument("--exact", type=int, default=40)
    parser.add_argument("--out", type=Path, default=Path("results/choose-polish"))
    given = parser.parse_args()
    store, lines = Store(), []
    with threadpool_limits(1):
        for name in PROBLEMS:
            began = time.process_time()
            hunt, found = run(name, given.solves, 1, store)
            spent, solves = time.process_time() - began, hunt.count
            own = found.cost
            longer, other = run(name, given.more, 2, store)
            best = min(polished(hunt, found, given.exact), polished(longer, other, given.exact))
            place = ", ".join(k.words(k.shown(x)) for k, x in zip(hunt.problem.knobs, found.place, strict=True))
            lines.append(f"| {name} | {solves} | {own:.3f} | {best:.3f} | {own - best:+.3f} | {spent:.0f} | {place} |")
            print(lines[-1], flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    text = [
        "# How far from the best is what choosing finds?", "",
        f"Highest SWR over all bands. Best known: of the search and of one with {given.more} solves, each moved "
        f"downhill by up to {given.exact} exact solves.", "",
        "| problem | solves | found | best known | worse by | s | found at |", "|" + " --- |" * 7, *lines, "",
        "Made by `python tests/benchmarks/choose_polish.py`.", "",
    ]  # fmt: skip
    (given.out / "summary.md").write_text("\n".join(text))


if __name__ == "__main__":
    main()
