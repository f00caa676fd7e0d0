"""The cards for the pocket, and the map of SWR over turns and segments."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.colors import BoundaryNorm, ListedColormap

from tautwire.studies.drawing.style import CYCLE, INK, Heading, Sheet, style
from tautwire.studies.study.findings import Drawn
from tautwire.studies.wants.turns.card import card, setup_words
from tautwire.studies.wants.turns.choice import COLUMN, other_columns, parts, threshold, where
from tautwire.studies.wants.turns.words import verdict

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_CARDS = 6
LEVELS = (1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 100.0)
SHADES = ("#0b3838", "#35685a", "#7aa389", "#c2c795", "#ecd9a8", "#fbf1df")  # lighter the higher the SWR


def turn_figures(result: Result, size: str = "print") -> dict[str, Figure]:
    """Stem -> figure: "card" and "turn_map", numbered when other axes give several (six at the most)."""
    figures: dict[str, Figure] = {}
    for tail, labels, rows in _tables(result):
        figures[f"card{tail}"] = card(result, labels, rows)
        figures[f"turn_map{tail}"] = turn_map(result, labels, rows, size)
    return figures


def cards(result: Result) -> dict[str, Figure]:
    """The cards alone."""
    return {f"card{tail}": card(result, labels, rows) for tail, labels, rows in _tables(result)}


def _tables(result: Result) -> list[tuple[str, dict[str, Any], pd.DataFrame]]:
    """The tail of the file stem, the labels and the rows of "turns" of each card."""
    table = result.frames.get("turns")
    if table is None or table.empty:
        return []
    shown = list(parts(table, other_columns(result)))[:MOST_CARDS]
    return [(f"_{number}" if labels else "", labels, rows) for number, (labels, rows) in enumerate(shown, 1)]


def _title(result: Result, labels: dict[str, Any], drawn: Drawn) -> str:
    """The verdict on the case that is drawn."""
    rows, stops = drawn.rows(result, "turns", "served"), drawn.rows(result, "stops", COLUMN)
    return verdict(result, labels, rows, stops).title(result.study.lengths)


def turn_map(result: Result, labels: dict[str, Any], rows: pd.DataFrame, size: str = "print") -> Sheet:
    """Worst SWR of every segment at every setting, with the best settings and the chosen stops marked."""
    table = where(result.frames["turn_swr"], labels)
    names = list(rows["segment"])
    grid = table.pivot(index="segment", columns=COLUMN, values="swr_worst").loc[names].sort_index(axis=1)
    turns = grid.columns.to_numpy(float)
    step = float(np.diff(turns).min()) if len(turns) > 1 else 1.0
    stops = where(result.frames["stops"], labels)
    level = threshold(result.study)
    with style(size) as look:
        sheet = Sheet(look, max(2.6, 1.7 + 0.25 * len(names)) if look.name == "print" else None)
        sheet.draws("turns", rows.index, "served", COLUMN)
        sheet.draws("stops", stops.index, COLUMN)
        sheet.header(
            Heading(
                partial(_title, result, labels),
                f"Highest SWR at the radio across each segment. Dot: best setting. Dashed: the fewest stops that serve "
                f"all that can be served up to {level:g}. {setup_words(result.study.raw, labels)}.",
                size,
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
        ticks = turns[:: max(1, round(len(turns) / (11 if look.name == "print" else 5)))]
        ax.set_xticks(ticks, [f"{t:g}\n{result.study.length_text(metres[t])}" for t in ticks])
        bar = sheet.colorbar(mesh, ax=ax, ticks=LEVELS[:-1], pad=0.02, fraction=0.04, aspect=30)
        bar.ax.set_yticklabels([f"{v:g}" for v in LEVELS[:-1]])
        bar.set_label("SWR")
        bar.outline.set_visible(False)
    return sheet
