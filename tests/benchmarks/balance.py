"""Power balance of random set-ups: lying coax, counterpoises, layers of snow, ice and wet soil.

Free space: what `quality` has in every case (power_error, which marks). Soil: the whole balance, with the power that
the soil takes found from the fields in it (model/fields/power_balance.py). Writes results/benchmark/balance.csv.

    python tests/benchmarks/balance.py 10

The number is how many set-ups of each of the four kinds; about 4 s each.
"""

import sys
from pathlib import Path
from typing import Any

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from random_cases import low_case, random_case  # noqa: E402

from tautwire.model.fields.power_balance import power_balance  # noqa: E402
from tautwire.model.operating.bands import band_named  # noqa: E402
from tautwire.studies.running.quality import quality_rows  # noqa: E402
from tautwire.studies.study.setup import Setup  # noqa: E402

BANDS = ("80 m", "40 m", "20 m", "15 m", "10 m")
TABLE = Path(__file__).parents[2] / "results" / "benchmark" / "balance.csv"
KINDS = ("any", "low coax", "low coax, layers", "two returns that drop")


def case(kind: str, seed: int) -> dict[str, Any]:
    """Raw set-up."""
    if kind == "any":
        return random_case(seed)[0]
    raw = low_case(seed, "layers" in kind)
    if "two" in kind:
        raw["counterpoise"] = [
            {"length": f"{2 + 0.5 * (seed % 7)} m", "height": "3 cm", "bearing": f"{10 + 35 * seed} deg"}
        ]
    return raw


def row(kind: str, seed: int) -> dict[str, object]:
    """A set-up's line of the table."""
    raw = case(kind, seed)
    built = Setup.read(raw).build()
    solver = built.solver()
    bands = [band_named(name) for name in BANDS]
    told = quality_rows(solver, bands)
    free = [100 * r["power_error"] for r in told]
    at = [(band.lower + band.upper) / 2 for band in bands]
    soil = [100 * power_balance(solver.solve(f), solver.structure).error for f in at]
    marked = {r["marks"] or r["inexact"] for r in told} - {""}
    names = [b.replace(" ", "_") for b in BANDS]
    return {
        "kind": kind,
        "seed": seed,
        "soil": built.ground.words(),
        "counterpoise": "counterpoise" in raw,
        **{f"free_{n}_percent": round(x, 2) for n, x in zip(names, free, strict=True)},
        **{f"soil_{n}_percent": round(x, 2) for n, x in zip(names, soil, strict=True)},
        "worst_percent": round(max(map(abs, soil)), 2),
        "marks": "; ".join(sorted(marked)),
    }


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    rows = pd.read_csv(TABLE).fillna("").to_dict("records") if TABLE.exists() else []  # delete it to begin again
    known = {(r["kind"], r["seed"]) for r in rows}
    for kind in KINDS:
        for seed in range(count):
            if (kind, seed) in known:
                continue
            rows.append(row(kind, seed))
            print(*rows[-1].values(), flush=True)
            pd.DataFrame(rows).to_csv(TABLE, index=False)
