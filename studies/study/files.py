"""Files and folders on disk, with one clear line when they cannot be read or written."""

import tomllib
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError


def make_folder(folder: Path) -> None:
    """Make it and what it lies in. Raises InputError if it cannot be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError("out", folder, f"a folder that can be written ({error.strerror})") from None


def put_text(path: Path, text: str) -> None:
    """Write a text, and make its folder. Raises InputError if it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError("out", path, f"a file that can be written ({error.strerror})") from None


def load_tables(path: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises InputError if it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("file", path, "a study file that exists") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("file", path, f"a readable text file ({error})") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError("file", path, f"TOML ({error})") from None
