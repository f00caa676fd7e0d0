"""Quality figures of each case and band, and the words that mark one outside the model's validity."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.wires.structure import RETURNS
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.want import Frames, Rows, Want

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.study import Study

# Figure -> (lowest, highest allowed, words when outside).
# Lengths in wavelengths and radii: NEC-2 manual, part III, section II, from memory (a tenth of a wavelength; 8 radii
# for the best accuracy, 2 at the least: only the corners of low wires come near that). Neighbours: the mesh keeps to 2
# by itself, so more is a fault. Feed: its segments stand for the transformer's box, so compare only where they are as
# long; a leg at the feed under two of them, or a fine mesh, shortens them. Height: below one radius the wire would be
# in the soil. The two errors: a sound portable set-up has an asymmetry of 0.007 to 0.03 and a power error of 0.1 to
# 0.3 % (tests/benchmarks/mesh_error.py); a counterpoise that drops steeply beside the coax, which the engine gets
# wrong, is beyond 5 % (test_quality.py). Below that, and above 1 %, a case is less exact, though inside validity.
LIMITS: dict[str, tuple[float, float, str]] = {
    "max_length_wavelengths": (0.0, 0.1, "segments longer than a tenth of a wavelength"),
    "min_length_radii": (2.0, float("inf"), "segments shorter than two wire radii"),
    "min_height_radii": (1.0, float("inf"), "a wire in the soil"),
    "max_neighbour_ratio": (0.0, 2.5, "neighbouring segments differ in length by more than 2.5"),
    "feed_segment_share": (1.0, float("inf"), "segments at the feed shorter than feed_segment, which moves the dip"),
    "y_asymmetry": (0.0, 0.05, "the engine's matrix breaks reciprocity by more than 5 %"),
    "power_error": (-0.05, 0.05, "the power that the wires would radiate is off by more than 5 %"),
}
EXACT = {
    "power_error": (-0.01, 0.01, "the power balance misses 1 to 5 %, so feed resistance and gains may be off as much"),
}
"""The same for what is less exact than usual: words in the column "inexact", which withhold nothing."""
THIN_LAYER = "over a thin layer below 4.6 MHz up to a third of the power is unaccounted for"
"""Marks what no cheap figure shows: tests/benchmarks/balance.py has 33 % at 3.6 MHz over 3 mm of ice, 1 % elsewhere."""
PROBES = 21.2e6, 28.5e6
"""Hz. Where coax and counterpoise both drop, the joint's fault shows here at the latest: at 3.6 MHz free space hides it
where soil does not (tests/benchmarks/balance.py)."""
ROUNDING = 1e-9  # relative; a segment of exactly two radii is inside


def marks(figures: dict[str, float], limits: dict[str, tuple[float, float, str]] = LIMITS) -> list[str]:
    """Words for each figure outside its limits or not a number; empty if the case is inside the model's validity."""
    return [
        words
        for name, (low, high, words) in limits.items()
        if name in figures and not low * (1 - math.copysign(ROUNDING, low)) <= figures[name] <= high * (1 + ROUNDING)
    ]


def power_error(solver: Solver, f_hz: float) -> float:
    """What the wires, of perfect conductor and away from the soil, radiate and lose in their jackets over what enters
    them, less 1.

    The average-gain test: it finds what the engine does badly (steps of radius, joints, coarse segments) at a
    hundredth of the cost of a balance with the soil (model/fields/power_balance.py), which agrees with it to a percent.
    """
    from tautwire.model.solve.corrections import (
        radiation_resistance,  # with scipy, which a study read from the store does not need
    )

    parts = solver.parts(f_hz)
    current = np.linalg.solve(parts.wires(f_hz), parts.mesh.feed.astype(complex))
    radiated = (current.conj() @ radiation_resistance(parts.segments, f_hz) @ current).real
    in_jackets = parts.local_losses(f_hz, current)[0]
    return float((radiated + in_jackets) / (parts.mesh.feed @ current).real) - 1


def worst_power_error(solver: Solver, f_hz: float) -> float:
    """power_error at f_hz; with several return conductors the greatest, either way, of that and PROBES."""
    returns = sum(c.role in RETURNS for c in solver.structure.conductors)
    errors = [
        solver.kept("power", f, partial(power_error, solver, f)) for f in (f_hz, *(PROBES if returns > 1 else ()))
    ]
    return max(errors, key=lambda e: math.inf if math.isnan(e) else abs(e))


def quality_rows(solver: Solver, bands: Sequence[Band]) -> Rows:
    """One row a band: figures at its top, power at its centre, and `marks` ("" inside validity).

    A figure that is not a number marks the band too.
    """
    from tautwire.model.solve.response import SPANS  # with scipy, as above

    rows = []
    for band in bands:
        centre = (band.lower + band.upper) / 2
        figures = {**solver.quality(band.upper), "power_error": worst_power_error(solver, centre)}
        outside = marks(figures)
        inexact = [] if outside else marks(figures, EXACT)
        if band.upper <= SPANS[0].upper and solver.parts(band.upper).raised:
            inexact.append(THIN_LAYER)
        rows.append({"band": band.name, **figures, "marks": "; ".join(outside), "inexact": "; ".join(inexact)})
    return rows


def _compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    return {"quality": quality_rows(solver, study.bands)}


QUALITY = Want("quality", _compute, depends=lambda study: None, free_of=("transformer", "radio", "reel"))
"""Asked of every case, whatever else is wanted."""
