"""The figures that belong to a study of dips, and those of its dips along an axis.

Where the dip goes as one quantity is swept, and how deep it is there.

Upper panel: the dip in MHz, with the frequencies around it that stay below 2:1 shaded, and the band's edges.
Lower panel: SWR at the dip, at the radio and at the transformer (coax loss flatters the first).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.axes import (
    Colours,
    band_ticks,
    band_title,
    evenly,
    groups,
    heading_of,
    lines,
    mhz_text,
    running,
    shortened,
)
from tautwire.studies.drawing.layout import layout_figure, layout_grid
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Look, Mark, Sheet, style
from tautwire.studies.study.study import Axis
from tautwire.studies.study.units import in_words
from tautwire.studies.wants.dips.curves import impedance_figure, smith_figure, swr_figure
from tautwire.studies.wants.dips.words import layout_title, title_of_kind

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case, Study


# --- Where the dip goes as one quantity is swept.


ACROSS = {"print": 3, "talk": 3, "slide": 3}
MOST_GROUPS = 6


def dip_figure(
    dips: pd.DataFrame,
    sweeps: pd.DataFrame | None,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """Dip frequency and SWR at the dip against the running axis, which has numbers; a column a band.

    dips, sweeps: frames of want_dips; without sweeps the 2:1 shading is left out. Other axes give a line each (the
    first six). Raises ValueError if no axis has numbers.
    """
    axis = running(axes)
    if axis is None or axis.numbers is None:
        raise ValueError("dip_figure needs an axis with numbers")
    parts = groups(dips, axes)
    if len(parts) > MOST_GROUPS:
        heading = heading.noting(f"the first {MOST_GROUPS} of {len(parts)} lines")
    with style(heading.size) as look:
        across = min(len(bands), ACROSS.get(look.name, 3))
        if look.name != "print" and len(bands) > across:
            heading = heading.noting(f"the first {across} of {len(bands)} bands")
            bands = bands[:across]
        blocks = -(-len(bands) // across)
        sheet = Sheet(look, None if look.name != "print" else look.height * (0.25 + 0.75 * blocks))
        for _, rows in parts[:MOST_GROUPS]:
            mine = rows[rows["band"].isin([b.name for b in bands])]
            sheet.draws("dips", mine.index, "dip_mhz", "dip_swr", "dip_swr_transformer")
        sheet.header(heading)
        grid: Any = sheet.subplots(2 * blocks, across, squeeze=False, height_ratios=[2.2, 1] * blocks)
        for ax in grid.flat:
            ax.set_visible(False)
        for k, band in enumerate(bands):
            block, column = divmod(k, across)
            place, depth = grid[2 * block, column], grid[2 * block + 1, column]
            place.set_visible(True)
            depth.set_visible(True)
            place.sharex(depth)
            place.tick_params(labelbottom=False)
            _ground(place, band, look)
            for i, (_, rows) in enumerate(parts[:MOST_GROUPS]):
                rows = rows[(rows["band"] == band.name)].sort_values(axis.column)
                mark = CYCLE[i]
                shade = sweeps is not None and len(parts) == 1
                if shade and sweeps is not None:
                    _shade(place, sweeps[sweeps["band"] == band.name], rows, axis)
                x = rows[axis.column]
                place.plot(x, rows["dip_mhz"], **mark.line, marker=mark.marker, mec="white", mew=0.6, zorder=3)
                depth.plot(x, rows["dip_swr"], **mark.line, marker=mark.marker, mec="white", mew=0.6, zorder=3)
                depth.plot(x, rows["dip_swr_transformer"], color=mark.colour, lw=look.line * 0.6, ls=(0, (1, 1.5)))
            shown = pd.concat([rows[rows["band"] == band.name] for _, rows in parts[:MOST_GROUPS]])
            _reach(place, band, shown["dip_mhz"].to_numpy(float), look)
            _depth(depth, look)
            if column == 0:
                place.set_ylabel("dip (MHz)")
                depth.set_ylabel("SWR at dip")
            if k + across >= len(bands):
                depth.set_xlabel(axis.label)
        sheet.align_ylabels()
        handles: list[Any] = []
        if len(parts) > 1:
            for i, (name, _) in enumerate(parts[:MOST_GROUPS]):
                handles.append(Line2D([], [], **CYCLE[i].line, marker=CYCLE[i].marker, label=name))
        elif sweeps is not None:
            handles.append(Patch(color=CYCLE[0].colour, alpha=0.18, label="SWR below 2"))
        handles.append(Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"))
        ends = [("at the radio", "-", look.line), ("at the transformer", (0, (1, 1.5)), look.line * 0.6)]
        handles += [Line2D([], [], color=INK, ls=dash, lw=w, label=words) for words, dash, w in ends]
        sheet.key(handles)
        return sheet


def _ground(ax: Axes, band: Band, look: Look) -> None:
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.axhspan(low, high, facecolor=TARGET, zorder=0.5)
    for edge in (low, high):
        ax.axhline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
    ax.set_title(band_title(band), size=look.type * 0.95)


CLOSE = 0.3  # of the band, below which dips fill a panel of their own and the band's edges are said


def _reach(ax: Axes, band: Band, dips: Any, look: Look) -> None:
    """The MHz shown: the band and the dips, or the dips alone where they move too little to be seen so.

    Then a line of words says how far away each edge of the band is.
    """
    known = dips[np.isfinite(dips)]
    edges, width = (band.lower / 1e6, band.upper / 1e6), (band.upper - band.lower) / 1e6
    if not len(known):
        return
    low, high = float(known.min()), float(known.max())
    far_low, far_high = min(low, edges[0]), max(high, edges[1])
    if high - low >= CLOSE * (far_high - far_low):
        room = 0.08 * (far_high - far_low)
        ax.set_ylim(far_low - room, far_high + room)
    else:
        room = max(0.45 * (high - low), 0.03 * width)
        ax.set_ylim(low - room, high + room)
        for edge, near, y, side, way in ((edges[1], high, 0.97, "top", "up"), (edges[0], low, 0.03, "bottom", "down")):
            if not ax.get_ylim()[0] <= edge <= ax.get_ylim()[1]:
                words = f"band edge {mhz_text(edge)} MHz: {abs(edge - near) * 1e3:.0f} kHz further {way}"
                ax.text(0.98, y, words, transform=ax.transAxes, ha="right", va=side, size=look.small, color=QUIET)
    band_ticks(ax.yaxis, band, 0.12)


def _shade(ax: Axes, sweeps: pd.DataFrame, rows: pd.DataFrame, axis: Axis) -> None:
    """The stretch around each dip below SWR 2, where it is reached."""
    known = {key: part for key, part in lines(sweeps, axis)}
    low, high = [], []
    for value, dip in zip(rows[axis.column], rows["dip_mhz"], strict=True):
        edges = below(known.get(value), float(dip), 2.0)
        low.append(edges[0])
        high.append(edges[1])
    if not np.isnan(low).all():
        ax.fill_between(rows[axis.column], low, high, color=CYCLE[0].colour, alpha=0.18, lw=0, zorder=2)


def below(sweep: pd.DataFrame | None, dip_mhz: float, level: float) -> tuple[float, float]:
    """MHz at which a sampled sweep first reaches level on either side of the dip (linear between samples).

    The sweep's ends count if it does not; NaN twice if the dip is not below level.
    """
    if sweep is None or not np.isfinite(dip_mhz):
        return np.nan, np.nan
    f, swr = sweep["f_mhz"].to_numpy(float), sweep["swr"].to_numpy(float)
    if not np.interp(dip_mhz, f, swr) < level:
        return np.nan, np.nan
    cross = np.flatnonzero((swr[1:] < level) != (swr[:-1] < level))
    edges = [f[i] + (level - swr[i]) / (swr[i + 1] - swr[i]) * (f[i + 1] - f[i]) for i in cross]
    return (
        max([e for e in edges if e <= dip_mhz], default=float(f[0])),
        min([e for e in edges if e >= dip_mhz], default=float(f[-1])),
    )


def _depth(ax: Axes, look: Look) -> None:
    """Scale of the lower panel: from 1 up, never so narrow that small changes look large."""
    ax.set_ylim(0.95, max(ax.get_ylim()[1], 2.15))
    ax.axhline(2, color=INK, lw=look.line * 0.5, zorder=1.5)
    ax.yaxis.set_major_locator(MaxNLocator(3, steps=[1, 2, 5, 10]))


# --- Soils, variants and other words side by side: where each dips, how deep, and what coax and transformer lose.


def category_figure(
    dips: pd.DataFrame,
    sweeps: pd.DataFrame | None,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet:
    """A row a combination of the axes, a block a band; columns dip (MHz), SWR at the dip, loss (dB).

    dips, sweeps: frames of want_dips. A bar behind each dip spans the frequencies around it with SWR below 2.
    """
    colours = Colours(axes[0] if axes else None)
    with style(heading.size) as look:
        names = _names(dips, axes)
        rows = len(dict.fromkeys(names))
        inches = 1.5 + len(bands) * (0.55 + 1.9 * look.type / 72 * rows)
        if look.name != "print":
            fits = bands_that_fit(look, rows)
            if fits < len(bands):
                heading = heading.noting(f"the first {fits} of {len(bands)} bands")
                bands = bands[:fits]
        sheet = Sheet(look, max(look.height, inches) if look.name == "print" else None)
        mine = dips[dips["band"].isin([b.name for b in bands])]
        sheet.draws("dips", mine.index, "dip_mhz", "dip_swr", "dip_loss_db")
        sheet.header(heading)
        grid: Any = sheet.subplots(len(bands), 3, squeeze=False, width_ratios=[2.4, 1, 1], sharey="row")
        for i, band in enumerate(bands):
            part = dips[dips["band"] == band.name]
            words = list(names[part.index])
            place, depth, loss = grid[i]
            _band(place, band, look)
            for y, row in enumerate(part.to_dict("records")):
                mark = colours.mark(row[axes[0].column] if axes else "")
                low, high = below(_sweep(sweeps, row, axes), row["dip_mhz"], 2.0)
                place.barh(y, high - low, left=low, height=0.56, color=mark.colour, alpha=0.22, lw=0, zorder=2)
                dot = {"linestyle": "", "marker": mark.marker, "color": mark.colour, "mec": "white", "mew": 0.6}
                place.plot(row["dip_mhz"], y, zorder=3, **dot)
                depth.plot([1, row["dip_swr"]], [y, y], color=mark.colour, lw=look.line * 0.8)
                depth.plot(row["dip_swr"], y, zorder=3, **dot)
                loss.barh(y, row["dip_loss_db"], height=0.5, color=mark.colour, lw=0, zorder=2)
            place.set_yticks(range(len(words)), words)
            place.set_ylim(len(words) - 0.4, -0.6)
            depth.axvline(2, color=INK, lw=look.line * 0.5)
            depth.set_xlim(1, max(2.3, np.nanmax([*part["dip_swr"], 1]) * 1.08))
            loss.set_xlim(0, max(0.5, np.nanmax([*part["dip_loss_db"], 0]) * 1.15))
            for ax, count in ((place, 5), (depth, 3), (loss, 3)):
                ax.grid(axis="y", visible=False)
                ax.grid(axis="x", visible=True)
                ax.tick_params(axis="y", length=0)
                ax.xaxis.set_major_locator(MaxNLocator(count))
            band_ticks(place.xaxis, band, 0.14)
        for ax, label in zip(grid[-1], ("dip (MHz)", "SWR at dip", "loss (dB)"), strict=True):
            ax.set_xlabel(label)
        handles = [
            Line2D([], [], linestyle="", marker="o", color=INK, label="dip"),
            Patch(color=INK, alpha=0.22, label="SWR below 2"),
            Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"),
        ]
        sheet.key(handles)
        return sheet


def bands_that_fit(look: Look, rows: int) -> int:
    """How many blocks of so many rows a page of fixed height holds, at least one."""
    type_inches = look.type / 72
    return max(1, int((look.height - 6 * type_inches) / (2.6 * type_inches + 1.25 * type_inches * rows)))


def _names(dips: pd.DataFrame, axes: Sequence[Axis]) -> pd.Series:
    if not axes:
        return pd.Series("this set-up", index=dips.index)
    return dips[[a.column for a in axes]].apply(lambda row: ", ".join(map(in_words, row)), axis=1)


def _sweep(sweeps: pd.DataFrame | None, row: dict[Any, Any], axes: Sequence[Axis]) -> pd.DataFrame | None:
    """The sweep of the case and band of a row of dips."""
    if sweeps is None:
        return None
    mine = sweeps["band"] == row["band"]
    for a in axes:
        mine &= sweeps[a.column].map(in_words) == in_words(row[a.column])
    return sweeps[mine]


def _band(ax: Any, band: Band, look: Look) -> None:
    ax.axvspan(band.lower / 1e6, band.upper / 1e6, facecolor=TARGET, zorder=0.5)
    for edge in (band.lower / 1e6, band.upper / 1e6):
        ax.axvline(edge, color=QUIET, lw=look.line * 0.5, zorder=1)
    ax.set_title(band_title(band))


# --- Every dip along the running axis, coloured by its mode: the half-waves of current that stand on the wire.


MODES_FIGURE_ACROSS = 3
ABOUT = "Every SWR dip; colours are the half-waves of current on the wire there; filled: followed as the band's."


def modes_figure(
    all_dips: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis],
    heading: Heading = Heading(),
) -> Sheet | None:
    """All dips (frame "all_dips") of each band against the running axis, a panel a band; None without an axis.

    Filled marks on a full line: the dip that is followed as the band's. Open marks: the others. Every combination of
    the other axes has lines of its own.
    """
    axis = running(axes)
    shown = [b for b in bands if (all_dips["band"] == b.name).any()]
    if axis is None or not shown:
        return None
    modes = sorted(set(all_dips[all_dips["band"].isin([b.name for b in shown])]["mode"]))
    marks = {mode: CYCLE[k % len(CYCLE)] for k, mode in enumerate(modes)}
    rows = -(-len(shown) // MODES_FIGURE_ACROSS)
    with style(heading.size) as look:
        sheet = Sheet(look, None if look.name != "print" else 1.7 + 2.6 * rows)
        sheet.draws("all_dips", all_dips[all_dips["band"].isin([b.name for b in shown])].index, "mode", "f_mhz")
        sheet.header(replace(heading, caption=f"{heading.caption}. {ABOUT}" if heading.caption else ABOUT))
        grid: Any = sheet.subplots(rows, min(len(shown), MODES_FIGURE_ACROSS), squeeze=False)
        for k, ax in enumerate(grid.flat):
            ax.set_visible(k < len(shown))
            if k < len(shown):
                _panel(ax, all_dips[all_dips["band"] == shown[k].name], shown[k], axes, axis, marks)
                ax.set_xlabel(axis.label if k + MODES_FIGURE_ACROSS >= len(shown) else "")
        sheet.supylabel("dips (MHz)", size=look.type)
        handles: list[Any] = [
            Line2D([], [], **mark.line, marker=mark.marker, label=f"{mode} half-wave{'s' if mode > 1 else ''}")
            for mode, mark in marks.items()
        ]
        handles += [
            Line2D([], [], color=QUIET, ls="", marker="o", mfc="white", label="another dip"),
            Patch(facecolor=TARGET, edgecolor=QUIET, label="the band"),
        ]
        sheet.key(handles)
        return sheet


def _panel(ax: Axes, rows: pd.DataFrame, band: Band, axes: Sequence[Axis], axis: Axis, marks: dict[int, Mark]) -> None:
    names = [in_words(v) for v in axis.labels]
    place = (
        rows[axis.column].astype(float) if axis.numbers else rows[axis.column].map(lambda v: names.index(in_words(v)))
    )
    rows = rows.assign(place=place)
    others = [a.column for a in axes if a is not axis]
    keys = [rows[c].map(str) for c in others] + [rows["followed"]]
    for _, line in rows.groupby(keys, sort=False) if axis.numbers else ():  # between words there is nothing
        line = line.sort_values("place")
        chosen, mark = bool(line["chosen"].iloc[0]), marks[int(line["mode"].mode().iloc[0])]
        y = line["f_mhz"].to_numpy(float)
        ax.plot(line["place"], y, color=mark.colour, lw=1.4 if chosen else 0.6, ls="-" if chosen else ":", zorder=2)
    for mode, dips in rows.groupby("mode"):
        fill = [marks[int(mode)].colour if c else "white" for c in dips["chosen"]]
        x, y, mark = dips["place"], dips["f_mhz"], marks[int(mode)]
        ax.scatter(x, y, s=16, c=fill, edgecolors=mark.colour, marker=mark.marker, linewidths=0.9, zorder=3)
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.axhspan(low, high, facecolor=TARGET, zorder=0.5)
    if axis.numbers is None:
        ax.set_xticks(
            np.arange(len(names)), [shortened(n) for n in names], rotation=30, ha="right", rotation_mode="anchor"
        )
        ax.set_xlim(-0.4, len(names) - 0.6)
    ax.set_title(band_title(band))
    band_ticks(ax.yaxis, band, 0.12)


# --- The figures that belong to a study of dips: which ones its axes call for, with titles and captions.


def layout_figures(study: Study, size: str | Look = "print") -> dict[str, Sheet]:
    """ "layout", and "layout_last" if the last case hangs or lies otherwise; a grid of side views for variants."""
    cases = study.cases()
    heading = heading_of(study, size)

    def under_title(*shown: Case) -> Heading:
        layouts = [(case.index, case.setup().build().layout) for case in shown]
        cells = [(i, x.length, max(p[2] for p in x.points)) for i, x in layouts]
        return replace(heading, title=layout_title(study.lengths, cells), setups=tuple(i for i, _ in layouts))

    if study.variants:
        firsts: dict[Any, Case] = {}
        for case in cases:
            firsts.setdefault(case.labels[study.axes[0].column], case)
        hung = [(in_words(k), c.setup().build()) for k, c in firsts.items()]
        title = replace(under_title(*firsts.values()), caption="")
        return {"layout": layout_grid(hung, title, lengths=study.lengths)}
    first, last = cases[0].setup().build(), cases[-1].setup().build()
    if first.structure == last.structure:
        return {"layout": layout_figure(first, under_title(cases[0]), lengths=study.lengths)}
    return {
        stem: layout_figure(built, under_title(case).under(study.words_of(case.labels)), lengths=study.lengths)
        for stem, built, case in (("layout", first, cases[0]), ("layout_last", last, cases[-1]))
    }


PLOTTED = {
    "swr": "SWR at the radio", "dip": "where each band dips", "impedance": "", "smith": "", "smith_radio": "",
    "modes": "",
}  # fmt: skip
KINDS = tuple(PLOTTED)
MOST_WORDS = 12  # cases named in a figure; half as many on a slide


def _fewer(axis: Axis, dips: pd.DataFrame, most: int) -> tuple[tuple[Axis], list[Any]]:
    """The axis with so many of its words, from the lowest dip of the first band to the highest, and those words."""
    first = dips[dips["band"] == dips["band"].iloc[0]].sort_values("dip_mhz")
    kept = [first[axis.column].iloc[i] for i in evenly(len(first), most)]
    texts = tuple(t for t in axis.texts if in_words(t) in kept)
    return (replace(axis, texts=texts),), kept


def dip_figure_of(
    result: Result, kind: str, size: str | Look = "print", bands: Sequence[Band] | None = None
) -> Sheet | None:
    """One of KINDS from the tables of want_dips; None without rows, or "dip" of a single case.

    bands: only these. "dip" runs along the axis with numbers, or compares words.
    """
    study = result.study
    dips, sweeps = result.frames.get("dips"), result.frames.get("sweeps")
    if dips is None or sweeps is None or dips.empty or sweeps.empty:
        return None
    shown = [b for b in bands or study.bands if (sweeps["band"] == b.name).any()]
    heading = heading_of(study, size, title_of_kind(result, kind)).under(PLOTTED[kind])
    axes, known = study.axes, result.frames.get("all_dips")
    if len(axes) == 1 and axes[0].numbers is None and len(axes[0].texts) > MOST_WORDS:
        axes, kept = _fewer(axes[0], dips, MOST_WORDS if size == "print" else MOST_WORDS // 2)
        dips, sweeps = (t[t[axes[0].column].isin(kept)] for t in (dips, sweeps))
        known = known if known is None else known[known[axes[0].column].isin(kept)]
        told = f"{len(kept)} of {len(study.axes[0].texts)} cases, from the lowest to the highest dip on {shown[0].name}"
        heading = heading.then(told)
    axis, spec = running(axes), study.spec
    if kind == "swr":
        return swr_figure(
            sweeps, dips, shown, axes, heading, region=spec.region, threshold=spec.swr_threshold
        )  # fmt: skip
    if kind == "impedance":
        return impedance_figure(sweeps, dips, shown, axes, heading)
    if kind == "modes":
        return None if known is None or study.count < 2 else modes_figure(known, shown, axes, heading)
    if kind in ("smith", "smith_radio"):
        return smith_figure(sweeps, shown, axes, heading, plane="radio" if kind == "smith_radio" else "wire")
    if axis is not None and axis.numbers is not None and len(axis.numbers) > 1:
        return dip_figure(dips, sweeps, shown, axes, heading)
    return category_figure(dips, sweeps, shown, axes, heading) if study.count > 1 else None


def dip_figures(
    result: Result, size: str | Look = "print", bands: Sequence[Band] | None = None
) -> Iterator[tuple[str, Sheet]]:
    """Every figure of KINDS that there is, as it is built."""
    for kind in KINDS:
        if (sheet := dip_figure_of(result, kind, size, bands)) is not None:
            yield kind, sheet


def plots(result: Result) -> Iterator[tuple[str, Sheet]]:
    """File stem and figure, print size, as they are built."""
    yield from layout_figures(result.study).items()
    yield from dip_figures(result)
