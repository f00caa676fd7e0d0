"""Files and folders: read and written with one clear line when they cannot be, and never over what is not our own.

The one way in which files are written: what is not known as our own is never replaced or removed.

A folder of results holds the answer to one question of one study. Its provenance.json, the manifest, names the study,
the question and every file written there with a digest of its content. A file is replaced or removed only if the
manifest has its name with the digest of what stands there now; a file that is foreign, or was edited since, is refused
in one line before any file changes. What is replaced or removed is kept in a folder .tautwire beside it, and `undo`
brings it back. `--replace` allows what is refused otherwise; what it replaces is kept for good.

A manifest is data. It can name only plain names with the endings that we write, so that the worst one can do nothing
to a file whose content it does not know.
"""

import contextlib
import hashlib
import json
import os
import re
import secrets
import shutil
import stat
import tempfile
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from tautwire.model.errors import InputError
from tautwire.studies.study.study import located

# --- Files and folders on disk, with one clear line when they cannot be read or written.


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


# --- The one way in which files are written.


RECORD = "provenance.json"
KEPT, VERSION, DIGEST = ".tautwire", "version.json", "digest"
FORMAT = 2
ENDINGS = (".csv", ".png", ".svg", ".pdf", ".md", ".html", ".toml", ".txt", ".gif", ".pptx", ".s1p", ".json", ".nec")
NUMBER = r"[0-9]{6,7}"  # of a kept version
MOST_KEPT = 3  # earlier versions; those that hold what --replace replaced stay besides
SUMMARY, PAGE, STUDY = "summary.md", "report.html", "study.toml"


class Source(NamedTuple):
    """What a folder of results answers. file: the study file, "" if there was none. question: "run", "turns" ..."""

    study: str
    file: str = ""
    question: str = "run"

    def seen_from(self, folder: Path) -> dict[str, str]:
        """As a manifest in that folder has it: with the path of the file from there, so that both can move."""
        file = self.file
        if file:
            with contextlib.suppress(OSError, ValueError):  # another drive
                file = os.path.relpath(Path(file).resolve(), folder.resolve())
        return {"study": self.study, "file": file.replace(os.sep, "/"), "question": self.question}


@dataclass
class Manifest:
    """head: study, file and question. parts: command -> what is known of its making, with its files under "files".

    Each file has the digests it may have: one, or two while it is being written.
    """

    head: dict[str, str] = field(default_factory=dict)
    parts: dict[str, dict[str, Any]] = field(default_factory=dict)

    def digests(self) -> dict[str, list[str]]:
        """Every file of all parts."""
        return {name: held for part in self.parts.values() for name, held in part["files"].items()}

    def text(self) -> str:
        """As JSON, with a digest of itself, which tells whether somebody edited it."""
        parts = {
            name: {**part, "files": {n: d[0] if len(d) == 1 else d for n, d in part["files"].items()}}
            for name, part in self.parts.items()
        }
        facts = {"format": FORMAT, **self.head, "parts": parts}
        return json.dumps({**facts, DIGEST: _digest_of(facts)}, indent=1) + "\n"


def _digest_of(facts: Mapping[str, Any]) -> str:
    return sha(json.dumps(facts, sort_keys=True).encode())


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _is_plain(name: str) -> bool:
    """Whether it is the name of a file in the folder itself, and not hidden."""
    return re.fullmatch(r"[^./\\:\0][^/\\:\0]{0,250}", name) is not None


def is_ours(name: str) -> bool:
    """Whether it can be the name of a file that a manifest lists: a plain one, with an ending of ours."""
    return _is_plain(name) and name.lower().endswith(ENDINGS) and name != RECORD


def content(path: Path) -> bytes | None:
    """The bytes of a plain file; None if there is none, or a link, folder or device in its place."""
    try:
        return path.read_bytes() if stat.S_ISREG(path.lstat().st_mode) else None
    except (OSError, ValueError):
        return None


def stands(path: Path) -> bool:
    """Whether anything has that name, also a link to nothing."""
    return os.path.lexists(path)


def read_manifest(folder: Path) -> Manifest | None:
    """The manifest of a folder; None if it has none, or one that is not ours."""
    return _manifest(content(folder / RECORD))


def _manifest(data: bytes | None) -> Manifest | None:
    if not data or len(data) > MOST_BYTES:
        return None
    try:
        found = json.loads(data)
        whole = isinstance(found, dict) and found.pop(DIGEST, None) == _digest_of(found)
    except (ValueError, RecursionError):
        return None
    if not whole or found.get("format") != FORMAT or not isinstance(found.get("parts"), dict):
        return None
    head = {key: found.get(key) for key in ("study", "file", "question")}
    parts = {name: part for name, part in found["parts"].items() if isinstance(part, dict)}
    if not all(isinstance(value, str) for value in head.values()):
        return None
    return Manifest(head, {n: {**p, "files": _digests(p.get("files"))} for n, p in parts.items()})


def _digests(files: Any) -> dict[str, list[str]]:
    """Names and digests of a manifest as far as they can be ours."""
    found = {}
    for name, held in (files if isinstance(files, dict) else {}).items():
        given = held if isinstance(held, list) else [held]
        if is_ours(name) and given and all(isinstance(d, str) for d in given):
            found[name] = given
    return found


class _Keeper:
    """What a command replaces or removes in a folder, kept in a version of its own beside it.

    before: the folder's manifest as it was, bytes or None. listed: whether there is to be one.
    """

    def __init__(self, folder: Path, before: bytes | None, listed: bool) -> None:
        self.folder, self.before, self.listed = folder, before, listed
        self.replaced: dict[str, str] = {}
        self.written: dict[str, str] = {}
        self.foreign = False
        self.version: Path | None = None

    def place(self) -> Path:
        """The folder of versions. Raises InputError if something else has its name."""
        place = self.folder / KEPT
        if place.is_symlink() or (place.exists() and not place.is_dir()):
            raise InputError("out", place, "another folder: this name is taken by what is not ours")
        if not place.exists():
            place.mkdir()
            (place / ".gitignore").write_text("*\n", encoding="ascii")
        return place

    def keep(self, name: str, foreign: bool) -> None:
        """Keep what stands under this name, as it was before this command."""
        data = content(self.folder / name)
        if data is None or name in self.replaced:
            return
        if self.version is None:
            place = self.place()
            numbers = [int(p.name) for p in place.iterdir() if re.fullmatch(NUMBER, p.name)]
            self.version = place / f"{max(numbers, default=0) + 1:06d}"
            self.version.mkdir()
        _copied(self.folder / name, self.version / name)
        self.replaced[name] = sha(data)
        self.foreign |= foreign
        self.note()

    def note(self) -> None:
        """Write down what is kept."""
        if self.version is not None:
            manifest = None if self.before is None else self.before.decode(errors="replace")
            facts = {"replaced": self.replaced, "written": self.written, "foreign": self.foreign}
            text = json.dumps({**facts, "listed": self.listed, "manifest": manifest})
            _put(self.version / VERSION, text.encode())


def _put(path: Path, data: bytes) -> None:
    """A file is there whole or not at all, whatever ends this process meanwhile."""
    new = path.parent / f".{secrets.token_hex(8)}.part"
    try:
        with new.open("xb") as stream:
            stream.write(data)
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)


class Output:
    """A folder to write into; as a context manager it writes its manifest when it is left.

    folder: made if it is not there. source: what it answers. part: the command that writes; files of other commands
    that answer the same question stay. replace: whether foreign files, and those of another study, may be replaced.
    listed: False for files in a folder of the user's own, which gets no manifest. whole: whether files that the part
    wrote before and does not write now are removed.
    Raises InputError if the folder holds what may not be replaced, or cannot be written.
    """

    def __init__(
        self,
        folder: Path,
        source: Source,
        part: str = "",
        replace: bool = False,
        listed: bool = True,
        whole: bool = True,
    ) -> None:
        make_folder(folder)
        self.folder, self.part, self.replace, self.listed = folder, part or source.question, replace, listed
        self.head = source.seen_from(folder)
        self.facts: dict[str, Any] = {}
        """of its making, for the manifest"""
        self._written: dict[str, str] = {}
        before = content(folder / RECORD)
        self._manifest = (_manifest(before) or Manifest()) if listed else Manifest()
        self._kept = _Keeper(folder, before, listed)
        other = self._manifest.head
        if self._manifest.parts and other != self.head:
            if not replace:
                asked = {"run": ""}.get(other["question"], f" to `tautwire {other['question']}`")
                of = f"what {other['file'] or other['study']} gave{asked}"
                raise InputError("out", folder, f"another folder with --out, or --replace: this one holds {of}")
            self._old, whole = self._manifest.digests(), True
        else:
            self._old = dict(self._manifest.parts.get(self.part, {}).get("files", {})) if whole else {}
        if listed:
            self.check([RECORD, *self._old, *([SUMMARY, PAGE, STUDY] if whole else [])])

    @classmethod
    def file(cls, path: Path, source: Source, part: str, replace: bool = False, results: bool = False) -> "Output":
        """For the one file at `path`: listed beside others of the same source in a folder of results, by itself in any
        other. results: whether the folder is one of results. Raises InputError."""
        if path.is_dir():
            raise InputError("out", path, "the name of a file; this is a folder")
        found = None if results else read_manifest(path.parent)
        listed = results or (found is not None and found.head == source.seen_from(path.parent))
        made = cls(path.parent, source, part, replace, listed, whole=False)
        made.check([path.name])
        return made

    def check(self, names: Iterable[str]) -> None:
        """Raises InputError if one of these names is taken by what may not be replaced."""
        for name in names:
            path = self.folder / name
            if not stands(path) or name in self._written:
                continue
            data = content(path)
            if data is None:
                raise InputError("out", path, "another place with --out: a link, a folder or a device has this name")
            if not (self.replace or self._is_own(name, data)):
                edited = name in self._manifest.digests()
                why = "was edited since tautwire wrote it" if edited else "is not known as written by tautwire"
                raise InputError("out", path, f"another place with --out, or --replace: what is there {why}")

    def _is_own(self, name: str, data: bytes) -> bool:
        if name == RECORD:
            return _manifest(data) is not None
        return sha(data) in self._manifest.digests().get(name, ())

    def put(self, files: Mapping[str, bytes]) -> list[Path]:
        """Write files by name; none if one of them may not be replaced. Raises InputError."""
        self.check(files)
        digests = {name: sha(data) for name, data in files.items()}
        changed = {name: data for name, data in files.items() if content(self.folder / name) != data}
        self._kept.written |= {name: digests[name] for name in changed}
        with writable(self.folder, "folder"):
            for name in changed:
                self._keep(name)
            self._list(digests)
            self._write_manifest()  # knows both contents of a file while it changes
            for name, data in changed.items():
                _put(self.folder / name, data)
        self._written |= digests
        self._own_part()["files"] |= {name: [digest] for name, digest in digests.items()}
        return [self.folder / name for name in files]

    def _keep(self, name: str) -> None:
        if name not in self._written and (data := content(self.folder / name)) is not None:
            self._kept.keep(name, foreign=not self._is_own(name, data))

    def _own_part(self) -> dict[str, Any]:
        """This command's part of the manifest; those of another study go."""
        if self._manifest.head != self.head:
            self._manifest = Manifest(self.head, {self.part: {"files": dict(self._old)}})
        return self._manifest.parts.setdefault(self.part, {"files": {}})

    def _list(self, digests: Mapping[str, str]) -> None:
        """Each file in this command's part, with the digests that it may have from now on."""
        own = self._own_part()["files"]
        known = self._manifest.digests()
        for part in self._manifest.parts.values():
            for name in digests:
                part["files"].pop(name, None)
        own |= {name: [*dict.fromkeys([digest, *known.get(name, [])])] for name, digest in digests.items()}

    def _write_manifest(self) -> None:
        if self.listed:
            if self._kept.before is not None and _manifest(self._kept.before) is None:
                self._kept.keep(RECORD, foreign=True)
            _put(self.folder / RECORD, self._manifest.text().encode())

    def close(self) -> None:
        """Remove what was written before and is not written now, unless it was edited; write the manifest."""
        if not self._written:
            return
        with writable(self.folder, "folder"):
            own = self._own_part()
            for name, held in self._old.items():
                if name in self._written:
                    continue
                data = content(self.folder / name)
                if data is not None and sha(data) in held:
                    self._kept.keep(name, foreign=False)
                    (self.folder / name).unlink()
                own["files"].pop(name, None)
            files = own.pop("files")
            self._manifest.parts[self.part] = {**own, **self.facts, "files": files}
            self._write_manifest()
            self._kept.note()
            _prune(self.folder / KEPT)

    def __enter__(self) -> "Output":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if kind is None:
            self.close()
        elif self._written:  # what was written stands; the rest is as it was
            with contextlib.suppress(OSError, InputError):
                self._write_manifest()
                self._kept.note()


def write_file(path: Path, data: bytes, source: Source, part: str, replace: bool = False) -> Path:
    """Write one file where the user wants it; what stands there stays unless `replace`. Raises InputError."""
    with Output.file(path, source, part, replace) as out:
        out.put({path.name: data})
    return path


def _copied(path: Path, copy: Path) -> None:
    """A second name for the same content where the file system has such, else a copy: path is replaced, not changed."""
    try:
        os.link(path, copy, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copyfile(path, copy, follow_symlinks=False)


@dataclass(frozen=True)
class _Version:
    """A kept version. replaced: the files it holds; written: what took their places; names and digests."""

    path: Path
    replaced: dict[str, str]
    written: dict[str, str]
    foreign: bool
    listed: bool
    manifest: str | None

    def drop(self) -> None:
        for name in (*self.replaced, VERSION):
            (self.path / name).unlink(missing_ok=True)
        with contextlib.suppress(OSError):  # something else lies there
            self.path.rmdir()


def _versions(place: Path) -> list[_Version]:
    """What is kept, oldest first; what is malformed, or no version of ours, is passed over."""
    found = []
    if place.is_symlink() or not place.is_dir():
        return []
    for path in sorted(place.iterdir()):
        if not re.fullmatch(NUMBER, path.name) or path.is_symlink() or not path.is_dir():
            continue
        try:
            facts = json.loads(content(path / VERSION) or b"")
            replaced, written = (
                {n: d for n, d in facts[key].items() if isinstance(d, str) and _is_plain(n)}
                for key in ("replaced", "written")
            )
            manifest = facts["manifest"] if isinstance(facts["manifest"], str) else None
            found.append(_Version(path, replaced, written, bool(facts["foreign"]), bool(facts["listed"]), manifest))
        except (ValueError, RecursionError, KeyError, TypeError, AttributeError):
            continue
    return found


def _prune(place: Path) -> None:
    for old in [v for v in _versions(place) if not v.foreign][:-MOST_KEPT]:
        old.drop()


def undo(folder: Path) -> tuple[list[str], list[str]]:
    """Bring back what the last command replaced or removed in a folder; done twice, it undoes itself.

    Gives the names brought back and those taken away. Raises InputError if nothing is kept, or if a file in the way was
    edited since: then nothing changes.
    """
    kept = _versions(folder / KEPT)
    if not kept:
        raise InputError("FOLDER", folder, "a folder where a command of tautwire replaced something; nothing is kept")
    last, now = kept[-1], content(folder / RECORD)
    manifest = _manifest(now)
    back = {name: content(last.path / name) for name in last.replaced}
    for name, data in back.items():
        if data is None or sha(data) != last.replaced[name]:
            raise InputError("FOLDER", last.path / name, "as it was kept: it is gone, or was edited")
    for name in {**last.written, **back, **({RECORD: ""} if last.listed else {})}:
        data = content(folder / name)
        own = data is not None and (sha(data) == last.written.get(name) or name == RECORD and manifest is not None)
        if stands(folder / name) and not own and (data is None or data != back.get(name)):
            raise InputError("FOLDER", folder / name, "moved elsewhere first: it was edited since, or is not ours")
    keeper = _Keeper(folder, now, last.listed)
    keeper.written = {name: digest for name, digest in last.replaced.items() if name != RECORD}
    listed = manifest.digests() if manifest else {}
    with writable(folder, "folder"):
        for name, digest in last.written.items():
            keeper.keep(name, foreign=digest not in listed.get(name, ()))
        gone = [name for name in last.written if name not in back and stands(folder / name)]
        for name in gone:
            (folder / name).unlink()
        if last.listed and RECORD not in back and last.manifest is not None:
            back[RECORD] = last.manifest.encode()
        elif last.listed and RECORD not in back:
            (folder / RECORD).unlink(missing_ok=True)
        for name, data in back.items():
            _put(folder / name, data or b"")
        keeper.note()
        last.drop()
    return sorted(last.replaced), sorted(gone)
