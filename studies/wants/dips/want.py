"""Want "dips": where each band's SWR dips, how wide, what the wire presents; and the sampled sweeps."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from tautwire.studies.study.setup import AROUND, Setup
from tautwire.studies.wants.dips.modes import dip_rows, follow
from tautwire.studies.wants.dips.reading import read_band, sweep_rows, window
from tautwire.studies.wants.dips.wire_change import change_rows
from tautwire.studies.wants.dips.words import findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "dips" (a row a band), "all_dips" (a row a minimum) and "sweeps" (201 rows a band)."""
    feed = setup.feed_system()
    frames: Frames = {"dips": [], "all_dips": [], "sweeps": []}
    for band in study.bands:
        response = solver.response(*window(band))
        reading = read_band(band, response, feed, study.spec.swr_threshold)
        every = dip_rows(band, reading, solver)
        mode = next((row["mode"] for row in every if row["chosen"]), math.nan)
        frames["dips"].append(reading.row | {"dip_mode": mode})
        frames["all_dips"] += every
        frames["sweeps"] += sweep_rows(band, response, feed)
    return frames


def finish(result: Result) -> None:
    """Follows dips along the axes; table "wire_change" where a single set-up's dips are outside their bands."""
    follow(result)
    if rows := change_rows(result):
        result.frames["wire_change"] = rows


def plots(result: Result) -> Iterator[tuple[str, Figure]]:
    """Layouts, SWR curves, dips, feed impedance; see figures.py."""
    from tautwire.studies.wants.dips.figures import (
        plots as figures,  # matplotlib is loaded only when something is drawn
    )

    yield from figures(result)


WANT = Want(
    "dips",
    compute,
    finish=finish,
    findings=findings,
    plots=plots,
    depends=lambda study: study.spec.swr_threshold,
    free_of=("radio.power", "radio.duty", "reel", *AROUND),
)
