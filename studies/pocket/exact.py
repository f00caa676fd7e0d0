"""Exact reflection coefficients at the wire's feed, at random settings of a box."""

import math
from collections.abc import Callable, Sequence

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Arrays
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

POINTS = 61  # frequencies a band
TOLERANCE = 1e-4  # of the reflection coefficient between them


def random_places(seed: int, count: int, axes: int) -> Real:
    """Places (count, axes) in the unit box, scrambled Sobol: the first n of them are the same for every count."""
    whole = 2 ** math.ceil(math.log2(max(count, 2)))
    places: Real = scipy.stats.qmc.Sobol(axes, seed=seed).random(whole)[:count]
    return places


def exact(setup: Setup, bands: Sequence[Band], kept: dict[str, Arrays], points: int = POINTS) -> Complex:
    """Reflection coefficient (bands, points) over each band's window. kept: soil tables.

    Raises InputError or SolveError.
    """
    own: dict[str, Arrays] = {}

    def remember(key: str, compute: Callable[[], Arrays]) -> Arrays:
        store = kept if key.startswith("soil") else own
        if key not in store:
            store[key] = compute()
        return store[key]

    solver = setup.build().solver(remember)
    return np.array([
        solver.response(*window(b), TOLERANCE).reflection(np.linspace(*window(b), points)) for b in bands
    ])  # fmt: skip
