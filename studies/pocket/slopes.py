"""What each value of a set-up that may be off does to every band's dip: one table of slopes a place."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tautwire.model.basics import Real, size_of
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.raw import ONE_SIDED
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.spread.sampling import dip_or_middle, sampled, wire_shifts
from tautwire.studies.wants.spread.values import Uncertain

STEP = 0.5  # standard deviations either way
FURTHEST = 0.02  # of a dip's frequency: a dip that a step moves further is another one


@dataclass(frozen=True, eq=False)
class Slopes:
    """dip (bands, k): relative shift of a band's dip for one standard deviation of each value; size (bands, k): change
    of |reflection| there. 0 where a band has no dip."""

    dip: Real
    size: Real


def slopes_of(setup: Setup, solver: Solver, bands: Sequence[Band], values: Sequence[Uncertain]) -> Slopes:
    """From the currents at each dip, with no further solve. solver: of the same set-up. Raises SolveError."""
    k = len(values)
    one_sided = np.array([v.law == ONE_SIDED for v in values], dtype=bool)
    steps = np.concatenate([STEP * np.eye(k), np.where(one_sided, 0.0, -STEP)[:, None] * np.eye(k)])
    dips, sizes = np.zeros((2, len(bands), k))
    for i, band in enumerate(bands):
        response = solver.response(*window(band))
        shifts = wire_shifts(setup, values, solver, dip_or_middle(setup, response, band))
        read = sampled(setup, response, shifts, steps, window(band), band)
        ahead, back, span = read[:k], read[k:], np.where(one_sided, STEP, 2 * STEP)
        moved = np.log(ahead.dip / back.dip)
        good = np.isfinite(moved) & (np.abs(moved) < FURTHEST)
        dips[i] = np.where(good, moved / span, 0.0)
        sizes[i] = np.where(good, (size_of(ahead.dip_swr) - size_of(back.dip_swr)) / span, 0.0)
    return Slopes(np.nan_to_num(dips), np.nan_to_num(sizes))
