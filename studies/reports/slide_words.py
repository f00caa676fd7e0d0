"""The words of slides: the set-up in lines, rows of the table as text, speaker notes with numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import pandas as pd

from tautwire.studies.drawing.words import shared_words
from tautwire.studies.reports.answers import findings, main_want, verdicts, written
from tautwire.studies.study.cells import formatted, in_words
from tautwire.studies.study.findings import Role, Row, band_name, capitalised, case_name, of_role, say, table_of
from tautwire.studies.wants.registry import want_named

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

ROOM = 640  # characters of body text on a slide at its size, with at most MOST_LINES sentences
MOST_LINES = 7
MOST_VALUES = 10  # words of an axis that are named one by one
BULLETS, BULLET_ROOM = 6, 900  # sentences and characters of what to take away
LONG = 26  # characters of a table cell beyond which it may wrap

COLUMNS = {
    "band": ("band", ""),
    "dip_mhz": ("dip (MHz)", ".3f"),
    "dip_give_khz": ("\u00b1 (kHz)", ".0f"),
    "dip_swr": ("SWR at dip", ".2f"),
    "width_2to1_khz": ("below 2:1 (kHz)", ".0f"),
    "swr_worst": ("worst SWR in band", ".1f"),
    "dip_loss_db": ("coax + transformer loss (dB)", ".2f"),
}
TURN_HEAD = ("segment", "turns", "wire (m)", "SWR across it", "SWR one turn off", "kHz a turn", "stop")


LEAST_SPOKEN, MOST_SPOKEN = 40, 90  # words of the notes of a slide
OPENING = (
    "Read the question aloud and let people guess the answer before you go on; ask for a number, not for a yes or no. "
    "Say that the answer comes on the third slide."
)
SET_UP = (
    "Show with your hands how the wire hangs and where the feed is. Name what stays the same first, then what is "
    "changed, and point at it in the drawing."
)
PICTURE_NOTE = (
    "Orange is current on the wire, brown is current the other way; blue is how much goes which way, seen from the "
    "side. All panels have one scale, and the person is 1.75 m tall. Follow one panel with your finger first, then go "
    "from panel to panel and say what changes."
)
HOW_TO_READ = {
    "dip": "Up and down is where the SWR dips. Ask whether the change would matter in the band before you read it out.",
    "swr": "To the right is frequency, upwards is the SWR at the radio; the upright lines are the edges of the band.",
}
LAST_CASE = "This is the other end of what was tried, drawn to the same rules as the first case."
TABLE = "Nobody reads a table from the back row: find one row that the audience cares about and read it out."
SURE = (
    "Say what plus-minus means: two antennas built alike by usual care differ by this much. Differences between two "
    "cases of one set-up are surer than each number alone, as they share most of what is not known."
)
FIELD = "Say what you would do tomorrow in the park, in the order of what costs least effort."
CAUTION = (
    "Take your time with this one, also with people who have heard it before. Ask who has had a throw line come back "
    "at them, or a branch come down, and say where the nearest power line to your usual place runs."
)
SPARE = (
    "All of this is computed with the method of moments over real soil; nothing on this slide was measured.",
    "A wire of your own hangs a little differently: expect the same changes, and other numbers to begin with.",
    "Anybody can repeat this: one file describes the study, and one command computes it.",
    "Every number is a cell of a table in the study's folder, so that questions can be settled afterwards.",
    "If somebody has measured the same, ask for the sweep: a fit would tell what differs.",
    "Leave the slide up for a moment, and wait for questions before you go on.",
    "If time is short, skip this slide and come back to it when somebody asks.",
    "Ask who has seen this on their own antenna, and what they did about it.",
    "Say the number once more, slowly, and what it is a number of, for those who take notes.",
    "Mention that the coax and the transformer are part of the antenna here, with their losses.",
    "Point out that only one thing is changed at a time, so that nothing else can be the cause.",
    "Remind people that the soil under the park is known only roughly, and changes with the weather.",
)


class Spoken:
    """Notes of slides: 40 to 90 words each, and no sentence twice. spare: said where a slide has too few."""

    def __init__(self, spare: Iterable[str] = ()) -> None:
        self.spare, self.said = [s for line in spare for s in _sentences(line)], set[str]()

    def of(self, lines: Iterable[str]) -> list[str]:
        """What to say to a slide: of the lines what fits, then of the spare ones until there is enough."""
        out: list[str] = []
        for own, line in [*((True, s) for x in lines for s in _sentences(x)), *((False, s) for s in self.spare)]:
            count = sum(len(s.split()) for s in out)
            if line in self.said or count + len(line.split()) > MOST_SPOKEN or not own and count >= LEAST_SPOKEN:
                continue
            out.append(line)
            self.said.add(line)
        return out or ["Go on to the next slide."]


def _sentences(line: str) -> list[str]:
    return [s for s in re.split(r"(?<=[.!?])\s+(?=[A-Z\u00b1\u2212])", line.strip()) if s]


def answer_notes(result: Result) -> list[str]:
    """What to say to the slide that answers: each want's verdict, then its answers and what to do next."""
    found = findings(result)
    said = [capitalised(words.text(result.study.lengths)) for words in verdicts(result).values()]
    return ["Say this first.", *said, *written(result, of_role(found, "answer", "next"))]


def best_case(result: Result) -> str:
    """Of several cases of a study of dips: which has the lowest SWR where its bands are worst, which the highest."""
    if main_want(result) != "dips" or result.study.count < 2:
        return ""
    cases: dict[tuple[str, ...], list[Row]] = {}
    for row in table_of(result, "dips"):
        cases.setdefault(result.place(row)[1:], []).append(row)
    worst = [max(rows, key=lambda r: r["swr_worst"]) for rows in cases.values() if len(rows) == len(result.study.bands)]
    worst = sorted((r for r in worst if math.isfinite(r["swr_worst"])), key=lambda r: r["swr_worst"])
    if len(worst) < 2:
        return ""
    best, last = worst[0], worst[-1]
    words = say(
        "Best in all bands: {best}, SWR at most {low}; worst: {last}, {high} on {band}.",
        best=case_name(result, best), low=best.number("swr_worst", "SWR"), last=case_name(result, last),
        high=last.number("swr_worst", "SWR"), band=band_name(last["band"]),
    )  # fmt: skip
    return capitalised(words.text(result.study.lengths))


def take_away(result: Result) -> list[str]:
    """What to take away, on one slide: each want's verdict, then what else the main want found, cautions first and
    details last, as far as there is room."""
    main = main_want(result)
    heads = [capitalised(words.text(result.study.lengths)) for words in verdicts(result).values()]
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

        lines.append(f"May vary: {'; '.join(k.range_words() for k in read_problem(study, study.raw).knobs)}.")
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


def notes_of_band(result: Result, band: str, kind: str) -> list[str]:
    """What to say of a band's chart: the lowest and the highest dip ("dip"), the best and the worst SWR ("swr")."""
    rows = [r for r in table_of(result, "dips") if r["band"] == band and not math.isnan(r["dip_mhz"])]
    if not rows:
        return [f"On {band} there is no dip."]
    about, lengths = band_name(band), result.study.lengths
    column, form = ("dip_mhz", "frequency") if kind == "dip" else ("swr_worst", "SWR")
    order = sorted(rows, key=lambda r: r[column])
    low, high = order[0], order[-1]
    if len(rows) == 1:
        words = say("On {band} the dip is at {dip}, and the SWR in the band is at most {swr}.", band=about,
                    dip=low.number("dip_mhz", "frequency"), swr=low.number("swr_worst", "SWR"))  # fmt: skip
        return [words.text(lengths)]
    text = "On {band} the dip is lowest with {one}, at {low}, and highest with {other}, at {high}."
    if kind != "dip":
        text = "On {band} the highest SWR in the band is {low} with {one} and {high} with {other}."
    words = say(text, band=about, one=case_name(result, low), low=low.number(column, form),
                other=case_name(result, high), high=high.number(column, form))  # fmt: skip
    return [words.text(lengths)]
