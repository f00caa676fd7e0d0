"""Want "dips": where each band's SWR dips, how wide, what the wire presents; and the sampled sweeps."""

from __future__ import annotations

import math
from functools import cache, partial
from typing import TYPE_CHECKING

import numpy as np

from tautwire.studies.study.setup import AROUND, Setup
from tautwire.studies.wants.dips.reading import SWEEP_POINTS, dip_rows, follow, read_band, sweep, window
from tautwire.studies.wants.dips.words import change_rows, findings
from tautwire.studies.wants.want import Frames, Rows, Want

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "dips" (a row a band), "all_dips" (a row a minimum) and "sweeps" (a row a band, the response itself;
    `finish` has it sampled)."""
    feed = setup.feed_system()
    frames: Frames = {"dips": [], "all_dips": [], "sweeps": []}
    for band in study.bands:
        response = solver.response(*window(band))
        reading = read_band(band, response, feed, study.spec.swr_threshold)
        every = dip_rows(band, reading, solver)
        mode = next((row["mode"] for row in every if row["chosen"]), math.nan)
        frames["dips"].append(reading.row | {"dip_mode": mode})
        frames["all_dips"] += every
        frames["sweeps"].append({"band": band.name, "response": response.numbers()})
    return frames


def finish(result: Result) -> None:
    """Follows dips along the axes; table "wire_change" where a single set-up's dips are outside their bands."""
    follow(result)
    result.frames.later("sweeps", partial(sweeps_of, result.study, result.rows("sweeps")))
    if rows := change_rows(result):
        result.frames["wire_change"] = rows


def sweeps_of(study: Study, rows: Rows) -> pd.DataFrame:
    """The table "sweeps", 201 rows a case and band, from the response of each."""
    import pandas as pd

    from tautwire.model.solve.response import Response

    feeds = {tuple(case.labels.values()): cache(lambda case=case: case.setup().feed_system()) for case in study.cases()}
    places = [{name: value for name, value in row.items() if name != "response"} for row in rows]
    parts = []
    for row, place in zip(rows, places, strict=True):
        feed = feeds[tuple(value for name, value in place.items() if name != "band")]()
        parts.append(sweep(Response.of_numbers(row["response"]), feed))
    head = pd.DataFrame(places).loc[np.repeat(np.arange(len(rows)), SWEEP_POINTS)].reset_index(drop=True)
    names = parts[0] if parts else ()
    return head.assign(**{name: np.concatenate([part[name] for part in parts]) for name in names})


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
