"""What is wrong with boxes of figures and slides: words over each other, cut, more than their box holds."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure
from PIL import ImageFont
from pptx import Presentation

from tautwire.studies.drawing.labels import outside, overlaps, struck

FONT = str(Path(__import__("matplotlib").get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")
NARROWER = 0.88  # of a slide's own type against this one, which is wide; from memory
LINE = 1.2  # line height in type sizes
EMU = 914400  # an inch


def figure_faults(figure: Figure) -> list[str]:
    """Pairs of words that overlap, words beyond the edge, words that a line runs through."""
    cut, crossed = [f"{w!r} cut" for w in outside(figure)], [f"{w!r} struck" for w in struck(figure)]
    return [f"{a!r} over {b!r}" for a, b in overlaps(figure)] + cut + crossed


def slide_faults(deck: Path) -> Iterator[str]:
    """Texts that need more room than their box has, boxes beyond the slide, boxes over each other."""
    show: Any = Presentation(str(deck))
    for k, slide in enumerate(show.slides, 1):
        boxes = []
        for shape in slide.shapes:
            if shape.has_text_frame and shape.text_frame.text.strip():
                high = _needed(shape)
                if high > shape.height / EMU * 1.02:
                    yield f"slide {k}: {shape.text_frame.text[:40]!r} needs {high:.2f} in of {shape.height / EMU:.2f}"
            if shape.left < 0 or shape.top < 0 or shape.left + shape.width > show.slide_width + 1:
                yield f"slide {k}: a box beyond the sides"
            if shape.top + shape.height > show.slide_height + 1:
                yield f"slide {k}: a box beyond the foot"
            if shape.has_text_frame and shape.text_frame.text.strip() or shape.shape_type == 13:
                boxes.append((shape.left, shape.top, shape.left + shape.width, shape.top + shape.height))
        for i, a in enumerate(boxes if k > 1 else []):
            for b in boxes[i + 1 :]:
                wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
                if wide > 0.05 * EMU and high > 0.1 * EMU:
                    yield f"slide {k}: two boxes overlap by {high / EMU:.2f} in"


def _needed(shape: Any) -> float:
    """Inches that a shape's text takes, wrapped."""
    room, high = shape.width / EMU - 0.2, 0.1
    for paragraph in shape.text_frame.paragraphs:
        for run in paragraph.runs[:1]:
            points = run.font.size.pt
            wide = ImageFont.truetype(FONT, 100).getlength(paragraph.text) / 100 * points / 72 * NARROWER
            high += max(1, math.ceil(wide * 1.04 / room)) * points * LINE / 72
            high += (paragraph.space_after.pt if paragraph.space_after else 0) / 72
    return high
