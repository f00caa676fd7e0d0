"""A text file of measured points as sweeps: its headings found, its rows parted where the frequency starts again."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.studies.study.sweep_cells import Cells, Row, read_cells
from tautwire.studies.study.sweep_columns import (
    FREQUENCY_UNITS,
    KNOWN_AS,
    UNITS,
    Heading,
    Reading,
    frequencies,
    heading,
    reading,
    without_headings,
)

LEAST_POINTS = 3
GAP = 10  # times the usual step: where a file of several bands goes on with the next


@dataclass
class Block:
    """Rows under one heading line. headings: its texts; none if there is no such line."""

    headings: tuple[str, ...] = ()
    title: str = ""
    rows: list[Row] = field(default_factory=list)


@dataclass(frozen=True)
class Group:
    """Columns that make one sweep: place in the row -> heading."""

    places: dict[int, Heading]
    label: str = ""


def read_table(path: Path, part_gaps: bool = False) -> list[Reading]:
    """The sweeps of a text file. part_gaps: part them where a band ends too. Raises InputError."""
    cells = read_cells(path)
    blocks, skipped = _blocks(cells, path.name)
    said = list(cells.said)
    if skipped:
        said.append(f"{skipped} line{'s' * (skipped > 1)} of text skipped")
    readings: list[Reading] = []
    for block in blocks:
        groups, unused = _groups(block, cells, path.name)
        remarks = (*said, *([f"not used: {', '.join(unused)}"] if unused else []))
        for group in groups:
            readings += _readings(block, group, cells, path.name, remarks, part_gaps)
    return readings


def _is_heading(cells: tuple[str, ...]) -> bool:
    known = [h for c in cells if c and (h := heading(c))]
    return len(known) >= 2 and any(h.meaning == "f" for h in known)


def _is_units(cells: tuple[str, ...]) -> bool:
    words = [c.strip("()[] ").lower().replace("ω", "ohm").replace("°", "deg") for c in cells if c]
    return bool(words) and all(w in UNITS or w == "-" for w in words) and any(w in FREQUENCY_UNITS for w in words)


def _blocks(cells: Cells, name: str) -> tuple[list[Block], int]:
    """The file's blocks, and how many lines of text were passed over."""
    blocks: list[Block] = []
    text: list[Row] = []
    skipped = 0
    for row in cells.rows:
        numbers = [cells.number(c) is not None for c in row.cells]
        if _is_heading(row.cells):
            if blocks and not blocks[-1].headings and len(blocks[-1].rows) < LEAST_POINTS:
                skipped += len(blocks.pop().rows)
            skipped += len(text)
            blocks.append(Block(row.cells, _title(text)))
            text = []
        elif blocks and not blocks[-1].rows and not text and _is_units(row.cells):
            units = (*row.cells, *[""] * len(blocks[-1].headings))
            blocks[-1].headings = tuple(f"{h} ({u})" for h, u in zip(blocks[-1].headings, units, strict=False))
        elif blocks and (len(row.cells) > 1 or any(numbers)):
            if text:
                blocks.append(Block(blocks[-1].headings, _title(text)))
                text = []
            blocks[-1].rows.append(row)
        elif len(row.cells) > 1 and all(numbers):
            if text and len(text[-1].cells) == len(row.cells):
                raise InputError(f"{name}: columns", ", ".join(text[-1].cells), KNOWN_AS)
            blocks.append(Block((), _title(text), [row]))
            skipped += len(text)
            text = []
        else:
            text.append(row)
    blocks = [b for b in blocks if b.rows]
    if not blocks:
        shown = ", ".join(cells.rows[-1].cells)[:80]
        raise InputError(f"{name}: columns", shown, f"measured points, with {KNOWN_AS}")
    return blocks, skipped


def _title(text: list[Row]) -> str:
    return text[-1].cells[0][:40] if text and len(text[-1].cells) == 1 else ""


def _groups(block: Block, cells: Cells, name: str) -> tuple[list[Group], list[str]]:
    """The columns of each sweep, and the headings that are not used."""
    if not block.headings:
        return [Group(_without(block, cells, name))], []
    unused: list[str] = []
    groups: list[dict[int, Heading]] = []
    for place, text in enumerate(block.headings):
        found = heading(text) if text else None
        if found is None:
            unused += [text] if text else []
        elif found.meaning == "f":
            groups.append({place: found})
        elif groups:
            groups[-1][place] = found
        else:
            groups.append({place: found})
    if len(groups) > 1 and not any(h.meaning == "f" for h in groups[0].values()):
        groups = [groups[0] | groups[1]] if len(groups) == 2 else groups[1:]
    groups_left = [g for group in groups for g in _one_of_each(group, block, name)]
    return groups_left, unused


def _one_of_each(places: dict[int, Heading], block: Block, name: str) -> list[Group]:
    """A group for each SWR column where they are labelled; else each meaning may come once."""
    swr = {p: h for p, h in places.items() if h.meaning == "swr"}
    rest = {p: h for p, h in places.items() if h.meaning != "swr"}
    meanings = [h.meaning for h in rest.values()]
    for meaning in meanings:
        if meanings.count(meaning) > 1:
            texts = ", ".join(h.text for h in rest.values() if h.meaning == meaning)
            raise InputError(f"{name}: columns", texts, f"only one {meaning} column for a frequency column")
    if len(swr) < 2:
        return [Group(places)]
    if len({h.label for h in swr.values()}) < len(swr):
        raise InputError(f"{name}: columns", ", ".join(block.headings), "only one swr column, or names beside them")
    frequency = {p: h for p, h in rest.items() if h.meaning == "f"}
    return [Group({**frequency, p: h}, h.label) for p, h in swr.items()]


def _without(block: Block, cells: Cells, name: str) -> dict[int, Heading]:
    table = _numbers(block.rows, list(range(len(block.rows[0].cells))), cells, name)[0]
    return dict(enumerate(without_headings(table, name).values()))


def _numbers(rows: list[Row], places: list[int], cells: Cells, name: str) -> tuple[Real, list[str], list[int]]:
    """Values (rows, columns), the unit written in the cells of each column, line numbers. Raises InputError."""
    values, lines = [], []
    units = [""] * len(places)
    for row in rows:
        given = [row.cells[p] if p < len(row.cells) else "" for p in places]
        if not any(given):
            continue
        found = []
        for i, cell in enumerate(given):
            number = cells.number(cell)
            if number is None:
                raise InputError(f"{name}: line {row.line}", repr(cell), "a finite number in each column")
            if i == 0 and number[1] and number[1].lower() in FREQUENCY_UNITS:
                number = (number[0] * FREQUENCY_UNITS[number[1].lower()], "Hz")
            units[i] = units[i] or number[1]
            found.append(number[0])
        values.append(found)
        lines.append(row.line)
    return np.array(values, dtype=float).reshape(len(values), len(places)), units, lines


def _readings(
    block: Block, group: Group, cells: Cells, name: str, said: tuple[str, ...], part_gaps: bool
) -> Iterator[Reading]:
    order = sorted((p for p, h in group.places.items() if not h.meaning.startswith("unused")),
                   key=lambda p: group.places[p].meaning != "f")  # fmt: skip
    heads = {group.places[p].meaning: group.places[p] for p in order}
    if not order or group.places[order[0]].meaning != "f":
        raise InputError(f"{name}: columns", ", ".join(block.headings), KNOWN_AS)
    if block.headings:
        _same_width(block, name)
    table, units, lines = _numbers(block.rows, order, cells, name)
    if not len(table):
        raise InputError("sweep", name, "a file with measured points; this one has none")
    remarks = list(said)
    unit = "hz" if units[0] == "Hz" else heads["f"].unit
    f_hz, remark = frequencies(table[:, 0], unit, name)
    remarks += [remark] if remark else []
    if not block.headings:
        remarks.append("no headings, columns taken as f, " + ", ".join(m for m in heads if m != "f"))
    if len(f_hz) > 1 and np.sum(np.diff(f_hz) < 0) > np.sum(np.diff(f_hz) > 0):
        table, f_hz, lines = table[::-1], f_hz[::-1], lines[::-1]
        remarks.append("highest frequency first, turned round")
    for first, last in _parts(f_hz, part_gaps):
        part = {m: table[first:last, i] for i, m in enumerate(heads) if m != "f"}
        rest = {m: h for m, h in heads.items() if m != "f"}
        got = reading(part, rest, f_hz[first:last], lines[first:last], name)
        label = group.label or block.title
        yield Reading(got.f_hz, got.gamma, got.swr, got.z0, got.used, (*remarks, *got.said), label)


def _same_width(block: Block, name: str) -> None:
    width = len(block.headings)
    for row in block.rows:
        if len(row.cells) > width or len(row.cells) < 2:
            allowed = f"{width} cells as in the heading line"
            if len(row.cells) > width:
                allowed += "; decimal commas need semicolons or tabs between the columns"
            raise InputError(f"{name}: line {row.line}", f"{len(row.cells)} cells", allowed)


def _parts(f_hz: Real, part_gaps: bool) -> list[tuple[int, int]]:
    """Where sweeps begin and end: at a lower frequency than before, and with part_gaps at a wide step."""
    steps = np.diff(f_hz)
    cut = steps < 0
    if part_gaps and len(steps):
        cut |= steps > GAP * np.median(np.abs(steps))
    ends = [0, *(int(i) + 1 for i in np.flatnonzero(cut)), len(f_hz)]
    parts = list(zip(ends[:-1], ends[1:], strict=True))
    if any(last - first < LEAST_POINTS for first, last in parts):
        return [(0, len(f_hz))] if not part_gaps else _parts(f_hz, False)
    return parts
