"""How the set-up hangs, to scale: side, plan and space on one sheet; or the side views of several set-ups."""

import textwrap
from collections.abc import Sequence
from dataclasses import replace

from matplotlib.axes import Axes

from tautwire.studies.drawing.plan import plan_view
from tautwire.studies.drawing.side import is_bent, side_view, soil_words, span
from tautwire.studies.drawing.space import space_view
from tautwire.studies.drawing.style import INK, QUIET, Heading, Sheet, style
from tautwire.studies.study.setup import Built

MOST = 9
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
    """Side views of several set-ups (name, built), the first nine, each to its own scale, lengths written in."""
    shown = setups[:MOST]
    if len(shown) < len(setups):
        heading = heading.noting(f"the first {MOST} of {len(setups)}")
    with style(heading.size) as look:
        across = min(len(shown), 2 if len(shown) in (2, 4) or look.name == "print" else 3)
        down = -(-len(shown) // across)
        fine = replace(look, type=look.type * (0.95 if look.name == "print" else 0.8 if across * down <= 4 else 0.68))
        sheet = Sheet(look, 1.0 + 2.3 * down if look.name == "print" else None, layout=None)
        sheet.header(heading)
        for k, (name, built) in enumerate(shown):
            row, column = divmod(k, across)
            box = (column / across, 1 - (row + 1) / down, 1 / across, 1 / down)
            soil = "" if all(b.ground == built.ground for _, b in shown) else f" ({soil_words(built.ground)})"
            side_view(_panel(sheet, box, name + soil), built, fine, lengths, "spare")
        return sheet


def _panel(sheet: Sheet, box: Box, words: str) -> Axes:
    """Axes in a part of what the header leaves (left, bottom, width, height as fractions), named in its corner."""
    look, top = sheet.look, sheet.top
    pad_x, pad_y = 0.9 * look.type / 72 / look.width, 0.6 * look.type / 72 / sheet.get_figheight()
    x, y, w, h = box[0], box[1] * top, box[2], box[3] * top
    lines = textwrap.wrap(words, max(int((w - 2 * pad_x) * look.width * 72 / (0.7 * look.type)), 10)) or [""]
    head = (0.35 + 1.25 * len(lines)) * look.type / 72 / sheet.get_figheight()
    ax = sheet.add_axes((x + pad_x, y + pad_y, w - 2 * pad_x, h - 2 * pad_y - head))
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
