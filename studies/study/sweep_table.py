"""Files of measured points as sweeps: text files of any table, and Touchstone."""

import io
import math
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.studies.study.sweep_cells import (
    FREQUENCY_UNITS,
    KNOWN_AS,
    UNITS,
    Cells,
    Heading,
    Reading,
    Row,
    complex_parts,
    file_text,
    frequencies,
    heading,
    read_cells,
    reading,
    without_headings,
)

# --- A text file of measured points as sweeps: its headings found, its rows parted where the frequency starts again.


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


# --- Touchstone files read by scikit-rf, with one clear line for what is none.


MOST_POINTS = 100_000
"""An analyser gives hundreds or thousands; more takes minutes, and memory that a file only announces."""
ANNOUNCED = re.compile(r"^\s*\[number of (?:noise )?frequencies\]\s*(\S+)", re.IGNORECASE | re.MULTILINE)
PORTS = {1: "one-port", 2: "two-port"}


def read_one_port(path: Path) -> tuple[Any, str]:
    """A one-port file as a scikit-rf network, and which lines of it were left out, in words. Raises InputError."""
    text, left = _whole_lines(_checked(path, "sweep"))
    return _network(text, path, 1, "sweep"), left_out(left) if left else ""


def _whole_lines(text: str) -> tuple[str, list[tuple[int, str]]]:
    """A one-port file of version 1 without the lines of points that are not three finite numbers, if they are few."""
    kept: list[str] = []
    left: list[tuple[int, str]] = []
    good = 0
    for number, line in enumerate(text.splitlines(), 1):
        point = line.partition("!")[0].strip()
        if point.startswith("["):
            return text, []  # version 2 announces its points
        if point and not point.startswith("#") and not _is_point(point):
            left.append((number, point))
            continue
        good += bool(point) and not point.startswith("#")
        kept.append(line)
    if too_many(left, good):
        return text, []
    return "\n".join([*kept, ""]), left


def _is_point(text: str) -> bool:
    try:
        numbers = [float(word) for word in text.split()]
    except ValueError:
        return False
    return len(numbers) == 3 and all(map(math.isfinite, numbers))


def _network(content: str, path: Path, ports: int, field: str) -> Any:
    """Text as a scikit-rf network with so many ports and one real reference impedance. Raises InputError."""
    import skrf

    kind = PORTS[ports]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # who uses it checks the frequencies
            network = skrf.Network()
            text = io.StringIO(_ordered(content))
            text.name = f"{path.stem}.s{ports}p"
            network.read_touchstone(text)  # as text; Network(path) would try to unpickle the file first
        count, z0 = len(network.f), network.z0
    except InputError:
        raise
    except Exception as error:  # whatever the reader stumbled over, the file is not what its name says
        raise InputError(field, path.name, f"a valid Touchstone {kind} file ({_one_line(error)})") from None
    if network.nports != ports:
        raise InputError(field, path.name, f"a {kind} file, not {network.nports} ports")
    if count == 0:
        raise InputError(field, path.name, "a file with measured points; this one has none")
    if np.any(z0 != z0[0, 0]) or z0[0, 0].imag != 0:
        raise InputError(field, path.name, "one real reference impedance for all points")
    return network


def read_two_port(name: str) -> tuple[tuple[float, ...], ...]:
    """Rows of a two-port file: Hz, then S11, S21, S12, S22 against 50 ohm, real and imaginary. Raises InputError."""
    path, field = Path(name), "transformer.two_port"
    try:
        about = path.stat()
    except (OSError, ValueError):
        raise InputError(field, repr(name), "the name of a .s2p file that is there") from None
    if path.suffix.lower() != ".s2p":
        raise InputError(field, repr(name), "the name of a Touchstone two-port file (.s2p)")
    return _rows(name, about.st_mtime_ns, about.st_size)


@lru_cache(maxsize=8)
def _rows(name: str, changed: int, size: int) -> tuple[tuple[float, ...], ...]:
    """changed, size: of the file, so that a new one is read anew."""
    path, field = Path(name), "transformer.two_port"
    network = _network(_checked(path, field), path, 2, field)
    network.renormalize(50.0)
    s = network.s.transpose(0, 2, 1).reshape(-1, 4)
    flat = np.stack([s.real, s.imag], axis=-1).reshape(-1, 8)
    return tuple((float(f), *map(float, row)) for f, row in zip(network.f, flat, strict=True))


def _checked(path: Path, field: str) -> str:
    """The file's text, which has the points that it announces, and not too many. Raises InputError."""
    text = file_text(path)
    lines = text.count("\n") + 1
    if lines > MOST_POINTS:
        raise InputError(field, path.name, f"at most {MOST_POINTS:,} lines; this one has {lines:,}")
    for announced in ANNOUNCED.findall(text):
        if not announced.isascii() or not announced.isdigit() or len(announced) > 9 or int(announced) > lines:
            raise InputError(
                field, path.name, f"as many points as it announces, {announced[:20]}; it has {lines} lines"
            )
    return text


def _ordered(text: str) -> str:
    """The text with its option line in the usual order: the standard allows any."""

    def order(line: re.Match[str]) -> str:
        words = line[1].lower().split()
        reference = words[words.index("r") + 1 :][:1] if "r" in words[:-1] else ["50"]
        kinds = (("hz", "khz", "mhz", "ghz"), "ghz"), (("s", "y", "z", "g", "h"), "s"), (("ri", "ma", "db"), "ma")
        known = [next((w for w in words if w in names), usual) for names, usual in kinds]
        if set(words) - {*known, "r", *reference}:
            return line[0]  # not for us to mend
        return " ".join(["#", *known, "R", *reference])

    return re.sub(r"^[ \t]*#([^!\r\n]*)", order, text, count=1, flags=re.MULTILINE)


def _one_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:80]
