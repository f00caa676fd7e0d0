"""The card for the pocket, and the map of SWR over turns and segments."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RULE, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.cells import formatted
from tautwire.studies.study.raw import table_value
from tautwire.studies.wants.turns.choice import COLUMN, other_columns, parts, threshold, unserved_words, where

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_CARDS = 6
CARD = Look("card", 8.27, 11.69, 11.0, 1.4, 150)  # A4, upright; prints on letter with "fit to page"
EDGE = 0.6  # inches
LEVELS = (1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 100.0)
SHADES = ("#0b3838", "#3f7059", "#8fae8b", "#e3d9b0", "#e9b872", "#c9763a")


def turn_figures(result: Result) -> dict[str, Figure]:
    """Stem -> figure: "card" and "turn_map", numbered when other axes give several (six at the most)."""
    table = result.frames.get("turns")
    if table is None or table.empty:
        return {}
    figures: dict[str, Figure] = {}
    for number, (labels, rows) in enumerate(parts(table, other_columns(result)), 1):
        if number > MOST_CARDS:
            break
        tail = f"_{number}" if labels else ""
        figures[f"card{tail}"] = card(result, labels, rows)
        figures[f"turn_map{tail}"] = turn_map(result, labels, rows)
    return figures


def _coax_type(raw: Any) -> str:
    kind = table_value(raw, "coax.type") or "RG-58"
    return kind if isinstance(kind, str) else "of its own"


def setup_words(raw: Any, labels: dict[str, Any]) -> str:
    """The set-up in one line, as written in the study."""
    pieces = [str(table_value(raw, "antenna.layout"))]
    for path, name in (
        ("antenna.slope", "slope"),
        ("antenna.slope_up", "slope up"),
        ("antenna.apex_height", "apex"),
        ("antenna.end_height", "end"),
        ("antenna.height", "height"),
        ("antenna.feed_height", "feed"),
        ("coax.length", f"coax {_coax_type(raw)}"),
        ("counterpoise.length", "counterpoise"),
    ):
        value = table_value(raw, path)
        if isinstance(value, str):
            pieces.append(f"{name} {value}".strip())
    soil = table_value(raw, "site.soil") or "average soil"
    pieces.append(soil if isinstance(soil, str) else f"soil er {soil['er']}, {soil['sigma']}")
    return "; ".join(pieces + [f"{k} {v}" for k, v in labels.items()])


def card(result: Result, labels: dict[str, Any], rows: pd.DataFrame) -> Sheet:
    """One printed page: the stops in large type, the table, and what a tuner would have to do."""
    level = threshold(result.study)
    stops = where(result.frames["stops"], labels)
    with style(CARD) as look:
        sheet = Sheet(look, layout=None)
        ax = sheet.add_axes((0, 0, 1, 1))
        ax.set(xlim=(0, look.width), ylim=(0, look.height))
        ax.axis("off")
        y = look.height - EDGE
        ax.text(EDGE, y, "Turns off the reel", size=26, weight="bold", va="top")
        y -= 0.5
        y = _lines(ax, y, setup_words(result.study.raw, labels), 10, QUIET, 92)
        y = _stop_blocks(ax, y - 0.2, stops, rows, level)
        y = _table(ax, y - 0.15, rows)
        words = [unserved_words(row, level) for _, row in rows[~rows["served"]].iterrows()]
        if words:
            ax.text(EDGE, y - 0.25, "Needs a tuner", size=13, weight="bold", va="top")
            y -= 0.55
            for line in words:
                y = _lines(ax, y, line, 9.5, INK, 96) - 0.06
        _lines(
            ax, 0.62,
            "Keep clear of power lines, throw lines with nobody below, down with it before thunder. The wire's end "
            "carries hundreds of volts while you transmit: keep people off. Local codes come first.",
            8.5, QUIET, 108,
        )  # fmt: skip
    return sheet


def _lines(ax: Axes, y: float, words: str, points: float, colour: str, columns: int) -> float:
    for line in textwrap.wrap(words, columns):
        ax.text(EDGE, y, line, size=points, color=colour, va="top")
        y -= points * 1.3 / 72
    return y


def _stop_blocks(ax: Axes, y: float, stops: pd.DataFrame, rows: pd.DataFrame, level: float) -> float:
    served = int(rows["served"].sum())
    if stops.empty:
        return _lines(ax, y, f"No setting serves any wanted segment with SWR up to {level:g}.", 13, INK, 80)
    count = "One stop serves" if len(stops) == 1 else f"{len(stops)} stops serve"
    whole = f"all {served}" if served == len(rows) else f"{served} of {len(rows)}"
    ax.text(EDGE, y, f"{count} {whole} segments, SWR up to {level:g}", size=13, weight="bold", va="top")
    y -= 0.38
    right = CARD.width - EDGE
    for _, stop in stops.iterrows():
        here = rows[rows["stop_turns"] == stop[COLUMN]]
        names = "   ".join(f"{r['segment']} ({r['stop_swr_worst']:.1f})" for _, r in here.iterrows())
        lines = textwrap.wrap(names.replace(" ", "\u00a0").replace("\u00a0\u00a0\u00a0", "   "), 52)
        height = max(0.62, 0.24 + 0.23 * len(lines))
        ax.fill_between((EDGE, right), y - height, y, color=TARGET, linewidth=0)
        ax.text(EDGE + 0.95, y - height / 2, f"{stop[COLUMN]:g}", size=30, weight="bold", va="center", ha="right",
                color=CYCLE[0].colour)  # fmt: skip
        ax.text(EDGE + 1.05, y - height / 2, f"turns\n{stop['wire_m']:.2f} m", size=10, va="center", color=QUIET)
        for k, line in enumerate(lines):
            at = y - height / 2 + 0.23 * ((len(lines) - 1) / 2 - k)
            ax.text(EDGE + 2.0, at, line, size=12, va="center")
        y -= height + 0.1
    return _lines(ax, y, "In brackets: the highest SWR across the segment at that stop.", 8.5, QUIET, 110)


HEADS = (
    ("segment", 0.0, "left"),
    ("turns", 2.25, "right"),
    ("wire, m", 3.2, "right"),
    ("SWR across it", 4.6, "right"),
    ("one turn off", 5.8, "right"),
    ("kHz a turn", 7.0, "right"),
)


def _table(ax: Axes, y: float, rows: pd.DataFrame) -> float:
    right = CARD.width - EDGE
    ax.text(EDGE, y, "Best setting for each", size=13, weight="bold", va="top")
    y -= 0.45
    for name, x, side in HEADS:
        ax.text(EDGE + x, y, name, size=9, color=QUIET, ha=side, va="center")
    room = (y - 1.0 - 0.55 * int((~rows["served"]).sum())) / max(len(rows), 1)
    step = min(0.33, max(0.2, room))
    size = min(13.0, step * 38)
    for _, row in rows.iterrows():
        y -= step
        ax.plot((EDGE, right), (y + step / 2,) * 2, color=RULE, linewidth=0.8)
        cells = (
            row["segment"],
            f"{row[COLUMN]:g}",
            f"{row['wire_m']:.2f}",
            f"{row['swr_best']:.1f} to {row['swr_worst']:.1f}",
            formatted(row["swr_neighbour"], ".1f", ""),
            formatted(row["shift_khz_per_turn"], "+.0f", "").replace("-", "\u2212"),
        )
        for (_, x, side), cell in zip(HEADS, cells, strict=True):
            weight = "bold" if x == HEADS[1][1] else "normal"
            colour = INK if row["served"] else CYCLE[1].colour
            ax.text(EDGE + x, y, cell, size=size, ha=side, va="center", weight=weight, color=colour)
    return y - step / 2


def turn_map(result: Result, labels: dict[str, Any], rows: pd.DataFrame) -> Sheet:
    """Worst SWR of every segment at every setting, with the best settings and the chosen stops marked."""
    table = where(result.frames["turn_swr"], labels)
    names = list(rows["segment"])
    grid = table.pivot(index="segment", columns=COLUMN, values="swr_worst").loc[names].sort_index(axis=1)
    turns = grid.columns.to_numpy(float)
    step = float(np.diff(turns).min()) if len(turns) > 1 else 1.0
    stops = where(result.frames["stops"], labels)
    level = threshold(result.study)
    with style("print") as look:
        sheet = Sheet(look, height=max(2.6, 1.7 + 0.25 * len(names)))
        sheet.header(
            Heading(
                "How many turns off the reel serve which segment?",
                f"Highest SWR at the radio across each segment. Dot: best setting. Dashed: the fewest stops that serve "
                f"all that can be served up to {level:g}. {setup_words(result.study.raw, labels)}.",
            )
        )
        ax = sheet.add_subplot()
        colours, norm = ListedColormap(list(SHADES)), BoundaryNorm(LEVELS, len(SHADES))
        edges = np.append(turns - step / 2, turns[-1] + step / 2)
        mesh = ax.pcolormesh(
            edges, np.arange(len(names) + 1) - 0.5, np.clip(grid.to_numpy(float), 1, 99), cmap=colours, norm=norm,
            edgecolor="white", linewidth=0.6,
        )  # fmt: skip
        ax.plot(rows[COLUMN], np.arange(len(names)), "o", color="white", markeredgecolor=INK, markersize=5,
                zorder=5)  # fmt: skip
        for _, stop in stops.iterrows():
            ax.axvline(stop[COLUMN], color=INK, linestyle=CYCLE[1].dash, linewidth=look.line)
        ax.set_yticks(np.arange(len(names)), names)
        ax.set(ylim=(len(names) - 0.5, -0.5), xlabel="turns out, and wire out")
        ax.grid(False)
        ax.tick_params(length=0)
        ax.spines[["left", "bottom"]].set_visible(False)
        metres = table.groupby(COLUMN)["wire_m"].first()
        ticks = turns[:: max(1, round(len(turns) / 11))]
        ax.set_xticks(ticks, [f"{t:g}\n{metres[t]:.1f} m" for t in ticks])
        bar = sheet.colorbar(mesh, ax=ax, ticks=LEVELS[:-1], pad=0.02, fraction=0.04, aspect=30)
        bar.ax.set_yticklabels([f"{v:g}" for v in LEVELS[:-1]])
        bar.set_label("SWR")
        bar.outline.set_visible(False)
    return sheet
