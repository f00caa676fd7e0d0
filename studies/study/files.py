"""Files and folders on disk, with one clear line when they cannot be read or written."""

import tempfile
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError


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


def check_file(path: Path) -> None:
    """Make its folder. Raises InputError if no file can be written there; a file of that name stays as it is."""
    if path.is_dir():
        raise InputError("out", path, "the name of a file; this is a folder")
    make_folder(path.parent)
    with writable(path):
        if path.exists():
            path.open("ab").close()


def put_text(path: Path, text: str) -> None:
    """Write a text, and make its folder. Raises InputError if it cannot be written."""
    with writable(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def load_tables(path: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises InputError if it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("file", path, "a study file that exists") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("file", path, f"a readable text file ({error})") from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError("file", path, f"TOML ({error})") from None
    except ValueError as error:  # a path that cannot be one, an integer of 5000 digits
        raise InputError("file", path, f"a study file whose numbers can be read ({error})") from None
