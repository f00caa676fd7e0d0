"""Folders and texts on disk, with one clear line when they cannot be written."""

from pathlib import Path

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
