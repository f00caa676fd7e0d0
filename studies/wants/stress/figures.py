"""Volts and amps along the wire, heat in each part, and why the core's loss changes with frequency."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator, NullFormatter, ScalarFormatter
from matplotlib.transforms import ScaledTranslation

from tautwire.model.wires.structure import RETURNS, Structure
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, SOIL, Heading, Look, Sheet, style
from tautwire.studies.study.findings import FORMS, Drawn, band_name, say
from tautwire.studies.wants.stress.words import end_volts, safe_power

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result


# --- Currents along the wire and its return conductors, each measured from the feed: the wire to the right.


DASHES = {"wire": "-", "counterpoise": (0, (4, 1.6)), "coax": (0, (1, 1.3))}


def current_title(result: Result, drawn: Drawn) -> str:
    """The greatest current in the wire, and where."""
    rows = drawn.rows(result, "stress", "max_a")
    most = max(rows, key=lambda r: r["max_a"])
    words = say("At most {amps}, on {band}, {at} from the feed", amps=most.number("max_a", "amps"),
                band=band_name(most["band"]), at=most.number("max_a_at", "length"))  # fmt: skip
    return words.title(result.study.lengths)


def current_figure(
    along: pd.DataFrame,
    structure: Structure,
    heading: Heading = Heading(),
    rows: pd.DataFrame | None = None,
) -> Sheet:
    """|I| (A rms) against distance (m), a colour a band (at most six); return conductors run to the left of the feed.

    along: table "stress_along" of one case. structure: its conductors. rows: table "stress" of it,
    whose greatest currents are marked.
    """
    with style(heading.size) as look:
        sheet = Sheet(look)
        bands = list(dict.fromkeys(along["band"]))[: len(CYCLE)]
        most = None if rows is None else rows[rows["band"].isin(bands)]
        if most is not None:
            sheet.draws("stress", most.index, "max_a", "max_a_at")
        sheet.header(heading)
        ax = sheet.subplots()
        shown = [(structure.name(i), c) for i, c in enumerate(structure.conductors) if c.role != "nearby"]
        reach = max([c.length for _, c in shown if c.role in RETURNS], default=0.0)
        ax.axvspan(-1.04 * reach, 0, facecolor=SOIL, alpha=0.6, zorder=0.2)
        ax.axvline(0, color=QUIET, lw=look.line * 0.5, zorder=1)
        for band, mark in zip(bands, CYCLE, strict=False):
            for name, conductor in shown:
                part = along[(along["band"] == band) & (along["conductor"] == name)]
                sign = 1 if conductor.role == "wire" else -1
                lw = look.line * (1.25 if conductor.role == "wire" else 1)
                x, dashes = sign * part["along_m"], DASHES[conductor.role]
                ax.plot(x, part["amps"], color=mark.colour, ls=dashes, lw=lw, zorder=3)
            if most is not None:
                at = most[most["band"] == band]
                ax.plot(at["max_a_at"], at["max_a"], "o", color=mark.colour, mec="white", mew=0.6, zorder=4)
        ax.set_xlim(-1.04 * reach, 1.01 * structure.conductors[0].length)
        ax.set_ylim(bottom=0)
        ticks = [t for t in ax.get_xticks() if ax.get_xlim()[0] <= t <= ax.get_xlim()[1]]
        ax.set_xticks(ticks, [f"{abs(t):g}" for t in ticks])
        ax.set_xlabel("distance from the feed (m): return conductors to the left, wire to the right")
        ax.set_ylabel("current (A rms)")
        handles = [Line2D([], [], color=m.colour, label=b) for m, b in zip(CYCLE, bands, strict=False)]
        roles = dict.fromkeys(c.role for _, c in shown)
        handles += [Line2D([], [], color=INK, ls=DASHES[r], label=r) for r in roles]
        sheet.legend(handles=handles, loc="outside lower left", ncols=min(len(handles), 6), handlelength=2.6)
        return sheet


# --- Volts and amps along the wire.


PARTS = (
    ("core_w", "core", CYCLE[1].colour, ""),
    ("winding_w", "winding", CYCLE[4].colour, "////"),
    ("coax_w", "coax", CYCLE[3].colour, ""),
    ("choke_w", "choke", CYCLE[2].colour, "...."),
    ("conductor_w", "wires", CYCLE[5].colour, "\\\\\\\\"),
)


def stress_title(result: Result, drawn: Drawn) -> str:
    """The power that is safe, else the volts at the end."""
    rows = drawn.rows(result, "stress", "safe_w")
    found = safe_power(result, rows)
    return (found.words if found else end_volts(result, rows)).title(result.study.lengths)


def stress_figure(
    rows: pd.DataFrame,
    along: pd.DataFrame,
    core: pd.DataFrame | None,
    heading: Heading = Heading(),
) -> Sheet:
    """rows: table "stress" of one case. along: "stress_along" of its wire. core: table "core", if there is one."""
    with style(heading.size) as look:
        sheet = Sheet(look, look.height * 1.35 if look.name == "print" else None)
        columns = [column for column, *_ in PARTS]
        sheet.draws("stress", rows.index, "band", "power_w", "duty", "end_peak_v", "safe_w", "safe_in_air_w", *columns)
        sheet.header(heading)
        axes: Any = sheet.subplots(2, 2)
        for ax, column, name in ((axes[0, 0], "volts", "volts (rms)"), (axes[1, 0], "amps", "amps (rms)")):
            _along(ax, along, column, look)
            ax.set_ylabel(name)
            ax.set_ylim(bottom=0)
            ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
            ax.yaxis.set_major_locator(MaxNLocator(5))
        axes[0, 0].set_title("along the wire, from the feed")
        axes[0, 0].tick_params(labelbottom=False)
        axes[1, 0].set_xlabel("from the feed (m)")
        _below(axes[1, 0], 3, look)
        _heat(axes[0, 1], rows, look)
        if core is None or core.empty:
            axes[1, 1].set_visible(False)
        else:
            _core(axes[1, 1], core, rows, look)
        return sheet


def _along(ax: Axes, along: pd.DataFrame, column: str, look: Look) -> None:
    for i, name in enumerate(dict.fromkeys(along["band"])):
        part, mark = along[along["band"] == name], CYCLE[i % len(CYCLE)]
        ax.plot(part["along_m"], part[column], **mark.line, lw=look.line, label=name)


def _heat(ax: Axes, rows: pd.DataFrame, look: Look) -> None:
    at, left = np.arange(len(rows)), np.zeros(len(rows))
    for column, name, colour, hatch in PARTS:
        width = rows[column].to_numpy(float)
        if width.max(initial=0) > 0:
            ax.barh(at, width, left=left, color=colour, hatch=hatch, edgecolor="white", lw=0.6, label=name, height=0.62)
        left = left + width
    for y, wide, safe in zip(at, left, rows["safe_w"], strict=True):
        if np.isfinite(safe):
            words = f" safe to {FORMS['power limit'](float(safe), '')}"
            ax.text(float(wide), float(y), words, size=look.small, color=QUIET, va="center")
    ax.set_xlim(0, 1.5 * max(float(left.max(initial=0)), 1e-3))
    ax.set_yticks(at, labels=list(rows["band"]))
    ax.invert_yaxis()
    ax.set_xlabel("average heat (W)")
    ax.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    ax.set_title("heat, and the radio's safe power")
    ax.grid(True, axis="x")
    ax.grid(False, axis="y")
    _below(ax, 5, look)


def _core(ax: Axes, core: pd.DataFrame, rows: pd.DataFrame, look: Look) -> None:
    """mu', mu'' and the heat of the core for one volt at the primary, all against frequency."""
    ax.loglog(core["f_mhz"], core["mu_real"], **CYCLE[0].line, label="µ′")
    ax.loglog(core["f_mhz"], core["mu_imag"], **CYCLE[1].line, label="µ″")
    ax.loglog(core["f_mhz"], core["core_siemens"] * 1e5, **CYCLE[2].line, label="heat, 10 µW per V²")
    for _, row in rows.iterrows():
        ax.axvline(row["f_mhz"], color=QUIET, lw=look.line * 0.5, ls=(0, (2, 2)), zorder=1)
        ax.annotate(
            row["band"],
            (row["f_mhz"], 0.97),
            xycoords=("data", "axes fraction"),
            ha="right",
            va="top",
            rotation=90,
            size=look.small,
            color=QUIET,
            bbox={"fc": "white", "ec": "none", "pad": 0.5},
        )
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter(ScalarFormatter())
        axis.set_minor_formatter(NullFormatter())
    ax.set_yticks([y for y in (10, 20, 50, 100, 200, 500, 1000) if ax.get_ylim()[0] <= y <= ax.get_ylim()[1]])
    ax.set_xticks([2, 4, 7, 14, 28])
    ax.set_xlim(1.7, 31)
    ax.set_xlabel("MHz")
    ax.set_title("the core against frequency")
    _below(ax, 3, look)


def _below(ax: Axes, columns: int, look: Look) -> None:
    """A legend under the axis label, at a distance in type sizes so that it clears it at any figure size."""
    drop = ScaledTranslation(0, -3.3 * look.type / 72, ax.figure.dpi_scale_trans)  # type: ignore[union-attr]
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.45, 0),
        bbox_transform=ax.transAxes + drop,
        ncols=columns,
        columnspacing=1.0,
        handlelength=1.1 if columns == 5 else 2.4,
    )
