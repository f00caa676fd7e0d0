"""Does choosing find what trying everything finds? Three problems against exact grids of their candidates.

    python tests/benchmarks/choose_grid.py [--workers 2] [--out results/choose] [--keep FOLDER]

Every case of a grid is solved in full and read like any case of a study, without anything that the search uses. The
search then gets a twentieth of the grid's solves at most, and its finds are solved in full too.
"""

import argparse
import itertools
import json
import math
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from tautwire.model.basics import swr
from tautwire.model.errors import InputError, SolveError
from tautwire.model.fields.far_field import Pattern
from tautwire.model.fields.power_balance import power_balance
from tautwire.model.solve.solver import compute_always
from tautwire.studies.running.store import digest
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.choose.candidates import Problem, read_problem
from tautwire.studies.wants.choose.want import one_by_one, search

BASE: dict[str, Any] = {
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "coax": {"type": "RG-58", "length": "5 m"},
}
LOW = np.radians([10.0, 15.0, 20.0, 25.0, 30.0])
ROUND = np.radians(np.arange(0.0, 360.0, 10.0))
HANGINGS = [
    {"name": "sloper", "layout": "sloper", "length": "20 m", "feed_height": "1.2 m", "slope": "25 deg"},
    {"name": "V", "layout": "inverted V", "length": "20 m", "feed_height": "1.2 m", "apex_height": "8 m",
     "end_height": "1.5 m"},
    {"name": "L", "layout": "inverted L", "length": "20 m", "feed_height": "1.2 m", "height": "8 m"},
]  # fmt: skip


@dataclass(frozen=True)
class Trial:
    """A problem. swr: SWR wanted; gain: whether gain at low angles is what counts. steps: a knob -> grid values."""

    name: str
    bands: tuple[str, ...]
    antenna: dict[str, Any]
    steps: dict[str, int]
    vary: dict[str, Any]
    more: dict[str, Any] = field(default_factory=dict)
    gain: bool = False
    swr: float = 2.0

    def problem(self, solves: int) -> Problem:
        wish: dict[str, Any] = {"vary": self.vary, "solves": solves, "swr": self.swr}
        wish["aims"] = ["gain"] if self.gain else ["swr"]
        head = {"name": "grid", "bands": list(self.bands), "want": ["choose"]}
        antenna = {k: v for k, v in self.antenna.items() if k != "name"}
        study = read_study({**BASE, **self.more, "study": head, "antenna": antenna, "choose": wish})
        return read_problem(study, study.raw)

    def grid(self) -> list[tuple[float, ...]]:
        knobs = self.problem(60).knobs
        return list(itertools.product(*(np.linspace(k.low, k.high, self.steps[k.path]) for k in knobs)))


TRIALS = (
    Trial(
        "length, slope and coax of a sloper", ("40 m", "20 m"), HANGINGS[0],
        {"antenna.length": 15, "antenna.slope": 12, "coax.length": 12},
        {"antenna.length": {"from": "18.6 m", "to": "21.4 m"}, "antenna.slope": {"from": "10 deg", "to": "45 deg"},
         "coax.length": {"from": "2 m", "to": "10 m"}},
    ),
    Trial(
        "lengths, apex and heights of a V", ("20 m", "15 m"), HANGINGS[1],
        {"antenna.length": 10, "antenna.apex_height": 6, "antenna.end_height": 6, "antenna.apex_at": 6},
        {"antenna.length": {"from": "18.8 m", "to": "21.5 m"}, "antenna.apex_height": {"from": "5 m", "to": "9 m"},
         "antenna.end_height": {"from": "1 m", "to": "4 m"}, "antenna.apex_at": {"from": "8 m", "to": "12 m"}},
    ),
    Trial(
        "which hanging, length and counterpoise", ("20 m",), HANGINGS[0],
        {"antenna": 3, "antenna.length": 28, "counterpoise.length": 25},
        {"antenna": HANGINGS, "antenna.length": {"from": "18.6 m", "to": "21.3 m"},
         "counterpoise.length": {"from": "0.5 m", "to": "5.3 m"}},
        {"counterpoise": [{"length": "2 m"}]},
        gain=True,
    ),
)  # fmt: skip


def exact(raw: Raw, bands: list[tuple[float, float]], gain: bool) -> dict[str, float]:
    """Highest SWR across the bands, and the gain (dBi, from the radio) at low angles all round; solved in full."""
    setup = Setup.read(raw)
    built, feed = setup.build(), setup.feed_system()
    solver = built.solver(compute_always)
    worst, gains = [], []
    for lower, upper in bands:
        f = np.linspace(lower, upper, 201)
        z = solver.response(lower, upper).impedance(f)
        worst.append(float(swr(feed.impedances(z, f).radio, feed.reference).max()))
        if gain:
            middle = (lower + upper) / 2
            solution = solver.solve(middle)
            pattern = Pattern(solution, power_balance(solution, solver.structure).accounted)
            dbi = 10 * math.log10(float((10 ** (pattern.dbi(LOW[:, None], ROUND[None, :]) / 10)).mean()))
            part = feed.power_split(np.array([1 / solution.admittance]), np.array([middle])).wire[0]
            gains.append(dbi + 10 * math.log10(float(part)))
    return {"swr": max(worst), "gain": float(np.mean(gains)) if gains else math.nan}


def kept(raw: Raw, bands: list[tuple[float, float]], gain: bool, keep: Path) -> dict[str, float] | None:
    """`exact`, or as kept; None for what cannot be built."""
    file = keep / f"{digest('choose-grid', raw, bands, gain)}.json"
    if not file.exists():
        with threadpool_limits(1):
            try:
                answer: Any = exact(raw, bands, gain)
            except (InputError, SolveError):
                answer = None
        file.write_text(json.dumps(answer))
    return json.loads(file.read_text())  # type: ignore[no-any-return]


def value(trial: Trial, found: dict[str, float] | None) -> float:
    """What is to be small; infinite where a wish is missed."""
    if found is None or found["swr"] > trial.swr + 0.005 and trial.gain:
        return math.inf
    return -found["gain"] if trial.gain else found["swr"]


def row_of(trial: Trial, workers: int, keep: Path) -> dict[str, Any]:
    places, problem = trial.grid(), trial.problem(60)
    bands = [(s.lower, s.upper) for s in problem.segments]
    raws, began = [problem.candidate(p) for p in places], time.time()
    with ProcessPoolExecutor(workers) as pool:
        n = len(raws)
        answers = list(pool.map(kept, raws, [bands] * n, [trial.gain] * n, [keep] * n, chunksize=8))
    costs = np.array([value(trial, a) for a in answers])
    best = int(costs.argmin())
    print(f"{trial.name}: grid of {n} in {time.time() - began:.0f} s, best {costs[best]:.4f}", flush=True)
    budget = n // 20
    problem = trial.problem(budget)
    hunt = search(problem, compute_always, one_by_one(problem, compute_always))
    began = time.time()
    found = hunt.run()[0]
    again = value(trial, kept(problem.candidate(found.place), bands, trial.gain, keep))
    sign = -1 if trial.gain else 1
    return {
        "problem": trial.name, "bands": " ".join(trial.bands), "what": "gain dBi" if trial.gain else "highest SWR",
        "grid_cases": n, "grid_built": sum(a is not None for a in answers), "grid_best": sign * costs[best],
        "search_solves": hunt.count, "part_of_grid": hunt.count / n, "search_best": sign * again,
        "search_worse_by": again - costs[best], "search_expected": sign * sum(found.measures.aims.values()),
        "grid_place": _told(problem, places[best]), "search_place": _told(problem, found.place),
        "search_s": round(time.time() - began),
    }  # fmt: skip


def _told(problem: Problem, place: tuple[float, ...]) -> str:
    shown = [k.shown(x) for k, x in zip(problem.knobs, place, strict=True)]
    return " ".join(s if isinstance(s, str) else f"{s:.4g}" for s in shown)


def summary(rows: list[dict[str, Any]], command: str) -> str:
    lines = [
        "# Choosing against trying everything", "",
        "Every case of each grid is solved in full; the search gets a twentieth of the solves; its find is solved in",
        "full too. \"Worse by\" is what the grid's best has over it; below 0 it is better, between the grid's lines.",
        "Gain: mean over all bearings, 10 to 30 deg, losses of the feed included, SWR at most 2.", "",
        "| problem | bands | counts | grid cases | grid's best | solves | part of grid | search's best | worse by |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]  # fmt: skip
    for r in rows:
        lines.append(
            f"| {r['problem']} | {r['bands']} | {r['what']} | {r['grid_cases']} | {r['grid_best']:.3f} | "
            f"{r['search_solves']} | 1/{1 / r['part_of_grid']:.0f} | {r['search_best']:.3f} | "
            f"{r['search_worse_by']:+.3f} |"
        )
    for r in rows:
        lines += ["", f"{r['problem']}: the grid's best at {r['grid_place']}, the search's at {r['search_place']}."]
    return "\n".join([*lines, "", "Made with", "", f"    {command}", ""])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("results/choose"))
    parser.add_argument("--keep", type=Path, default=Path("/tmp/choose-grid"), help="where exact solves are kept")
    parser.add_argument("--only", type=int, help="one problem only, by number from 0")
    given = parser.parse_args()
    given.keep.mkdir(parents=True, exist_ok=True)
    given.out.mkdir(parents=True, exist_ok=True)
    rows = []
    for trial in TRIALS if given.only is None else [TRIALS[given.only]]:
        rows.append(row_of(trial, given.workers, given.keep))
        print(json.dumps(rows[-1], indent=1), flush=True)
    (given.out / "summary.md").write_text(summary(rows, "python tests/benchmarks/choose_grid.py"), encoding="utf-8")


if __name__ == "__main__":
    main()
