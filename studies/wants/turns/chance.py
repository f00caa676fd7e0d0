"""How likely a stop on the reel works: the share of similar installations that it serves.

What is not known of a set-up (heights, soil, transformer: its uncertainty) moves all its curves along the frequency,
as a longer or shorter wire does. So a set-up whose dips lie 1 % off is served at a stop as this one is with 1 % of its
dips' frequency more wire or less. Read between the settings, so it is as fine as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import scipy

from tautwire.model.arrays import Real

if TYPE_CHECKING:
    import pandas as pd

SAMPLES = 401


def chance(wire: Real, swr: Real, level: float, give: Real) -> Real:
    """Share of set-ups for which each setting serves all segments, (settings,).

    wire (settings,): m out, rising. swr (settings, segments): highest in each segment. level: SWR that counts as
    served. give (segments,): standard deviation of the dips, over their frequency.

    >>> wire, v = np.linspace(18, 22, 81), np.linspace(-1, 1, 81)
    >>> swr = 1.2 + 10 * np.abs(v)[:, None]  # 2.0 within 0.16 m of 20 m: 0.8 %
    >>> chance(wire, swr, 2.0, np.array([0.008]))[40].round(1)  # 68 % of a normal spread
    np.float64(0.7)
    """
    normal = scipy.special.ndtri((np.arange(SAMPLES) + 0.5) / SAMPLES)
    served = np.ones((len(wire), SAMPLES), dtype=bool)
    for one, sd in zip(swr.T, give, strict=True):
        like = wire[:, None] * (1 + sd * normal)
        served &= np.interp(like, wire, np.log(one)) <= np.log(level) + 1e-9
    return np.asarray(served.mean(axis=1))


def gives(spread: pd.DataFrame | None, bands: Sequence[str], column: str = "", turns: float = 0.0) -> Real | None:
    """The dips' standard deviation over their frequency on these bands, (bands,); None where it is not known.

    column, turns: where the table has a column of settings, those of this one.
    """
    if spread is None or spread.empty:
        return None
    if column in spread:
        spread = spread[spread[column] == turns]
    known = (spread["dip_give_khz"] / 1e3 / spread["dip_mhz"]).groupby(spread["band"]).median()
    found = np.array([known.get(band, np.nan) for band in bands], dtype=float)
    typical = float(np.nanmedian(known)) if known.notna().any() else np.nan
    found = np.where(np.isnan(found), typical, found)  # a range of one's own, or a band without a dip
    return found if np.isfinite(found).all() else None
