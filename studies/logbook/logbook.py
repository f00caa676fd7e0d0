"""The logbook: a folder per place, a TOML file per entry, the sweeps of that day beside it. Nothing leaves the machine.

Entries are only ever added, each under a name of its own, so that two copies of a logbook can be merged without a
clash. An entry holds the set-up's tables as a study file has them, what a fit wrote beside them, and a table [log]:

    format   2
    id       ten random digits, also in the file's name
    written  when it was kept, UTC
    place    the place's name as typed; its folder has a safe name made from it
    date     the day it is about
    study    the study file that the set-up is from, if any
    rain     true or false, left out where nobody said
    dips     a list of { band, frequency, swr }, swr left out where nobody said
    sweeps   a list of { name, file, sha256 }: name as it was, file as copied into this folder
    turns    a list of { turns, band }: turns off the reel, band left out where it is one for all
    decided, note

Entries in order of date, then of `written`, are what was known when. Entries of format 1, which had dips as a table and
sweeps as a list of names, are read as well.
"""

import hashlib
import json
import math
import os
import re
import secrets
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import tomli_w
from platformdirs import user_data_dir
from pydantic import AfterValidator

from tautwire.model.errors import InputError, did_you_mean, printable
from tautwire.model.operating.bands import Band, band_named, band_of, bands
from tautwire.studies.study.files import load_tables, make_folder, put_new, writable
from tautwire.studies.study.measurement import dips, read_sweeps
from tautwire.studies.study.parts import Part, check_name, read_part
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import frequency

FOLDER_VARIABLE = "TAUTWIRE_LOG"
LOG, FORMAT = "log", 2
HEAD = "# An entry of a tautwire logbook. Start from it:  tautwire predict --from THIS_FILE\n\n"
NEAR, FAR = 0.15, 0.4  # log of frequency over a band's middle: to which a dip is taken for that band's, and may be said
LONGEST_SLUG = 40
MERGED = "the folder of another logbook, or a file of the pocket page; 'tautwire log' names this one's folder"
KINDS_BESIDE = ("fit_result", "spread")
"""tables that a fit writes beside the set-up, kept with it"""


def check_day(text: str) -> str:
    """A day as 2026-05-31. Raises InputError."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError("log.date", repr(text), "a day as 2026-05-31") from None


class LoggedDip(Part):
    """Where a band's SWR was lowest. frequency: text with its unit. swr: None where nobody said."""

    band: str
    frequency: str
    swr: float | None = None


class LoggedSweep(Part):
    """A measured sweep. name: of the file as it was; file: of its copy beside the entry."""

    file: str
    name: str = ""
    sha256: str = ""


class LoggedTurns(Part):
    """Turns off the reel, for a band or for all."""

    turns: float
    band: str = ""


class LogSpec(Part):
    """[log]: what was seen and decided. rain: None where nobody said."""

    place: str
    date: Annotated[str, AfterValidator(check_day)]
    format: int = FORMAT
    id: str = ""
    written: str = ""
    study: str = ""
    rain: bool | None = None
    dips: tuple[LoggedDip, ...] = ()
    sweeps: tuple[LoggedSweep, ...] = ()
    turns: tuple[LoggedTurns, ...] = ()
    decided: str = ""
    note: str = ""


@dataclass(frozen=True)
class Entry:
    """One entry. tables: the whole file. written: when it was kept, UTC."""

    path: Path
    log: LogSpec
    tables: Raw
    written: str

    @property
    def setup(self) -> Raw:
        """The set-up's tables."""
        return {k: v for k, v in self.tables.items() if k in Setup.model_fields}

    @property
    def beside(self) -> Raw:
        """What a fit wrote beside the set-up."""
        return {k: v for k, v in self.tables.items() if k in KINDS_BESIDE}

    @property
    def dips_hz(self) -> dict[str, float]:
        """Band -> its dip, Hz."""
        return {dip.band: frequency(dip.frequency, f"log.dips.{dip.band}") for dip in self.log.dips}

    @property
    def order(self) -> tuple[str, str, str]:
        return self.log.date, self.written, self.path.name


class Logbook(NamedTuple):
    """entries: oldest first. faults: files that could not be read, each with its reason in one line."""

    entries: list[Entry]
    faults: list[str]

    def at(self, place: str) -> list[Entry]:
        """A place's entries. Raises InputError for a place that has none."""
        key = key_of(place)
        found = [entry for entry in self.entries if key_of(entry.log.place) == key]
        if not found:
            known = self.places()
            near = did_you_mean(place, known)
            allowed = f"one of {', '.join(known)}{near}" if known else "a place of the logbook; it is empty"
            raise InputError("place", repr(place), allowed)
        return found

    def places(self) -> list[str]:
        """Every place, as it was last typed, by name."""
        return sorted({key_of(e.log.place): e.log.place for e in self.entries}.values())


def logbook_folder() -> Path:
    """$TAUTWIRE_LOG, else a folder of the user's data."""
    return Path(os.environ.get(FOLDER_VARIABLE) or Path(user_data_dir("tautwire")) / "logbook")


def key_of(place: str) -> str:
    """What two spellings of one place share: all but capitals and spaces.

    >>> key_of("Lakeside  PINE") == key_of("lakeside pine"), key_of("Pine (a)") == key_of("Pine a")
    (True, False)
    """
    return " ".join(unicodedata.normalize("NFC", place).casefold().split())


def folder_of(place: str) -> Path:
    """Where a place's new entries go: a name that any file system takes, and no other place has.

    Raises InputError for a name without letters or digits.

    >>> folder_of("Lakeside, the pine").name
    'lakeside-the-pine-eaf7cf'
    """
    check_name(place, "place")
    if not re.search(r"\w", place):
        raise InputError("place", repr(place), "a name with letters or digits")
    plain = unicodedata.normalize("NFKD", key_of(place)).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_SLUG].strip("-") or "place"
    return logbook_folder() / f"{slug}-{hashlib.sha256(key_of(place).encode()).hexdigest()[:6]}"


def read_logbook() -> Logbook:
    """All entries. A file that cannot be read costs itself alone."""
    found, faults = [], []
    for path in _entry_files(logbook_folder()):
        try:
            found.append(read_entry(path))
        except InputError as error:
            faults.append(printable(f"left out {path}: {error}"))
    return Logbook(sorted(found, key=lambda e: e.order), faults)


def _entry_files(folder: Path) -> Iterator[Path]:
    with writable(folder, "logbook folder"):
        yield from sorted(p for p in folder.glob("*/*.toml") if not p.name.startswith("."))


def places() -> list[str]:
    """Every place of the logbook, by name."""
    return read_logbook().places()


def entries(place: str) -> list[Entry]:
    """A place's entries, oldest first. Raises InputError for a place that has none."""
    return read_logbook().at(place)


def read_entry(path: Path) -> Entry:
    """An entry of a file. Raises InputError if it is none."""
    tables = load_tables(path)
    given = tables.get(LOG)
    if not isinstance(given, Mapping):
        raise InputError("file", path, f"an entry of the logbook, with a [{LOG}] table")
    number = given.get("format", 1)
    if not isinstance(number, int) or number > FORMAT:
        raise InputError(f"{LOG}.format", repr(number), f"up to {FORMAT}: a newer tautwire wrote this entry")
    spec: LogSpec = read_part(LogSpec, _first_format(given) if number < FORMAT else given, f"{LOG}.")
    check_name(spec.place, f"{LOG}.place")
    written = spec.written or datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat()
    entry = Entry(path, spec, tables, written)
    entry.dips_hz  # noqa: B018  raises for a frequency that is none
    return entry


def _first_format(given: Mapping[str, Any]) -> dict[str, Any]:
    """[log] of format 1 as it is today."""
    new = dict(given)
    if isinstance(given.get("dips"), Mapping):
        new["dips"] = [{"band": band, "frequency": text} for band, text in given["dips"].items()]
    if isinstance(given.get("sweeps"), list):
        new["sweeps"] = [{"file": name} for name in given["sweeps"]]
    return new


def _near(f_hz: float, region: object, reach: float = NEAR) -> Band | None:
    """The band that a dip belongs to: the one it lies in, else the nearest within reach."""
    here = band_of(f_hz, region)
    if here is not None:
        return here
    off = {band: abs(math.log(f_hz / math.sqrt(band.lower * band.upper))) for band in bands(region)}
    nearest = min(off, key=lambda band: off[band])
    return nearest if off[nearest] <= reach else None


def dip_of(text: str, region: object = 1) -> dict[str, Any]:
    """A dip of "14.052 MHz", "20 m 13.8 MHz" or "14.052 MHz SWR 1.3". Raises InputError.

    >>> dip_of("14.052 MHz")
    {'band': '20 m', 'frequency': '14.052 MHz'}
    >>> dip_of("13.8 MHz SWR 1.3")
    {'band': '20 m', 'frequency': '13.8 MHz', 'swr': 1.3}
    """
    parts = re.fullmatch(r"(?:(\d+ ?m)\s+)?(.+?)(?:[\s,;]+SWR\s*([\d.]+))?", text.strip(), re.IGNORECASE)
    f_hz = frequency(parts[2] if parts else text, "--dip")
    band = band_named(parts[1], region=region) if parts and parts[1] else _near(f_hz, region)
    if band is None:
        raise InputError("--dip", repr(text), 'its band before it, such as "20 m 13 MHz": it is near none')
    if abs(math.log(f_hz / math.sqrt(band.lower * band.upper))) > FAR:
        raise InputError("--dip", repr(text), f"a frequency nearer to {band.name}, or another band before it")
    found: dict[str, Any] = {"band": band.name, "frequency": f"{f_hz / 1e6:.6g} MHz"}
    if parts and parts[3]:
        try:
            found["swr"] = float(parts[3])
        except ValueError:
            found["swr"] = math.nan
        if not 1 <= found["swr"] < math.inf:
            raise InputError("--dip", repr(text), "an SWR of 1 or more after it, such as SWR 1.3")
    return found


def turns_of(text: str) -> dict[str, Any]:
    """Turns off the reel of "66", or of "20 m 66". Raises InputError.

    >>> turns_of("66"), turns_of("20 m 61.5")
    ({'turns': 66.0}, {'turns': 61.5, 'band': '20 m'})
    """
    parts = re.fullmatch(r"(?:(\d+ ?m)\s+)?(\d{1,5}(?:\.\d+)?)(?:\s+turns?)?", text.strip())
    if not parts:
        raise InputError("--turns", repr(text), 'a number of turns, such as "66", or "20 m 66"')
    return {"turns": float(parts[2])} | ({"band": band_named(parts[1]).name} if parts[1] else {})


def dips_of(sweeps: Sequence[Path], region: object = 1) -> tuple[list[dict[str, Any]], list[str]]:
    """The deepest dip of each band in measured sweeps, in the band if there is one, and how their files were read."""
    deepest: dict[str, tuple[bool, float, float]] = {}
    read = [sweep for path in sweeps for sweep in read_sweeps(path)]
    for sweep in read:
        for f_hz, low in dips(sweep):
            band = _near(f_hz, region)
            if band is not None:
                found = not band.holds(f_hz), low, f_hz
                deepest[band.name] = min(deepest.get(band.name, found), found)
    told = [
        {"band": band, "frequency": f"{f / 1e6:.6g} MHz", "swr": round(low, 3)} for band, (_, low, f) in deepest.items()
    ]
    return told, [sweep.how for sweep in read]


def kept_dips(path: Path) -> dict[str, tuple[str, float]]:
    """Band -> day and Hz of its last dip measured with the set-up of this entry, at its place, up to this entry."""
    last = read_entry(path)
    same = [
        entry
        for entry in read_logbook().entries
        if key_of(entry.log.place) == key_of(last.log.place) and entry.setup == last.setup and entry.order <= last.order
    ]
    return {band: (entry.log.date, f) for entry in [*same, last] for band, f in entry.dips_hz.items()}


def add(log: Mapping[str, Any], tables: Mapping[str, Any], sweeps: Sequence[Path]) -> Entry:
    """Write an entry into its place's folder, with copies of its sweeps. tables: set-up, and what a fit wrote with it.

    Raises InputError for a set-up that is none, or a folder that cannot be written; then nothing is left of it.
    """
    number = secrets.token_hex(5)
    written = datetime.now(UTC).isoformat()
    spec: LogSpec = read_part(LogSpec, {**log, "format": FORMAT, "id": number, "written": written}, f"{LOG}.")
    Setup.read({k: v for k, v in tables.items() if k in Setup.model_fields})
    folder = folder_of(spec.place)
    make_folder(folder)
    stem = f"{spec.date}-{number}"
    copies, files = [], {}
    for count, path in enumerate(sweeps, 1):
        with writable(path, "sweep"):
            data = path.read_bytes()
        name = f"{stem}-{count}-{re.sub(r'[^A-Za-z0-9.-]+', '_', path.stem)[:40]}{path.suffix.lower()}"
        copies.append({"name": path.name, "file": name, "sha256": hashlib.sha256(data).hexdigest()})
        files[name] = data
    told = {k: v for k, v in spec.model_dump(exclude_none=True).items() if v not in ("", ())}
    told["dips"] = [dip.model_dump(exclude_none=True) for dip in spec.dips]
    told["turns"] = [{k: v for k, v in turn.model_dump().items() if v != ""} for turn in spec.turns]
    with writable(folder, "folder"):
        files[f"{stem}.toml"] = (HEAD + tomli_w.dumps({LOG: {**told, "sweeps": copies}, **tables})).encode()
    made: list[Path] = []
    try:
        for name, data in files.items():  # the entry last: it is there only with its sweeps
            put_new(folder / name, data)
            made.append(folder / name)
    except BaseException:
        for path in made:
            path.unlink(missing_ok=True)
        raise
    return read_entry(folder / f"{stem}.toml")


def merge(other: Path) -> tuple[int, int]:
    """Copy what another copy of the logbook, one place's folder, or a file that the pocket page wrote has and this one
    has not: how many files were copied, and how many were here already.

    Nothing here changes. Where a name is taken by other content, the entry goes with its sweeps into a folder beside.
    Raises InputError for what is none of these, or this logbook itself.
    """
    if other.is_file():
        return _merge_file(other)
    here = logbook_folder()
    if not other.is_dir() or not (folders := _place_folders(other)):
        raise InputError("--merge", other, MERGED)
    if other.resolve() == here.resolve():
        raise InputError("--merge", other, "another logbook; this is the one in use")
    copied = known = 0
    for folder in folders:
        files = {p.name: p for p in sorted(folder.iterdir()) if _is_plain_file(p)}
        left = set(files)
        for name in [*(n for n in files if n.endswith(".toml")), *(n for n in files if not n.endswith(".toml"))]:
            if name not in left:
                continue
            group = [name, *(n for n in _sweeps_of(files[name]) if n in files and n != name)]
            with writable(folder, "folder that can be read, and its copy one"):
                contents = {n: files[n].read_bytes() for n in group}
            left -= contents.keys()
            places_here = [p for p in here.glob("*/") if p.is_dir()]
            if any(all(_content(p / n) == data for n, data in contents.items()) for p in places_here):
                known += len(contents)
                continue
            target = here / folder.name
            if any(_content(target / n) not in (None, data) for n, data in contents.items()):
                target = here / f"{folder.name}-{hashlib.sha256(contents[name]).hexdigest()[:12]}"
            make_folder(target)
            for n, data in reversed(contents.items()):
                if _content(target / n) == data:
                    known += 1
                    continue
                put_new(target / n, data)
                os.utime(target / n, ns=(files[n].stat().st_atime_ns, files[n].stat().st_mtime_ns))
                copied += 1
    return copied, known


def _merge_file(other: Path) -> tuple[int, int]:
    """The entries of a file that the pocket page wrote: { "tautwire_log": 2, "entries": [...] }, each with its tables.

    Every entry is looked at before the first is written.
    """
    with writable(other, "file that can be read, and its logbook one"):
        text = other.read_text(encoding="utf-8")
    try:
        told = json.loads(text)
        entries, number = told["entries"], told["tautwire_log"]
        ready = [(tables, tables[LOG], tables[LOG]["id"]) for tables in entries]
    except (ValueError, TypeError, KeyError):
        raise InputError("--merge", other, MERGED) from None
    if number != FORMAT:
        raise InputError("--merge", other, f"format {FORMAT}, not {number!r}: another tautwire wrote this log")
    files: dict[Path, bytes] = {}
    known = 0
    for tables, given, entry in ready:
        spec: LogSpec = read_part(LogSpec, given, f"{LOG}.")
        if not re.fullmatch(r"[0-9a-f]{10}", str(entry)):
            raise InputError(f"{LOG}.id", repr(entry), "ten digits 0 to f")
        for dip in spec.dips:
            frequency(dip.frequency, f"{LOG}.dips.{dip.band}")
        Setup.read({k: v for k, v in tables.items() if k in Setup.model_fields})
        name = f"{spec.date}-{entry}.toml"
        if spec.sweeps:
            raise InputError(f"{LOG}.sweeps", f"{len(spec.sweeps)} sweeps", "none in a log of the pocket page")
        if any(logbook_folder().glob(f"*/{name}")):
            known += 1
        else:
            files[folder_of(spec.place) / name] = (HEAD + tomli_w.dumps(tables)).encode()
    for path, data in files.items():
        make_folder(path.parent)
        put_new(path, data)
    return len(files), known


def _place_folders(other: Path) -> list[Path]:
    """The folders of places in a logbook, or the folder itself if entries lie in it."""
    inside = [p for p in sorted(other.iterdir()) if p.is_dir() and not p.is_symlink() and not p.name.startswith(".")]
    own = [other.resolve()] if any(p.suffix == ".toml" for p in other.iterdir() if _is_plain_file(p)) else []
    return [p for p in [*own, *inside] if any(map(_is_plain_file, p.iterdir()))]


def _is_plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink() and not path.name.startswith(".")


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _sweeps_of(path: Path) -> list[str]:
    """Names of an entry's sweeps; none if it is no entry."""
    if path.suffix != ".toml":
        return []
    try:
        return [sweep.file for sweep in read_entry(path).log.sweeps]
    except InputError:
        return []
