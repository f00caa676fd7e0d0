"""What the pocket page computes from: curves of a surface, slopes of what may be off, stops and segments.

The page's script (explorer/core.js) repeats the steps here, in linear.py and in linear.py, one by one.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from tautwire.model.basics import Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.studies.explorer.sliders import Controls, Setting
from tautwire.studies.learned.outing import layer_of
from tautwire.studies.pocket.slopes import Slopes
from tautwire.studies.wants.dips.reading import territory
from tautwire.studies.wants.spread.values import Uncertain

ALONG = "antenna.length"
Picked = tuple[int, ...]


class Curves(Protocol):
    """Where curves come from: an explorer's Surface, or fitted formulas."""

    frequencies: list[Real]
    pick: dict[Picked, tuple[int, int]]

    def reflection(self, setting: Setting, picked: Picked) -> list[Complex]: ...

    def radio(self, gamma: list[Complex], setting: Setting, picked: Picked) -> list[Complex]: ...


@dataclass(frozen=True)
class Wanted:
    """A segment to serve. band: number of its band. lower, upper: MHz."""

    name: str
    band: int
    lower: float
    upper: float


@dataclass(frozen=True)
class Stop:
    """A place where the wire can be stopped. turns: off the reel, None without one."""

    metres: float
    turns: float | None = None


@dataclass(frozen=True)
class Read:
    """A dip as read. band: its number. f_mhz. swr: None where nobody read it."""

    band: int
    f_mhz: float
    swr: float | None = None


@dataclass(frozen=True, eq=False)
class Hung:
    """One outing of the page's antenna."""

    place: str
    hang: Hashable
    setting: Setting
    picked: Picked
    dips: tuple[Read, ...] = ()


@dataclass(frozen=True)
class Nominal:
    """A band as typed. size (points,): |reflection| at the radio. dip: MHz, NaN if none; least: |reflection| there."""

    size: Real
    dip: float
    least: float


@dataclass(eq=False)
class Model:
    """Everything a pocket page computes from.

    values (k,): what may be off. lengths (n,): m, where slopes were read; slopes: for each wire problem those of each
    length. site: which choices belong to the place.
    """

    controls: Controls
    surface: Curves
    values: tuple[Uncertain, ...]
    lengths: tuple[float, ...]
    slopes: list[list[Slopes]]
    segments: tuple[Wanted, ...]
    stops: tuple[Stop, ...]
    threshold: float
    _nominal: dict[Hashable, list[Nominal]] = field(default_factory=dict)

    @property
    def bands(self) -> tuple[Band, ...]:
        return self.controls.study.bands

    @property
    def site(self) -> tuple[int, ...]:
        return tuple(i for i, c in enumerate(self.controls.choices) if layer_of(c.path) == "site")

    def nominal(self, setting: Setting, picked: Picked) -> list[Nominal]:
        """Every band as typed."""
        key = tuple(sorted(setting.items())), picked
        if key not in self._nominal:
            gamma = self.surface.radio(self.surface.reflection(setting, picked), setting, picked)
            sizes = [np.minimum(np.abs(g), 0.9999) for g in gamma]
            self._nominal[key] = [
                Nominal(g, *read_dip(b, f / 1e6, g))
                for b, f, g in zip(self.bands, self.surface.frequencies, sizes, strict=True)
            ]
        return self._nominal[key]

    def slopes_at(self, setting: Setting, picked: Picked, band: int) -> tuple[Real, Real]:
        """(dip, size) slopes (k,) of a band, straight between the lengths they were read at."""
        table, x, n = self.slopes[self.surface.pick[picked][0]], setting.get(ALONG, self.lengths[0]), len(self.lengths)
        i = min(max(int(np.searchsorted(self.lengths, x, side="right")) - 1, 0), max(n - 2, 0))
        if n == 1:
            return table[0].dip[band], table[0].size[band]
        t = min(max((x - self.lengths[i]) / (self.lengths[i + 1] - self.lengths[i]), 0.0), 1.0)
        a, b = table[i], table[i + 1]
        return a.dip[band] + t * (b.dip[band] - a.dip[band]), a.size[band] + t * (b.size[band] - a.size[band])


def read_dip(band: Band, f: Real, g: Real) -> tuple[float, float]:
    """The band's dip (MHz) of |reflection| g on f (MHz), by the parabola through three points, and |reflection| there.

    Of the minima in the band's territory the deepest inside it, else the nearest to it; (nan, 0) if there is none.
    """
    own_low, own_high = (min(max(edge / 1e6, f[0]), f[-1]) for edge in territory(band))
    inner = np.flatnonzero((g[1:-1] <= g[:-2]) & (g[1:-1] < g[2:])) + 1
    inner = inner[(f[inner] >= own_low) & (f[inner] < own_high)]
    if not len(inner):
        return float("nan"), 0.0
    off = np.maximum(np.maximum(band.lower / 1e6 - f[inner], f[inner] - band.upper / 1e6), 0)
    low = min(inner, key=lambda m: (off[inner == m][0], g[m]))
    y0, y1, y2 = g[low - 1 : low + 2] ** 2
    bend = y0 - 2 * y1 + y2
    shift = (y0 - y2) / (2 * bend) if bend > 0 else 0.0
    return float(f[low] + shift * (f[1] - f[0])), float(np.sqrt(max(0.0, y1 - (y0 - y2) * shift / 4)))


def stops_of(metres: Sequence[float], turns: Sequence[float] | None = None) -> tuple[Stop, ...]:
    """Stops at these lengths. turns: off the reel at each."""
    return tuple(Stop(m, None if turns is None else turns[i]) for i, m in enumerate(metres))
