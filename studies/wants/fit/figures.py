"""Measured against fitted SWR, and what the fit leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Sheet, style

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
    for column in result.axis_columns:
        points = points[points[column].map(str) == str(points[column].iloc[0])]
    return {"fit": fit_figure(points, result.frames["fit_sweeps"], size)}


def _finding(sweeps: pd.DataFrame) -> str:
    """What the fit leaves, against the noise."""
    left, noise = float(sweeps["residual_rms"].max()), float(sweeps["noise"].max())
    if left < FAR * noise:
        return f"The fitted set-up explains the sweeps: {left:.3f} left of reflection, noise {noise:.3f}"
    if not noise > 0:  # fewer than nine points, or a sweep typed in: its noise cannot be told
        return f"The fit leaves {left:.3f} of reflection; the noise of so few points is not known"
    return f"Something else differs: the fit leaves {left:.3f} of reflection, {left / noise:.1f} times the noise"


def fit_figure(points: pd.DataFrame, sweeps: pd.DataFrame, size: str = "print") -> Sheet:
    """Above: SWR measured, fitted, and as the set-up had it before. Below: residuals against the noise."""
    names = list(dict.fromkeys(points["sweep"]))[: MOST_SWEEPS if size == "print" else MOST_ON_SLIDE]
    with style(size) as look:
        sheet = Sheet(look, 4.8 if look.name == "print" else None)
        sheet.header(
            Heading(
                _finding(sweeps[sweeps["sweep"].isin(names)]),
                "Dots: measured SWR. Line: fitted. Dashed: before the fit. Below: what is left of the reflection "
                "coefficient, with a band of two standard deviations of the noise.",
                size,
            )
        )
        axes = sheet.subplots(2, len(names), squeeze=False, sharex="col", gridspec_kw={"height_ratios": (2.2, 1)})
        most = 0.0
        for k, name in enumerate(names):
            rows = points[points["sweep"] == name]
            info = sweeps[sweeps["sweep"] == name].iloc[0]
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
        axes[1, 0].set_ylabel("left over")
        handles = axes[0, 0].get_legend_handles_labels()[0] + axes[1, 0].get_legend_handles_labels()[0]
        sheet.key(handles)
    return sheet
