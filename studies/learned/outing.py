"""What was typed and read at each outing, what of it may be off, and by how much.

How far off readings and the model itself are.

Tuned on simulated seasons (tests/benchmarks/seasons.py): an antenna drawn at random, its dips solved exactly on a finer
mesh, read with the errors below. They are estimates of ours: common practice, no source.

What of a set-up may be off, and to which layer it belongs: the antenna, the site, or how it hung this time.

Names are the set-up's dotted keys. A value is off by x of its usual standard deviations (study/raw.py); one that
can only be more (sag, leaves) by x times its usual size, x from 0 up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import scipy

from tautwire.model.basics import Real
from tautwire.model.operating.bands import Band
from tautwire.studies.study.measurement import Sweep
from tautwire.studies.study.raw import FACTOR, usual_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.local_model import Known, with_value
from tautwire.studies.wants.spread.values import Uncertain, uncertain

# --- An outing: what was typed of a set-up, and what was then read there. A list of them is all that a posterior
# needs.


@dataclass(frozen=True)
class Dip:
    """A dip as read. f_hz: Hz. swr: there, None if nobody read it."""

    band: Band
    f_hz: float
    swr: float | None = None


@dataclass(frozen=True, eq=False)
class Outing:
    """One time that an antenna was hung and looked at.

    setup: as typed. place: where. hang: what tells one hanging from another; outings of the same place and hang share
    how the wire hung. known: how far off values may be, where a fit or the user says so (dotted key -> prior).
    """

    place: str
    hang: str
    setup: Setup
    dips: tuple[Dip, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    known: Mapping[str, Known] | None = None


# --- How far off readings and the model itself are.


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


# --- What of a set-up may be off, and to which layer it belongs.


Layer = Literal["antenna", "site", "hang"]

LEAVES = "antenna.end_capacitance"
TYPED_LEAVES, MOST_LEAVES = 0.5, 15e-12  # logarithm of a factor, where somebody typed how much; F
LEAF_LOSS, LEAF_HZ = 0.4, 14e6  # tan delta of fresh leaves, and where: an estimate of ours
NOT_LEARNED = ("wire.film", "coax.behind", "reel.turn_length")  # kept out of what is learned so far


def layer_of(path: str) -> Layer:
    """Which layer a value belongs to.

    >>> layer_of("wire.jacket"), layer_of("site.soil.er"), layer_of("antenna.slope")
    ('antenna', 'site', 'hang')
    """
    if path.startswith("site."):
        return "site"
    usual = usual_of(path)
    return "hang" if usual is not None and usual.hang else "antenna"


def off_values(setup: Setup, known: Mapping[str, Known] | None = None) -> tuple[Uncertain, ...]:
    """Every value of a set-up that may be off. known: what is said of some; an sd of 0 leaves a value out."""
    values = [one for one in uncertain(setup, known) if one.path not in NOT_LEARNED]
    return tuple(_leaves(setup, one) if one.path == LEAVES else one for one in values)


def _leaves(setup: Setup, one: Uncertain) -> Uncertain:
    """Leaves where somebody typed how much of them: off by a factor."""
    if setup.antenna.end_capacitance:
        return replace(one, sd=TYPED_LEAVES, law=FACTOR, low=1e-15, high=MOST_LEAVES)
    return replace(one, low=0.0, high=MOST_LEAVES)


def moved(setup: Setup, one: Uncertain, x: float) -> Setup:
    """The set-up with one value off by x; leaves bring their loss along. Raises InputError if it cannot be built."""
    value = float(one.at(x))
    setup = with_value(setup, one.path, value)
    if one.path == LEAVES and value > 0 and not setup.antenna.end_resistance:
        setup = with_value(setup, "antenna.end_resistance", LEAF_LOSS / (2 * math.pi * LEAF_HZ * value))
    return setup


@dataclass(frozen=True)
class Cell:
    """One view of how far this user is off the usual table: factors on model errors, spreads, and leaves.

    weight: how likely it is before anything was read.
    """

    model: float = 1.0
    spread: float = 1.0
    leaves: float = 1.0
    weight: float = 1.0


GRID = tuple(
    Cell(m, s, p, a * b * c)
    for m, a in ((0.35, 0.2), (1.0, 0.45), (2.8, 0.25), (8.0, 0.1))
    for s, b in ((1.0, 0.5), (1.5, 0.3), (2.2, 0.2))
    for p, c in ((1.0, 0.5), (2.5, 0.3), (6.0, 0.2))
)
MOST = 5.0  # standard deviations of a hidden value that are told apart


@dataclass(frozen=True, eq=False)
class Kinds:
    """How hidden values z, each N(0, 1) beforehand, become what is off: x = scale z, or scale times the size of half a
    normal law where a value can only be more. kind (n,): 0 a value, 1 one-sided, 2 leaves, 3 an error of the model."""

    kind: np.ndarray

    def scale(self, cell: Cell) -> Real:
        """(n,) of each."""
        return np.array([cell.spread, cell.spread, cell.leaves, cell.model])[self.kind]

    @property
    def _half(self) -> np.ndarray:
        return (self.kind == 1) | (self.kind == 2)

    def off(self, z: Real, cell: Cell) -> Real:
        """x of z, (..., n)."""
        inside = np.clip(z, -MOST, MOST)
        half = -scipy.special.ndtri(scipy.special.ndtr(-inside) / 2)
        return np.asarray(self.scale(cell) * np.where(self._half, half, z))

    def hidden(self, x: Real, cell: Cell) -> Real:
        """z of x, (n,)."""
        u = x / self.scale(cell)
        half = -scipy.special.ndtri(np.clip(2 * scipy.special.ndtr(-np.maximum(u, 1e-9)), 1e-12, 1 - 1e-12))
        return np.asarray(np.where(self._half, np.clip(half, -MOST, MOST), u))

    def slope(self, z: Real, cell: Cell) -> Real:
        """dx/dz, (n,)."""
        step = 1e-4
        return np.asarray((self.off(z + step, cell) - self.off(z - step, cell)) / (2 * step))
