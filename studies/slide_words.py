"""The words of slides: the set-up in lines, rows of the table as text, speaker notes with numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from .figure_axes import name_of, value_text, word
from .figure_words import labels_words, shared_words

if TYPE_CHECKING:
    from .result import Result
    from .study import Study

ROOM = 640  # characters of body text on a slide at its size, with at most MOST_LINES sentences
MOST_LINES = 7
LONG = 26  # characters of a table cell beyond which it may wrap


def setup_lines(study: Study) -> list[str]:
    """What is fixed, what is varied, where it is looked at."""
    out = [f"The same in every case: {shared_words(study)}."]
    for axis in study.axes:
        known = axis.numbers or axis.texts
        if axis.numbers is not None and len(known) > 4:
            out.append(
                f"Varied: {name_of(axis)}, from {value_text(axis, min(known))} to {value_text(axis, max(known))} "
                f"in {len(known)} values."
            )
        else:
            out.append(f"Varied: {name_of(axis)}: {', '.join(value_text(axis, v) for v in known)}.")
    out.append(f"Bands: {', '.join(b.name for b in study.bands)} (region {study.spec.region}).")
    return out


def chunks(lines: Sequence[str]) -> Iterator[tuple[list[str], bool]]:
    """Lines in lots that fit a slide, each with whether it continues another."""
    part: list[str] = []
    more = False
    for line in lines:
        if part and (sum(map(len, part)) + len(line) > ROOM or len(part) == MOST_LINES):
            yield part, more
            part, more = [], True
        part.append(line)
    yield part, more


def cell(value: Any, form: str) -> str:
    """A number in its format; "-" for none."""
    if isinstance(value, float) and pd.isna(value):
        return "-"
    return form.format(value)


def spoken_rows(frame: pd.DataFrame, axis_columns: Sequence[str], forms: Mapping[str, str]) -> list[list[str]]:
    """Rows of the table as text: axis values first."""
    return [
        [*(word(row[c]) for c in axis_columns), *(cell(row[c], form) for c, form in forms.items())]
        for row in frame.to_dict("records")
    ]


def column_widths(head: Sequence[str], rows: Sequence[Sequence[str]], total: float) -> list[float]:
    """Widths, in the unit of total (inches), in which no cell wraps if it can be; heads may wrap between words."""
    need = [
        0.24 + 0.125 * max(*(min(len(row[k]), LONG) for row in rows), *map(len, head[k].split()))
        for k in range(len(head))
    ]
    if sum(need) >= total:
        return [n * total / sum(need) for n in need]
    want = [max(0.0, 0.24 + 0.125 * len(h) - n) + 0.2 for h, n in zip(head, need, strict=True)]
    return [n + (total - sum(need)) * w / sum(want) for n, w in zip(need, want, strict=True)]


def notes_of_band(result: Result, band: str, most: int = 24) -> list[str]:
    """One line a case for the speaker: dip, SWR, width, impedance, loss."""
    dips = result.frames.get("dips", pd.DataFrame())
    if dips.empty:
        return []
    rows = dips[dips["band"] == band]
    out = []
    for row in rows.head(most).to_dict("records"):
        case = labels_words(result.study, {str(k): v for k, v in row.items()})
        start = f"{band}, {case}" if case else band
        if pd.isna(row["dip_mhz"]):
            out.append(f"{start}: no dip found; SWR in the band {row['swr_best']:.2f} to {row['swr_worst']:.2f}.")
            continue
        out.append(
            f"{start}: dip {row['dip_mhz']:.3f} MHz, SWR {row['dip_swr']:.2f}, {row['width_2to1_khz']:.0f} kHz below "
            f"2:1, wire's end {row['feed_r_ohm']:.0f} {row['feed_x_ohm']:+.0f}j Ω, loss {row['dip_loss_db']:.2f} dB."
        )
    if len(rows) > most:
        out.append(f"The first {most} of {len(rows)} cases.")
    return out
