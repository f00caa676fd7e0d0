"""Random mutations of study and measurement files, with fixed seeds, and what a reader may answer to them.

An answer is a study or sweeps, or an InputError in one line that names a key of the file (or the file and a line of it)
and says what to write instead. Anything else, or no answer within LIMIT seconds, is a fault.
"""

import contextlib
import re
import signal
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from tautwire.model.errors import InputError
from tautwire.studies.running.study_file import load_study
from tautwire.studies.study.measurement import read_sweeps

READY = Path(str(resources.files("tautwire.studies"))) / "ready"
LIMIT = 20  # seconds for one file; the slowest sound study takes 2
MOST = 700  # characters of a message
READ, REFUSED = "read", "refused"

VALUES = (
    *("0", "-1", "1e308", "-1e308", "1e-308", "nan", "inf", "-inf", "true", "[]", "{}", '""', '" "', "13.0", "7"),
    *("9" * 400, "0x7fffffffffffffff", "1979-05-27", "12:00:00", "[[]]", "[{}]", '[""]', "[1, 2]", "{ a = 1 }"),
    *('"0 m"', '"-3 m"', '"1e300 m"', '"nan m"', '"inf m"', '"5 furlong"', '"5"', '"m"', '"5 (m**9**9**9)"'),
    *('"66 ft 3 in"', '"100 %"', '"5 ppm"', '"1e308 deg"', '"95 deg"', '"5 MS/m"', '"1 kohm"', '"20 AWG"', '"10 W"'),
    *('"sea water"', '"sloper"', '"RG-58"', '"20 m"', '["20 m"]', '["20 m", "20 m"]', '["dips", "turns"]', '"19,8 m"'),
    *('"$\\\\frac$"', '"<script>"', '"=cmd|x"', '"\\u0000"', '"\\u202e"', '"' + "x" * 5000 + '"', "[" * 3000, "'''"),
    *('{ from = "1 m", to = "2 m", step = "0 m" }', '{ from = "1 m", to = "9 km", step = "1 um" }', "{ from = 1 }"),
    *('{ from = "20 deg", to = "10 deg", step = "1 deg" }', '{ er = 13, sigma = "5 mS/m" }', "{ er = 1e308 }"),
)  # fmt: skip
CELLS = (
    "",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "-1",
    "0",
    "1,5",
    "x",
    '"',
    "9" * 400,
    "1e-400",
    "14.1.2",
    "\x00",
    "²",
    "--5",
)


@contextlib.contextmanager
def limited(seconds: int) -> Iterator[None]:
    """TimeoutError inside if it lasts longer."""

    def late(*_: Any) -> None:
        raise TimeoutError(f"no answer within {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def _pick(rng: np.random.Generator, of: Any) -> Any:
    return of[int(rng.integers(len(of)))]


def _other_value(line: str, rng: np.random.Generator) -> str:
    key, equals, _ = line.partition("=")
    return f"{key}{equals} {_pick(rng, VALUES)}" if equals else line


def _other_number(line: str, rng: np.random.Generator) -> str:
    numbers = list(re.finditer(r"-?\d+(\.\d+)?", line))
    if not numbers:
        return line
    found = _pick(rng, numbers)
    new = _pick(rng, ("0", "-1", "1e9", "1e-9", "1e308", "nan", "3,5", "١", "1_0", "0.001", "100", "5000", "9" * 30))
    return line[: found.start()] + new + line[found.end() :]


def _slip(line: str, rng: np.random.Generator) -> str:
    """A character gone, doubled, swapped with its neighbour, or another."""
    if len(line) < 2:
        return line + chr(int(rng.integers(32, 127)))
    i = int(rng.integers(len(line) - 1))
    new = _pick(
        rng, ("", line[i] * 2, line[i + 1] + line[i], chr(int(rng.integers(32, 127))), chr(int(rng.integers(1, 0x2FF))))
    )
    return line[:i] + new + line[i + 1 :]  # fmt: skip


CHANGES: tuple[Callable[[str, np.random.Generator], str], ...] = (_other_value, _other_number, _slip)


def mutated_study(text: str, rng: np.random.Generator, keys: list[str]) -> str:
    """One to three changes of a study's text: of values, numbers, letters, lines and tables."""
    lines = text.splitlines()
    for _ in range(int(rng.integers(1, 4))):
        i = int(rng.integers(len(lines)))
        kind = int(rng.integers(8))
        if kind < 5:
            lines[i] = CHANGES[min(kind // 2, 2)](lines[i], rng)
        elif kind == 5:
            lines.insert(int(rng.integers(len(lines) + 1)), lines[i])
        elif kind == 6:
            lines.insert(i, f"{_pick(rng, keys)} = {_pick(rng, VALUES)}")
        elif len(lines) > 1:
            del lines[i]
    return "\n".join(lines) + "\n"


def mutated_bytes(raw: bytes, rng: np.random.Generator) -> bytes:
    """One to three changes of a measurement: of cells, lines and bytes."""
    for _ in range(int(rng.integers(1, 4))):
        kind = int(rng.integers(5))
        lines = raw.split(b"\n")
        i = int(rng.integers(len(lines)))
        if kind < 2:
            cells = re.split(rb"([,;\t ])", lines[i])
            cells[2 * int(rng.integers((len(cells) + 1) // 2))] = _pick(rng, CELLS).encode()
            lines[i] = b"".join(cells)
        elif kind == 2:
            lines.insert(int(rng.integers(len(lines))), lines[i])
        elif kind == 3 and len(lines) > 1:
            del lines[i]
        else:
            j = int(rng.integers(len(lines[i]) + 1))
            lines[i] = lines[i][:j] + bytes([int(rng.integers(256))]) + lines[i][j + int(rng.integers(2)) :]
        raw = b"\n".join(lines)
    return raw


def study_mutations(seed: int, count: int) -> Iterator[str]:
    """Texts of mutated ready-made studies."""
    rng = np.random.default_rng([seed, 1])
    texts = [file.read_text(encoding="utf-8") for file in sorted(READY.glob("*.toml"))]
    keys = sorted({m for text in texts for m in re.findall(r"^#? ?(\"?[\w.]+\"?) *=", text, re.M)})
    for _ in range(count):
        yield mutated_study(_pick(rng, texts), rng, keys)


@dataclass(frozen=True)
class Answer:
    """kind: "read", "refused", or what is wrong with the answer. said: the message of a refusal or fault."""

    kind: str
    said: str = ""
    value: Any = None


def _refusal(error: InputError, named: bool) -> str:
    """ "refused", or what its message lacks."""
    told = str(error)
    if not error.allowed.strip() or len(error.allowed) < 4:
        return "no remedy"
    if "\n" in told or not told.isprintable():
        return "more than a line"
    if len(told) > MOST:
        return "a message of great length"
    return REFUSED if named else "no key"


def answer(read: Callable[[], Any], named: Callable[[InputError], bool], limit: int = LIMIT) -> Answer:
    """What `read` answers. named: whether a refusal names a key, as the file has it."""
    try:
        with limited(limit), warnings.catch_warnings():
            warnings.simplefilter("error")
            return Answer(READ, value=read())
    except InputError as error:
        return Answer(_refusal(error, named(error)), str(error))
    except TimeoutError as error:
        return Answer("hang", str(error))
    except Exception as error:  # noqa: BLE001  what is looked for
        return Answer("traceback", f"{type(error).__name__}: {error}")


def study_answer(path: Path) -> Answer:
    """Of the reader of study files; each word of the key named is in the file, but for one that is missing."""
    text = path.read_text(encoding="utf-8")

    def named(error: InputError) -> bool:
        if error.field == "file":
            return bool(re.search(r"line \d+|end of document|numbers can be read|text file", error.allowed))
        words = [word for word in error.field.split(".") if not word.isdigit()]
        return bool(words) and (words[-1] in text or words[0] in text or "nothing" in str(error.value))

    return answer(lambda: load_study(path), named)


def sweep_answer(path: Path) -> Answer:
    """Of the reader of measured sweeps; a refusal names the file, a column or a line."""
    return answer(lambda: read_sweeps(path), lambda error: error.field.startswith(path.stem) or path.name in str(error))


def try_studies(folder: Path, seed: int, count: int) -> list[Answer]:
    """What the reader answers to each of the mutated studies, written to `folder`."""
    found = []
    for text in study_mutations(seed, count):
        (folder / "study.toml").write_text(text, encoding="utf-8")
        found.append(study_answer(folder / "study.toml"))
    return found


def try_sweeps(folder: Path, seed: int, count: int, files: list[tuple[str, str | bytes]]) -> list[Answer]:
    """The same of measurements. files: names and contents to begin with."""
    rng, found = np.random.default_rng([seed, 2]), []
    for _ in range(count):
        name, content = _pick(rng, files)
        (folder / name).write_bytes(mutated_bytes(content.encode() if isinstance(content, str) else content, rng))
        found.append(sweep_answer(folder / name))
    return found


def faults(found: list[Answer]) -> list[str]:
    """What is wrong with them, if anything."""
    return [f"{a.kind}: {a.said}" for a in found if a.kind not in (READ, REFUSED)]
