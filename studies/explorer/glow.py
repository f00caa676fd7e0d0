"""What the page's drawing of the wire shows at a node: the current on every conductor and the pattern, band by band."""

from typing import Any

import numpy as np

from tautwire.model.arrays import Complex
from tautwire.model.fields.pattern import Pattern
from tautwire.model.fields.stress import current_along
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Solver
from tautwire.studies.pictures.seen import first_crest
from tautwire.studies.study.setup import Setup

PLACES = {"wire": 37}  # evenly along it, both ends included
OTHERS = 9
STEP = np.radians(5)
LEAST_DBI = -30.0

Glow = dict[str, Any]
"""f_mhz. amps: of each conductor [[re], [im]], A rms for 1 W into the wire, towards its end. dbi: of the wire alone, in
its plane, from the horizon ahead through the zenith to that behind"""


def glow(setup: Setup, solver: Solver, band: Band) -> Glow:
    """At the middle of a band, as nothing but the wires decides it. Raises SolveError."""
    f = (band.lower + band.upper) / 2
    solution, built = solver.solve(f), setup.build()
    along = [current_along(solution, built.structure, i) for i in range(len(built.structure.conductors))]
    crest = first_crest(along[0][1])
    turn = np.conj(crest) / abs(crest) / np.sqrt(solution.admittance.real)
    amps = []
    for (at, current), conductor in zip(along, built.structure.conductors, strict=True):
        way = 1 if conductor.role == "wire" else -1
        places = np.linspace(0, conductor.length, PLACES.get(conductor.role, OTHERS))
        amps.append(_columns(way * turn * np.interp(places, at, current)))
    angle, dbi = Pattern(solution, terrain=built.terrain).elevation_cut(built.layout.bearing, STEP)
    return {"f_mhz": round(f / 1e6, 4), "amps": amps, "dbi": [round(float(d), 1) for d in np.maximum(dbi, LEAST_DBI)]}


def _columns(amps: Complex) -> list[list[float]]:
    return [[float(f"{x:.3g}") for x in part] for part in (amps.real, amps.imag)]
