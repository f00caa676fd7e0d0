"""A text file of measured points as sweeps: its headings found, its rows parted where the frequency starts again."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.studies.study.sweep_cells import Cells, Row, complex_parts, read_cells
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
MOST_LEFT = 0.2  # lines that cannot be read for each that can: more is another fault than a slip
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
    cells = _complex_parted(read_cells(path))
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


def _complex_parted(cells: Cells) -> Cells:
    """The cells with each column of complex numbers as two, real and imaginary part."""
    wide = max(len(row.cells) for row in cells.rows)
    columns = [[row.cells[p] for row in cells.rows if p < len(row.cells)] for p in range(wide)]
    parted = {p for p, c in enumerate(columns) if 2 * sum(complex_parts(cell) is not None for cell in c) > len(c)}
    if not parted:
        return cells

    def split(row: Row) -> Row:
        pairs = (_two(cell) if p in parted else (cell,) for p, cell in enumerate(row.cells))
        return Row(row.line, tuple(cell for pair in pairs for cell in pair))

    return replace(
        cells, rows=tuple(map(split, cells.rows)), said=(*cells.said, "complex numbers parted at their sign")
    )


def _two(cell: str) -> tuple[str, str]:
    """A cell of a column of complex numbers, or its heading, as two."""
    head = heading(cell)
    if head is None or head.meaning not in ("z", "s11"):
        return complex_parts(cell) or (cell, "")
    return (f"R ({head.unit or 'ohm'})", f"X ({head.unit or 'ohm'})") if head.meaning == "z" else ("Re S11", "Im S11")


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
    table = _numbers(block.rows, list(range(len(block.rows[0].cells))), cells, name).values
    return dict(enumerate(without_headings(table, name).values()))


@dataclass(frozen=True)
class Numbers:
    """values: (rows, columns). units: written in the cells of each column. lines: their numbers. left: what was not
    read, line and text."""

    values: Real
    units: list[str]
    lines: list[int]
    left: list[tuple[int, str]]


def _numbers(rows: list[Row], places: list[int], cells: Cells, name: str) -> Numbers:
    """Lines without a finite number in each column are left out if they are few. Raises InputError if they are not."""
    values, lines = [], []
    units = [""] * len(places)
    left: list[tuple[int, str]] = []
    for row in rows:
        given = [row.cells[p] if p < len(row.cells) else "" for p in places]
        if not any(given):
            continue
        numbers = [cells.number(cell) for cell in given]
        found = [n for n in numbers if n is not None]
        if len(found) < len(given):
            left.append((row.line, given[numbers.index(None)]))
            continue
        unit = found[0][1].lower()
        if unit in FREQUENCY_UNITS:
            found[0] = found[0][0] * FREQUENCY_UNITS[unit], "Hz"
        units = [known or n[1] for known, n in zip(units, found, strict=True)]
        values.append([n[0] for n in found])
        lines.append(row.line)
    if too_many(left, len(values)):
        raise InputError(f"{name}: line {left[0][0]}", repr(left[0][1]), "a finite number in each column")
    return Numbers(np.array(values, dtype=float).reshape(len(values), len(places)), units, lines, left)


def too_many(left: list[tuple[int, str]], good: int) -> bool:
    """Whether lines that cannot be read are more than a slip among so many good ones."""
    return len(left) > MOST_LEFT * good


def left_out(lines: list[tuple[int, str]]) -> str:
    """What of a file was not read, (line, what is there) each, in words.

    >>> left_out([(7, "NaN"), (12, "")])
    "left out: line 7 ('NaN'), line 12 (a number missing)"
    """
    shown = [f"line {n} ({repr(text[:20]) if text else 'a number missing'})" for n, text in lines[:3]]
    rest = [f"{len(lines) - 3} more lines"] if len(lines) > 3 else []
    return "left out: " + ", ".join([*shown, *rest])


def _readings(
    block: Block, group: Group, cells: Cells, name: str, said: tuple[str, ...], part_gaps: bool
) -> Iterator[Reading]:
    order = sorted((p for p, h in group.places.items() if not h.meaning.startswith("unused")),
                   key=lambda p: group.places[p].meaning != "f")  # fmt: skip
    heads = {group.places[p].meaning: group.places[p] for p in order}
    if not order or group.places[order[0]].meaning != "f":
        raise InputError(f"{name}: columns", ", ".join(block.headings), KNOWN_AS)
    rows, wide = _narrow(block, name)
    numbers = _numbers(rows, order, cells, name)
    table, units, lines, left = numbers.values, numbers.units, numbers.lines, sorted(wide + numbers.left)
    if not len(table):
        raise InputError("sweep", name, "a file with measured points; this one has none")
    remarks = [*said, *([left_out(left)] if left else [])]
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


def _narrow(block: Block, name: str) -> tuple[list[Row], list[tuple[int, str]]]:
    """The rows with no more cells than headings, and those with more, if they are few. Raises InputError."""
    width = len(block.headings) or len(block.rows[0].cells)
    rows = [row for row in block.rows if len(row.cells) <= width]
    wide = [(row.line, f"{len(row.cells)} cells") for row in block.rows if len(row.cells) > width]
    if too_many(wide, len(rows)):
        allowed = f"{width} cells as in the lines before; decimal commas need semicolons or tabs between the columns"
        raise InputError(f"{name}: line {wide[0][0]}", wide[0][1], allowed)
    return rows, wide


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
