"""An outing: what was typed of a set-up, and what was then read there. A list of them is all that a posterior needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tautwire.model.operating.bands import Band
from tautwire.studies.study.measurement import Sweep
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.known import Known


@dataclass(frozen=True)
class Dip:
    """A dip as read. f_hz: Hz. swr: there, None if nobody read it."""

    band: Band
    f_hz: float
    swr: float | None = None


@dataclass(frozen=True, eq=False)
class Outing:
    """One time that an antenna was hung and looked at.

    setup: as typed. place: where. hang: what tells one hanging from another; outings of the same place and hang share
    how the wire hung. known: how far off values may be, where a fit or the user says so (dotted key -> prior).
    """

    place: str
    hang: str
    setup: Setup
    dips: tuple[Dip, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    known: Mapping[str, Known] | None = None
