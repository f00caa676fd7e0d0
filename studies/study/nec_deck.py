"""NEC-2 card decks read: wires, loads, ground, sources and lines become a geometry of one's own.

Cards as in the NEC-2 Manual part III (1981), from memory. Fields are taken by blanks or commas, or by the manual's
columns where blanks leave integers out. What a deck asks for and tautwire does otherwise is noted line by line; a card
that changes the antenna and is not known is refused.
"""

import itertools
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import GROUNDS, Ground, UniformGround
from tautwire.model.wires.geometry import Geometry, Line, Lumped, OwnWire, Source
from tautwire.model.wires.layout import Point
from tautwire.model.wires.structure import Impedance, Load, WireType

MOST_LINES, MOST_WIRES, MOST_SEGMENTS, MOST_FREQUENCIES = 20_000, 5_000, 10_000, 100_000
JOINED = 1e-3  # of the shorter segment: ends as close are joined
REQUESTS = {
    "RP": "radiation pattern", "XQ": "run", "NE": "near electric field", "NH": "near magnetic field", "PT": "printing",
    "PQ": "printing", "PL": "plot file", "CP": "coupling", "KH": "approximation at a distance", "WG": "matrix file",
    "EK": "extended kernel",
}  # fmt: skip
RUNS = ("RP", "XQ", "NE", "NH")
REFUSED = {
    "GA": "arcs", "GC": "tapered wires", "GF": "a matrix file", "GH": "helices", "NT": "two-port networks",
    "SM": "surface patches", "SP": "surface patches", "SC": "surface patches", "GD": "a second ground medium",
    "UM": "other media", "NX": "a second structure",
}  # fmt: skip
INTEGERS = {"GW": 2, "GM": 2, "GR": 2, "GX": 2, "GS": 2, "GE": 2}
COLUMNS = {2: (5, 10), 4: (5, 10, 15, 20)}
JACKET = re.compile(
    r"jacket, tags (\d+) to (\d+): (\S+) mm, er (\S+), loss tangent (\S+)",
)


@dataclass(frozen=True)
class Card:
    """One line of a deck. line: its number, from 1. integers, reals: padded with zeros."""

    name: str
    line: int
    text: str
    integers: tuple[int, ...]
    reals: tuple[float, ...]

    def refused(self, allowed: str) -> InputError:
        return InputError(f"line {self.line}", self.text.strip(), allowed)


@dataclass(frozen=True)
class Deck:
    """What a deck says.

    Attributes
    ----------
    geometry : Geometry
        Its wires with the deck's own segments, sources, loads and lines.
    ground : Ground
        Free space, a perfect ground, or a soil.
    f_hz : tuple of float
        Its frequencies, Hz.
    notes : tuple of str
        What was left out or is done otherwise, with line and card.
    comments : tuple of str
        Its comment lines.

    Examples
    --------
    >>> import tautwire, tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "dipole.nec"
    >>> _ = file.write_text("CE\\nGW 1 21 0 -5 10 0 5 10 .001\\nGE\\nEX 0 1 11 0 1\\nFR 0 1 0 0 14.2\\nRP 0\\n")
    >>> deck = tautwire.read_deck(file)
    >>> deck.f_hz, deck.notes
    ((14200000.0,), ('line 6, RP: radiation pattern, left out',))
    """

    geometry: Geometry
    ground: Ground
    f_hz: tuple[float, ...]
    notes: tuple[str, ...] = ()
    comments: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class _Wire:
    tag: int
    segments: int
    start: Point
    end: Point
    radius: float
    card: Card


def read_deck(path: Path | str) -> Deck:
    """A NEC-2 card deck as a geometry of one's own.

    Parameters
    ----------
    path : Path or str
        The deck: cards GW, GS, GM, GR, GX, GE; LD, GN, EX, TL, FR; comments. RP, XQ and the like are left out.

    Returns
    -------
    Deck
        geometry, ground and f_hz (Hz), ready for `solve`; notes: what was left out or is done otherwise, line by line.

    Raises
    ------
    InputError
        For a file that cannot be read, and for a card that is wrong or not known, with its line.

    Notes
    -----
    tautwire solves the deck's own segments with its corrections: exact soil, junctions of different radii, calibrated
    source voltages. Its answers differ from a plain NEC-2 run by as much as these matter.

    Examples
    --------
    >>> import tautwire, tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "dipole.nec"
    >>> _ = file.write_text("CM park\\nCE\\nGW 1 21 0 -5 10 0 5 10 .001\\nGE\\nEX 0 1 11 0 1\\nFR 0 1 0 0 14.2\\nEN\\n")
    >>> deck = tautwire.read_deck(file)
    >>> solved = tautwire.solve(deck, deck.f_hz[0])
    >>> print(f"{solved.impedance.real:.0f} ohm")
    67 ohm
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="latin-1")
    except (OSError, ValueError) as error:
        raise InputError("deck", str(path), f"a readable card deck ({error})") from None
    return read_deck_text(text)


def read_deck_text(text: str) -> Deck:
    """As `read_deck`, of the deck's text."""
    return _Reader(text).deck()


def cards(text: str) -> Iterator[Card]:
    """The cards of a deck, comments among them. Raises InputError for a line that is no card."""
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise InputError("deck", f"{len(lines)} lines", f"at most {MOST_LINES}")
    for number, line in enumerate(lines, 1):
        name = line[:2].upper()
        if not line.strip() or line.lstrip()[0] in "!'#":
            continue
        if name in ("CM", "CE"):
            yield Card(name, number, line[2:].strip(), (), ())
        else:
            yield _card(name, number, line.rstrip())
        if name == "EN":
            return


def _card(name: str, number: int, line: str) -> Card:
    if not re.fullmatch("[A-Z]{2}", name):
        raise InputError(f"line {number}", line.strip()[:40], "a card: two letters, then numbers")
    count = INTEGERS.get(name, 4)
    body = re.split(r"[!']", line[2:])[0]
    words = [w for w in re.split(r"[\s,]+", body.strip()) if w]
    if not all(re.fullmatch(r"[+-]?\d+", w) for w in words[:count]):
        words = _by_columns(body, COLUMNS[count])
    try:
        integers = [int(w) for w in words[:count]]
        reals = [float(re.sub("[dD]", "e", w)) for w in words[count:]]
    except ValueError:
        raise InputError(f"line {number}", line.strip(), f"{count} whole numbers, then numbers") from None
    if not all(map(math.isfinite, reals)):
        raise InputError(f"line {number}", line.strip(), "finite numbers")
    return Card(name, number, line, (*integers, *[0] * (count - len(integers))), (*reals, *[0.0] * (10 - len(reals))))


def _by_columns(body: str, ends: tuple[int, ...]) -> list[str]:
    """Words by the manual's columns; body: from column 3 on. Blank fields are 0."""
    edges = [0, *(e - 2 for e in ends)]
    edges += range(edges[-1] + 10, edges[-1] + 71, 10)
    return [body[a:b].strip() or "0" for a, b in itertools.pairwise(edges)]


class _Reader:
    def __init__(self, text: str) -> None:
        self.wires: list[_Wire] = []
        self.comments: list[str] = []
        self.notes: list[tuple[int, str, str]] = []
        self.sources: list[Card] = []
        self.loads: list[Card] = []
        self.lines: list[Card] = []
        self.f_hz: list[float] = []
        self.ground: Ground = GROUNDS["free space"]
        self.on_ground = self.ended = self.has_run = False
        geometry: dict[str, Callable[[Card], None]] = {
            "GW": self._gw, "GS": self._gs, "GM": self._gm, "GR": self._gr, "GX": self._gx, "GE": self._ge,
        }  # fmt: skip
        control: dict[str, Callable[[Card], None]] = {
            "LD": self._ld, "GN": self._gn, "EX": self._ex, "TL": self._tl, "FR": self._fr,
        }  # fmt: skip
        for card in cards(text):
            if card.name in ("CM", "CE"):
                self.comments.append(card.text)
            elif card.name == "EN":
                break
            elif card.name in REFUSED:
                raise card.refused(f"a card that is read: {REFUSED[card.name]} are not")
            elif card.name in geometry:
                if self.ended:
                    raise card.refused("before GE, which ends the wires")
                geometry[card.name](card)
            elif card.name in control or card.name in REQUESTS:
                if not self.ended:
                    raise card.refused("after GE, which ends the wires")
                if self.has_run and card.name in control:
                    self.note(card, "a further run begins here, left out to the end")
                    break
                if card.name in control:
                    control[card.name](card)
                else:
                    self.has_run = self.has_run or card.name in RUNS
                    self.note(card, f"{REQUESTS[card.name]}, left out")
            else:
                known = ", ".join([*geometry, *control])
                raise card.refused(f"a card that is read ({known}) or left out ({', '.join(REQUESTS)})")

    def note(self, card: Card, words: str) -> None:
        self.notes.append((card.line, card.name, words))

    # geometry

    def _gw(self, card: Card) -> None:
        tag, segments = card.integers
        start, end, radius = card.reals[:3], card.reals[3:6], card.reals[6]
        if not 1 <= segments <= MOST_SEGMENTS:
            raise card.refused(f"one segment or more, at most {MOST_SEGMENTS}")
        if radius <= 0:
            raise card.refused("a radius above 0; tapered wires are not read")
        if math.dist(start, end) < 1e-6:
            raise card.refused("two ends that differ")
        self.wires.append(_Wire(tag, segments, start, end, radius, card))  # type: ignore[arg-type]

    def _gs(self, card: Card) -> None:
        factor = card.reals[0]
        if factor <= 0:
            raise card.refused("a factor above 0")
        self.wires = [
            replace(w, start=_point(np.array(w.start) * factor), end=_point(np.array(w.end) * factor),
                    radius=w.radius * factor)
            for w in self.wires
        ]  # fmt: skip

    def _gm(self, card: Card) -> None:
        step, copies = card.integers
        turn, shift = _rotation(*np.radians(card.reals[:3])), np.array(card.reals[3:6])
        first = round(card.reals[6])
        at = next((i for i, w in enumerate(self.wires) if w.tag == first), None) if first else 0
        if at is None:
            raise card.refused(f"a tag that is there; {first} is not")
        kept, moved = self.wires[:at], self.wires[at:]
        self._check_count(card, max(copies, 0) * len(moved))
        if copies <= 0:
            self.wires = [*kept, *(_moved(w, turn, shift, step) for w in moved)]
            return
        for _ in range(copies):
            moved = [_moved(w, turn, shift, step) for w in moved]
            self.wires += moved

    def _gr(self, card: Card) -> None:
        step, count = card.integers
        if count < 1:
            raise card.refused("one section or more")
        self._check_count(card, (count - 1) * len(self.wires))
        turn, section = _rotation(0.0, 0.0, 2 * math.pi / count), list(self.wires)
        for _ in range(count - 1):
            section = [_moved(w, turn, np.zeros(3), step) for w in section]
            self.wires += section

    def _gx(self, card: Card) -> None:
        step, which = card.integers
        if not re.fullmatch("[01]{1,3}", str(which)) or which == 0:
            raise card.refused("axes as three digits of 0 or 1, such as 110")
        for axis, flag in reversed(list(enumerate(f"{which:03d}"))):  # z first, then y, then x
            if flag == "1":
                self._check_count(card, len(self.wires))
                mirror = np.eye(3)
                mirror[axis, axis] = -1
                self.wires += [_moved(w, mirror, np.zeros(3), step) for w in self.wires]
                step *= 2

    def _check_count(self, card: Card, more: int) -> None:
        if len(self.wires) + more > MOST_WIRES:
            raise card.refused(f"at most {MOST_WIRES} wires in all, not {len(self.wires) + more}")

    def _ge(self, card: Card) -> None:
        if not self.wires:
            raise card.refused("wires before it (GW)")
        self.ended, self.end, self.on_ground = True, card, card.integers[0] != 0

    # what follows

    def _gn(self, card: Card) -> None:
        kind, radials = card.integers[:2]
        er, sigma = card.reals[:2]
        if radials:
            raise card.refused("no radial screen (second number 0): write radials as wires")
        if kind not in (-1, 0, 1, 2):
            raise card.refused("ground -1, 0, 1 or 2")
        if kind in (0, 2):
            try:
                self.ground = UniformGround(er, sigma, "the deck's soil")
            except InputError as error:
                raise card.refused(f"er and sigma of a soil ({error})") from None
            self.note(card, "solved with the exact Sommerfeld field of this soil")
            if any(card.reals[2:6]):
                self.note(card, "a second medium, left out")
        else:
            self.ground = GROUNDS["perfect ground" if kind == 1 else "free space"]

    def _ld(self, card: Card) -> None:
        kind = card.integers[0]
        if kind == -1:
            self.loads.clear()
        elif kind not in range(6):
            raise card.refused("load type -1 to 5")
        else:
            self.loads.append(card)

    def _ex(self, card: Card) -> None:
        if card.integers[0] not in (0, 5):
            raise card.refused("excitation 0 or 5, volts on a segment")
        if card.integers[0] == 5:
            self.note(card, "taken as volts on the segment (type 0)")
        if card.reals[0] == card.reals[1] == 0:
            raise card.refused("volts that are not 0")
        self.sources.append(card)

    def _tl(self, card: Card) -> None:
        if card.reals[0] == 0:
            raise card.refused("a characteristic impedance that is not 0")
        self.lines.append(card)

    def _fr(self, card: Card) -> None:
        kind, count = card.integers[:2]
        mhz, step = card.reals[:2]
        if mhz <= 0:
            raise card.refused("a frequency above 0 MHz")
        count = max(count, 1)
        if count > MOST_FREQUENCIES:
            raise card.refused(f"at most {MOST_FREQUENCIES} frequencies")
        k = np.arange(count)
        with np.errstate(over="ignore", invalid="ignore"):
            rise = mhz * np.power(step, k) if kind == 1 else mhz + step * k
        if not ((rise > 0) & (rise < 1e6)).all():
            raise card.refused("frequencies above 0 and below 1000000 MHz")
        self.f_hz += [float(f) * 1e6 for f in rise]

    # what it all becomes

    def deck(self) -> Deck:
        if not self.ended:
            raise InputError("deck", "no GE", "wires (GW), then GE, then sources (EX)")
        if not self.sources:
            raise InputError("deck", "no EX", "a source: EX 0, tag, segment")
        if self.on_ground and self.ground.is_free_space:
            self.note(self.end, "it says that there is a ground, and no GN says which: solved in free space")
        jackets, metals, loads = self._jackets(), self._metals(), self._loads()
        ends = _joined(self.wires)
        wires = []
        for w, (start, end) in zip(self.wires, ends, strict=True):
            try:
                kind = WireType(2 * w.radius, conductivity=metals.get(w, math.inf), **jackets.get(w, {}))
            except InputError as error:
                raise w.card.refused(str(error)) from None
            wires.append(OwnWire((start, end), kind, w.segments, f"line {w.card.line}, tag {w.tag}"))
        sources = [Source(*self._place(c, *c.integers[1:3]), complex(*c.reals[:2])) for c in self.sources]
        lines = [self._line(c) for c in self.lines]
        made = Geometry(wires, sources, loads, lines)
        return Deck(made, self.ground, tuple(self.f_hz), tuple(_told(self.notes)), tuple(self.comments))

    def _places(self, card: Card, tag: int, first: int, last: int) -> list[tuple[int, int]]:
        """(wire, segment from 0) of segments first to last of a tag; tag 0: of all segments. 0 for all of them."""
        every = [(i, k) for i, w in enumerate(self.wires) if tag in (0, w.tag) for k in range(w.segments)]
        if not every:
            raise card.refused(f"a tag that is there; {tag} is not")
        first, last = first or 1, last or (first or len(every))
        if not 1 <= first <= last <= len(every):
            raise card.refused(f"segments from 1 to {len(every)}")
        return every[first - 1 : last]

    def _place(self, card: Card, tag: int, segment: int) -> tuple[int, float]:
        """Wire, and metres along it, of the middle of a segment."""
        if segment < 1:
            raise card.refused("a segment of 1 or more")
        return self._middle(*self._places(card, tag, segment, segment)[0])

    def _middle(self, wire: int, segment: int) -> tuple[int, float]:
        w = self.wires[wire]
        return wire, math.dist(w.start, w.end) * (segment + 0.5) / w.segments

    def _jackets(self) -> dict[_Wire, dict[str, float]]:
        """Jackets that tautwire's own comments tell; their LD 2 cards, which stand for them, are left out."""
        found: dict[_Wire, dict[str, float]] = {}
        for words in self.comments:
            if told := JACKET.match(words):
                low, high = int(told[1]), int(told[2])
                jacket = {"jacket": float(told[3]) / 1e3, "jacket_er": float(told[4]), "jacket_loss": float(told[5])}
                found |= {w: jacket for w in self.wires if low <= w.tag <= high}
        tags = {w.tag for w in found}
        for card in [c for c in self.loads if c.integers[0] == 2 and c.integers[1] in tags]:
            self.loads.remove(card)
            self.note(card, "stands for the jacket that the comments tell, which is solved instead")
        return found

    def _metals(self) -> dict[_Wire, float]:
        """Conductivity of wires that LD 5 covers whole; what covers parts of wires stays a load."""
        metals: dict[_Wire, float] = {}
        for card in list(self.loads):
            kind, tag, first, last = card.integers
            if kind == 5 and first == last == 0:
                if card.reals[0] <= 0:
                    raise card.refused("a conductivity above 0 S/m")
                self.loads.remove(card)
                metals |= {self.wires[i]: card.reals[0] for i, _ in self._places(card, tag, 0, 0)}
        return metals

    def _loads(self) -> list[Load]:
        loads = []
        for card in self.loads:
            kind, tag, first, last = card.integers
            a, b, c = card.reals[:3]
            for wire, segment in self._places(card, tag, first, last):
                w = self.wires[wire]
                size = math.dist(w.start, w.end) / w.segments
                if kind == 4:
                    part: Impedance = Lumped(a, reactance=b)
                elif kind == 5:
                    part = _Skin(WireType(2 * w.radius, conductivity=a), size)
                elif kind in (0, 1):
                    part = Lumped(a, b, c, parallel=kind == 1)
                else:
                    part = Lumped(a * size, b * size, c / size, parallel=kind == 3)
                loads.append(Load(*self._middle(wire, segment), part))
        return loads

    def _line(self, card: Card) -> Line:
        tag_a, segment_a, tag_b, segment_b = card.integers
        one, two = self._place(card, tag_a, segment_a), self._place(card, tag_b, segment_b)
        impedance, length, *shunts = card.reals[:6]
        if length == 0:
            places = [np.array(w.start) + (np.array(w.end) - np.array(w.start)) * at / math.dist(w.start, w.end)
                      for w, at in ((self.wires[i], at) for i, at in (one, two))]  # fmt: skip
            length = float(np.linalg.norm(places[0] - places[1]))
        shunt = complex(*shunts[:2]), complex(*shunts[2:])
        return Line((one, two), abs(impedance), abs(length), impedance < 0, shunt)


def _told(notes: list[tuple[int, str, str]]) -> Iterator[str]:
    """Notes in the order of their lines, those that say the same of several cards as one."""
    lines: dict[tuple[str, str], list[int]] = {}
    for line, name, words in sorted(notes):
        lines.setdefault((name, words), []).append(line)
    for (name, words), at in lines.items():
        where = f"line {at[0]}" if len(at) == 1 else f"lines {at[0]} to {at[-1]} ({len(at)} cards)"
        yield f"{where}, {name}: {words}"


@dataclass(frozen=True)
class _Skin:
    """Metal loss of one segment. length: m."""

    wire: WireType
    length: float

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz), same shape."""
        return self.wire.impedance_per_metre(f_hz) * self.length


def _joined(wires: list[_Wire]) -> list[tuple[Point, Point]]:
    """Both ends of each wire, those that are joined made equal."""
    nodes: list[tuple[Point, float]] = []
    ends = []
    for w in wires:
        size = math.dist(w.start, w.end) / w.segments
        pair = []
        for place in (w.start, w.end):
            near = (p for p, other in nodes if math.dist(p, place) < JOINED * min(size, other))
            found = next(near, None)
            if found is None:
                nodes.append((place, size))
            pair.append(found or place)
        ends.append((pair[0], pair[1]))
    return ends


def _rotation(x: float, y: float, z: float) -> Real:
    """About x, then y, then z, rad."""
    turns = []
    for axis, angle in enumerate((x, y, z)):
        c, s = math.cos(angle), math.sin(angle)
        a, b = (axis + 1) % 3, (axis + 2) % 3
        turn = np.eye(3)
        turn[a, a], turn[a, b], turn[b, a], turn[b, b] = c, -s, s, c
        turns.append(turn)
    return np.asarray(turns[2] @ turns[1] @ turns[0])


def _moved(w: _Wire, turn: Real, shift: Real, step: int) -> _Wire:
    start, end = _point(turn @ np.array(w.start) + shift), _point(turn @ np.array(w.end) + shift)
    return replace(w, start=start, end=end, tag=w.tag + step if w.tag else 0)


def _point(place: Real) -> Point:
    x, y, z = (float(f"{v:.12g}") for v in place)
    return x, y, z
