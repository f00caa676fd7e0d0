"""Random set-ups with a low coax, over one soil and over thin layers: the usual mesh's dips against a mesh twice as
fine by all rules, and the power balance. Writes results/benchmark/low_set_ups.csv.

    python tests/benchmarks/low_set_ups.py 20

The number is how many set-ups of each kind; some 5 s each.
"""

import sys
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from random_cases import dips_at_transformer, low_case  # noqa: E402

from tautwire.model.fields.power_balance import power_balance  # noqa: E402
from tautwire.model.solve.solver import Solver  # noqa: E402
from tautwire.studies.study.setup import Setup  # noqa: E402

BANDS = ("40 m", "20 m", "10 m")
TABLE = Path(__file__).parents[2] / "results" / "benchmark" / "low_set_ups.csv"


def row(seed: int, layers: bool) -> dict[str, object]:
    """A set-up's line of the table."""
    raw = low_case(seed, layers)
    built = Setup.read(raw).build()
    usual, fine = (Solver(built.structure, built.ground, r) for r in (built.rules, built.rules.finer(2)))
    moved = (dips_at_transformer(usual, BANDS) - dips_at_transformer(fine, BANDS)) / 1e3
    balance = [100 * power_balance(usual.solve(f), usual.structure).error for f in (3.6e6, 7.1e6, 28.4e6)]
    return {
        "seed": seed,
        "layers": layers,
        "soil": built.ground.words(),
        "coax_mm": raw["coax"]["height"].split()[0],
        "counterpoise": "counterpoise" in raw,
        "segments": len(usual.parts(14.1e6).mesh.length),
        "images": len(usual.parts(14.1e6).raised),
        **{f"{band.replace(' ', '_')}_khz": round(float(x), 1) for band, x in zip(BANDS, moved, strict=True)},
        **{f"balance_{mhz}_percent": round(x, 2) for mhz, x in zip(("3_6", "7_1", "28_4"), balance, strict=True)},
    }


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    rows = []
    for layers in (False, True):
        for seed in range(count):
            rows.append(row(seed, layers))
            print(*rows[-1].values(), flush=True)
            pd.DataFrame(rows).to_csv(TABLE, index=False)
