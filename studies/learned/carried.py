"""What is learned as other questions can start from it: a set-up as people write it, with [spread], as after a fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tautwire.studies.learned.layers import layer_of
from tautwire.studies.learned.outing import Outing
from tautwire.studies.learned.posterior import Local, Posterior, Predicted, drawn
from tautwire.studies.study.quantities import CUSTOMARY, written
from tautwire.studies.study.raw import Raw, changed, kind_of, table_value
from tautwire.studies.study.result import Result
from tautwire.studies.study.soil import opened
from tautwire.studies.study.spread import FACTOR

DRAWS = 1024
DIGITS = 6


def carried(posterior: Posterior, outing: Outing, raw: Mapping[str, Any]) -> Raw:
    """The tables `raw` of an outing's set-up with the values learned of antenna and site, and how sure they are.

    How it hangs stays as typed, with its usual spread, as the next time it hangs anew; so do leaves and the cable's own
    constants, which [spread] has no rows for.
    """
    local = Local.of(outing, posterior.log.bands, (), posterior.log.remember)
    x = drawn(posterior, local, DRAWS)
    which = [i for i, v in enumerate(local.values) if layer_of(v.path) != "hang"]
    new: Raw = dict(raw)
    values: dict[str, Any] = {}
    for i in which:
        one = local.values[i]
        kind = kind_of(one.path)
        if kind is None or one.path.startswith("mesh."):
            continue
        there = one.at(x[:, i])
        middle = float(np.median(there))
        sd = middle * float(np.std(np.log(there))) if one.law == FACTOR else float(np.std(there))
        if one.path.startswith("site.soil."):
            new = changed(new, "site.soil", opened(table_value(new, "site.soil") or "average soil", one.path))
        factor = CUSTOMARY[kind].factor
        new = changed(new, one.path, written(middle * factor, kind, DIGITS))
        values[one.path] = {"sd": written(sd * factor, kind, 4)}
    paths = [local.values[i].path for i in which if local.values[i].path in values]
    columns = [i for i in which if local.values[i].path in values]
    together = np.atleast_2d(np.corrcoef(x[:, columns], rowvar=False))
    pairs = [[paths[a], paths[b], round(float(together[a, b]), 5)] for a in range(len(paths)) for b in range(a)]
    return {**new, "spread": {"values": values, "correlation": pairs}}


def with_learned(result: Result, found: Sequence[Predicted]) -> None:
    """Puts the dips as predicted from all outings, and their ±, into the tables of a result of the same set-up."""
    learned = {one.band.name: one for one in found if np.isfinite(one.middle)}
    for name, column in (("dips", "dip_mhz"), ("all_dips", "f_mhz"), ("spread", "dip_mhz")):
        rows = result.rows(name)
        for row in rows:
            one = learned.get(row["band"])
            if one is None or not row.get("chosen", True) or not np.isfinite(row[column]):
                continue
            row[column] = one.middle / 1e6
            if name == "spread":
                low, high = one.interval(95)
                row |= {"dip_give_khz": one.sd / 1e3, "dip_low_mhz": low / 1e6, "dip_high_mhz": high / 1e6}
                row["measure"] = ""  # what to measure next is said from all outings: see ahead.py
        if rows:
            result.frames[name] = rows
