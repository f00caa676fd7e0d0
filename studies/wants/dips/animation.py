"""The dip walking across a band as one quantity is swept, as a GIF."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from tautwire.model.errors import InputError
from tautwire.studies.drawing.axes import GAPS, Colours, band_title, evenly, groups, lines, running, view_of
from tautwire.studies.drawing.gif import there_and_back
from tautwire.studies.drawing.style import INK, Heading, Look, Sheet, style
from tautwire.studies.drawing.words import shared_words
from tautwire.studies.wants.dips.band_panel import NAMED, Shelf, band_ground, key_handles, swr_limit

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Axis, Study

SIZE = Look("animation", 8.0, 4.5, 13.0, 2.4, 120)
MOST_FRAMES = 60


def animate(result: Result, band: str | None = None) -> bytes:
    """The GIF: one frame a case of the running axis (at most 60, evenly picked), there and back.

    band: its name, by default the study's first. Other axes stay at their first value. Raises InputError without a
    numeric axis of two values or more, or for a band not in the study.
    """
    return there_and_back(drawn(result, band))


def animated_axis(study: Study) -> Axis:
    """The axis along which the dip walks. Raises InputError without one of two numbers or more, or without dips."""
    axis = running(study.axes)
    if axis is None or axis.numbers is None or len(axis.numbers) < 2:
        raise InputError("--animate", study.name, "a study with an axis of two numbers or more in its [sweep]")
    if "dips" not in study.spec.want:
        raise InputError("--animate", f"want {', '.join(study.spec.want)}", 'a study with "dips" in study.want')
    return axis


def drawn(result: Result, band: str | None = None) -> list[np.ndarray]:
    """The frames there, (height, width, 3) bytes each; earlier curves stay behind, faint. Raises as animate."""
    study = result.study
    axis = animated_axis(study)
    names = {b.name: b for b in study.bands}
    if band is not None and band not in names:
        raise InputError("animation.band", repr(band), f"one of {', '.join(names)}")
    chosen = names[band] if band else study.bands[0]
    sweeps, dips = result.frames.get("sweeps", pd.DataFrame()), result.frames.get("dips", pd.DataFrame())
    if sweeps.empty or dips.empty:
        raise InputError("--animate", study.name, "a study of which cases were solved")
    name, rows = groups(sweeps[sweeps["band"] == chosen.name], study.axes)[0]
    low_points = dict(groups(dips[dips["band"] == chosen.name], study.axes))[name]
    curves = sorted(lines(rows, axis), key=lambda c: c[0])
    curves = [curves[i] for i in evenly(len(curves), MOST_FRAMES)]
    with style(SIZE) as look:
        sheet = Sheet(look)
        sheet.header(Heading(", ".join(filter(None, (band_title(chosen), name))), shared_words(study)))
        ax: Any = sheet.subplots()
        view = view_of(chosen, rows, list(low_points["dip_mhz"]))
        limit = swr_limit(rows, view, study.spec.swr_threshold)
        band_ground(ax, chosen, study.spec.swr_threshold, limit, view, look, GAPS[1])
        ax.set_xlabel("frequency (MHz)")
        ax.set_ylabel("SWR at the radio")
        sheet.legend(handles=key_handles(), loc="outside lower left", ncols=4)
        sheet.canvas.draw()  # type: ignore[attr-defined]
        shelf = Shelf(ax, limit, look.type, ax.get_window_extent().height / sheet.dpi, NAMED)
        shelf.lanes(chosen, study.spec.region)
        where = ax.text(
            0.99, 0.97, "", transform=ax.transAxes, ha="right", va="top", size=look.type * 1.5, weight="bold"
        )
        where.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 2})
        colours, frames = Colours(axis), []
        for value, curve in curves:
            colour = colours.mark(value).colour
            (line,) = ax.plot(curve["f_mhz"], np.clip(curve["swr"], 1, limit * 9), color=colour, zorder=3.5)
            where.set_text(f"{axis.name} {axis.value_text(value)}")
            hung = _hang(ax, shelf, low_points[low_points[axis.column] == value], colour)
            frames.append(sheet.pixels())
            line.set(alpha=0.28, linewidth=look.line * 0.7, zorder=3)
            for artist in hung:
                artist.remove()
        return frames


def _hang(ax: Any, shelf: Shelf, rows: pd.DataFrame, colour: str) -> list[Any]:
    """A dot at the dip, a line down, and its frequency; nothing without a dip."""
    artists: list[Any] = []
    for f, swr in zip(rows["dip_mhz"], rows["dip_swr"], strict=True):
        if np.isfinite(f):
            drop = min(max(swr, 1), shelf.limit)
            artists += ax.plot([f, f], [drop, shelf.down(0.85)], color=colour, zorder=3.6, lw=1.2)
            artists += ax.plot([f], [drop], "o", color=colour, mec="white", ms=9, zorder=4)
            artists.append(ax.text(f, shelf.down(1.55), f"{f:.3f} MHz", ha="center", va="center", color=INK, zorder=5))
    return artists
