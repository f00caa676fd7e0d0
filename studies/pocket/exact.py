"""Exact reflection coefficients at random settings of a box, kept in one file so that a stopped build goes on."""

import math
import os
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import scipy

from tautwire.model.arrays import Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Arrays
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

POINTS = 61  # frequencies a band
TOLERANCE = 1e-4  # of the reflection coefficient between them
KEEP_EVERY = 10  # settings


def random_places(seed: int, count: int, axes: int) -> Real:
    """Places (count, axes) in the unit box, scrambled Sobol: the first n of them are the same for every count."""
    whole = 2 ** math.ceil(math.log2(max(count, 2)))
    places: Real = scipy.stats.qmc.Sobol(axes, seed=seed).random(whole)[:count]
    return places


def exact(setup: Setup, bands: Sequence[Band], kept: dict[str, Arrays]) -> Complex:
    """Reflection coefficient (bands, POINTS) at the wire's feed, over each band's window. kept: soil tables.

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
        solver.response(*window(b), TOLERANCE).reflection(np.linspace(*window(b), POINTS)) for b in bands
    ])  # fmt: skip


def gathered(
    path: Path,
    setups: Callable[[int], Setup],
    bands: Sequence[Band],
    count: int,
    progress: Callable[[int, int], None] | None = None,
) -> Complex:
    """(count, bands, POINTS) of the set-ups 0 to count - 1, kept in the file `path` and gone on with from there."""
    done: Complex = np.load(path)["gamma"] if path.exists() else np.zeros((0, len(bands), POINTS), complex)
    rows = list(done[:count])
    kept: dict[str, Arrays] = {}
    for i in range(len(rows), count):
        rows.append(exact(setups(i), bands, kept))
        if (i + 1) % KEEP_EVERY == 0 or i + 1 == count:
            new = path.with_name(path.stem + ".part.npz")
            np.savez(new, gamma=np.array(rows))
            os.replace(new, path)
            if progress:
                progress(i + 1, count)
    return np.array(rows)
