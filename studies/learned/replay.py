"""The logbook as outings, and what is learned of them all: replayed whenever it is asked for, so nothing goes stale.

The only module here that knows how the logbook keeps its entries.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_named
from tautwire.model.remember import Remember
from tautwire.studies.learned.outing import Dip, Outing
from tautwire.studies.learned.posterior import Log
from tautwire.studies.logbook.logbook import Entry, read_logbook
from tautwire.studies.study.measurement import Sweep, read_sweeps
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.spread.want import SpreadSpec

SAME_HANG = ("antenna", "coax", "counterpoise")  # tables that say how it hangs
LET_OUT = {"length"}  # what changes of them without hanging it anew: wire let out or taken in


def all_entries() -> list[Entry]:
    """Every entry of every place that can be read, oldest first."""
    return read_logbook().entries


def hang_of(tables: Mapping[str, Any], day: str) -> str:
    """What tells one hanging from another at a place: the day, and how it was typed to hang.

    >>> hang_of({"antenna": {"length": "20 m", "slope": "30 deg"}}, "2026-05-31")
    '2026-05-31 [{"slope": "30 deg"}, null, null]'
    """
    antenna = tables.get("antenna")
    hung = {k: v for k, v in antenna.items() if k not in LET_OUT} if isinstance(antenna, Mapping) else antenna
    rest = [tables.get(name) for name in SAME_HANG[1:]]
    return f"{day} {json.dumps([hung, *rest], sort_keys=True, default=str)}"


def outing_of(entry: Entry) -> tuple[Outing, dict[tuple[str, str], float]]:
    """An entry as an outing, and which of its values a fit found to be off together. Raises InputError."""
    setup = Setup.read(entry.setup)
    said = SpreadSpec.model_validate(entry.tables.get("spread", {}))
    sweeps = [s for kept in entry.log.sweeps for s in _radio_sweeps(entry, kept.file, setup)]
    swept = [(s.f_hz[0], s.f_hz[-1]) for s in sweeps]
    swr = {dip.band: dip.swr for dip in entry.log.dips}
    dips = tuple(
        Dip(band_named(band), f, swr.get(band)) for band, f in entry.dips_hz.items()
        if not any(low <= f <= high for low, high in swept)
    )  # fmt: skip
    hang = hang_of(entry.tables, entry.log.date)
    known = said.values or None
    return Outing(entry.log.place, hang, setup, dips, tuple(sweeps), known), {(a, b): r for a, b, r in said.correlation}


def _radio_sweeps(entry: Entry, name: str, setup: Setup) -> list[Sweep]:
    """Sweeps of a file of an entry that were taken at the radio; none if the file is gone, nor a dummy load's."""
    path = entry.path.parent / name
    if not path.exists():
        return []
    return [s for s in read_sweeps(path) if not s.dummy and s.plane == "radio" and s.z0 == setup.radio.impedance]


def log_of(found: Iterable[Entry], bands: Sequence[Band], remember: Remember) -> Log:
    """Entries made ready for replay. bands: those to be predicted besides the ones read.

    Raises InputError for an entry whose set-up cannot be read, naming its file.
    """
    outings, pairs = [], {}
    for entry in found:
        try:
            outing, off = outing_of(entry)
        except InputError as error:
            raise InputError("log", entry.path, f"an entry that can be read: {error}") from None
        outings.append(outing)
        pairs.update(off)
    read = {d.band.name: d.band for o in outings for d in o.dips}
    every = {**read, **{b.name: b for b in bands}}
    return Log(outings, tuple(sorted(every.values(), key=lambda b: b.lower)), remember, pairs)
