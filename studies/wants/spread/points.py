"""Sobol's points, from scipy.stats.qmc. The first of them lie beside this file: loading scipy.stats takes a good part
of the time in which `predict` answers. `python -m tautwire.studies.wants.spread.points` writes them anew.
"""

import math
from pathlib import Path

import numpy as np

from tautwire.model.basics import Real

COUNT, DIMENSIONS, SEED = 512, 48, 1  # of the points beside this file
FILE = Path(__file__).with_name("points.npy")


def sobol(count: int, dimensions: int, seed: int = SEED) -> Real:
    """Scrambled points (count, dimensions), each from 0 to 1.

    >>> points = sobol(256, 3)
    >>> points.shape, points.mean(axis=0).round(2).tolist()
    ((256, 3), [0.5, 0.5, 0.5])
    """
    if count <= COUNT and dimensions <= DIMENSIONS and seed == SEED:
        kept: Real = np.load(FILE, allow_pickle=False)
        return kept[:count, :dimensions]
    return computed(count, dimensions, seed)


def computed(count: int, dimensions: int, seed: int) -> Real:
    """The same without the file."""
    from scipy.stats import qmc

    points: Real = qmc.Sobol(dimensions, rng=seed).random_base2(max(1, math.ceil(math.log2(count))))[:count]
    return points


if __name__ == "__main__":
    np.save(FILE, computed(COUNT, DIMENSIONS, SEED))
