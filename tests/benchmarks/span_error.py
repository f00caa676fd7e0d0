"""What the interpolation between a span's nodes costs: against engine and soil computed at the frequency itself.

Run from the repository's root:  python tests/benchmarks/span_error.py
Writes results/benchmark/span_error.csv and prints a summary. The mesh and the voltage scale are the span's own in both.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from random_cases import COUNT, random_setup

from tautwire.model.soil.soil_table import remainder_matrix, soil_table
from tautwire.model.solve.engine import admittance, canonical
from tautwire.model.solve.response import REFERENCE, SPANS, Span
from tautwire.model.solve.solver import Solver

PROBES = 7
OUT = Path("results/benchmark/span_error.csv")


def direct_impedance(solver: Solver, f_hz: float) -> complex:
    """Feed impedance with every matrix computed at f_hz itself, ohm."""
    parts, scale = solver.parts(f_hz), solver.parts(f_hz)._free_nodes[1]

    def symmetric(perfect: bool) -> np.ndarray:
        z = np.linalg.inv(admittance(canonical(parts._legs, perfect), f_hz, perfect) / scale)
        return (z + z.T) / 2

    free = symmetric(False)
    n2 = parts.ground.n2(f_hz)
    rest = remainder_matrix(soil_table(f_hz, parts.ground), parts.segments)
    z = (
        free
        + parts._radius.at(f_hz)
        + parts._contact.at(f_hz, parts.ground)
        + (n2 - 1) / (n2 + 1) * (symmetric(True) - free)
        + rest
        + np.diag(parts.load(f_hz))
    )
    return complex(1 / (parts.mesh.feed @ np.linalg.solve(z, parts.mesh.feed.astype(complex))))


def span_error(solver: Solver, span: Span, probes: int = PROBES) -> float:
    """Greatest error of the reflection coefficient at `probes` frequencies of the span, its ends among them."""
    worst = 0.0
    for f in np.linspace(span.lower * 1.0001, span.upper * 0.9999, probes):
        z, true = solver.impedance(float(f)), direct_impedance(solver, float(f))
        worst = max(worst, abs((z - REFERENCE) / (z + REFERENCE) - (true - REFERENCE) / (true + REFERENCE)))
    return worst


def main() -> None:
    rows = []
    for seed in range(COUNT):
        setup, _ = random_setup(seed)
        span = SPANS[seed % len(SPANS)]
        solver = setup.build().solver()
        error = span_error(solver, span)
        rows.append(
            {
                "seed": seed,
                "span_mhz": f"{span.lower / 1e6:g}-{span.upper / 1e6:g}",
                "layout": setup.antenna.layout,
                "soil": setup.site.soil,
                "segments": len(solver.parts(span.lower).mesh.start),
                "error": error,
            }
        )
    table = pd.DataFrame(rows)
    OUT.parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(OUT, index=False, float_format="%.3g")
    for name, part in table.groupby("span_mhz"):
        print(f"{name} MHz: {len(part)} set-ups, error median {part.error.median():.1e}, most {part.error.max():.1e}")


if __name__ == "__main__":
    main()
