"""Amateur bands from 160 m to 6 m by region, and their segments by mode, each with its source.

All figures are from memory, and national rules are often narrower or have changed since: the licence holder checks
the current text before transmitting.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from tautwire.model.basics import Real
from tautwire.model.errors import InputError, nearest
from tautwire.model.solve.response import span_of

Region = Literal[1, 2, 3, "US"]

ITU = "ITU Radio Regulations article 5, region {}, from memory"
US_BANDS = "47 CFR 97.301, from memory"
US_60 = "47 CFR 97.303(h), span of the channels, from memory"
US_PHONE = "47 CFR 97.305(c) with 97.301, from memory"
PRACTICE = "common practice, no source"
OWN = "given by the user"


@dataclass(frozen=True)
class BandSegment:
    """A stretch of frequencies wanted for a purpose. lower, upper: Hz. band: its band's name, or "" if none."""

    name: str
    band: str
    lower: float
    upper: float
    source: str = OWN

    def __post_init__(self) -> None:
        if not (math.isfinite(self.upper) and 0 < self.lower < self.upper):
            raise InputError("segment", self.name, "a lower edge above 0 and below a finite upper edge")

    @property
    def centre(self) -> float:
        return (self.lower + self.upper) / 2

    @property
    def width(self) -> float:
        return self.upper - self.lower

    def frequencies(self, count: int) -> Real:
        """`count` (2 or more) evenly spaced frequencies in Hz, both edges included."""
        if count < 2:
            raise InputError("count", count, "2 or more frequencies")
        return np.linspace(self.lower, self.upper, count)


@dataclass(frozen=True)
class Band:
    """An amateur band, or a range of one's own. name: "20 m". lower, upper: edges, Hz. source: where they come from.

    note: limits.
    """

    name: str
    lower: float
    upper: float
    source: str
    note: str = ""

    @property
    def whole(self) -> BandSegment:
        """The whole band as one segment."""
        return BandSegment(self.name, self.name, self.lower, self.upper, self.source)

    def holds(self, f_hz: float) -> bool:
        return self.lower <= f_hz <= self.upper


# Edges in kHz for regions 1, 2, 3 and the US.
_EDGES: dict[str, tuple[tuple[float, float], ...]] = {
    "160 m": ((1810, 1850), (1800, 2000), (1800, 2000), (1800, 2000)),
    "80 m": ((3500, 3800), (3500, 4000), (3500, 3900), (3500, 4000)),
    "60 m": ((5351.5, 5366.5), (5351.5, 5366.5), (5351.5, 5366.5), (5330.6, 5406.4)),
    "40 m": ((7000, 7200), (7000, 7300), (7000, 7200), (7000, 7300)),
    "30 m": ((10100, 10150),) * 4,
    "20 m": ((14000, 14350),) * 4,
    "17 m": ((18068, 18168),) * 4,
    "15 m": ((21000, 21450),) * 4,
    "12 m": ((24890, 24990),) * 4,
    "10 m": ((28000, 29700),) * 4,
    "6 m": ((50000, 52000), (50000, 54000), (50000, 54000), (50000, 54000)),
}
_REGIONS: tuple[Region, ...] = (1, 2, 3, "US")
_NOTES = {
    "60 m": "secondary, 15 W e.i.r.p. in most countries (No. 5.133B, WRC-15)",
    "30 m": "secondary; no phone by common practice",
}
_US_60_NOTE = "only five 2.8 kHz channels centred on 5332, 5348, 5358.5, 5373, 5405 kHz; the rule is changing"

_Table = dict[str, tuple[float, float]]
# Common practice, kHz; a phone segment runs to the end of the band unless an upper edge is given.
_CW: _Table = {
    "160 m": (1810, 1838),
    "80 m": (3500, 3570),
    "60 m": (5351.5, 5354),
    "40 m": (7000, 7040),
    "30 m": (10100, 10130),
    "20 m": (14000, 14070),
    "17 m": (18068, 18095),
    "15 m": (21000, 21070),
    "12 m": (24890, 24915),
    "10 m": (28000, 28070),
    "6 m": (50000, 50100),
}
_DIGITAL: _Table = {
    "160 m": (1838, 1843),
    "80 m": (3570, 3600),
    "60 m": (5356, 5360),
    "40 m": (7040, 7080),
    "30 m": (10130, 10150),
    "20 m": (14070, 14099),
    "17 m": (18095, 18109),
    "15 m": (21070, 21150),
    "12 m": (24915, 24929),
    "10 m": (28070, 28190),
    "6 m": (50300, 50400),
}
_PHONE: _Table = {
    "160 m": (1843, 2000),
    "80 m": (3600, 4000),
    "60 m": (5354, 5366),
    "40 m": (7060, 7300),
    "20 m": (14101, 14350),
    "17 m": (18111, 18168),
    "15 m": (21151, 21450),
    "12 m": (24931, 24990),
    "10 m": (28225, 29200),
    "6 m": (50100, 50300),
}
_US_PHONE: _Table = {
    "80 m": (3600, 4000),
    "40 m": (7125, 7300),
    "20 m": (14150, 14350),
    "17 m": (18110, 18168),
    "15 m": (21200, 21450),
    "12 m": (24930, 24990),
    "10 m": (28300, 29700),
    "6 m": (50100, 54000),
}
_MODES: dict[str, _Table] = {"CW": _CW, "digital": _DIGITAL, "phone": _PHONE}


def region_named(region: object) -> Region:
    """1, 2, 3 or "US" from a number or text in any case. Raises InputError."""
    for known in _REGIONS:
        if not isinstance(region, bool) and str(region).strip().upper() == str(known):
            return known
    raise InputError("region", repr(region), "ITU region 1, 2 or 3, or 'US'")


def bands(region: object = 1) -> tuple[Band, ...]:
    """The bands of a region, longest wave first."""
    where = region_named(region)
    column = _REGIONS.index(where)
    found = []
    for name, edges in _EDGES.items():
        lower, upper = edges[column]
        source, note = ITU.format(where), _NOTES.get(name, "")
        if where == "US":
            source, note = (US_60, _US_60_NOTE) if name == "60 m" else (US_BANDS, note)
        found.append(Band(name, lower * 1e3, upper * 1e3, source, note))
    return tuple(found)


T = TypeVar("T", Band, BandSegment)


def _spaced(name: str) -> str:
    """ "20m cw" -> "20 m CW": one spelling for a band or segment name."""
    match = re.fullmatch(r"\s*(\d+)\s*-?\s*(?:m|metres?|meters?)?(?:\s+(\w+))?\s*", name, re.IGNORECASE)
    if not match:
        return name.strip()
    mode = {"cw": "CW"}.get((match[2] or "").lower(), (match[2] or "").lower())
    return f"{match[1]} m {mode}".strip()


def _pick(name: object, field: str, known: Mapping[str, T]) -> T:
    key = _spaced(str(name))
    if key in known:
        return known[key]
    raise InputError(field, repr(name), f"one of {', '.join(known)}{_meant(str(name), known)}")


_IN_WORDS = {"ten": 10, "twelve": 12, "fifteen": 15, "seventeen": 17, "twenty": 20, "thirty": 30, "forty": 40,
             "fourty": 40, "sixty": 60, "eighty": 80, "six": 6}  # fmt: skip


_MODE_WORDS = {
    "phone": "ssb lsb usb voice fone phone am fm", "digital": "digital digi data ft8 ft4 rtty psk psk31 js8",
    "CW": "cw morse telegraphy",
}  # fmt: skip
"""segment -> what people call it"""


def _mode_meant(name: str, known: Mapping[str, T]) -> str:
    """ "; did you mean '40 m phone'?" for "40 m ssb"; what of the band there is where it has no such segment."""
    band, _, word = _spaced(name).rpartition(" ")
    if band not in known:
        return ""
    words = {word: mode for mode, words in _MODE_WORDS.items() for word in words.split()}
    mode = next((words[w] for w in nearest(word.lower(), words, cutoff=0.75)), "")
    if f"{band} {mode}" in known:
        return f"; did you mean '{band} {mode}'?"
    if f"{band} CW" not in known:  # whole bands were asked for
        return f"; did you mean '{band}'?"
    return f"; of {band} there are " + ", ".join(f"'{k}'" for k in known if k == band or k.startswith(f"{band} "))


def _meant(name: str, known: Mapping[str, T]) -> str:
    """ "; did you mean '40 m'?" for "forty metres", "7 MHz" and misspellings; nothing where nothing is near."""
    if mode := _mode_meant(name, known):
        return mode
    words = name.lower().replace("-", " ").split()
    found = next((f"{_IN_WORDS[w]} m" for w in words if w in _IN_WORDS), "")
    if mega := re.fullmatch(r"(\d+\.?\d*)\s*MHz", name.strip(), re.IGNORECASE):
        f_hz = float(mega[1]) * 1e6
        whole = [b for b in known.values() if b.lower * 0.98 <= f_hz <= b.upper * 1.02]
        found = whole[0].name if whole else ""
    key = _spaced(name)
    near = [found] if found in known else nearest(key, known) if any(c.isdigit() for c in key) else []
    return f"; did you mean '{near[0]}'?" if near else ""


def band_named(name: str, region: object = 1, one_mesh: bool = True) -> Band:
    """The band called "20 m", "20m" or "20", or a range of the user's own ("13.9-14.4 MHz").

    one_mesh: whether one mesh must serve all of it. Raises InputError listing the bands, with the nearest name, and
    for a range that one mesh must serve and cannot.
    """
    if edges := _own(name, "band"):
        span = span_of(edges[0])
        if one_mesh and edges[1] > span.upper:
            allowed = f"a range within {span.lower / 1e6:g} to {span.upper / 1e6:g} MHz; two ranges where it goes on"
            raise InputError("band", repr(name), allowed)
        return Band(str(name).strip(), *edges, OWN)
    return _pick(name, "band", {band.name: band for band in bands(region)})


def band_of(f_hz: float, region: object = 1) -> Band | None:
    """The band that holds the frequency f_hz, or None."""
    return next((band for band in bands(region) if band.holds(f_hz)), None)


def band_segments(region: object = 1) -> tuple[BandSegment, ...]:
    """CW, digital and phone segments of every band that has them in the region, cut to the band's edges."""
    where = region_named(region)
    found = []
    for band in bands(where):
        for mode, table in _MODES.items():
            edges, source = table.get(band.name), PRACTICE
            if where == "US" and mode == "phone" and band.name in _US_PHONE:
                edges, source = _US_PHONE[band.name], US_PHONE
            if edges is None:
                continue
            lower, upper = max(edges[0] * 1e3, band.lower), min(edges[1] * 1e3, band.upper)
            if lower < upper:
                found.append(BandSegment(f"{band.name} {mode}", band.name, lower, upper, source))
    return tuple(found)


_OWN = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*(?:-|–|to)\s*(\d+\.?\d*|\.\d+)\s*([kM])Hz\s*", re.IGNORECASE)


def _own(name: str, field: str) -> tuple[float, float] | None:
    """Edges (Hz) of a range such as "14.000-14.070 MHz"; None if the name is no range."""
    own = _OWN.fullmatch(str(name))
    if own is None:
        return None
    scale = 1e3 if own[3] in "kK" else 1e6
    lower, upper = float(own[1]) * scale, float(own[2]) * scale
    if not 1.8e6 <= lower < upper <= 54e6:
        raise InputError(field, repr(name), "two rising frequencies within 1.8 to 54 MHz")
    return lower, upper


def segment_named(name: str, region: object = 1, field: str = "segment") -> BandSegment:
    """A segment by name ("20 m CW"), a whole band ("20 m"), or the user's own ("14.000-14.070 MHz").

    field: what the name was given for. Raises InputError naming the nearest segment, or for edges in the wrong order
    or outside 1.8 to 54 MHz.
    """
    if edges := _own(name, field):
        lower, upper = edges
        band = next((b.name for b in bands(region) if b.holds(lower) and b.holds(upper)), "")
        return BandSegment(str(name).strip(), band, lower, upper, OWN)
    known = {band.name: band.whole for band in bands(region)} | {s.name: s for s in band_segments(region)}
    return _pick(name, field, known)
