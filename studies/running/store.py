"""What has been computed, kept on disk between runs under keys that know which code made it.

Which code makes a stored thing, and its digest: a result of other code is not taken for this one's.

A module's code is its own text, the files beside it that it names, and the code of every module of ours that it
imports, inside functions too, but not what is only for type checkers. A want whose options it reads by name counts as
imported, unless it is its own. Code that draws or writes is left out: no stored number depends on it.

What has been computed, kept on disk between runs: matrices, soil tables and answers of cases.

One file an entry, in a folder of its own, private to its user: a line of format, the key, a checksum over key and
content, then the content, compressed. Numbers of arrays are rounded to ten digits before they are used or kept, and
their bytes sorted by place, as that compresses to half. An entry is written beside its place and renamed, so a kill at
any moment leaves the old entry or the new one. What does not match its checksum is dropped and computed again. Contents
are .npz arrays and JSON; nothing is unpickled. A key holds the digest of the inputs and of the code that makes the
entry, so nothing goes stale. A store that cannot be read or written costs speed, never answers.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import multiprocessing
import os
import re
import time
import warnings
import zipfile
import zlib
from collections import Counter, OrderedDict
from collections.abc import Callable, Iterator
from functools import lru_cache
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import platformdirs

from tautwire.model import basics
from tautwire.model.errors import InputError
from tautwire.model.solve.engine import engine_name

if TYPE_CHECKING:
    from tautwire.model.basics import Arrays


# --- Which code makes a stored thing, and its digest.


ROOTS = {"model": Path(basics.__file__).parent, "studies": Path(__file__).parents[1]}
LEFT_OUT = re.compile(r"tautwire\.studies\.(drawing|reports|commands|running)\b|.*\.figures$")
FOR_CHECKERS = re.compile(r"^if TYPE_CHECKING:\n(?:[ \t]+.*\n|\n)+", re.M)
IMPORT = re.compile(r"^[ \t]*(?:from +(tautwire[\w.]*) +import +(\([^)]*\)|.*)|import +(tautwire[\w.]*))", re.M)
OPTIONS = re.compile(r"""\boptions\[(?:"|')(\w+)(?:"|')\]""")
DATA = re.compile(r"""(?:"|')([\w-]+\.[a-z]+)(?:"|')""")


def _file(module: str) -> Path | None:
    """The file of a module of ours, such as "tautwire.model.solve.engine"; None if there is none."""
    _, top, *rest = [*module.split("."), ""][:2] + module.split(".")[2:]
    if top not in ROOTS:
        return None
    place = ROOTS[top].joinpath(*rest)
    return next((f for f in (place.with_suffix(".py"), place / "__init__.py") if rest and f.is_file()), None)


@lru_cache(maxsize=1024)
def _text_and_imports(module: str) -> tuple[bytes, tuple[str, ...]]:
    file = _file(module)
    assert file is not None, module
    raw = file.read_bytes()
    text = FOR_CHECKERS.sub("", raw.decode("utf-8"))
    wants = [f"tautwire.studies.wants.{name}." for name in OPTIONS.findall(text)]
    found = [f"{want}want" for want in wants if not module.startswith(want)]
    for data in sorted(set(DATA.findall(text))):
        if (beside := file.with_name(data)).is_file():
            raw += f"\n{data}\n".encode() + beside.read_bytes()
    for source, names, plain in IMPORT.findall(text):
        listed = re.findall(r"(\w+)(?:[ \t]+as[ \t]+\w+)?", re.sub(r"#.*", "", names))
        found += [plain or source, *(f"{source}.{name}" for name in listed if source)]
    return raw, tuple(m for m in dict.fromkeys(found) if _file(m) and not LEFT_OUT.match(m))


def modules_behind(*modules: str) -> list[str]:
    """These modules and every one of ours that they reach, sorted."""
    seen: set[str] = set()
    todo = list(modules)
    while todo:
        module = todo.pop()
        if module not in seen:
            seen.add(module)
            todo += _text_and_imports(module)[1]
    return sorted(seen)


@lru_cache(maxsize=256)
def code_digest(*modules: str) -> str:
    """Digest of the code behind these modules; of all files, templates and style too, if none is given."""
    text = hashlib.sha256()
    if modules:
        for module in modules_behind(*modules):
            text.update(f"\n{module}\n".encode() + _text_and_imports(module)[0])
    else:
        for root in ROOTS.values():
            for file in sorted(f for f in root.rglob("*") if f.is_file() and "__pycache__" not in f.parts):
                text.update(file.read_bytes())
    return text.hexdigest()[:16]


@lru_cache(maxsize=1)
def libraries() -> dict[str, str]:
    """The engine and the libraries on which the digits of a result depend: name -> version."""
    engine, _, version = engine_name().rpartition(" ")
    return {engine: version, **{name: metadata.version(name) for name in ("numpy", "scipy")}}


# --- What has been computed, kept on disk between runs.


LIMIT = 2 * 2**30  # bytes, unless set
FOLDER_VARIABLE, LIMIT_VARIABLE = "TAUTWIRE_CACHE", "TAUTWIRE_CACHE_LIMIT"
OWN_FOLDER, LIMIT_FILE = "tautwire-store", "limit-mb"
FORMAT = b"tautwire-store 2"
ENTRY = re.compile(r"([a-z_]+)-[0-9a-f]{40}|\.new-[0-9]+-[0-9a-f]+")
PLACE = re.compile(r"[0-9a-f]{2}")
ANSWERS = ("case", "give", "quality")  # what a stopped study goes on from
DAY, HOUR = 86400.0, 3600.0  # seconds: answers used within a day stay; half-written files older than an hour go
BITS = 33  # of mantissa kept of a stored number: ten digits
MOST_RECENT = 256  # soil tables held in memory, of 28 to 55 kB over plain soil: 20 soils on bands of all four spans
BLOCK = 4096  # bytes in which disks give room

MADE_BY: dict[str, tuple[str, ...]] = {
    "wires": ("tautwire.model.solve.engine",),
    "volts": ("tautwire.model.solve.engine", "tautwire.model.solve.corrections"),
    "soil": ("tautwire.model.soil.soil_table",),
    "rest": ("tautwire.model.soil.soil_table",),
    "power": ("tautwire.model.solve.solver", "tautwire.studies.running.quality"),
    "curves": ("tautwire.studies.explorer.curves",),
    "exact": ("tautwire.studies.explorer.curves",),
    "choose": ("tautwire.studies.wants.choose.candidates",),
    "nearby": ("tautwire.studies.learned.nearby",),
    "track": ("tautwire.studies.learned.place",),
    "shifts": ("tautwire.studies.wants.spread.sampling",),
}
"""Kind of entry -> the modules whose code makes it. Others: all of ours, but for answers, whose keys say it."""


class Entry(NamedTuple):
    """A file of the store. kind: "" for one half written. used: time of last use, s."""

    path: Path
    kind: str
    size: int
    used: float


def default_folder() -> Path:
    """$TAUTWIRE_CACHE, else the user's cache folder."""
    return Path(os.environ.get(FOLDER_VARIABLE) or platformdirs.user_cache_dir("tautwire"))


def megabytes(text: str, field: str) -> int:
    """Bytes of a text in megabytes. Raises InputError."""
    try:
        value = float(text) * 1e6
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e18:
        raise InputError(field, repr(text), "megabytes, 0 or more, such as 5000")
    return int(value)


@lru_cache(maxsize=64)
def _place(key: str) -> str:
    """A key with the digest of the code that makes the entry."""
    kind = key.split("-")[0]
    return key if kind in ANSWERS else f"{key}-{code_digest(*MADE_BY.get(kind, ()))}"


@lru_cache(maxsize=8)
def _reopened(folder: Path | None, limit: int | None, began: float) -> Store:
    """One store for all cases of a worker process, so that it holds on to soil tables."""
    return Store(folder, limit, began)


class Store:
    """A place on disk for results; an instance is a `Remember` for the solver.

    folder: in which it has a folder of its own (default: default_folder()). limit: bytes to keep at the most (default:
    $TAUTWIRE_CACHE_LIMIT in MB, else what `set_limit` wrote, else 2 GiB). began: since when entries used are those of
    the running study. The longest unused go first; answers used since `began` or within a day stay.
    """

    def __init__(self, folder: Path | None = None, limit: int | None = None, began: float | None = None) -> None:
        self._given = folder, limit  # None means each machine's own
        self.folder = folder or default_folder()
        self.own_folder = self.folder / OWN_FOLDER
        self.limit = self._limit() if limit is None else limit
        self.began = time.time() if began is None else began
        self._room: int | None = None  # bytes to be written before sizes are looked at again
        self._recent: OrderedDict[str, Arrays] = OrderedDict()
        self._warned = False

    def __reduce__(self) -> Any:
        return _reopened, (*self._given, self.began)

    def _limit(self) -> int:
        if LIMIT_VARIABLE in os.environ:
            return megabytes(os.environ[LIMIT_VARIABLE], LIMIT_VARIABLE)
        with contextlib.suppress(OSError, InputError, UnicodeDecodeError):
            return megabytes((self.own_folder / LIMIT_FILE).read_text(encoding="ascii"), LIMIT_FILE)
        return LIMIT

    def set_limit(self, limit: int) -> None:
        """Keep at most `limit` bytes from now on. Raises InputError if the store cannot be written."""
        try:
            self._make(self.own_folder)
            (self.own_folder / LIMIT_FILE).write_text(f"{limit / 1e6:.9g}", encoding="ascii")
        except OSError as error:
            raise InputError(FOLDER_VARIABLE, self.folder, f"a folder that can be written ({_why(error)})") from None
        self.limit = limit

    def __call__(self, key: str, compute: Callable[[], Arrays]) -> Arrays:
        """The arrays stored under key, else those of compute(), which are then stored."""
        if key in self._recent:
            self._recent.move_to_end(key)
            return self._recent[key]
        place = _place(key)
        arrays = _read_arrays(self._get(place))
        if arrays is None:
            arrays = {name: _rounded(array) for name, array in compute().items()}
            buffer = io.BytesIO()
            np.savez(buffer, **arrays)  # type: ignore[arg-type]
            self._put(place, _sorted_bytes(buffer.getvalue()))
        if key.startswith(("soil", "shifts")):  # small, and wanted again by the next case
            self._recent[key] = arrays
            if len(self._recent) > MOST_RECENT:
                self._recent.popitem(last=False)
        return arrays

    def get_json(self, key: str) -> Any:
        """The value stored under key, or None."""
        try:
            return json.loads(self._get(_place(key)) or b"null")
        except ValueError:
            return None

    def put_json(self, key: str, value: Any) -> None:
        self._put(_place(key), json.dumps(value).encode())

    def can_write(self) -> bool:
        """Whether entries can be kept; if not, one warning says why."""
        written = self._put("trial-0", b"")
        with contextlib.suppress(OSError):
            self._file("trial-0").unlink()
        return written

    def tell(self, why: str) -> None:
        """One warning a process that results are not kept; worker processes leave it to their parent."""
        if not self._warned and multiprocessing.parent_process() is None:
            self._warned = True
            warnings.warn(f"results are not kept in {self.own_folder}: {why}; computing goes on without", stacklevel=3)

    def _file(self, place: str) -> Path:
        name = hashlib.blake2b(place.encode(), digest_size=20).hexdigest()
        return self.own_folder / name[:2] / f"{place.split('-')[0]}-{name}"

    def _get(self, place: str) -> bytes | None:
        """The content stored under place; None if there is none or it is damaged, which is then removed."""
        file = self._file(place)
        try:
            raw = file.read_bytes()
            if file.stat().st_mtime < self.began:  # used by the running study
                with contextlib.suppress(OSError):
                    os.utime(file)
        except FileNotFoundError:
            return None
        except OSError as error:
            self.tell(_why(error))
            return None
        content = _opened(place, raw)
        if content is None:
            with contextlib.suppress(OSError):
                file.unlink()
        return content

    def _put(self, place: str, content: bytes) -> bool:
        file = self._file(place)
        raw = _sealed(place, content)
        new = file.with_name(f".new-{os.getpid()}-{os.urandom(6).hex()}")
        try:
            self._make(file.parent)
            new.write_bytes(raw)
            os.replace(new, file)
        except OSError as error:  # costs speed, not answers
            with contextlib.suppress(OSError):
                new.unlink()
            self.tell(_why(error))
            return False
        self._keep_to_limit(len(raw))
        return True

    def _make(self, folder: Path) -> None:
        if not folder.is_dir():
            self.folder.mkdir(parents=True, exist_ok=True)
            self.own_folder.mkdir(mode=0o700, exist_ok=True)
            folder.mkdir(mode=0o700, exist_ok=True)

    def _entries(self) -> list[Entry]:
        """Every file that the store wrote; other files in its folder are none of its business."""
        found = []
        for file in _files(self.own_folder):
            name = ENTRY.fullmatch(file.name)
            with contextlib.suppress(OSError):  # gone meanwhile
                facts = file.stat(follow_symlinks=False)
                if name:
                    size = -(-facts.st_size // BLOCK) * BLOCK
                    found.append(Entry(Path(file.path), name[1] or "", size, facts.st_mtime))
        return found

    def _keep_to_limit(self, written: int) -> None:
        self._room = (self._room or 0) - written
        if self._room <= 0:
            entries = self._entries()
            left = sum(e.size for e in entries)
            if left > self.limit:
                since = min(self.began, time.time() - DAY)
                stay = [e for e in entries if e.kind in ANSWERS and e.used >= since]
                stale = sorted(set(entries) - set(stay), key=lambda e: (e.used >= since, e.kind in ANSWERS, e.used))
                left = self._drop(stale, left, int(0.9 * self.limit))[1]
            self._room = max((self.limit - left) // 8, self.limit // 100)

    def _drop(self, entries: list[Entry], size: int, limit: int) -> tuple[int, int]:
        """Remove entries in that order until size <= limit; how many, and the size left."""
        dropped = 0
        for entry in entries:
            if size <= limit:
                break
            with contextlib.suppress(OSError):
                entry.path.unlink(missing_ok=True)
                size, dropped = size - entry.size, dropped + 1
        return dropped, size

    def contents(self) -> dict[str, int]:
        """Number of entries of each kind."""
        return dict(Counter(e.kind for e in self._entries() if e.kind))

    def bytes(self) -> int:
        """Room taken on disk."""
        return sum(e.size for e in self._entries())

    def prune(self, limit: int) -> int:
        """Drop the longest unused entries until at most `limit` bytes are left; the number dropped."""
        entries = sorted(self._entries(), key=lambda e: e.used)
        whole = [e for e in entries if e.kind]
        half = [e for e in entries if not e.kind and e.used < time.time() - HOUR]  # left by a killed process
        self._drop(half, sum(e.size for e in half), 0)
        return self._drop(whole, sum(e.size for e in whole), limit)[0]


def _files(folder: Path) -> Iterator[os.DirEntry[str]]:
    """Files two levels down in folders named as the store names them."""
    with contextlib.suppress(OSError), os.scandir(folder) as parts:
        for part in parts:
            if PLACE.fullmatch(part.name) and part.is_dir(follow_symlinks=False):
                with contextlib.suppress(OSError), os.scandir(part) as files:
                    yield from (f for f in files if f.is_file(follow_symlinks=False))


def _checksum(place: str, body: bytes) -> bytes:
    return hashlib.blake2b(place.encode() + b"\n" + body, digest_size=16).hexdigest().encode()


def _sealed(place: str, content: bytes) -> bytes:
    """The bytes of an entry's file."""
    body = zlib.compress(content, 1)
    return b"\n".join([FORMAT, place.encode(), _checksum(place, body), body])


def _opened(place: str, raw: bytes) -> bytes | None:
    """The content of an entry's file; None if it is not that of place, or damaged."""
    parts = raw.split(b"\n", 3)
    if len(parts) != 4 or parts[:2] != [FORMAT, place.encode()] or parts[2] != _checksum(place, parts[3]):
        return None
    try:
        return zlib.decompress(parts[3])
    except zlib.error:
        return None


def _rounded(array: Any) -> Any:
    """Floating-point numbers to BITS of mantissa, in the array's own kind; others as they are."""
    if array.dtype not in (np.float64, np.complex128):
        return array
    whole = np.ascontiguousarray(array).view(np.uint64)
    cut = np.uint64(52 - BITS)
    return ((whole + (np.uint64(1) << cut - np.uint64(1)) >> cut) << cut).view(array.dtype).reshape(array.shape)


def _sorted_bytes(content: bytes) -> bytes:
    """First every eighth byte from the first, then from the second ...: like bytes of numbers side by side."""
    padded = content + bytes(-len(content) % 8)
    return len(content).to_bytes(8, "big") + np.frombuffer(padded, np.uint8).reshape(-1, 8).T.tobytes()


def _unsorted_bytes(content: bytes) -> bytes:
    """What _sorted_bytes made it from."""
    size = int.from_bytes(content[:8], "big")
    return np.frombuffer(content, np.uint8, offset=8).reshape(8, -1).T.tobytes()[:size]


def _read_arrays(raw: bytes | None) -> Arrays | None:
    """Arrays of .npz bytes; None for nothing."""
    try:
        with np.load(io.BytesIO(_unsorted_bytes(raw or b"")), allow_pickle=False) as data:
            return dict(data)
    except (OSError, ValueError, EOFError, zipfile.BadZipFile):
        return None


def _why(error: OSError) -> str:
    return error.strerror or type(error).__name__


def digest(kind: str, *parts: object) -> str:
    """A key: kind and the hash of the parts."""
    text = json.dumps(parts, sort_keys=True, default=str)
    return f"{kind}-{hashlib.sha256(text.encode()).hexdigest()}"
