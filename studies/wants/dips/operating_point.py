"""Where and how a band is looked at: at the lowest SWR inside it, with all of the radio's power taken."""

import numpy as np

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Solution, Solver
from tautwire.studies.wants.dips.reading import GRID, lowest, swr_at_radio, window


def operating_frequency(solver: Solver, feed: FeedSystem, band: Band) -> float:
    """Hz inside the band with the lowest SWR at the radio."""
    at = swr_at_radio(solver.response(*window(band)), feed)
    f = np.linspace(band.lower, band.upper, GRID)
    i = int(np.argmin(at(f)))
    if i in (0, GRID - 1):
        return float(f[i])
    return lowest(at, f[[i - 1]], f[[i + 1]])[0][0]


def watts_into_wire(solution: Solution, feed: FeedSystem, power: float) -> float:
    """W that reach the wire when the radio or its tuner delivers all of its power (W) into the feed line."""
    split = feed.power_split(solution.impedance, solution.f_hz)
    return power * float(split.wire) / max(1 - float(split.mismatch), 1e-6)
