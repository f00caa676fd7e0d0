"""Which cases and bands a figure shows where not all of them fit, and how that is said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.studies.drawing.axes import evenly

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case

RANKS = (
    ("dips", "dip_mhz", "dip"),
    ("pattern", "forward_radio_gain_dbi", "gain"),
    ("target", "region_radio_gain_dbi", "gain"),
)


def shown_bands(bands: Sequence[Band], most: int) -> tuple[list[Band], str]:
    """At most so many bands, the lowest and highest among them; and what is left out, in words."""
    chosen = [bands[i] for i in evenly(len(bands), most)]
    return chosen, "" if len(chosen) == len(bands) else f"{len(chosen)} of {len(bands)} bands"


def shown_cases(result: Result, most: int) -> tuple[list[Case], str]:
    """At most so many solved cases, and in words how they were chosen.

    Of one axis of numbers they lie evenly along it; else they run from the lowest dip or gain through the middle to the
    highest.
    """
    failed = [f.labels for f in result.failed]
    cases = [c for c in result.study.cases() if c.labels not in failed]
    if len(cases) <= most:
        return cases, ""
    told = f"{most} of {len(cases)} cases"
    axes = result.study.axes
    if len(axes) == 1 and axes[0].numbers is not None:
        cases = sorted(cases, key=lambda c: c.labels[axes[0].column])
        return [cases[i] for i in evenly(len(cases), most)], f"{told}, evenly along {axes[0].name}"
    ranked = _ranked(result, cases)
    if ranked is None:
        return [cases[i] for i in evenly(len(cases), most)], f"{told}, evenly through the list"
    order, words = ranked
    return [order[i] for i in evenly(len(order), most)], f"{told}, from the lowest to the highest {words}"


def _ranked(result: Result, cases: Sequence[Case]) -> tuple[list[Case], str] | None:
    """The cases by the first figure of RANKS that the result has, on its first band; those without it last."""
    for table, column, words in RANKS:
        frame = result.frames.get(table)
        if frame is None or column not in frame or not frame[column].notna().any():
            continue
        band = frame.loc[frame[column].notna(), "band"].iloc[0]
        rows = frame[frame["band"] == band].drop_duplicates(result.axis_columns)
        known: dict[Any, float] = {
            tuple(r[c] for c in result.axis_columns): r[column]
            for r in rows.to_dict("records")
            if r[column] == r[column]
        }
        value = {c.index: known.get(tuple(c.labels[k] for k in result.axis_columns), np.inf) for c in cases}
        return sorted(cases, key=lambda c: value[c.index]), f"{words} on {band}"
    return None
