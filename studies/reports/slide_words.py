"""The words of slides: the set-up in lines, rows of the table as text, speaker notes with numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from tautwire.studies.drawing.words import shared_words
from tautwire.studies.reports.answers import main_want, verdicts, written
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.cells import formatted, in_words
from tautwire.studies.study.findings import Role, of_role
from tautwire.studies.wants.registry import want_named

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

ROOM = 640  # characters of body text on a slide at its size, with at most MOST_LINES sentences
MOST_LINES = 7
MOST_VALUES = 10  # words of an axis that are named one by one
BULLETS, BULLET_ROOM = 6, 900  # sentences and characters of what to take away
LONG = 26  # characters of a table cell beyond which it may wrap

TURN_HEAD = ("segment", "turns", "wire (m)", "SWR across it", "SWR one turn off", "kHz a turn", "stop")


def answer_notes(result: Result) -> list[str]:
    """What to say to the slide that answers: each want's verdict, then what it rests on."""
    said = [words.text(result.study.lengths) for words in verdicts(result).values()]
    return ["Say this first:", *said, f"It rests on this. {setup_words(result.study)}"]


def take_away(result: Result) -> list[str]:
    """What to take away, on one slide: each want's verdict, then what else the main want found, cautions first and
    details last, as far as there is room."""
    main = main_want(result)
    heads = [words.text(result.study.lengths) for words in verdicts(result).values()]
    found = want_named(main).findings(result)
    roles: tuple[Role, ...] = ("caution", "answer", "next", "detail")
    others = written(result, [f for role in roles for f in of_role(found, role)])
    out = heads[:BULLETS]
    for line in others:
        if len(out) < BULLETS and sum(map(len, [*out, line])) <= BULLET_ROOM:
            out.append(line)
    return out


def setup_lines(study: Study) -> list[str]:
    """What is fixed, what is varied, where it is looked at."""
    lines = [f"The same in every case: {shared_words(study)}."]
    for axis in study.axes:
        known = axis.labels
        if axis.numbers is not None and len(known) > 4:
            lines.append(
                f"Varied: {axis.name}, from {axis.value_text(min(known))} to {axis.value_text(max(known))} "
                f"in {len(known)} values."
            )
        elif len(known) > MOST_VALUES:
            ends = f"{axis.value_text(known[0])} to {axis.value_text(known[-1])}"
            lines.append(f"Varied: {axis.name}: {len(known)} of them, {ends}.")
        else:
            lines.append(f"Varied: {axis.name}: {', '.join(axis.value_text(v) for v in known)}.")
    if "choose" in study.spec.want:
        from tautwire.studies.wants.choose.problem import read_problem

        lines.append(
            f"May vary: {'; '.join(k.range_words(study.lengths) for k in read_problem(study, study.raw).knobs)}."
        )
    lines.append(f"Bands: {', '.join(b.name for b in study.bands)} (region {study.spec.region}).")
    return lines


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


def spoken_rows(frame: pd.DataFrame, axis_columns: Sequence[str], forms: Mapping[str, str]) -> list[list[str]]:
    """Rows of the table as text: axis values first."""
    return [
        [*(in_words(row[c]) for c in axis_columns), *(formatted(row[c], form) for c, form in forms.items())]
        for row in frame.to_dict("records")
    ]


def column_widths(head: Sequence[str], rows: Sequence[Sequence[str]], total: float) -> tuple[list[float], bool]:
    """Widths, in the unit of total (inches), in which no cell wraps if it can be, and whether one does; heads may wrap
    between words."""
    for longest in (math.inf, LONG):
        need = [
            0.24 + 0.125 * max(*(min(len(row[k]), longest) for row in rows), *map(len, head[k].split()))
            for k in range(len(head))
        ]
        if sum(need) < total:
            want = [max(0.0, 0.24 + 0.125 * len(h) - n) + 0.2 for h, n in zip(head, need, strict=True)]
            spare = total - sum(need)
            wraps = any(len(cell) > longest for row in rows for cell in row)
            return [n + spare * w / sum(want) for n, w in zip(need, want, strict=True)], wraps
    return [n * total / sum(need) for n in need], True


def turn_rows(rows: pd.DataFrame) -> list[list[str]]:
    """Rows of want_turns' table "turns" under TURN_HEAD."""
    return [
        [
            row["segment"],
            f"{row['turns_out']:g}",
            f"{row['wire_m']:.2f}",
            f"{row['swr_best']:.1f} to {row['swr_worst']:.1f}",
            formatted(row["swr_neighbour"], ".1f"),
            formatted(row["stop_shift_khz_per_turn" if row["served"] else "shift_khz_per_turn"], "+.0f"),
            formatted(row["stop_turns"], "g", "needs a tuner"),
        ]
        for row in rows.to_dict("records")
    ]


def notes_of_band(result: Result, band: str, most: int = 24) -> list[str]:
    """One line a case for the speaker: dip, SWR, width, impedance, loss."""
    dips = result.frames.get("dips", pd.DataFrame())
    if dips.empty:
        return []
    rows = dips[dips["band"] == band]
    lines = []
    for row in rows.head(most).to_dict("records"):
        case = result.study.words_of({str(k): v for k, v in row.items()})
        start = f"{band}, {case}" if case else band
        if pd.isna(row["dip_mhz"]):
            lines.append(f"{start}: no dip found; SWR in the band {row['swr_best']:.2f} to {row['swr_worst']:.2f}.")
            continue
        lines.append(
            f"{start}: dip {row['dip_mhz']:.3f} MHz, SWR {row['dip_swr']:.2f}, {row['width_2to1_khz']:.0f} kHz below "
            f"2:1, wire's end {row['feed_r_ohm']:.0f} {row['feed_x_ohm']:+.0f}j Ω, loss {row['dip_loss_db']:.2f} dB."
        )
    if len(rows) > most:
        lines.append(f"The first {most} of {len(rows)} cases.")
    return lines
