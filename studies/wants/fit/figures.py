"""Measured against fitted SWR, and what the fit leaves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Sheet, style
from tautwire.studies.study.findings import Row, Title, by_case, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_SWEEPS, MOST_ON_SLIDE = 6, 3
FAR = 1.5  # times the noise, from which what is left is more than noise: chosen by hand
TOP = 6.0  # highest SWR shown


def fit_figures(result: Result, size: str = "print") -> dict[str, Figure]:
    """Stem -> figure: "fit" for the first case of a study."""
    points = result.frames.get("fit_points")
    if points is None or points.empty:
        return {}
    labels, sweeps = next(by_case(result, "fit_sweeps", result.axis_columns))
    for column, value in labels.items():
        points = points[points[column].map(str) == str(value)]
    return {"fit": fit_figure(points, sweeps, size, result.study.lengths)}


def _title(sweeps: Sequence[Row], lengths: str) -> Title:
    """What the fit leaves, against the noise."""
    most, noisiest = max(sweeps, key=lambda r: r["residual_rms"]), max(sweeps, key=lambda r: r["noise"])
    left, noise = most.number("residual_rms", "thousandths"), noisiest.number("noise", "thousandths")
    if not noise.value > 0:  # fewer than nine points, or a sweep typed in
        words = say("The residual is {left} of reflection; so few points do not show their noise", left=left)
    elif left.value < FAR * noise.value:
        words = say("The fitted set-up explains the sweeps: residual {left} of reflection, noise {noise}", left=left,
                    noise=noise)  # fmt: skip
    else:
        words = say("Something else differs: residual {left} of reflection, noise {noise}", left=left,
                    noise=noise)  # fmt: skip
    return words.title(lengths)


def fit_figure(points: pd.DataFrame, sweeps: Sequence[Row], size: str = "print", lengths: str = "metric") -> Sheet:
    """Above: SWR measured, fitted, and as the set-up had it before. Below: residuals against the noise. sweeps: rows
    of "fit_sweeps"."""
    names = list(dict.fromkeys(points["sweep"]))[: MOST_SWEEPS if size == "print" else MOST_ON_SLIDE]
    with style(size) as look:
        sheet = Sheet(look, 4.8 if look.name == "print" else None)
        shown = {str(r["sweep"]): r for r in sweeps if r["sweep"] in names}
        sheet.draws("fit_sweeps", [r.index for r in shown.values()], "residual_rms", "noise")
        sheet.header(
            Heading(
                _title(list(shown.values()), lengths),
                "Dots: measured SWR. Line: fitted. Dashed: before the fit. Below: the residual of the reflection "
                "coefficient, with a band of two standard deviations of the noise.",
                size,
            )
        )
        axes = sheet.subplots(2, len(names), squeeze=False, sharex="col", gridspec_kw={"height_ratios": (2.2, 1)})
        most = 0.0
        for k, name in enumerate(names):
            rows = points[points["sweep"] == name]
            info = shown[str(name)]
            top, below = axes[0, k], axes[1, k]
            f = rows["f_mhz"].to_numpy(float)
            every = max(1, len(f) // 120)
            top.plot(f, rows["swr_start"], color=CYCLE[1].colour, linestyle=CYCLE[1].dash, label="before the fit")
            top.plot(f[::every], rows["swr_measured"].to_numpy(float)[::every], "o", color=QUIET, markersize=2.6,
                     label="measured")  # fmt: skip
            top.plot(f, rows["swr_fitted"], color=CYCLE[0].colour, label="fitted", linewidth=look.line * 1.2)
            top.set(ylim=(1, TOP), title=f"{name} ({info['plane']})")
            below.axhspan(-2 * info["noise"], 2 * info["noise"], color=TARGET, linewidth=0)
            below.axhline(0, color=INK, linewidth=0.6)
            below.plot(f, rows["residual_re"], color=CYCLE[0].colour, linewidth=0.9, label="real part")
            if np.any(rows["residual_im"]):
                below.plot(f, rows["residual_im"], color=CYCLE[3].colour, linewidth=0.9, label="imaginary part")
            most = max(most, float(np.abs(rows[["residual_re", "residual_im"]].to_numpy()).max()), 2 * info["noise"])
            below.set_xlabel("MHz")
        for k in range(len(names)):
            axes[1, k].set_ylim(-1.15 * most, 1.15 * most)
            if k:
                axes[0, k].tick_params(labelleft=False)
                axes[1, k].tick_params(labelleft=False)
        axes[0, 0].set_ylabel("SWR")
        axes[1, 0].set_ylabel("residual")
        handles = axes[0, 0].get_legend_handles_labels()[0] + axes[1, 0].get_legend_handles_labels()[0]
        sheet.key(handles)
    return sheet
