"""Charts of dips and SWR that a presenter can edit: their numbers go along in the file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pptx.chart.data import CategoryChartData, XyChartData
from pptx.dml.color import RGBColor
from pptx.enum.chart import XL_CHART_TYPE, XL_LEGEND_POSITION, XL_TICK_LABEL_POSITION
from pptx.enum.dml import MSO_LINE
from pptx.util import Pt

from tautwire.studies.drawing.axes import band_title, evenly, groups, mhz_text, running, shared_words, view_of
from tautwire.studies.drawing.style import CYCLE, QUIET
from tautwire.studies.study.findings import Cell, Drawn
from tautwire.studies.wants.dips.curves import swr_limit
from tautwire.studies.wants.dips.words import title_of_kind

if TYPE_CHECKING:
    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result

MOST_LINES, MOST_BARS, POINTS = 6, 12, 60  # curves, bars and points of a curve in a chart
TYPE = 14  # points
DASHES = (MSO_LINE.SOLID, MSO_LINE.DASH, MSO_LINE.SQUARE_DOT, MSO_LINE.DASH_DOT, MSO_LINE.ROUND_DOT,
          MSO_LINE.LONG_DASH_DOT)  # fmt: skip
EDGE = "the band"
Line = tuple[str, list[float], list[float]]


@dataclass(frozen=True)
class Plot:
    """A chart: lines (name, x, y) over numbers, or, with categories, bars. low, high: of y; x: lowest and highest."""

    title: str
    x_name: str
    y_name: str
    lines: Sequence[Line]
    y: tuple[float, float] | None = None
    x: tuple[float, float] | None = None
    categories: tuple[str, ...] = ()

    def draw(self, shapes: Any, box: Any) -> None:
        """Add the chart to a slide's shapes at box: left, top, width, height."""
        if self.categories:
            data: Any = CategoryChartData(number_format="0")
            data.categories = self.categories
            for name, _, y in self.lines:
                data.add_series(name, y)
            kind = XL_CHART_TYPE.BAR_CLUSTERED
        else:
            data = XyChartData(number_format="General")
            for name, xs, ys in self.lines:
                series = data.add_series(name)
                for point in zip(xs, ys, strict=True):
                    series.add_data_point(*point)
            few = max((len(xs) for name, xs, _ in self.lines if name != EDGE), default=0) <= 2 * MOST_BARS
            kind = XL_CHART_TYPE.XY_SCATTER_LINES if few else XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS
        chart = shapes.add_chart(kind, *box, data).chart
        chart.font.size = Pt(TYPE)
        chart.has_title = True
        chart.chart_title.text_frame.text = self.title
        chart.chart_title.text_frame.paragraphs[0].runs[0].font.size = Pt(16)
        chart.has_legend = len(self.lines) > 1
        if chart.has_legend:
            chart.legend.position, chart.legend.include_in_layout = XL_LEGEND_POSITION.BOTTOM, False
        across, up = chart.category_axis, chart.value_axis
        for axis, name, limits in ((across, self.x_name, self.x), (up, self.y_name, self.y)):
            axis.has_major_gridlines = axis is up
            axis.has_title = bool(name)
            if name:
                axis.axis_title.text_frame.text = name
                axis.axis_title.text_frame.paragraphs[0].runs[0].font.size = Pt(TYPE)
            if limits:
                axis.minimum_scale, axis.maximum_scale = limits
        if self.categories:
            across.tick_label_position = XL_TICK_LABEL_POSITION.LOW
        elif self.x:
            across.major_unit = _step(self.x)
        k = 0
        for series, (name, *_) in zip(chart.plots[0].series, self.lines, strict=True):
            edge = name == EDGE
            colour = RGBColor.from_string((QUIET if edge else CYCLE[k % len(CYCLE)].colour).lstrip("#").upper())
            if self.categories:
                series.format.fill.solid()
                series.format.fill.fore_color.rgb = colour
            else:
                series.smooth = False
                series.format.line.color.rgb, series.format.line.width = colour, Pt(1.25 if edge else 2.5)
                series.format.line.dash_style = MSO_LINE.SOLID if edge else DASHES[k % len(DASHES)]
                series.marker.format.fill.solid()
                series.marker.format.fill.fore_color.rgb = colour
                series.marker.format.line.color.rgb = colour
            k += not edge


def charts_of(result: Result, kind: str, bands: Sequence[Band]) -> tuple[list[Plot], str, str]:
    """The charts of "dip" or "swr" on these bands, a title of what they show, and a caption with what is left out."""
    dips = result.frames["dips"]
    mine = dips[dips["band"].isin([b.name for b in bands])]
    caption, chosen = shared_words(result.study), mine
    axis = running(result.study.axes)
    numeric = axis is not None and axis.numbers is not None and len(axis.numbers) > 1
    most = MOST_LINES if kind == "swr" else 0 if numeric else MOST_BARS
    keys = _keys(result, dips)
    if most and len(set(keys)) > most:
        kept = _spread(dips.assign(key=keys), most)
        chosen = mine[keys[mine.index].isin(kept)]
        caption = f"{len(kept)} of {len(set(keys))} cases, best and worst among them; {caption}"
    if kind == "swr":
        plots = [_swr(result, band, chosen, keys) for band in bands]
        columns = ("swr_worst", "swr_best", "dip_mhz")
    else:
        plots = [_numbers(result, b, chosen) if numeric else _bars(result, b, chosen, keys) for b in bands]
        columns = ("dip_mhz", "dip_swr", "dip_swr_transformer")
    drawn = Drawn({Cell("dips", int(i), c) for i in chosen.index for c in columns})
    title = title_of_kind(result, kind)(drawn)
    named = " and ".join(b.name for b in bands)
    return plots, title or f"{'Dips' if kind == 'dip' else 'SWR'} on {named}", caption


def _keys(result: Result, frame: pd.DataFrame) -> pd.Series:
    """The words of each row's case."""
    study = result.study
    return frame.apply(lambda row: study.words_of(row.to_dict()) or "this set-up", axis=1)


def _spread(dips: pd.DataFrame, most: int) -> set[str]:
    """So many cases by their highest SWR over all bands: the best, the worst, and evenly between."""
    order = list(dips.groupby("key", sort=False)["swr_worst"].max().sort_values().index)
    return {order[i] for i in evenly(len(order), most)}


def _step(limits: tuple[float, float]) -> float:
    """A round step that gives four to eight parts."""
    step = 10.0 ** np.floor(np.log10((limits[1] - limits[0]) / 4))
    return float(max(step * k for k in (1, 2, 2.5, 5) if step * k <= (limits[1] - limits[0]) / 4))


def _round(low: float, high: float) -> tuple[float, float]:
    """Limits at round numbers that enclose these."""
    step = _step((low, high))
    return float(np.floor(low / step + 1e-6) * step), float(np.ceil(high / step - 1e-6) * step)


def _swr(result: Result, band: Band, chosen: pd.DataFrame, keys: pd.Series) -> Plot:
    sweeps = result.frames["sweeps"]
    sweeps = sweeps[sweeps["band"] == band.name]
    view = view_of(band, sweeps, list(chosen.loc[chosen["band"] == band.name, "dip_mhz"]))
    limit = swr_limit(sweeps, view, result.study.spec.swr_threshold)
    names = _keys(result, sweeps.drop_duplicates(result.axis_columns or ["band"])) if len(sweeps) else keys
    first = sweeps.loc[names.index]
    lines: list[Line] = []
    for name, row in zip(names, first.to_dict("records"), strict=True):
        if name not in set(keys[chosen.index]):
            continue
        curve = sweeps[sweeps["f_mhz"].between(*view)]
        for column in result.axis_columns:
            curve = curve[curve[column].map(str) == str(row[column])]
        curve = curve.iloc[evenly(len(curve), POINTS)]
        y = np.clip(curve["swr"].to_numpy(float), 1, 2 * limit)
        lines.append((name, [round(f, 5) for f in curve["f_mhz"]], [round(float(v), 3) for v in y]))
    low, high = band.lower / 1e6, band.upper / 1e6
    lines.append((EDGE, [low, low, high, high], [1.0, limit, limit, 1.0]))
    return Plot(band_title(band), "MHz", "SWR at the radio", lines, (1.0, limit), _round(*view))


def _numbers(result: Result, band: Band, chosen: pd.DataFrame) -> Plot:
    axis = running(result.study.axes)
    assert axis is not None
    lines: list[Line] = []
    for name, rows in groups(chosen[chosen["band"] == band.name], result.study.axes)[:MOST_LINES]:
        rows = rows[rows["dip_mhz"].notna()].sort_values(axis.column)
        lines.append((name or "dip", [float(x) for x in rows[axis.column]], [round(y, 4) for y in rows["dip_mhz"]]))
    every = [y for _, _, ys in lines for y in ys] or [band.lower / 1e6, band.upper / 1e6]
    room = max(0.2 * (max(every) - min(every)), 0.03 * (band.upper - band.lower) / 1e6)
    low, high = _round(min(every) - room, max(every) + room)
    reach = [x for _, xs, _ in lines for x in xs] or [0.0, 1.0]
    inside = [f for f in (band.lower / 1e6, band.upper / 1e6) if low < f < high]
    if inside:  # one series; of both edges it runs back outside the plot
        xs, ys = [min(reach), max(reach)], [inside[0], inside[0]]
        lines.append((EDGE, xs + xs[::-1] * (len(inside) - 1), ys + [inside[-1]] * 2 * (len(inside) - 1)))
    title = f"{band.name}: {mhz_text(band.lower / 1e6)} to {mhz_text(band.upper / 1e6)} MHz"
    return Plot(title, axis.label, "dip (MHz)", lines, (low, high), (min(reach), max(reach)))


def _bars(result: Result, band: Band, chosen: pd.DataFrame, keys: pd.Series) -> Plot:
    """Bars from the middle of the band: where each case dips, kHz."""
    rows = chosen[(chosen["band"] == band.name) & chosen["dip_mhz"].notna()]
    middle, half = (band.lower + band.upper) / 2e6, (band.upper - band.lower) / 2e3
    rows = rows.iloc[::-1]  # bars are drawn from below
    khz = [round((f - middle) * 1e3, 1) for f in rows["dip_mhz"]]
    names = tuple(keys[i] for i in rows.index) or ("no dip",)
    name = f"dip, kHz from {mhz_text(middle)} MHz; the band ends at \u00b1{half:.0f}"
    return Plot(band_title(band), "", name, [("dip", [], khz or [0.0])], categories=names)
