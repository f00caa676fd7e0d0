"""How far off readings and the model itself are.

Tuned on simulated seasons (tests/benchmarks/seasons.py): an antenna drawn at random, its dips solved exactly on a finer
mesh, read with the errors below. They are estimates of ours: common practice, no source.
"""

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.operating.bands import Band

READ_DIP = 0.0015  # of the frequency: a dip is flat, and its lowest point read by eye
READ_SIZE = 0.03  # of |reflection|, from an SWR
SWEEP_NOISE = 0.006  # of each part of a swept reflection coefficient
SWEEP_SMOOTH = 0.005  # likewise, each of level, slope and curvature over a band: the analyser's calibration and ours
MODEL = {"antenna": 0.0003, "site": 0.0002, "hang": 0.0005}  # of a dip's frequency, at 14 MHz and below
TOGETHER = 0.5  # correlation of the model's errors between two bands
HIGHER = (14.5e6, 18.1e6, 21.2e6, 24.9e6, 28.5e6, 50e6), (1.0, 4.0, 8.0, 6.0, 5.0, 6.0)
"""Frequencies (Hz), and times MODEL there: on the upper bands the coax's shield resonates beside the wire."""


def model_error(band: Band, layer: str) -> float:
    """Standard deviation of the model's own error of a band's dip, relative, that belongs to a layer."""
    return MODEL[layer] * float(np.interp((band.lower + band.upper) / 2, *HIGHER))


def together(count: int) -> Real:
    """(count, count) root of the correlation between the errors of so many bands."""
    return np.asarray(np.linalg.cholesky((1 - TOGETHER) * np.eye(count) + TOGETHER))
