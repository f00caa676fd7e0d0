"""Dips and reflection of twelve random set-ups on five bands, against a mesh twice as fine.

    python tests/benchmarks/fineness.py [COUNT]

Run from the repository's root. Writes results/benchmark/fineness.csv and prints a summary; with COUNT, of fewer set-ups
and without the file. It measures errors, not time.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from random_cases import random_setup

from tautwire.model.basics import reflection
from tautwire.model.errors import SolveError
from tautwire.model.operating.bands import band_named
from tautwire.model.solve.response import Response
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import GRID, minima, swr_at_radio, window

OUT = Path("results/benchmark/fineness.csv")
COUNT = 12
BANDS = ("40 m", "20 m", "17 m", "15 m", "10 m")


def compared(setup: Setup, name: str) -> dict[str, float] | None:
    """A row of the table; None for a set-up that cannot be solved so finely."""
    band, built, feed = band_named(name), setup.build(), setup.feed_system()
    found: list[tuple[Response, list[float]]] = []
    try:
        for rules in (built.rules, built.rules.finer(2)):
            response = Solver(built.structure, built.ground, rules).response(*window(band))
            f = np.linspace(response.lower, response.upper, GRID)
            found.append((response, [place for place, _ in minima(swr_at_radio(response, feed), f)]))
    except SolveError:
        return None
    (usual, dips), (fine, others) = found
    f = np.linspace(band.lower, band.upper, GRID)
    gamma = [reflection(feed.impedances(r.impedance(f), f).radio, feed.reference) for r in (usual, fine)]
    off = [min((abs(d - o) for o in others), default=np.nan) for d in dips]
    return {
        "dip_off_khz": float(np.max(off, initial=0.0)) / 1e3,
        "reflection_off": float(np.abs(gamma[0] - gamma[1]).max()),
    }


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    rows = []
    for seed in range(count):
        setup, _ = random_setup(seed)
        for name in BANDS:
            if (row := compared(setup, name)) is not None:
                rows.append({"seed": seed, "band": name, "layout": setup.antenna.layout, **row})
    table = pd.DataFrame(rows)
    print(table.groupby("band")[["dip_off_khz", "reflection_off"]].quantile([0.5, 0.9, 1.0]).unstack().round(4))
    if count == COUNT:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        table.to_csv(OUT, index=False, float_format="%.3g")


if __name__ == "__main__":
    main()
