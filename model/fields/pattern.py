"""Figures of a pattern: cuts, where the gain peaks, how wide the lobe is, what goes backward.

Gains are dBi relative to the power that enters the wire (far_field.gain). Directions: elevation up from the horizon,
azimuth clockwise from north, rad.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Real
from tautwire.model.fields.far_field import gain
from tautwire.model.fields.terrain import LEVEL, Terrain
from tautwire.model.solve.solver import Solution

HALF = 10 * np.log10(2)  # dB
STEP = np.radians(0.5)  # of the cuts that widths are read from
ROUND = 0.1  # dB: a cut that varies by no more has no direction


@dataclass(frozen=True, eq=False)
class Pattern:
    """power: W for 1 V at the feed that gains are relative to; None for V times I. terrain: what lies around."""

    solution: Solution
    power: float | None = None
    terrain: Terrain = LEVEL

    def dbi(self, elevation: ArrayLike, azimuth: ArrayLike) -> Real:
        """Gain, dBi, broadcast shape; -inf where there is no field, as at the horizon over soil."""
        with np.errstate(divide="ignore"):
            return 10 * np.log10(gain(self.solution, elevation, azimuth, self.power, self.terrain))

    @property
    def lowest(self) -> float:
        """Lowest elevation there is, rad."""
        return -np.pi / 2 if self.solution.ground.is_free_space else 0.0

    def elevation_cut(self, bearing: float, step: float = np.radians(1)) -> tuple[Real, Real]:
        """Angle (M,) from the horizon at bearing through the zenith to the horizon behind, 0 to pi; gain (M,), dBi.

        In free space all round, 0 to 2 pi.
        """
        round_ = (2 if self.solution.ground.is_free_space else 1) * np.pi
        angle = np.linspace(0, round_, round(round_ / step) + 1)
        return angle, self.dbi(np.arcsin(np.sin(angle).clip(-1, 1)), bearing + np.pi * (np.cos(angle) < 0))

    def azimuth_cut(self, elevation: float, step: float = np.radians(2)) -> tuple[Real, Real]:
        """Azimuth (M,) from 0 to 2 pi and gain (M,), dBi."""
        azimuth = np.linspace(0, 2 * np.pi, round(2 * np.pi / step) + 1)
        return azimuth, self.dbi(elevation, azimuth)

    @cached_property
    def peak(self) -> tuple[float, float, float]:
        """Gain (dBi), elevation and azimuth (rad) of the strongest direction; azimuth nan if all are as strong."""
        up = np.arange(self.lowest, np.pi / 2 + 1e-9, np.radians(2))
        round_ = np.arange(0, 2 * np.pi, np.radians(4))
        best, e, a, reach = -np.inf, up, round_, np.radians([2, 4])
        for _ in range(6):
            grid = self.dbi(e[:, None], a[None, :])
            i, j = np.unravel_index(strongest(grid), grid.shape)
            best, at, bearing = float(grid[i, j]), float(e[i]), float(a[j])
            e = np.clip(at + reach[0] * np.linspace(-1, 1, 7), self.lowest, np.pi / 2)
            a = bearing + reach[1] * np.linspace(-1, 1, 7)
            reach = reach / 3
        around = self.azimuth_cut(at)[1]
        return best, at, np.nan if np.ptp(around) < ROUND else bearing % (2 * np.pi)

    def front_to_back(self, bearing: float, elevation: float) -> float:
        """Gain at that elevation towards bearing over the gain behind, dB; nan where there is neither."""
        front, back = self.dbi(elevation, np.array([bearing, bearing + np.pi]))
        return float(front - back) if np.isfinite([front, back]).any() else np.nan

    @cached_property
    def half_power_elevation(self) -> float:
        """Width of the strongest lobe in the vertical plane through its peak, rad; through the zenith if it goes so."""
        _, at, bearing = self.peak
        angle, dbi = self.elevation_cut(0.0 if np.isnan(bearing) else bearing, STEP)
        return _width(angle, dbi, at % (2 * np.pi), self.solution.ground.is_free_space)

    @cached_property
    def half_power_azimuth(self) -> float:
        """Width of the strongest lobe at the peak's elevation, rad; 2 pi if it never falls by half."""
        _, at, bearing = self.peak
        if np.isnan(bearing):
            return 2 * np.pi
        azimuth, dbi = self.azimuth_cut(at, STEP)
        return _width(azimuth, dbi, bearing, closed=True)


def strongest(dbi: Real) -> int:
    """Flat index of the greatest gain (dB); of directions as strong but for rounding, such as mirrored ones, the first.

    >>> strongest(np.array([0.0, 2.0, 1.0, 2.0 + 1e-12]))
    1
    """
    return int((dbi >= dbi.max() - 1e-9).argmax())


def _width(angle: Real, dbi: Real, at: float, closed: bool) -> float:
    """How far around `at` the cut stays within 3 dB of its value there; linear between samples.

    closed: the cut goes once round, its last sample being the first.
    """
    middle = int(np.abs(angle - at).argmin())
    down = dbi[middle] - HALF
    step = angle[1] - angle[0]
    if closed:
        one = dbi[:-1]
        if (one > down).all():
            return 2 * np.pi
        right = np.roll(one, -middle)
        left = right[np.r_[0, len(one) - 1 : 0 : -1]]
    else:
        right, left = dbi[middle:], dbi[middle::-1]
    return float(step * (_fall(right, down) + _fall(left, down)))


def _fall(side: Real, level: float) -> float:
    """Samples from the start to where a side first falls to level; its whole length if it does not."""
    under = np.flatnonzero(side <= level)
    if not len(under):
        return len(side) - 1.0
    i = int(under[0])
    if i == 0 or not np.isfinite(side[i]):
        return float(i)
    return i - 1 + float((side[i - 1] - level) / (side[i - 1] - side[i]))
