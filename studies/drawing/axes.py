"""How the axes of a study show in a figure, and its titles and captions."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize, to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator

from tautwire.model.operating.bands import Band
from tautwire.studies.drawing.style import CYCLE, RAMP, Heading, Look, Mark, Sheet
from tautwire.studies.study.findings import Drawn
from tautwire.studies.study.raw import table_value
from tautwire.studies.study.study import Axis, Study
from tautwire.studies.study.units import FOOT, in_words

# --- How the axes of a study show in a figure: which one runs, which make groups, what colour each value has.


Drawing = TypeVar("Drawing", bound=Figure)
GAPS = {1: 0.1, 2: 0.16, 3: 0.22, 4: 0.3}  # panels side by side -> share of its width between ticks in MHz
FEW = 4  # up to this many numbers get a line mark each; more get a colour ramp


def evenly(count: int, most: int) -> list[int]:
    """At most `most` of the places 0 to count - 1, both ends among them."""
    return sorted({round(x) for x in np.linspace(0, count - 1, min(count, most))})


def running(axes: Sequence[Axis]) -> Axis | None:
    """The axis that runs along a plot or colours its lines: the last with numbers, else the last."""
    numeric = [a for a in axes if a.numbers is not None]
    return (numeric or list(axes) or [None])[-1]  # type: ignore[list-item]


def groups(frame: pd.DataFrame, axes: Sequence[Axis]) -> list[tuple[str, pd.DataFrame]]:
    """The frame parted by every axis but the running one, in order of appearance, each with its name."""
    others = [a for a in axes if a is not running(axes)]
    if not others or frame.empty:
        return [("", frame)]
    return _named(frame, others, lambda *values: ", ".join(a.words(v) for a, v in zip(others, values, strict=True)))


def lines(frame: pd.DataFrame, axis: Axis | None) -> list[tuple[Any, pd.DataFrame]]:
    """The frame parted by the running axis, in order of appearance: (value, rows)."""
    if axis is None:
        return [("", frame)]
    return [(part[axis.column].iloc[0], part) for _, part in _named(frame, [axis], in_words)]


def _named(frame: pd.DataFrame, axes: Sequence[Axis], name: Callable[..., str]) -> list[tuple[str, pd.DataFrame]]:
    """The frame parted by the names of its values on these axes, in order of appearance."""
    found: dict[str, list[pd.DataFrame]] = {}
    for values, part in frame.groupby([a.column for a in axes], sort=False, dropna=False):
        found.setdefault(name(*values), []).append(part)
    return [(words, parts[0] if len(parts) == 1 else pd.concat(parts).sort_index()) for words, parts in found.items()]


@dataclass(frozen=True)
class Colours:
    """The mark of each value of the running axis, and the key that explains it."""

    axis: Axis | None

    @property
    def values(self) -> tuple[Any, ...]:
        if self.axis is None:
            return ("",)
        return self.axis.labels

    @property
    def ramped(self) -> bool:
        return self.axis is not None and self.axis.numbers is not None and len(self.values) > FEW

    @property
    def _scale(self) -> Normalize:
        return Normalize(min(self.values), max(self.values))

    def mark(self, value: Any) -> Mark:
        """Lines of a ramp are solid; beyond six words the marks come round again with other dashes."""
        if self.ramped:
            return Mark(to_hex(RAMP(self._scale(value))), "-", "o")
        known = [in_words(v) for v in self.values]
        i = known.index(in_words(value)) if in_words(value) in known else 0
        return Mark(CYCLE[i % 6].colour, CYCLE[(i + i // 6) % 6].dash, CYCLE[(i + i // 6) % 6].marker)

    def key(self, sheet: Sheet, panels: Any, handles: Sequence[Any] = (), named: bool = True) -> None:
        """A colour bar for a ramp, a row of line samples for words (unless named in the plot), and other handles."""
        rows = list(handles)
        if self.ramped:
            assert self.axis is not None
            bar = sheet.colorbar(ScalarMappable(self._scale, RAMP), ax=panels, fraction=0.05, aspect=32, pad=0.02)
            bar.set_label(self.axis.label)
            bar.outline.set_visible(False)
        elif named and self.axis is not None and len(self.values) > 1:
            samples = []
            for v in self.values:
                m = self.mark(v)
                samples.append(Line2D([], [], **m.line, label=self.axis.value_text(v)))
            rows = samples + rows
        if rows:
            sheet.key(rows)


def panel_shape(count: int, look: Look) -> tuple[int, int]:
    """Rows and columns for that many panels: wide pages take up to three side by side."""
    wide = {1: 1, 2: 2, 3: 3, 4: 2 if look.name == "print" else 4 if look.height < 4 else 2}.get(count, 3)
    return -(-count // wide), wide


def view_of(band: Band, sweep: pd.DataFrame, dips_mhz: Sequence[float]) -> tuple[float, float]:
    """MHz to show for a band: the band and every dip, with room, as far as the sweep goes."""
    known = [d for d in dips_mhz if d == d]
    low, high = min([band.lower / 1e6, *known]), max([band.upper / 1e6, *known])
    room = max(0.15 * (high - low), 0.3 * (band.upper - band.lower) / 1e6, 0.004 * high)
    first, last = float(sweep["f_mhz"].min()), float(sweep["f_mhz"].max())
    return max(low - room, first), min(high + room, last)


def band_ticks(axis: Any, band: Band, gap: float) -> None:
    """Ticks at the band's edges, and at round MHz that are at least `gap`, a share of the axis, away from them."""
    low, high = sorted(axis.get_view_interval())
    apart = gap * (high - low)
    edges = [e for e in (band.lower / 1e6, band.upper / 1e6) if low <= e <= high]
    if len(edges) == 2 and edges[1] - edges[0] < apart:
        edges = []
    ticks = list(edges)
    for tick in MaxNLocator(max(int(1 / gap), 2), steps=[1, 2, 2.5, 5, 10]).tick_values(low, high):
        if low <= tick <= high and all(abs(tick - t) >= apart for t in ticks):
            ticks.append(float(tick))
    axis.set_ticks(sorted(ticks))
    axis.set_major_formatter(FuncFormatter(mhz_text))


class _Feet(MaxNLocator):
    """Ticks at round feet of an axis in metres."""

    def tick_values(self, vmin: float, vmax: float) -> Any:
        return np.asarray(super().tick_values(vmin / FOOT, vmax / FOOT)) * FOOT


def in_lengths(figure: Drawing, lengths: str) -> Drawing:
    """The figure with every axis that is named in metres, "(m)", in feet where `lengths` is "imperial"."""
    for axes in figure.axes if lengths == "imperial" else ():
        for axis in (axes.xaxis, axes.yaxis):
            if "(m)" not in (label := axis.get_label_text()):
                continue
            axis.set_label_text(label.replace("(m)", "(ft)"))
            if axis.get_scale() == "linear":
                axis.set_major_locator(_Feet(5, steps=[1, 2, 5, 10]))
            size = abs if axis.get_label_text().startswith("distance") else float
            axis.set_major_formatter(FuncFormatter(lambda x, _, size=size: f"{size(round(x / FOOT, 1)):g}"))
    return figure


def mhz_text(f: float, _: object = None) -> str:
    """MHz with the digits that tell neighbours apart, and no more: "7.05", "14.175"."""
    return f"{f:.3f}".rstrip("0").rstrip(".")


def shortened(name: str, most: int = 24) -> str:
    """A long name with its beginning and its end, which tells it from others.

    >>> shortened("inverted V over the third branch of the old oak, number 2")
    'inverted V… oak, number 2'
    """
    return name if len(name) <= most else f"{name[: most - 14].rstrip()}\u2026{name[-14:]}"


def band_title(band: Band) -> str:
    """ "20 m, 14 to 14.35 MHz"."""
    return f"{band.name}, {mhz_text(band.lower / 1e6)} to {mhz_text(band.upper / 1e6)} MHz"


# --- Titles and captions: what was asked, and the set-up that all cases share, in words.


SPOKEN = (
    ("antenna.layout", "{}"),
    ("antenna.length", "{} of wire"),
    ("antenna.slope", "slope {}"),
    ("antenna.height", "height {}"),
    ("antenna.apex_height", "apex at {}"),
    ("antenna.end_height", "far end at {}"),
    ("antenna.feed_height", "feed at {}"),
    ("counterpoise.length", "counterpoise {}"),
    ("coax.length", "coax {}"),
    ("site.soil", "{}"),
)


def _spoken(value: Any) -> str:
    return in_words(value).replace("_", " ").replace(" deg", "°")


def shared_words(study: Study) -> str:
    """The main figures of the set-up that are the same in every case: "sloper, 20.1 m of wire, feed at 1.2 m".

    What a study that wants "choose" lets vary is left out.
    """
    cases = study.cases()
    vary = study.options["choose"].vary if "choose" in study.spec.want else ()
    free = {path for path, _ in SPOKEN for key in vary if f"{path}.".startswith(f"{key}.")}
    first, parts = cases[0].raw, []
    for path, form in SPOKEN:
        if path in free:
            continue
        try:
            value = table_value(first, path)
            same = all(table_value(c.raw, path) == value for c in cases)
        except (IndexError, ValueError):
            continue
        if value is not None and same:
            parts.append(form.format(_spoken(value)))
    if all(table_value(c.raw, "site.soil") is None for c in cases) and "site.soil" not in free:
        parts.append("average soil")
    return ", ".join(parts)


def title_of(study: Study) -> str:
    return study.spec.question or study.name


def heading_of(study: Study, size: str | Look = "print", title: Callable[[Drawn], str] | None = None) -> Heading:
    """What stands above a figure of all cases of a study: what it says, else what was asked; then the set-up."""

    def said(drawn: Drawn) -> str:
        return (title(drawn) if title else "") or title_of(study)

    return Heading(said, shared_words(study), size)
