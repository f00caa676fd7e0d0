"""Touchstone files read by scikit-rf, with one clear line for what is none."""

import io
import math
import re
import warnings
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tautwire.model.errors import InputError
from tautwire.studies.study.sweep_cells import file_text
from tautwire.studies.study.sweep_table import left_out, too_many

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
