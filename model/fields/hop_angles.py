"""Elevation angles at which a path by way of the ionosphere leaves: geometry of mirrors, not a prediction.

A hop of ground distance d under a mirror at height h over a sphere of radius R leaves at the elevation e with

    tan e = (cos psi - R/(R + h))/sin psi        psi = d/(2 R)

(the triangle of earth's centre, station and mirror; no refraction below the layer). Whether a layer reflects at all at
a frequency and hour is not asked here.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Real
from tautwire.model.errors import InputError

EARTH = 6371e3  # m, mean radius
LAYERS = {"E": 110e3, "F1": 200e3, "F2": 300e3, "F2 high": 400e3}
"""Typical heights, m: common practice, no source. E and F1 by day; F2 about 300 km, up to 400 km on summer days."""

NEAREST, FARTHEST = 50e3, 1000e3  # m, layer heights allowed
SAMPLES = 9  # distances and bearings a region is sampled at


def hop_reach(height: float) -> float:
    """Longest hop under a layer at height (m): the one that leaves along the horizon, m of ground."""
    return 2 * EARTH * math.acos(EARTH / (EARTH + _checked(height)))


def hop_elevation(distance: ArrayLike, height: float, hops: int = 1) -> Real:
    """Elevation, rad, for that ground distance (m) in that many equal hops; shape of distance.

    Zenith for no distance, nan beyond reach. Raises InputError for a negative distance, no hops or an odd height.
    """
    d = np.asarray(distance, dtype=float)
    if not (d >= 0).all():
        raise InputError("distance", f"{d.min():g} m", "0 m or more")
    if hops < 1:
        raise InputError("hops", hops, "1 or more")
    psi = d / (2 * EARTH * hops)
    e = np.arctan2(np.cos(psi) - EARTH / (EARTH + _checked(height)), np.sin(psi))
    return np.where(d > hops * hop_reach(height) * (1 + 1e-12), np.nan, np.maximum(e, 0.0))


def _checked(height: float) -> float:
    if not NEAREST <= height <= FARTHEST:
        raise InputError("layer", f"{height / 1e3:g} km", f"from {NEAREST / 1e3:g} to {FARTHEST / 1e3:g} km")
    return height


@dataclass(frozen=True)
class Region:
    """Where the other stations are. nearest, farthest: ground distance, m. bearing: rad, None for all round.

    spread: rad from edge to edge around bearing.
    """

    name: str
    nearest: float
    farthest: float
    bearing: float | None = None
    spread: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.nearest <= self.farthest <= math.pi * EARTH:
            allowed = f"0 to {math.pi * EARTH / 1e3:.0f} km, nearest first"
            raise InputError(
                f"region {self.name}, distance", f"{self.nearest / 1e3:g} to {self.farthest / 1e3:g} km", allowed
            )
        if not 0 <= self.spread <= 2 * math.pi:
            raise InputError(f"region {self.name}, spread", f"{math.degrees(self.spread):g} deg", "0 to 360 deg")

    @property
    def bearings(self) -> Real:
        """Sample bearings, rad."""
        if self.bearing is None:
            return np.arange(0, 2 * np.pi, np.radians(15))
        return self.bearing + self.spread / 2 * np.linspace(-1, 1, SAMPLES if self.spread else 1)

    def elevations(self, height: float, hops: int) -> Real:
        """Elevations (M,), rad, evenly spaced in distance as far as that many hops reach; empty if they do not."""
        upto = min(self.farthest, hops * hop_reach(height))
        if upto < self.nearest:
            return np.empty(0)
        distance = np.linspace(self.nearest, upto, SAMPLES if upto > self.nearest else 1)
        return hop_elevation(distance, height, hops)
