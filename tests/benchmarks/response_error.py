"""How well, and from how many solves, the rational response follows the solver: 50 random set-ups and bands.

Run from the repository's root:  python tests/benchmarks/response_error.py
Writes results/benchmark/response_error.csv and prints a summary. It counts solves and measures errors, not time.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from random_cases import COUNT, random_setup

from tautwire.model.solve.response import Response
from tautwire.model.solve.solver import Solver
from tautwire.studies.wants.dips.reading import window

POINTS = 201
OUT = Path("results/benchmark/response_error.csv")


def true_error(solver: Solver, response: Response, points: int = POINTS) -> float:
    """Greatest error of the reflection coefficient on a dense grid, each point solved."""
    f = np.linspace(response.lower, response.upper, points)
    z = np.array([solver.impedance(float(x)) for x in f])
    g = (z - response.reference) / (z + response.reference)
    return float(np.abs(response.reflection(f) - g).max())


def rows_of(seed: int) -> list[dict[str, object]]:
    setup, band = random_setup(seed)
    solver = setup.build().solver()
    rows = []
    for kind, (lower, upper) in {"band": (band.lower, band.upper), "window": window(band)}.items():
        response = solver.response(lower, upper)
        rows.append(
            {
                "seed": seed,
                "range": kind,
                "band": band.name,
                "layout": setup.antenna.layout,
                "length_m": setup.antenna.length,
                "soil": setup.site.soil,
                "segments": len(solver.parts(lower).mesh.start),
                "solves": len(response.samples),
                "estimated_error": response.error,
                "true_error": true_error(solver, response),
            }
        )
    return rows


def main() -> None:
    table = pd.DataFrame([row for seed in range(COUNT) for row in rows_of(seed)])
    OUT.parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(OUT, index=False, float_format="%.3g")
    for kind, part in table.groupby("range"):
        over = (part.true_error > np.maximum(part.estimated_error, 1e-6)).sum()
        print(
            f"{kind}: {len(part)} ranges, solves median {part.solves.median():g} most {part.solves.max()}, "
            f"true error median {part.true_error.median():.1e} most {part.true_error.max():.1e}, "
            f"{(part.true_error > 1e-3).sum()} above 1e-3, {over} above their estimate"
        )


if __name__ == "__main__":
    main()
