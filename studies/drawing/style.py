"""The look of every figure: colours, line marks, sizes, and a figure that saves the same bytes each time.

Figures are made without matplotlib's global state (no pyplot), so they work in any process. Wrap the making in
`with style("print") as look:` and make a Sheet(look); a Sheet keeps its look when it is drawn or saved later.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from PIL import Image

from tautwire.model.errors import InputError
from tautwire.studies.study.findings import Cell, Drawn, Title

# --- The look of every figure.


STYLE_FILE = Path(__file__).with_name("tautwire.mplstyle")


@dataclass(frozen=True)
class Mark:
    """How one line is told from the others: colour, dash pattern and marker all differ."""

    colour: str
    dash: Any
    marker: str

    @property
    def line(self) -> dict[str, Any]:
        """Keywords for a line."""
        return {"color": self.colour, "linestyle": self.dash}


# Apart by 30 or more in CIE Lab under normal and simulated protan, deutan and tritan sight (tests/test_figures.py).
CYCLE = (
    Mark("#0f4a4a", "-", "o"),  # pine
    Mark("#e06c0a", (0, (6, 1.6)), "s"),  # ember
    Mark("#5a0f86", (0, (3, 1.4)), "^"),  # plum
    Mark("#3a8fe6", (0, (6, 1.6, 1, 1.6)), "D"),  # lake
    Mark("#7c2a00", (0, (1, 1.2)), "v"),  # bark
    Mark("#93866f", (0, (9, 1.6, 1, 1.6, 1, 1.6)), "P"),  # stone
)
INK, QUIET, RULE, TARGET, SOIL = "#1c2b2c", "#566463", "#dde3e0", "#e4efe8", "#efe7d8"
AHEAD, BACK, LOBE = "#e8862b", "#8a3200", "#cfe2f8"  # current one way and the other, light and dark; a pattern
ROLE_MARKS = {"wire": CYCLE[0], "counterpoise": CYCLE[2], "coax": CYCLE[1], "nearby": CYCLE[5]}
ROLE_INKS = {"wire": "#0f4a4a", "counterpoise": "#5a0f86", "coax": "#9c4600", "nearby": QUIET}  # dark enough for words
MODE_COLOURS = {"CW": "#23272e", "digital": "#7f8791", "phone": "#c3c9cf"}  # greys: no line has them
WATER = "#b9d7e6"
RAMP = LinearSegmentedColormap.from_list("dusk", ["#e39a33", "#8e8a3f", "#3f7059", "#0b3838"])  # light to dark


@dataclass(frozen=True)
class Look:
    """A size: width and height in inches, type in points, line width in points, dots per inch.

    header: whether the figure carries its own title; a slide has its own.
    """

    name: str
    width: float
    height: float
    type: float
    line: float
    dpi: int
    header: bool = True
    rc: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def small(self) -> float:
        return self.type * 0.86


LOOKS = {
    "print": Look("print", 7.0, 4.4, 8.5, 1.4, 200),
    "talk": Look("talk", 40 / 3, 7.5, 18.0, 2.8, 144),
    "slide": Look("slide", 12.3, 5.5, 16.5, 2.6, 144, header=False),
}


def look_named(size: str | Look) -> Look:
    """The Look of that name; a Look is returned as it is. Raises InputError."""
    if isinstance(size, Look):
        return size
    if size not in LOOKS:
        raise InputError("size", repr(size), f"one of {', '.join(LOOKS)}")
    return LOOKS[size]


def _rc(look: Look) -> dict[Any, Any]:
    base: dict[Any, Any] = dict(matplotlib.rc_params_from_file(STYLE_FILE, use_default_template=False))
    return base | {
        "font.size": look.type,
        "axes.labelsize": look.type,
        "axes.titlesize": look.type * 1.08,
        "axes.titlepad": look.type * 0.6,
        "xtick.labelsize": look.small,
        "ytick.labelsize": look.small,
        "legend.fontsize": look.small,
        "lines.linewidth": look.line,
        "lines.markersize": look.type * 0.55,
        "axes.linewidth": look.line * 0.5,
        "xtick.major.width": look.line * 0.5,
        "ytick.major.width": look.line * 0.5,
        "figure.dpi": look.dpi,
        "savefig.dpi": look.dpi,
    }


@contextmanager
def style(size: str | Look) -> Iterator[Look]:
    """The look of that size, in force inside the block. Raises InputError for an unknown size."""
    look = look_named(size)
    look = replace(look, rc=_rc(look))
    with matplotlib.rc_context(look.rc):
        yield look


@dataclass(frozen=True)
class Heading:
    """What stands above a figure, and its size. title, caption: "" for none; a title may be made of what the figure
    draws. size: a name in LOOKS, or a Look. setups: numbers of the cases whose set-up is drawn."""

    title: str | Callable[[Drawn], str] = ""
    caption: str = ""
    size: str | Look = "print"
    setups: tuple[int, ...] = ()

    def noting(self, words: str) -> Heading:
        """With words, such as what is left out, in brackets after the caption."""
        return replace(self, caption=f"{self.caption} ({words})".lstrip())

    def then(self, words: str) -> Heading:
        """With words after the caption."""
        return replace(self, caption="; ".join(filter(None, (self.caption, words))))

    def under(self, words: str) -> Heading:
        """With words before the caption."""
        return replace(self, caption="; ".join(filter(None, (words, self.caption))))


_KEPT = re.compile(
    r"(\d) (?=(?:[kM]?Hz|cm|mm|m|ft|in|km|mi|W|V|A|dBi?|k?\u03a9|mS/m|min|turns?)\b|%|\u03a9)"
    r"|\b(slope|SWR|most|below|least) (?=\d)"
)
"""A number and its unit, or a name and its number: no line breaks between them"""


def balanced(words: str, room: int) -> list[str]:
    """Lines of at most `room` characters, about equally long; a number and its unit stay together.

    >>> balanced("at its highest the SWR is 1.5, on 20 m with slope 30 degrees", 40)
    ['at its highest the SWR is 1.5,', 'on 20 m with slope 30 degrees']
    """
    kept = _KEPT.sub(lambda found: found[0][:-1] + "\u00a0", words)
    lines = textwrap.wrap(kept, room)
    least = max(map(len, lines), default=0)
    for width in range(least - 1, len(kept) // max(len(lines), 1) - 1, -1):
        closer = textwrap.wrap(kept, max(width, 1), break_long_words=False)
        if len(closer) > len(lines) or max(map(len, closer)) > width:
            break
        lines = closer
    return [line.replace("\u00a0", " ") for line in lines]


PACKED = 3  # zlib's level: half the time of its usual 6 for a tenth more bytes
LEGEND_SAMPLE = 7  # characters that the sample of a line and the gap beside it are wide


class Sheet(Figure):
    """A figure with a header that keeps its look when drawn later and saves without dates or program names."""

    def __init__(self, look: Look, height: float | None = None, layout: str | None = "constrained") -> None:
        """height: inches, instead of the look's own. layout: None to place axes by hand."""
        super().__init__(figsize=(look.width, height or look.height), layout=layout)  # type: ignore[arg-type]
        self.look = look
        self.top = 1.0
        """where the header ends, as a fraction of the height"""
        self.title = self.caption = ""
        """title and caption, also where the look has no header"""
        self.drawn = Drawn()
        """cells of the result's tables that it draws"""
        self.placed = False
        FigureCanvasAgg(self)

    def draws(self, table: str, rows: Iterable[int], *columns: str) -> None:
        """Notes which cells the figure draws, before `header`. rows: their numbers, such as a frame's index."""
        self.drawn |= {Cell(table, int(i), column) for i in rows for column in columns}

    def header(self, heading: Heading) -> None:
        """Title and caption in the upper left corner, wrapped to the width; the axes get the remainder.

        A title with a number that the figure does not draw is refused: there is none then.
        """
        look, caption = self.look, heading.caption
        self.draws("setup", heading.setups, "wire_m", "top_m")
        title = heading.title if isinstance(heading.title, str) else heading.title(self.drawn)
        if not self.drawn.shows(title):
            title = Title("")
        self.title, self.caption = title, caption
        if not look.header or not (title or caption):
            return
        inches = self.get_figheight()
        y, edge = inches - 0.9 * look.type / 72, 0.9 * look.type / 72
        for words, points, weight, colour in (
            (title, look.type * 1.3, "bold", INK),
            (caption, look.type, "normal", QUIET),
        ):
            room = (look.width - 2 * edge) * 72 / (points * (0.64 if weight == "bold" else 0.53))
            for line in balanced(words, int(room)):
                self.text(edge / look.width, y / inches, line, size=points, weight=weight, color=colour, va="top")
                y -= points * 1.28 / 72
        self.top = (y - 0.3 * look.type / 72) / inches
        engine: Any = self.get_layout_engine()
        if engine is not None:
            engine.set(rect=(0, 0, 1, self.top))

    @property
    def alternative(self) -> str:
        """What it says and shows, for those who do not see it."""
        return ". ".join(words.strip().rstrip(".") for words in (self.title, self.caption) if words.strip())

    def key(self, handles: Sequence[Any], **more: Any) -> None:
        """A legend below the axes, in as many columns as the width holds, at most four."""
        longest = max(len(str(row.get_label())) for row in handles) + LEGEND_SAMPLE
        fits = int(self.look.width * 72 / (0.54 * self.look.small) / longest)
        columns = max(1, min(len(handles), 4, fits))
        options = {"handlelength": 2.6, "columnspacing": 1.6, **more}
        self.legend(handles=list(handles), loc="outside lower left", ncols=columns, **options)

    def place(self) -> None:
        """Give the axes their places, as drawing would; what is saved later has them.

        Axes without a name need no place for it: to look for one takes a tenth of the time of drawing.
        """
        for axis in (axis for ax in self.axes for axis in (ax.xaxis, ax.yaxis)):
            if not axis.get_label_text():
                axis.set_label_coords(0.5, 0.0)
        if (engine := self.get_layout_engine()) is not None:
            self.placed = True
            with matplotlib.rc_context(self.look.rc):
                engine.execute(self)

    def draw(self, renderer: Any) -> None:
        with matplotlib.rc_context(self.look.rc):
            super().draw(renderer)

    def savefig(self, fname: Any, **options: Any) -> None:
        """As Figure.savefig, without dates and program names unless `metadata` asks for them.

        The axes are placed once: what is saved later, in any format, has the places of the first.
        """
        kind = options.get("format") or Path(str(fname)).suffix.lstrip(".").lower() or "png"
        plain: dict[str, dict[str, None]] = {
            "svg": {"Date": None, "Creator": None},
            "png": {"Software": None},
            "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
        }
        options.setdefault("metadata", plain.get(kind))
        if kind == "png":
            options.setdefault("pil_kwargs", {"compress_level": PACKED})
        with matplotlib.rc_context(self.look.rc):
            if not self.placed:
                self.place()
            self.set_layout_engine(None)
            super().savefig(fname, **options)

    def pixels(self) -> np.ndarray:
        """The drawn figure, (height, width, 3) bytes."""
        canvas = FigureCanvasAgg(self)
        canvas.draw()
        return np.asarray(canvas.buffer_rgba())[..., :3].copy()


# --- Frames as a GIF that runs there and back without a jump.


STEP, HOLD = 350, 1400  # milliseconds a frame, and at either end


def there_and_back(frames: Sequence[np.ndarray], colours: int = 128) -> bytes:
    """The file's content: frames (height, width, 3) bytes each, in that many colours in all."""
    pictures = [Image.fromarray(f) for f in frames]
    palette = pictures[-1].quantize(colours, method=Image.Quantize.FASTOCTREE)
    small = [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]
    loop = small + small[-2:0:-1]
    times = [STEP] * len(loop)
    times[0] = times[len(small) - 1] = HOLD
    held = io.BytesIO()
    loop[0].save(held, "GIF", save_all=True, append_images=loop[1:], duration=times, loop=0, optimize=True)
    return held.getvalue()
