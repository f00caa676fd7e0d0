"""A case as a NEC-2 card deck, so that others can repeat the run with an engine of their choice.

Cards as in the NEC-2 Manual part III (1981), from memory. Every field sits in the manual's columns (name 1-2, then
integers, then reals ten wide) with a blank before it, so that readers by columns and readers by blanks both take it; a
deck of 100 wires and more leaves no blank before the tags from 100 on.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.basics import MU0, Remember
from tautwire.model.errors import InputError
from tautwire.model.soil.ground import FREE_SPACE, Ground, LayeredGround
from tautwire.model.solve.engine import admittance
from tautwire.model.solve.response import span_of
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.attachments import Choke
from tautwire.model.wires.mesh import Mesh, mesh
from tautwire.model.wires.structure import Structure, WireType

if TYPE_CHECKING:
    from tautwire.studies.study.setup import Built

GROUNDS = ("real", "free")
MOST_WIRES = 999  # tags have three columns
WIDTH = 10
COMMENT = 78  # characters of a comment line


def real(value: float) -> str:
    """A number in ten columns with a blank before it and as many digits as fit; always with a point."""
    for digits, kind in itertools.product(range(9, 0, -1), "gE"):
        mantissa, e, exponent = f"{value:.{digits - (kind == 'E')}{kind}}".upper().partition("E")
        text = (mantissa if "." in mantissa else mantissa + ".") + (f"E{int(exponent)}" if e else "")
        if len(text) == WIDTH:  # a nought before the point is one digit less
            text = re.sub(r"^(-?)0\.", r"\1.", text)
        if len(text) < WIDTH:
            return text.rjust(WIDTH)
    raise InputError("deck", value, "a number that fits nine columns")


def geometry_card(name: str, one: int, two: int, *reals: float) -> str:
    """GW and the like: two integers (columns 3-5 and 6-10), then reals."""
    return f"{name}{one:3d}{two:5d}" + "".join(map(real, reals))


def control_card(name: str, integers: tuple[int, ...] = (), *reals: float) -> str:
    """Cards after GE: four integers (columns 3-5, 6-10, 11-15, 16-20), then reals."""
    one, two, three, four = (*integers, 0, 0, 0, 0)[:4]
    return (f"{name}{one:3d}{two:5d}{three:5d}{four:5d}" + "".join(map(real, reals))).rstrip()


def deck(
    built: Built,
    lower: float,
    upper: float,
    points: int = 11,
    ground: str = "real",
    title: str = "",
    choke_at: float | None = None,
    remember: Remember | None = None,
) -> str:
    """The deck of a built set-up, `points` frequencies from lower to upper (Hz), as text.

    ground: "real" (the site's: card GN 2, or GN 1 over perfect ground) or "free". choke_at: Hz at which a choke known
    by a table is taken (default: the middle). remember: where matrices are kept; given, the comments also say by how
    much tautwire's own answer differs. Raises InputError for other grounds, for frequencies that one mesh does
    not serve, and for more wires than tags have room for.
    """
    if ground not in GROUNDS:
        raise InputError("ground", repr(ground), f"one of {', '.join(GROUNDS)}")
    if not 0 < lower <= upper:
        raise InputError("frequency", f"{lower:g} to {upper:g} Hz", "rising")
    if not 1 <= points <= 1000:
        raise InputError("points", points, "from 1 to 1000")
    span = span_of(lower)
    if span != span_of(upper):
        allowed = f"within {span.lower / 1e6:g} to {span.upper / 1e6:g} MHz, which one mesh serves"
        raise InputError("frequency", f"{upper / 1e6:g} MHz", allowed)
    wires = mesh(built.structure, span.upper, built.rules)
    if len(wires.legs) > MOST_WIRES:
        raise InputError("mesh", f"{len(wires.legs)} wires", f"at most {MOST_WIRES}")
    below = built.ground if ground == "real" else None
    if isinstance(below, LayeredGround):
        raise InputError("ground", repr(below.name), "'free', or a study over one soil: the deck has no layers")
    lines = [f"CM {line[:COMMENT]}" for line in title.splitlines()]
    lines += _comments(built.structure, wires, below)
    if remember is not None:
        lines += _corrections(built, wires, lower, remember)
    lines.append("CE")
    lines += [
        geometry_card("GW", tag, count, *(round(x, 9) + 0.0 for x in (*start, *end)), radius)
        for tag, (start, end, count, radius) in enumerate(wires.legs, 1)
    ]
    lines.append(control_card("GE", (1 if below and not below.is_free_space else 0,)))
    lines += _loads(built.structure, wires, choke_at or (lower + upper) / 2)
    lines += _ground(below, (lower + upper) / 2)
    step = (upper - lower) / (points - 1) / 1e6 if points > 1 else 0.0
    lines.append(control_card("FR", (0, points), lower / 1e6, step))
    lines += _sources(wires)
    lines += [control_card("XQ"), "EN"]
    return "\n".join(lines) + "\n"


def port_terms(wires: Mesh) -> list[tuple[int, int, float]]:
    """Tag, segment (both from 1) and share of the port's voltage of every segment that touches the feed."""
    first = _first_segments(wires)
    return [
        (leg + 1, index - first[leg] + 1, float(wires.feed[index]))
        for index, leg in enumerate(map(int, wires.leg))
        if wires.feed[index]
    ]


def _first_segments(wires: Mesh) -> list[int]:
    first, done = [], 0
    for *_, count, _ in wires.legs:
        first.append(done)
        done += count
    return first


def _comments(s: Structure, wires: Mesh, below: Ground | None) -> Iterator[str]:
    for i, c in enumerate(s.conductors):
        yield f"CM {s.name(i)}: {c.length:.4g} m"
    terms = [f"{share:+g} I(tag {tag}, segment {segment})" for tag, segment, share in port_terms(wires)]
    yield "CM The feed is the joint of the wire and its return conductors. Its volt is spread over the"
    yield "CM segments that meet there, one EX card each. For 1 V between wire and returns:"
    yield "CM feed impedance = 1 / ("
    for term in terms:
        yield f"CM   {term}"
    yield "CM )"
    yield "CM Jackets are series inductance (LD 2), metal loss is LD 5, chokes are LD 0, 1 or 4."
    if below is not None and not below.is_free_space and not below.is_perfect:
        yield f"CM Ground: {below.name}. Check your engine's ground type 2 with a long low wire before you trust it."
    owner = [int(wires.conductor[k]) for k in _first_segments(wires)]
    for i, c in enumerate(s.conductors):
        tags, w = [tag for tag, number in enumerate(owner, 1) if number == i], c.wire
        if w.jacket > 0:
            told = f"{w.jacket * 1e3:.9g} mm, er {w.jacket_er:.9g}, loss tangent {w.jacket_loss:.9g}"
            yield f"CM jacket, tags {tags[0]} to {tags[-1]}: {told}"


def corrections(built: Built, f_hz: float, remember: Remember) -> tuple[complex, complex]:
    """Feed impedance in free space at f_hz (Hz), ohm: of the deck's cards by the engine alone, and with what tautwire
    corrects (the exact jackets, source voltages where segments change, junctions of different radii)."""
    solver = Solver(built.structure, FREE_SPACE, built.rules, remember)
    parts = solver.parts(f_hz)
    jackets = np.array([jacket_inductance(c.wire) for c in built.structure.conductors])[parts.mesh.conductor]
    load = parts.load(f_hz) + 2j * math.pi * f_hz * jackets * parts.mesh.length
    z = np.linalg.inv(admittance(parts.mesh.legs, f_hz)) + np.diag(load)
    feed = parts.mesh.feed.astype(complex)
    return 1 / complex(feed @ np.linalg.solve(z, feed)), solver.impedance(f_hz)


def _corrections(built: Built, wires: Mesh, f_hz: float, remember: Remember) -> Iterator[str]:
    by_deck, own = corrections(built, f_hz, remember)
    yield "CM tautwire corrects beyond these cards: the source voltage where segment lengths change, junctions"
    yield "CM of wires of different radius, and the jackets' effect on charge, which LD 2 has to first order only."
    yield f"CM In free space at {f_hz / 1e6:.6g} MHz: {_ohms(by_deck)} by the cards, {_ohms(own)} corrected."
    if not built.ground.is_free_space:
        z = Solver(built.structure, built.ground, built.rules, remember).impedance(f_hz)
        yield f"CM Over the site's ground, with the exact field of the soil: {_ohms(z)}."


def _ohms(z: complex) -> str:
    return f"{z.real:.0f} {'-' if z.imag < 0 else '+'} j{abs(z.imag):.0f} ohm"


def jacket_inductance(wire: WireType) -> float:
    """H/m in series that act on a current at the speed of light as the jacket does, to first order."""
    return MU0 / (2 * math.pi) * wire.jacket_log.real


def _loads(s: Structure, wires: Mesh, f_hz: float) -> Iterator[str]:
    first = _first_segments(wires)
    owner = [int(wires.conductor[k]) for k in first]
    for tag, number in enumerate(owner, 1):
        wire = s.conductors[number].wire
        if math.isfinite(wire.conductivity):
            yield control_card("LD", (5, tag, 0, 0), wire.conductivity)
        if wire.jacket > 0 and wire.jacket_er > 1:
            yield control_card("LD", (2, tag, 0, 0), 0.0, jacket_inductance(wire), 0.0)
    for index, load in wires.load_segments(s):
        leg = int(wires.leg[index])
        at = index - first[leg] + 1
        part = load.part
        if isinstance(part, Choke) and part.table is None:
            rlc = [x or 0.0 for x in (part.resistance, part.inductance, part.capacitance)]
            yield control_card("LD", (1, leg + 1, at, at), *rlc)
        else:
            z = complex(load.impedance(f_hz))
            yield control_card("LD", (4, leg + 1, at, at), z.real, z.imag)


def _ground(below: Ground | None, f_hz: float) -> list[str]:
    if below is None or below.is_free_space:
        return [control_card("GN", (-1,))]
    if below.is_perfect:
        return [control_card("GN", (1,))]
    return [control_card("GN", (2,), *below.constants(f_hz))]


def _sources(wires: Mesh) -> Iterator[str]:
    for tag, segment, share in port_terms(wires):
        yield control_card("EX", (0, tag, segment, 0), share, 0.0)
