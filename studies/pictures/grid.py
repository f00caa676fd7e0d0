"""Panels of the one picture on a sheet: all of one size, to one scale, named, with a key."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from tautwire.studies.drawing.style import INK, QUIET, Heading, Look, Sheet, style
from tautwire.studies.pictures.panel import (
    AHEAD,
    BACK,
    DASHES,
    LOBE,
    LOBE_EDGE,
    Frame,
    panel,
)
from tautwire.studies.pictures.seen import Seen
from tautwire.studies.study.findings import Cell, Drawn

NAME_LINES = 3
TALLEST = 2.6  # inches of a panel on a page
MOST_FULL = 2  # rows of a slide whose panels have room for all their numbers
MOST_ACROSS = 4  # panels side by side where their number is free


@dataclass(frozen=True)
class Grid:
    """Where the panels are: inches from the left and the top edge; strip: inches kept for words above each drawing."""

    across: int
    down: int
    left: float
    top: float
    wide: float
    drawn: float
    strip: float
    gap_x: float
    gap_y: float

    @property
    def high(self) -> float:
        return self.drawn + self.strip

    @property
    def body(self) -> float:
        return self.down * self.high + (self.down - 1) * self.gap_y

    def place(self, k: int) -> tuple[float, float]:
        """Left edge and top edge of a panel."""
        row, column = divmod(k, self.across)
        return self.left + column * (self.wide + self.gap_x), self.top + row * (self.high + self.gap_y)


def sheet_of(
    views: Sequence[Seen],
    names: Sequence[str],
    bands: Sequence[str],
    heading: Heading,
    words: Callable[[Seen], list[str]],
    frame: Frame,
    foot: float = 0.0,
    drawn: Iterable[Cell] = (),
) -> Sheet:
    """A sheet of panels.

    views: row by row. names: of columns; without bands, of panels. bands: names of rows. words: what stands above each
    drawing, the first line bold. frame: the scale. foot: inches left free above the key. drawn: the cells that words
    and drawings show.
    """
    cells = Drawn(drawn)
    with style(heading.size) as look:
        point = look.type / 72
        across, head, key = len(names) if bands else 0, _head(look, heading, cells), 2.2 * point + foot
        told = [words(v) for v in views]
        if look.name != "print" and len(bands) > MOST_FULL:
            told = [lines[:1] for lines in told]
        strip = 1.3 * look.small / 72 * max(map(len, told))
        wide = (look.width - 2 * point) / max(across, min(len(names), 3))
        for _ in range(3):  # names are wrapped to the panels, which are as wide as the names leave them high
            shown = [_wrapped(n, look, wide) for n in names]
            name_high = point * (1.25 * max(n.count("\n") + 1 for n in shown) + 0.4)
            room = None if look.name == "print" else look.height - head - key - name_high
            grid = _arranged(len(views), across, frame, look, room, name_high, strip)
            wide = grid.wide
        height = head + name_high + grid.body + key + 0.4 * point if look.name == "print" else look.height
        grid = replace(grid, top=head + name_high + max(0.0, (height - head - key - name_high - grid.body) / 2))
        sheet = Sheet(look, height, layout=None)
        sheet.drawn |= cells
        sheet.header(heading)
        for k, view in enumerate(views):
            _cell(sheet, grid, k, view, frame, told[k])
            if not bands or k < grid.across:
                _name(sheet, grid, k, shown[k])
            if bands and k % grid.across == 0:
                _band_name(sheet, grid, k, bands[k // grid.across])
        _key(sheet, views, look)
        return sheet


def _head(look: Look, heading: Heading, drawn: Drawn) -> float:
    """Inches that the header takes."""
    tall = Sheet(look, 20, layout=None)
    tall.drawn |= drawn
    tall.header(heading)
    return (1 - tall.top) * 20


def _wrapped(name: str, look: Look, inches: float) -> str:
    """A name in at most NAME_LINES lines of that width."""
    room = max(int(inches * 72 / (0.7 * look.type)), 8)
    lines = textwrap.wrap(name, room) or [""]
    if len(lines) > NAME_LINES:
        lines = [*lines[: NAME_LINES - 1], lines[NAME_LINES - 1][: room - 1].rstrip(" ,") + "\u2026"]
    return "\n".join(lines)


def _arranged(
    count: int, across: int, frame: Frame, look: Look, room: float | None, name_high: float, strip: float
) -> Grid:
    """Panels as large as the page's width allows, and on a slide the room under its header."""
    point = look.type / 72
    left, right, gap_x = (2.6 if across else 0.8) * point, 0.8 * point, 0.5 * point
    gap_y = 0.5 * point if across else name_high + 0.4 * point
    page = min(count, 3 if count != 4 else 2)
    choices = [across] if across else [page] if room is None else list(range(1, min(count, MOST_ACROSS) + 1))
    found = []
    for n in choices:
        down = -(-count // n)
        wide = (look.width - left - right - (n - 1) * gap_x) / n
        most = TALLEST if room is None else (room - (down - 1) * gap_y) / down - strip
        wide = min(wide, most / frame.aspect)
        start = left + (look.width - left - right - n * wide - (n - 1) * gap_x) / 2
        found.append(Grid(n, down, start, 0.0, wide, wide * frame.aspect, strip, gap_x, gap_y))
    return max(found, key=lambda grid: grid.wide)


def _cell(sheet: Sheet, grid: Grid, k: int, view: Seen, frame: Frame, words: Sequence[str]) -> None:
    (x, y), wide, high = grid.place(k), sheet.get_figwidth(), sheet.get_figheight()
    ax = sheet.add_axes((x / wide, 1 - (y + grid.high) / high, grid.wide / wide, grid.high / high))
    metres = grid.strip * 2 * frame.half / grid.wide
    panel(ax, view, replace(frame, top=frame.top + metres), sheet.look, words, ring=k == 0)


def _name(sheet: Sheet, grid: Grid, k: int, words: str) -> None:
    x, y = grid.place(k)
    at = (x + grid.wide / 2) / sheet.get_figwidth(), 1 - (y - 0.2 * sheet.look.type / 72) / sheet.get_figheight()
    font: dict[str, Any] = {"size": sheet.look.type, "weight": "bold", "color": INK, "linespacing": 1.15}
    sheet.text(*at, words, ha="center", va="bottom", **font)


def _band_name(sheet: Sheet, grid: Grid, k: int, words: str) -> None:
    look, y = sheet.look, grid.place(k)[1] + grid.strip + grid.drawn / 2
    x = grid.left - 1.1 * look.type / 72
    sheet.text(x / sheet.get_figwidth(), 1 - y / sheet.get_figheight(), words, size=look.type * 1.05, weight="bold",
               color=INK, ha="center", va="center", rotation=90)  # fmt: skip


def _key(sheet: Sheet, views: Sequence[Seen], look: Look) -> None:
    """What colours and dashes mean, in one row at the foot."""
    roles = {c.role for v in views for c in v.built.structure.conductors}
    rows: list[Any] = [
        Patch(facecolor=AHEAD, label="current"),
        Patch(facecolor=BACK, label="current the other way"),
        Patch(facecolor=LOBE, edgecolor=LOBE_EDGE, label="gain"),
        *(Line2D([], [], color=INK, lw=look.line, ls=DASHES[r], label=r) for r in DASHES if r in roles),
    ]
    sheet.legend(handles=rows, loc="lower left", ncols=len(rows), handlelength=1.6, columnspacing=1.2, frameon=False,
                 bbox_to_anchor=(0, 0), borderaxespad=0.2, labelcolor=QUIET)  # fmt: skip
