"""How the set-up hangs, to scale: side, plan and space on one sheet; or the side views of several set-ups."""

import textwrap
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes

from tautwire.studies.drawing.plan import bar_length, plan_view
from tautwire.studies.drawing.side import SPARE, Shared, is_bent, side_view, soil_words, span
from tautwire.studies.drawing.space import space_view
from tautwire.studies.drawing.style import INK, QUIET, Heading, Look, Sheet, balanced, style
from tautwire.studies.study.setup import Built

MOST, MOST_ON_SLIDE = 9, 6
LINES = 2  # of a panel's name
Box = tuple[float, float, float, float]


def layout_figure(built: Built, heading: Heading = Heading(), *, lengths: str = "metric") -> Sheet:
    """Side view, plan and 3-D view of one set-up, equal scales within each; lengths "metric" or "imperial"."""
    with style(heading.size) as look:
        low, high = span(built)
        flat = (high[1] - low[1]) / max(high[0] - low[0], 1e-6)
        tall = look.name == "print" and flat > 1.2
        side = min(max(7.0 * 0.75 * flat + 1.2, 2.2), 3.6)
        height = None if look.name != "print" else 5.2 if tall else 3.4 + side
        sheet = Sheet(look, height, layout=None)
        sheet.header(heading)
        inches = sheet.get_figheight() * sheet.top
        boxes: tuple[Box, Box, Box]
        if look.name == "print" and not tall:
            low_part = (inches - side) / inches
            boxes = (0, low_part, 1, 1 - low_part), (0, 0, 0.48, low_part), (0.5, 0, 0.5, low_part)
        else:
            part = 0.55 if look.name == "print" else 0.6
            boxes = (0, 0, part, 1), (part, 0.5, 1 - part, 0.5), (part, 0, 1 - part, 0.5)
        words = "from the side" + (", unfolded at the bend" if is_bent(built) else "")
        detail = "full" if look.name == "print" else "main"
        side_view(_panel(sheet, boxes[0], words), built, look, lengths, detail)
        plan_view(_panel(sheet, boxes[1], "from above"), built, look, lengths)
        space_view(_panel(sheet, boxes[2], "in space"), built, look, lengths)
        return sheet


def layout_grid(
    setups: Sequence[tuple[str, Built]],
    heading: Heading = Heading(),
    *,
    lengths: str = "metric",
) -> Sheet:
    """Side views of several set-ups (name, built), the first few, to one scale, with a bar and a person for size."""
    with style(heading.size) as look:
        shown = setups[: MOST if look.name == "print" else MOST_ON_SLIDE]
        if len(shown) < len(setups):
            heading = heading.noting(f"the first {len(shown)} of {len(setups)}")
        spans = [span(built) for _, built in shown]
        low, high = min(s[0][1] for s in spans), max(s[1][1] for s in spans)
        wide = max(s[1][0] - s[0][0] for s in spans)
        pads = np.array(SPARE) * look.small / 72

        head = (1.8 + 1.25 * LINES) * look.type / 72

        def by_width(across: int) -> float:
            return wide / (look.width / across - 1.8 * look.type / 72 - pads[0] - pads[1])

        def scale(across: int, inches: float) -> float:
            height = inches / -(-len(shown) // across) - head - pads[2] - pads[3]
            return float(max(by_width(across), (high - low) / max(height, 0.1)))

        across = min(len(shown), 2)
        row = min(max((high - low) / by_width(across) + pads[2] + pads[3] + head, 1.2), 2.6)
        sheet = Sheet(look, 0.9 + row * -(-len(shown) // across) if look.name == "print" else None, layout=None)
        sheet.header(heading)
        if look.name != "print":
            across = min(range(1, min(len(shown), 3) + 1), key=lambda n: scale(n, sheet.get_figheight() * sheet.top))
        down = -(-len(shown) // across)
        shared = Shared(scale(across, sheet.get_figheight() * sheet.top), low, high)
        fine = replace(look, type=look.type * (0.95 if look.name == "print" else 0.8 if across * down <= 4 else 0.68))
        for k, (name, built) in enumerate(shown):
            box = (k % across / across, 1 - (k // across + 1) / down, 1 / across, 1 / down)
            soil = "" if all(b.ground == built.ground for _, b in shown) else f" ({soil_words(built.ground)})"
            ax = _panel(sheet, box, name, fine, soil)
            point = side_view(ax, built, fine, lengths, "spare", replace(shared, someone=k == 0))
            if k == len(shown) - 1:
                _bar(ax, fine, point, lengths)
        return sheet


def _bar(ax: Axes, look: Look, point: float, lengths: str) -> None:
    """A scale bar in the lower right corner."""
    size, told = bar_length(0.25 * (ax.get_xlim()[1] - ax.get_xlim()[0]), lengths)
    x, y = ax.get_xlim()[1] - look.small * point, ax.get_ylim()[0] + 0.5 * look.small * point
    ax.plot([x - size, x], [y, y], color=INK, lw=look.line * 1.1, solid_capstyle="butt", zorder=6)
    ax.annotate(told, (x - size, y), (-0.4 * look.small, 0), textcoords="offset points",
                ha="right", va="center", size=look.small * 0.9, color=INK)  # fmt: skip


def _panel(sheet: Sheet, box: Box, words: str, look: Look | None = None, more: str = "") -> Axes:
    """Axes in a part of what the header leaves (left, bottom, width, height as fractions), named in its corner.

    more: words added where they are not cut.
    """
    look, top = look or sheet.look, sheet.top
    pad_x, pad_y = 0.9 * look.type / 72 / look.width, 0.6 * look.type / 72 / sheet.get_figheight()
    x, y, w, h = box[0], box[1] * top, box[2], box[3] * top
    wide = max(int((w - 2 * pad_x) * look.width * 72 / (0.75 * look.type)), 10)
    lines = balanced(words + more, wide)
    if len(lines) > LINES:
        lines = textwrap.wrap(words, wide, max_lines=LINES, placeholder=" \u2026")
    lines = lines or [""]
    head = (0.35 + 1.25 * len(lines)) * look.type / 72 / sheet.get_figheight()
    ax = sheet.add_axes((x + pad_x, y + pad_y, w - 2 * pad_x, max(h - 2 * pad_y - head, 0.02)))
    sheet.text(
        x + pad_x,
        y + h - pad_y,
        "\n".join(lines),
        size=look.type,
        weight="bold",
        color=INK if words else QUIET,
        va="top",
    )
    return ax
