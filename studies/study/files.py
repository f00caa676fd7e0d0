"""Files and folders on disk, with one clear line when they cannot be read or written."""

import os
import re
import secrets
import stat
import tempfile
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.study.listed_cases import located


def is_file(path: Path) -> bool:
    """Whether it is there; a name that can be none, too long or with a null byte in it, is not."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


@contextmanager
def writable(path: Path, what: str = "file") -> Iterator[None]:
    """What fails to be written inside is said in one line (InputError)."""
    try:
        yield
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        why = getattr(error, "strerror", None) or error
        raise InputError("out", path, f"a {what} that can be written ({why})") from None


def make_folder(folder: Path) -> None:
    """Make it and what it lies in, and try that files can be written there. Raises InputError if not."""
    with writable(folder, "folder"):
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()


def put_new(path: Path, data: bytes) -> None:
    """Write a new file: whole or not at all, whatever ends this process, and never over another one.

    Raises InputError if it cannot be written, or is there.
    """
    new = path.parent / f".{secrets.token_hex(8)}.part"
    with writable(path):
        try:
            with new.open("xb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            _renamed(new, path)
        finally:
            new.unlink(missing_ok=True)


def _renamed(new: Path, path: Path) -> None:
    try:
        os.link(new, path)  # which fails where the name is taken
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):  # a file system without links
        if os.path.lexists(path):
            raise FileExistsError(17, "it is there") from None
        os.rename(new, path)


MOST_BYTES = 4_000_000  # of a study file
SMART = str.maketrans({c: '"' for c in "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb"})
BARE = re.compile(r"""([\w".-]+)\s*=\s*([^\s"'\[{#][^#"\[{]*?)\s*(?:#.*)?""")


def toml_fault(text: str, error: str) -> str:
    """What to write instead of a line that is no TOML, for the mistakes people make; otherwise the reader's own words.

    >>> toml_fault('length = 19,8 m', "Expected newline (at line 1, column 12)")
    'quotes around a text, with a point for the decimals: length = "19.8 m" (line 1)'
    """
    place = re.search(r"at line (\d+)", error)
    lines = text.splitlines()
    line = lines[int(place[1]) - 1].strip() if place and int(place[1]) <= len(lines) else ""
    where = f"(line {place[1]})" if place else ""
    if line != line.translate(SMART):
        return f"straight quotation marks, not the curved ones of a word processor: {line.translate(SMART)} {where}"
    if bare := BARE.fullmatch(line):
        value = re.sub(r"(?<=\d),(?=\d)", ".", bare[2])
        point = ", with a point for the decimals" if value != bare[2] else ""
        return f'quotes around a text{point}: {bare[1]} = "{value}" {where}'
    if named := re.fullmatch(r"([\w.-]+)\s*:\s*(.+)", line):
        return f"an equals sign between key and value: {named[1]} = {named[2]} {where}"
    if twice := re.search(r"declare \('([^)]*)'\) twice|declare \('([^)]*)',\) twice", error):
        return f"the table [{(twice[1] or twice[2]).replace(chr(39) + ', ' + chr(39), '.')}] once {where}"
    if "Cannot overwrite" in error and (key := re.match(r"([\w.\"-]+)\s*=", line)):
        return f"the key {key[1]} once {where}"
    if "recursion" in error:
        return f"lists and tables within each other, fewer of them: this line has too many{_most_nested(lines)}"
    told = re.sub(r"\(at line (\d+), column \d+\)", lambda found: f"in line {found[1]}, {line[:60]}", error)
    return f'TOML: lines such as key = "text", tables such as [antenna] ({told})'


def _most_nested(lines: list[str]) -> str:
    number = max(range(len(lines)), key=lambda i: lines[i].count("[") + lines[i].count("{"))
    return f" (line {number + 1})"


def _longest_number(path: Path) -> str:
    lines = _study_text(path).splitlines()
    sizes = [max((len(digits) for digits in re.findall(r"\d+", line)), default=0) for line in lines]
    number = sizes.index(max(sizes))
    return f" (line {number + 1}, {lines[number].split('=')[0].strip()[:60]})"


def _study_text(path: Path) -> str:
    """The text of a study file, also with a byte-order mark. Raises InputError for a device and for what is too long,
    before it is read."""
    if stat.S_ISCHR(mode := path.stat().st_mode) or stat.S_ISBLK(mode):
        raise InputError("file", path, "a study file; this is a device")
    with path.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise InputError("file", path, f"a study file of at most {MOST_BYTES // 1_000_000} MB")
    return data.decode("utf-8-sig")


def load_tables(path: Path) -> dict[str, Any]:
    """The tables of a TOML file, with the rows of a table of cases that it names. Raises InputError if one cannot be
    read."""
    try:
        return located(tomllib.loads(_study_text(path)), path.parent)
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError("file", path, "a study file that exists") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("file", path, f"a readable text file ({error})") from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError("file", path, toml_fault(_study_text(path), str(error))) from None
    except ValueError as error:  # a path that cannot be one, an integer of 5000 digits
        if "digits" in str(error):
            raise InputError("file", path, f"numbers of fewer digits{_longest_number(path)}") from None
        raise InputError("file", path, f"the name of a study file ({error})") from None
