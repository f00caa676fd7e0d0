"""What blending between solved cases costs: random set-ups, one number of each swept.

Run from the repository's root:  python tests/benchmarks/blend_error.py
Writes results/benchmark/blend.csv. For each of random_cases.py's set-ups an axis of 13 numbers (wire length, slope or
height) and four of its cases that are not solved: `reflection` is the greatest error of the blended reflection
coefficient at the wire's feed over the band, `dip_khz` that of the band's dip at the radio, both against the case
solved as it is; `segments_*` the same for the case solved with the family's segments, which is the mesh's part of it.
`told` is the error that the blend itself estimates, 0 where it was refused and the case solved
(model/solve/neighbours.py).
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from random_cases import random_case

from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band
from tautwire.model.solve.neighbours import BlendedSolver, Family, Member, UnlikeError
from tautwire.model.solve.response import Response, span_of
from tautwire.model.solve.solver import Solver, compute_always
from tautwire.studies.running.families import evened, nodes_of
from tautwire.studies.study.raw import changed
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import minima, swr_at_radio, the_dip, window

OUT = Path("results/benchmark/blend.csv")
COUNT, VALUES, ASKED = 40, 13, 4


def axis(raw: dict[str, Any], rng: np.random.Generator) -> tuple[str, np.ndarray, str]:
    """Path, values and unit of an axis that this set-up can follow."""
    antenna = raw["antenna"]
    length = float(antenna["length"].split()[0])
    ways = [("antenna.length", length * rng.uniform(0.75, 0.95), length, "m")]
    if "slope" in antenna:
        ways.append(("antenna.slope", 8.0, 55.0, "deg"))
    if antenna["layout"] == "sloper":
        ways.append(("antenna.feed_height", 0.5, 2.5, "m"))
    if antenna["layout"] == "horizontal":
        ways.append(("antenna.height", 2.0, 10.0, "m"))
    path, low, high, unit = ways[int(rng.integers(len(ways)))]
    return path, np.linspace(low, high, VALUES), unit


def rows_of(seed: int) -> list[dict[str, Any]]:
    raw, band = random_case(seed)
    path, values, unit = axis(raw, np.random.default_rng([4711, seed]))
    if "choke" in raw.get("coax", {}):
        raw["coax"]["choke"] = {"at": "1.5 m"}

    def setup(value: float) -> Setup:
        return Setup.read(changed(raw, path, f"{value:.6f} {unit}"))

    places = evened(path, tuple(map(float, values)))

    def member(k: int) -> Member:
        built = setup(values[k]).build()
        return Member(places[k], built.structure, built.ground)

    nodes = nodes_of(places)
    rules = setup(values[0]).build().rules
    family = Family([member(k) for k in nodes], rules, compute_always)
    rows = []
    for k in [k for k in range(VALUES) if k not in nodes][:: max(1, (VALUES - len(nodes)) // ASKED)][:ASKED]:
        one = member(k)
        blended = BlendedSolver(family, one)
        exact = Solver(one.structure, one.ground, rules)
        segments, span = Solver(one.structure, one.ground, rules), span_of(window(band)[0])
        try:
            segments._parts[span] = family._base(span, one)
        except UnlikeError as error:
            print(f"set-up {seed}, {path}: {error}")
            break
        told = {"seed": seed, "path": path, "band": band.name, "value": float(values[k])}
        blended.parts(window(band)[0])
        change = blended.errors[span]
        told |= {"told": change, "solved": change == 0}
        rows.append({**told, **compared(setup(values[k]), band, blended, segments, exact)})
    return rows


def compared(setup: Setup, band: Band, blended: Solver, segments: Solver, exact: Solver) -> dict[str, float]:
    f, feed = np.linspace(*window(band), 81), setup.feed_system()
    found: list[tuple[Response, float]] = []
    for solver in (blended, segments, exact):
        response = solver.response(*window(band), tolerance=1e-5)
        fine = np.linspace(response.lower, response.upper, 801)
        found.append((response, the_dip(minima(swr_at_radio(response, feed), fine), band)[0]))
    true, dip = found[-1]
    off = [float(np.abs(r.reflection(f) - true.reflection(f)).max()) for r, _ in found]
    between = float(np.abs(found[0][0].reflection(f) - found[1][0].reflection(f)).max())
    return {
        "blend_only": between, "reflection": off[0], "dip_khz": (found[0][1] - dip) / 1e3,
        "segments_reflection": off[1], "segments_dip_khz": (found[1][1] - dip) / 1e3,
    }  # fmt: skip


def main() -> None:
    rows = []
    for seed in range(COUNT):
        try:
            rows += rows_of(seed)
        except (InputError, SolveError) as error:
            print(f"set-up {seed} cannot follow its axis: {error}")
    frame = pd.DataFrame(rows)
    OUT.parent.mkdir(parents=True, exist_ok=True)
    frame.to_csv(OUT, index=False, float_format="%.4g")
    print(frame.to_string())
    print(frame.drop(columns=["path", "band"]).abs().groupby("solved").describe(percentiles=[0.5, 0.95]).T.to_string())


if __name__ == "__main__":
    main()
