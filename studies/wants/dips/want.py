"""Want "dips": where each band's SWR dips, how wide, what the wire presents; and the sampled sweeps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.modes import dip_rows, follow
from tautwire.studies.wants.dips.reading import read_band, sweep_rows, window
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "dips" (a row a band), "all_dips" (a row a minimum) and "sweeps" (201 rows a band)."""
    feed = setup.feed_system()
    frames: Frames = {"dips": [], "all_dips": [], "sweeps": []}
    readings = []
    for band in study.bands:
        response = solver.response(*window(band))
        reading = read_band(band, response, feed, study.spec.swr_threshold, study.bands)
        readings.append((band, reading))
        frames["sweeps"] += sweep_rows(band, response, feed)
    frames["all_dips"] = dip_rows(readings, solver)
    modes = {row["band"]: row["mode"] for row in frames["all_dips"] if row["chosen"]}
    frames["dips"] = [reading.row | {"dip_mode": modes.get(band.name, math.nan)} for band, reading in readings]
    return frames


def sentences(result: Result) -> list[str]:
    """One sentence a band: how far and which way the dip moves along the last axis with numbers or names."""
    table = result.frames.get("dips")
    if table is None or table.empty:
        return []
    out = []
    for band in result.study.bands:
        rows = table[table["band"] == band.name]
        missing = rows["dip_mhz"].isna()
        if missing.any():
            low, high = (x / 1e6 for x in window(band))
            which = f"{int(missing.sum())} of {len(rows)} cases have" if len(rows) > 1 else "There is"
            out.append(f"{band.name}: {which} no dip between {low:.2f} and {high:.2f} MHz.")
        rows = rows[~missing]
        if len(rows) > 1 and result.study.axes:
            out.append(_movement(result, band.name, rows))
        elif len(rows) == 1:
            row = rows.iloc[0]
            inside = "inside" if band.lower <= row["dip_mhz"] * 1e6 <= band.upper else "outside"
            out.append(
                f"{band.name}: the dip is at {row['dip_mhz']:.3f} MHz ({inside} the band) with SWR "
                f"{row['dip_swr']:.2f}; across the band the SWR is at worst {row['swr_worst']:.2f}."
            )
    return out


def _movement(result: Result, band: str, rows: pd.DataFrame) -> str:
    axes = result.study.axes
    axis = next((a for a in axes if a.numbers is not None), axes[0])
    if axis.numbers is None or len(axes) > 1:
        low, high = rows.loc[rows["dip_mhz"].idxmin()], rows.loc[rows["dip_mhz"].idxmax()]

        def name(row: pd.Series) -> str:
            return ", ".join(a.words(row[a.column]) for a in axes)

        spread = (high["dip_mhz"] - low["dip_mhz"]) * 1e3
        return (
            f"{band}: the dip is lowest with {name(low)} ({low['dip_mhz']:.3f} MHz, SWR {low['dip_swr']:.2f}) and "
            f"highest with {name(high)} ({high['dip_mhz']:.3f} MHz, SWR {high['dip_swr']:.2f}), {spread:.0f} kHz apart."
        )
    rows = rows.sort_values(axis.column)
    first, last = rows.iloc[0], rows.iloc[-1]
    shift = (last["dip_mhz"] - first["dip_mhz"]) * 1e3
    way = "up" if shift > 0 else "down"
    best, worst = rows["dip_swr"].min(), rows["dip_swr"].max()
    turn = ""
    steps = rows["dip_mhz"].diff().dropna() * 1e3
    if (steps > 1).any() and (steps < -1).any():
        extreme = rows.loc[rows["dip_mhz"].idxmax() if abs(rows["dip_mhz"].max() - first["dip_mhz"]) >
                           abs(rows["dip_mhz"].min() - first["dip_mhz"]) else rows["dip_mhz"].idxmin()]  # fmt: skip
        turn = (
            f" It does not move one way only: at {axis.words(extreme[axis.column])} it is at "
            f"{extreme['dip_mhz']:.3f} MHz."
        )
    moved = f"moves {way} {abs(shift):.0f} kHz" if not math.isclose(shift, 0, abs_tol=0.5) else "stays where it is"
    return (
        f"{band}: from {axis.words(first[axis.column])} to {axis.words(last[axis.column])} the dip {moved}, from "
        f"{first['dip_mhz']:.3f} to {last['dip_mhz']:.3f} MHz; its SWR is {best:.2f} to {worst:.2f}.{turn}"
    )


def plots(result: Result) -> dict[str, Figure]:
    """Layouts, SWR curves, dips, feed impedance; see figures.py."""
    from tautwire.studies.wants.dips.figures import (
        plots as figures,  # matplotlib is loaded only when something is drawn
    )

    return dict(figures(result))


WANT = Want(
    "dips",
    compute,
    finish=follow,
    sentences=sentences,
    plots=plots,
    depends=lambda study: study.spec.swr_threshold,
    free_of=("radio.power", "radio.duty", "reel"),
)
