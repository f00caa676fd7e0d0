"""Wires that lie on the soil or close to it: the wave along them as solved, with the usual mesh and finer ones, and by
the exact equation of an endless wire (tests/modal_equation.py). Writes results/lying-wires/summary.md.

    python tests/benchmarks/lying_wires.py
"""

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from modal_equation import exact, long_dipole, read  # noqa: E402

from tautwire.model.soil.ground import GROUNDS, STACKS  # noqa: E402
from tautwire.model.solve.corrections import crowding  # noqa: E402
from tautwire.model.solve.solver import Solver  # noqa: E402
from tautwire.model.wires.attachments import RG58_OUTSIDE  # noqa: E402
from tautwire.model.wires.mesh import MeshRules  # noqa: E402
from tautwire.model.wires.structure import WireType  # noqa: E402

COAX = WireType(RG58_OUTSIDE.diameter, RG58_OUTSIDE.jacket, RG58_OUTSIDE.jacket_er, math.inf)
THIN = WireType(0.8e-3, 0.3e-3, 2.3, math.inf)
BARE = WireType(1e-3, conductivity=math.inf)
HEIGHTS = (0.0025, 0.005, 0.01)
WIDE = (0.0025, 0.005, 0.01, 0.03, 0.1, 0.3, 1.0)
SOILS = {**GROUNDS, **STACKS}


def row(name: str, wire: WireType, soil: str, f_hz: float, height: float, factors: tuple[float, ...]) -> str:
    """A line of the table."""
    ground, found = SOILS[soil], []
    for factor in factors:
        rules = MeshRules() if factor == 1 else MeshRules().finer(factor)
        found.append(read(Solver(long_dipole(wire, height), ground, rules).solve(f_hz)))
    more = crowding(ground.kappa(f_hz), height, wire) - wire.jacket_log
    true = exact(wire, height, f_hz, ground, found[-1], more)
    values = [f"{b:.4f} ({100 * abs(b / true - 1):.2f} %)" for b in found]
    return f"| {name} | {soil} | {f_hz / 1e6:g} | {1e3 * height:g} | {' | '.join(values)} | {true:.4f} |"


def main() -> None:
    """Both tables."""
    out = ["# Wires that lie on the soil: the wave number along them, in that of air", ""]
    out += ["In brackets: how far from the exact equation. At 2.5 mm the coax lies on the soil.", ""]
    out += ["| wire | soil | MHz | height, mm | usual mesh | twice as fine | exact |", "|---|---|---|---|---|---|---|"]
    for name, wire in (("coax", COAX), ("thin, jacketed", THIN)):
        for soil, f in (("average soil", 3.6e6), ("average soil", 14e6), ("very dry ground", 7e6)):
            out += [row(name, wire, soil, f, h, (1, 2)) for h in HEIGHTS]
    out += ["", "| wire | soil | MHz | height, mm | usual mesh | exact |", "|---|---|---|---|---|---|"]
    for soil, f in (("average soil", 7e6), ("wet ground", 3.6e6), ("sand over clay", 7e6)):
        out += [row("bare, 1 mm", BARE, soil, f, h, (1,)) for h in WIDE]
    out += ["", "Made by `python tests/benchmarks/lying_wires.py`.", ""]
    folder = Path(__file__).parents[2] / "results" / "lying-wires"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "summary.md").write_text("\n".join(out))


if __name__ == "__main__":
    main()
