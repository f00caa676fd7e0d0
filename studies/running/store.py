"""What has been computed, kept on disk between runs: matrices, soil tables and finished cases.

Keys are hashes of the inputs, so nothing goes stale. The store is diskcache (SQLite and files): safe for several
processes and for a kill at any moment, bounded in size. Arrays are stored as plain .npz bytes, texts as JSON; no
pickles are read.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import sqlite3
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import diskcache
import numpy as np
import platformdirs

from tautwire.model import constants
from tautwire.model.errors import InputError

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Arrays

LIMIT = 2 * 2**30  # bytes
FOLDER_VARIABLE = "TAUTWIRE_CACHE"


def default_folder() -> Path:
    """$TAUTWIRE_CACHE, else the user's cache folder."""
    return Path(os.environ.get(FOLDER_VARIABLE) or platformdirs.user_cache_dir("tautwire"))


@lru_cache(maxsize=1)
def code_digest() -> str:
    """Hash of tautwire's own files, templates and style too: results of other code are not taken for its own."""
    text = hashlib.sha256()
    for package in (Path(__file__).parents[1], Path(constants.__file__).parent):
        for file in sorted(f for f in package.rglob("*") if f.is_file() and "__pycache__" not in f.parts):
            text.update(file.read_bytes())
    return text.hexdigest()[:16]


def _place(key: str) -> str:
    """Key on disk: engine matrices depend on the engine alone, everything else on our code too."""
    return key if key.startswith("wires") else f"{key}-{code_digest()}"


class Store:
    """A place on disk for results; an instance is a `Remember` for the solver.

    folder: where (default: default_folder()). limit: bytes to keep at the most; the oldest go first.
    """

    def __init__(self, folder: Path | None = None, limit: int = LIMIT) -> None:
        self._given = folder  # None means each machine's own
        self.folder, self.limit = folder or default_folder(), limit
        self._recent: dict[str, Arrays] = {}

    def __reduce__(self) -> tuple[type, tuple[Path | None, int]]:
        return type(self), (self._given, self.limit)

    @cached_property
    def _disk(self) -> diskcache.Cache:
        try:
            return diskcache.Cache(str(self.folder), size_limit=self.limit)
        except OSError as error:
            raise InputError(FOLDER_VARIABLE, self.folder, f"a folder that can be written ({error.strerror})") from None
        except sqlite3.Error as error:
            raise self._broken(error) from None

    def _broken(self, error: sqlite3.Error) -> InputError:
        told = f"a folder of stored results ({error}): remove it or choose another"
        return InputError(FOLDER_VARIABLE, self.folder, told)

    def _get(self, place: str) -> Any:
        try:
            return self._disk.get(place)
        except sqlite3.Error as error:
            raise self._broken(error) from None

    def __call__(self, key: str, compute: Callable[[], Arrays]) -> Arrays:
        """The arrays stored under key, else those of compute(), which are then stored."""
        if key in self._recent:
            return self._recent[key]
        place = _place(key)
        arrays = _read_arrays(self._get(place))
        if arrays is None:
            arrays = compute()
            buffer = io.BytesIO()
            np.savez(buffer, **arrays)  # type: ignore[arg-type]
            self._put(place, buffer.getvalue())
        if key.startswith("soil"):  # small, and wanted again by the next case
            self._recent[key] = arrays
        return arrays

    def get_json(self, key: str) -> Any:
        """The value stored under key, or None."""
        try:
            return json.loads(self._get(_place(key)) or "null")
        except ValueError:  # a file that lost its content with the machine's power
            return None

    def put_json(self, key: str, value: Any) -> None:
        self._put(_place(key), json.dumps(value))

    def _put(self, place: str, value: bytes | str) -> None:
        with contextlib.suppress(OSError, sqlite3.Error):  # a full disk costs speed, not answers
            self._disk.set(place, value)

    def contents(self) -> dict[str, int]:
        """Number of items of each kind: engine matrices, soil remainders, soil tables, cases."""
        return dict(Counter(str(key).split("-")[0] for key in self._disk))

    def bytes(self) -> int:
        return int(self._disk.volume())

    def prune(self, limit: int) -> int:
        """Drop the oldest items until at most `limit` bytes are left; the number dropped."""
        # a killed process may leave a file that no entry points to; other processes may be tidying at the same time
        with warnings.catch_warnings(), contextlib.suppress(OSError):
            warnings.simplefilter("ignore", UserWarning)
            self._disk.check(fix=True)
        before = len(self._disk)
        if limit == 0:
            self._disk.clear()
        for key in self._disk:  # oldest first
            if self.bytes() <= limit:
                break
            self._disk.delete(key)
        return before - len(self._disk)


def _read_arrays(raw: bytes | None) -> Arrays | None:
    """Arrays of .npz bytes; None for nothing, or for a file that lost its content with the machine's power."""
    try:
        with np.load(io.BytesIO(raw or b""), allow_pickle=False) as data:
            return dict(data)
    except (OSError, ValueError, EOFError, zipfile.BadZipFile):
        return None


def digest(kind: str, *parts: object) -> str:
    """A key: kind and the hash of the parts."""
    text = json.dumps(parts, sort_keys=True, default=str)
    return f"{kind}-{hashlib.sha256(text.encode()).hexdigest()}"
