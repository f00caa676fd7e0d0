"""SWR over each band: the band's edges, the stretches each mode uses, and where every curve dips.

Under each curve a plumb line hangs from its dip to a shelf with the curve's name. In the shelf three lanes show the
mode segments of the band. The tinted box is what one hopes for: inside the band and below 2:1.
"""

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import (
    GAPS,
    Colours,
    band_title,
    evenly,
    groups,
    lines,
    panel_shape,
    running,
    view_of,
)
from tautwire.studies.drawing.labels import spread, text_size
from tautwire.studies.drawing.style import Heading, Look, Sheet, style
from tautwire.studies.study.study import Axis
from tautwire.studies.wants.dips.band_panel import BARE, NAMED, Shelf, band_ground, key_handles, swr_limit, thin_ticks

MOST_PANELS = {"print": 12, "talk": 6, "slide": 6}
MOST_GROUPED = {"print": 12, "talk": 4, "slide": 4}  # panels whose titles name a group of cases too


def swr_figure(
    sweeps: pd.DataFrame,
    dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    heading: Heading = Heading(),
    *,
    region: object = 1,
    threshold: float = 3.0,
) -> Sheet:
    """SWR at the radio against frequency (MHz), a panel a band and group of cases.

    sweeps, dips: frames of want_dips. region: of the band plan. threshold: the user's SWR. Curves are cut at 5, 10 or
    20, each panel at its own. Raises InputError for an unknown size or region.
    """
    axis = running(axes)
    colours = Colours(axis)
    panels = [(b, name, rows[rows["band"] == b.name]) for name, rows in groups(sweeps, axes) for b in bands]
    names = dict(groups(dips, axes))
    with style(heading.size) as look:
        most = MOST_PANELS.get(look.name, 12) if len(bands) == len(panels) else MOST_GROUPED.get(look.name, 12)
        shown = [panels[i] for i in evenly(len(panels), most)]
        if len(shown) < len(panels):
            heading = heading.noting(f"{len(shown)} of {len(panels)} panels, evenly through the cases")
        rows, columns = panel_shape(len(shown), look)
        sheet = Sheet(look, None if look.name != "print" else max(look.height, 1.4 + 2.5 * rows))
        for band, name, _ in shown:
            sheet.draws("dips", names[name][names[name]["band"] == band.name].index, "swr_worst", "swr_best", "dip_mhz")
        sheet.header(heading)
        grid: Any = sheet.subplots(rows, columns, squeeze=False)
        flat = list(grid.flat)
        for k, ax in enumerate(flat):
            ax.set_visible(k < len(shown))
            ax.set_xlabel("frequency (MHz)" if len(shown) - columns <= k < len(shown) else "")
        views = [view_of(b, part, list(_of(names[name], b)["dip_mhz"])) for b, name, part in shown]
        limits = [swr_limit(part, view, threshold) for (_, _, part), view in zip(shown, views, strict=True)]
        gap = GAPS[min(columns, 4)]
        for ax, (band, name, part), view, limit in zip(flat, shown, views, limits, strict=False):
            band_ground(ax, band, threshold, limit, view, look, gap)
            ax.set_title(_title(band_title(band), name, look, columns))
            for value, curve in lines(part, axis):
                y = np.clip(np.nan_to_num(curve["swr"], nan=limit * 9, posinf=limit * 9), 1, limit * 9)
                ax.plot(curve["f_mhz"], y, **colours.mark(value).line, zorder=3)
        sheet.supylabel("SWR at the radio", size=look.type)
        visible = flat[: len(shown)]
        sheet.place()  # panel sizes are known from here on
        named = all(
            _places(sheet, ax, _of(names[n], b), axis, colours.ramped) is not None
            for ax, (b, n, _) in zip(visible, shown, strict=True)
        )
        colours.key(sheet, visible, key_handles(), named=not named)
        sheet.place()
        for ax, (band, name, _), limit in zip(visible, shown, limits, strict=True):
            thin_ticks(ax, look)
            shelf = Shelf(ax, limit, look.type, ax.get_window_extent().height / sheet.dpi, NAMED if named else BARE)
            shelf.lanes(band, region)
            mine = _of(names[name], band)
            places = _places(sheet, ax, mine, axis, colours.ramped) if named else None
            shelf.plumbs(mine, axis, colours, places)
        return sheet


def _title(band: str, name: str, look: Look, columns: int) -> str:
    """Band and group, in as many lines as a panel of so many in a row needs."""
    room = int(0.84 * look.width * 72 / columns / (0.66 * look.type * 1.08))
    return "\n".join(line for part in (band, name) if part for line in textwrap.wrap(part, max(room, 10)))


def _of(dips: pd.DataFrame, band: Band) -> pd.DataFrame:
    return dips[(dips["band"] == band.name) & dips["dip_mhz"].notna()]


def _places(
    sheet: Sheet, ax: Axes, dips: pd.DataFrame, axis: Axis | None, ends: bool
) -> list[tuple[int, str, float]] | None:  # fmt: skip
    """Where the names of the dips go in the shelf: (row of dips, name, MHz); None if they crowd each other."""
    rows = sorted({0, len(dips) - 1}) if ends and len(dips) else list(range(len(dips)))
    low, high = ax.get_xlim()
    scale = (high - low) / (ax.get_window_extent().width / sheet.dpi)  # MHz an inch
    at = [float(dips["dip_mhz"].iloc[i]) for i in rows]
    names = [] if axis is None else [axis.value_text(dips[axis.column].iloc[i]) for i in rows]
    words = names or [f"{f:.3f} MHz" for f in at]
    widths = [text_size(sheet, w, sheet.look.small)[0] * scale for w in words]
    places = spread(at, widths, low, high, 0.6 * sheet.look.small / 72 * scale)
    far = 4 * sheet.look.small / 72 * scale
    if places is None or any(abs(p - a) > far for p, a in zip(places, at, strict=True)):
        return None
    return list(zip(rows, words, places, strict=True))
