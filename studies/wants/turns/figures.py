"""The cards for the pocket, and the map of SWR over turns and segments."""

from __future__ import annotations

import datetime
import math
import textwrap
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Rectangle

from tautwire.studies.drawing.labels import text_size
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RULE, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.findings import CARD_CAUTION, Drawn, written_as
from tautwire.studies.study.raw import table_value
from tautwire.studies.study.units import formatted
from tautwire.studies.wants.turns.choice import COLUMN, other_columns, parts, threshold, where
from tautwire.studies.wants.turns.words import reel_words, turn_doubt, verdict

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result


# --- The card for the pocket: A6 upright, also as a phone's picture, and four on a page of A4 to cut.


CARD = Look("card", 4.134, 5.845, 8.0, 1.0, 260)  # a quarter of A4, 105 by 148 mm; 1075 pixels wide
FOUR = Look("four", 2 * CARD.width, 2 * CARD.height, 8.0, 1.0, 150)
EDGE = 0.24  # inches
NAMES, LAST = 1.22, 0.5  # widths of the first column and of the two last
EMBER = "#9c4600"  # the cycle's, dark enough for words
MOST_STOPS = 8
EXPLAINED = (
    "Large: turns off the reel, the wire that is then out, and the share of similar installations in which the stop "
    "serves all its segments. Below: highest SWR at the radio across the segment; "
    "boxed: the stop to use. Whole band: the same from edge to edge of the band. kHz/turn: where one more turn out "
    "moves the dip at the stop to use. Tuner: no stop comes below {level:g}."
)


def today() -> str:
    """The date, as 2026-05-31."""
    return datetime.date.today().isoformat()


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
    pieces.append(soil if isinstance(soil, str) else "soil of its own constants")
    return "; ".join(pieces + [f"{k} {v}" for k, v in labels.items()])


def _coax_type(raw: Any) -> str:
    kind = table_value(raw, "coax.type") or "RG-58"
    return kind if isinstance(kind, str) else "of its own"


def card(result: Result, labels: dict[str, Any], rows: pd.DataFrame) -> Sheet:
    """The card of one case of the other axes. labels: its place on them; rows: its rows of "turns"."""
    with style(CARD) as look:
        sheet = Sheet(look, layout=None)
        sheet.title = f"{_place(result)}: turns off the reel"
        _draw(sheet.add_axes((0, 0, 1, 1)), result, labels, rows)
    return sheet


def four_cards(result: Result) -> Sheet:
    """Four cards on A4 with lines to cut along: the first four cases, again from the first if there are fewer."""
    cases = list(parts(result.frames["turns"], other_columns(result)))[:4]
    with style(FOUR) as look:
        sheet = Sheet(look, layout=None)
        sheet.title = f"{_place(result)}: turns off the reel, four times"
        for k, corner in enumerate(((0, 0.5), (0.5, 0.5), (0, 0), (0.5, 0))):
            _draw(sheet.add_axes((*corner, 0.5, 0.5)), result, *cases[k % len(cases)])
        whole = sheet.add_axes((0, 0, 1, 1))
        whole.set(xlim=(0, 1), ylim=(0, 1))
        whole.axis("off")
        for ends in (((0.5, 0.5), (0, 1)), ((0, 1), (0.5, 0.5))):
            whole.plot(*ends, color=RULE, linewidth=0.8, linestyle=(0, (4, 4)))
    return sheet


def _place(result: Result) -> str:
    return result.study.spec.place or result.study.name


def _draw(ax: Axes, result: Result, labels: dict[str, Any], rows: pd.DataFrame) -> None:
    """The card into axes of its size; one unit is an inch."""
    study, level = result.study, threshold(result.study)
    ax.set(xlim=(0, CARD.width), ylim=(0, CARD.height))
    ax.axis("off")
    y = CARD.height - EDGE
    ax.text(EDGE, y, _place(result), size=_fitted(ax, _place(result), 14, 2.9), weight="bold", va="top")
    ax.text(CARD.width - EDGE, y - 0.03, today(), size=8, color=QUIET, va="top", ha="right")
    y = _lines(ax, y - 0.27, setup_words(study.raw, labels), 7, QUIET)
    doubt = turn_doubt(study)
    y = _lines(ax, y, f"Reel: {reel_words(study)}.", 7, QUIET)
    y = _lines(ax, y - 0.03, doubt, 7, EMBER) if doubt else y
    foot = _foot(ax, level)
    swr = where(result.frames["turn_swr"], labels).set_index([COLUMN, "segment"])
    needy = rows[~rows["served"]]
    tuner_lines = [line for _, row in needy.iterrows() for line in _wrapped(_tuner_words(row, study), 7)]
    room = y - foot - 0.76 - 0.14 * len(tuner_lines)
    y = _matrix(ax, y - 0.06, result, labels, rows, swr, min(0.3, room / max(len(rows), 1)))
    for line in tuner_lines:
        y = _lines(ax, y, line, 7, EMBER)


def _foot(ax: Axes, level: float) -> float:
    """Explanation and caution at the bottom; the height they take."""
    words = [*_wrapped(EXPLAINED.format(level=level), 6.3), *_wrapped(CARD_CAUTION, 6.3)]
    top = EDGE + 6.3 * 1.3 / 72 * len(words)
    for k, line in enumerate(words):
        ax.text(EDGE, top - k * 6.3 * 1.3 / 72, line, size=6.3, color=QUIET, va="top")
    return top


def _columns(result: Result, labels: dict[str, Any], rows: pd.DataFrame) -> list[float]:
    """Turns that head a column: the stops; without any, the settings best for a segment."""
    stops = where(result.frames["stops"], labels)
    turns = stops[COLUMN] if len(stops) else rows[COLUMN]
    return sorted(set(map(float, turns)))[:MOST_STOPS]


def _matrix(
    ax: Axes, y: float, result: Result, labels: dict[str, Any], rows: pd.DataFrame, swr: pd.DataFrame, step: float
) -> float:
    """A row a segment, a column a stop; where it ends."""
    turns, study = _columns(result, labels, rows), result.study
    right = CARD.width - EDGE
    width = min(0.56, (right - EDGE - NAMES - 2 * LAST) / len(turns))
    centres = [EDGE + NAMES + width * (k + 0.5) for k in range(len(turns))]
    band_at, shift_at = right - LAST, right
    for n, x in zip(turns, centres, strict=True):
        out = study.length_text(float(swr.loc[n]["wire_m"].iloc[0]))
        size = _fitted(ax, f"{n:g}", 19, width - 0.06)
        ax.text(x, y - 0.02, f"{n:g}", size=size, weight="bold", va="top", ha="center", color=CYCLE[0].colour)
        ax.text(x, y - 0.33, out, size=_fitted(ax, out, 7, width - 0.04), color=QUIET, va="top", ha="center")
    works = {float(k): v for k, v in where(result.frames["stops"], labels).set_index(COLUMN)["chance"].items()}
    for n, x in zip(turns, centres, strict=True):
        if math.isfinite(works.get(n, math.nan)):
            ax.text(
                x,
                y - 0.45,
                written_as(works[n], "chance").replace("more than", ">").replace("less than", "<"),
                size=7,
                color=QUIET,
                va="top",
                ha="center",
            )
    ax.text(EDGE, y - 0.33, "turns out", size=7, color=QUIET, va="top")
    for x, name in ((band_at, "whole\nband"), (shift_at, "kHz/\nturn")):
        ax.text(x, y - 0.56, name, size=6.5, color=QUIET, va="bottom", ha="right", linespacing=1.1)
    y -= 0.6
    size = min(10.0, step * 42)
    for _, row in rows.iterrows():
        ax.plot((EDGE, right), (y, y), color=RULE, linewidth=0.7)
        middle = y - step / 2
        _row(ax, middle, row, swr, dict(zip(turns, centres, strict=True)), size, min(step, 0.24), width)
        use = row["stop_turns"] if row["served"] else row[COLUMN]
        over = _swr_text(swr.loc[(use, row["segment"])].get("band_swr_worst", math.nan))
        shift = formatted(row["stop_shift_khz_per_turn" if row["served"] else "shift_khz_per_turn"], "+.0f", "")
        shift = shift.replace("-", "\u2212")
        for x, cell in ((band_at, over), (shift_at, shift)):
            ax.text(x, middle, cell, size=size * 0.9, ha="right", va="center_baseline")
        y -= step
    return y - 0.06


def _row(
    ax: Axes, y: float, row: Any, swr: pd.DataFrame, columns: dict[float, float], size: float, high: float, width: float
) -> None:
    """A segment's name, "tuner" if it needs one, and its SWR at each stop, the one to use boxed."""
    served = bool(row["served"])
    room = NAMES - 0.08 - (0.0 if served else 0.36)
    ax.text(EDGE, y, row["segment"], size=_fitted(ax, row["segment"], size, room), va="center_baseline",
            color=INK if served else EMBER)  # fmt: skip
    if not served:
        ax.text(EDGE + NAMES - 0.06, y, "tuner", size=7, ha="right", va="center_baseline", color=EMBER, weight="bold")
    for turns, x in columns.items():
        here = served and turns == row["stop_turns"]
        if here:
            w = min(width - 0.04, 0.42)
            box = Rectangle((x - w / 2, y - high * 0.43), w, high * 0.86, linewidth=0.8)
            box.set(facecolor=TARGET, edgecolor=CYCLE[0].colour)
            ax.add_patch(box)
        cell = _swr_text(swr.loc[(turns, row["segment"])]["swr_worst"])
        ax.text(x, y, cell, size=_fitted(ax, cell, size, width - 0.06), ha="center", va="center_baseline",
                weight="bold" if here else "normal", color=INK if here else QUIET)  # fmt: skip


def _tuner_words(row: Any, study: Any) -> str:
    x = row["radio_x_ohm"]
    return (
        f"{row['segment']}: best at {row[COLUMN]:g} turns ({study.length_text(row['wire_m'])}), SWR "
        f"{_swr_text(row['swr_worst'])}; a tuner meets {row['radio_r_ohm']:.0f} {'+' if x >= 0 else '-'} "
        f"j{abs(x):.0f} ohm at {row['worst_mhz']:.3f} MHz."
    )


def _swr_text(value: float) -> str:
    if not np.isfinite(value):
        return ""
    return f"{value:.1f}" if value < 9.95 else f"{min(value, 99):.0f}"


def _wrapped(words: str, points: float) -> list[str]:
    return textwrap.wrap(words, int((CARD.width - 2 * EDGE) * 72 / (points * 0.53)))


def _lines(ax: Axes, y: float, words: str, points: float, colour: str) -> float:
    for line in _wrapped(words, points):
        ax.text(EDGE, y, line, size=points, color=colour, va="top")
        y -= points * 1.3 / 72
    return y


def _fitted(ax: Axes, words: str, points: float, width: float) -> float:
    """The size, points, at which words are no wider than width, inches; no more than `points`."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    wide = text_size(figure, words, points, weight="bold")[0]
    return points * min(1.0, width / wide) if wide > 0 else points


# --- The cards for the pocket.


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
