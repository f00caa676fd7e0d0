"""The logbook: a folder a place, a TOML file an entry, the sweeps of that day beside it. Nothing leaves the machine.

An entry holds the set-up's tables as a study file has them, and a table [log] of what was seen and decided.
"""

import os
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import tomli_w
from platformdirs import user_data_dir
from pydantic import AfterValidator

from tautwire.model.errors import InputError, did_you_mean
from tautwire.model.operating.bands import band_of
from tautwire.studies.study.files import load_tables, make_folder, put_text, writable
from tautwire.studies.study.guard import check_name
from tautwire.studies.study.measurement import dips, read_sweeps
from tautwire.studies.study.parts import Part, read_part
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import frequency

FOLDER_VARIABLE = "TAUTWIRE_LOG"
LOG = "log"
HEAD = "# An entry of a tautwire logbook. Start from it:  tautwire predict --from THIS_FILE\n\n"


def check_day(text: str) -> str:
    """A day as 2026-05-31. Raises InputError."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError("log.date", repr(text), "a day as 2026-05-31") from None


class LogSpec(Part):
    """[log]: what was seen and decided. dips: band -> frequency, as texts. rain: None where nobody said."""

    place: str
    date: Annotated[str, AfterValidator(check_day)]
    rain: bool | None = None
    dips: dict[str, str] = {}
    sweeps: tuple[str, ...] = ()
    decided: str = ""
    note: str = ""


@dataclass(frozen=True)
class Entry:
    """One entry. tables: the whole file."""

    path: Path
    log: LogSpec
    tables: Raw

    @property
    def setup(self) -> Raw:
        """The set-up's tables."""
        return {k: v for k, v in self.tables.items() if k in Setup.model_fields}

    @property
    def dips_hz(self) -> dict[str, float]:
        """Band -> its dip, Hz."""
        return {band: frequency(text, f"log.dips.{band}") for band, text in self.log.dips.items()}


def logbook_folder() -> Path:
    """$TAUTWIRE_LOG, else a folder of the user's data."""
    return Path(os.environ.get(FOLDER_VARIABLE) or Path(user_data_dir("tautwire")) / "logbook")


def folder_of(place: str) -> Path:
    """Where a place's entries are. Raises InputError for a name with nothing to name a folder by.

    >>> folder_of("Lakeside, the pine").name
    'lakeside-the-pine'
    """
    slug = re.sub(r"\W+", "-", check_name(place, "place").lower()).strip("-")
    if not slug:
        raise InputError("place", repr(place), "a name with letters or digits")
    return logbook_folder() / slug


def places() -> list[str]:
    """Every place of the logbook, by name."""
    folders = sorted(logbook_folder().glob("*/"))
    return [found[-1].log.place for folder in folders if (found := _read_folder(folder))]


def entries(place: str) -> list[Entry]:
    """A place's entries, oldest first. Raises InputError for a place that has none."""
    found = _read_folder(folder_of(place))
    if not found:
        known = places()
        allowed = (
            f"one of {', '.join(known)}{did_you_mean(place, known)}" if known else "a place of the logbook; it is empty"
        )
        raise InputError("place", repr(place), allowed)
    return found


def _read_folder(folder: Path) -> list[Entry]:
    read = [read_entry(path) for path in sorted(folder.glob("*.toml"))]
    return sorted(read, key=lambda e: (e.log.date, e.path.stat().st_mtime))


def read_entry(path: Path) -> Entry:
    """An entry of a file. Raises InputError if it is none."""
    tables = load_tables(path)
    if LOG not in tables:
        raise InputError("file", path, f"an entry of the logbook, with a [{LOG}] table")
    return Entry(path, read_part(LogSpec, tables[LOG], f"{LOG}."), tables)


def dip_of(text: str, region: object = 1) -> tuple[str, str]:
    """Band and frequency of "14.052 MHz", or of "20 m 14.052 MHz". Raises InputError.

    >>> dip_of("14.052 MHz")
    ('20 m', '14.052 MHz')
    """
    named = re.fullmatch(r"(\d+ ?m)\s+(.+)", text.strip())
    f_hz = frequency(named[2] if named else text, "--dip")
    band = band_of(f_hz, region)
    if not named and band is None:
        raise InputError("--dip", repr(text), 'its band before it, such as "20 m 13.95 MHz": it lies in none')
    return (named[1] if named else band.name if band else ""), f"{f_hz / 1e6:.6g} MHz"


def dips_of(sweeps: Sequence[Path], region: object = 1) -> tuple[dict[str, str], list[str]]:
    """The deepest dip in each band of measured sweeps, and how their files were read."""
    deepest: dict[str, tuple[float, float]] = {}
    read = [sweep for path in sweeps for sweep in read_sweeps(path)]
    for sweep in read:
        for f_hz, low in dips(sweep):
            band = band_of(f_hz, region)
            if band and low < deepest.get(band.name, (0.0, float("inf")))[1]:
                deepest[band.name] = f_hz, low
    return {band: f"{f / 1e6:.6g} MHz" for band, (f, _) in deepest.items()}, [sweep.how for sweep in read]


def add(log: Mapping[str, Any], tables: Mapping[str, Any], sweeps: Sequence[Path]) -> Entry:
    """Write an entry into its place's folder, with copies of its sweeps. tables: set-up, and what a fit wrote with it.

    Raises InputError for a set-up that is none, or a folder that cannot be written.
    """
    spec = read_part(LogSpec, log, f"{LOG}.")
    Setup.read({k: v for k, v in tables.items() if k in Setup.model_fields})
    folder = folder_of(spec.place)
    make_folder(folder)
    taken = len(list(folder.glob(f"{spec.date}*.toml")))
    stem = f"{spec.date}-{taken + 1}" if taken else spec.date
    copies = [folder / f"{stem}-{path.name}" for path in sweeps]
    with writable(folder, "folder"):
        for path, copy in zip(sweeps, copies, strict=True):
            shutil.copyfile(path, copy)
    told = {k: v for k, v in spec.model_dump().items() if v is not None and v != ""}
    told |= {"sweeps": [copy.name for copy in copies]}
    path = folder / f"{stem}.toml"
    put_text(path, HEAD + tomli_w.dumps({LOG: told, **tables}))
    return read_entry(path)
