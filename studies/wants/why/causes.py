"""What may have changed about a set-up since last time, each with the size of a usual change.

A usual change is what one careless set-up differs from the next by. Values that have a usual spread (study/raw.py)
take two standard deviations of it, so that spread, fit and why go by one table; the other usual changes, of things
exchanged, laid elsewhere or new, are estimates of ours: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tautwire.model.errors import InputError
from tautwire.model.wires.layout import LOWEST
from tautwire.studies.study.findings import NOTHING, Name, Number, Words, joined, say
from tautwire.studies.study.raw import usual_of
from tautwire.studies.study.setup import SOIL_AT, NearbySpec, Setup
from tautwire.studies.study.units import Kind, angle, length
from tautwire.studies.wants.local_model import value_at, with_value, with_values

FILM = 20e-6  # m, water on a wet wire
DRIER_ER, DRIER_SIGMA = 1.5, 2.0  # factors of er and sigma from one moisture to the next
WETTER = 1.6  # factor of the moisture, where that is what is given: about the same
CHANGE = 2.0  # standard deviations of a usual spread that make a usual change
SPARE = 1.0  # m of coax, coiled up or not
LEAVES = 1e-12  # F, of a few leaves and twigs at the wire's end
TERMINAL, BOX = "transformer.terminal_capacitance", 1e-12  # F: a wet box or post (an estimate of ours)
LEAF_LOSS, LEAF_HZ = 0.4, 14e6  # tan delta of fresh leaves, and where: an estimate of ours
NEAR = 3.0  # m, a usual distance of something that was not there before


@dataclass(frozen=True)
class Cause:
    """One candidate. apply(setup, c): the set-up after c usual changes; words(c): that change in words;
    undo(c): what to do about it. Numbers in these have no cells yet, and those of undo are the first ones of words.
    sizes: c to try first, and further, rising in size; one_way: only c above 0. parts: of several causes at once, each
    with its share of c.
    """

    name: str
    apply: Callable[[Setup, float], Setup]
    words: Callable[[float], Words]
    undo: Callable[[float], Words]
    sizes: tuple[float, ...] = (1.5, 3.0)
    one_way: bool = False
    parts: tuple[tuple[Cause, float], ...] = ()

    def at(self, c: float) -> tuple[tuple[Cause, float], ...]:
        """The single causes of it, each with its own usual changes."""
        return tuple((cause, share * c) for cause, share in self.parts) or ((self, c),)


def together(parts: Sequence[Cause], sizes: Sequence[float]) -> Cause:
    """Several causes at once: so many usual changes of each (sizes) when the root of their squares is taken of all."""
    size = math.hypot(*sizes)

    def apply(setup: Setup, c: float) -> Setup:
        for part, one in zip(parts, sizes, strict=True):
            setup = part.apply(setup, one * c / size)
        return setup

    def said(of: str, c: float) -> Words:
        each = [getattr(part, of)(one * c / size) for part, one in zip(parts, sizes, strict=True)]
        return joined(each, last="; and ")

    return Cause(
        " and ".join(p.name for p in parts), apply, lambda c: said("words", c), lambda c: said("undo", c),
        parts=tuple((part, one / size) for part, one in zip(parts, sizes, strict=True)),
    )  # fmt: skip


def causes(setup: Setup) -> tuple[Cause, ...]:
    """Every cause that the set-up has a part for."""
    found = [_wire_length(setup)]
    for path, kind, name, more, less in (
        ("antenna.slope", angle, "slope", "steeper", "flatter"),
        ("antenna.slope_up", angle, "slope of the first leg", "steeper", "flatter"),
        ("antenna.slope_down", angle, "slope of the second leg", "steeper", "flatter"),
        ("antenna.apex_height", length, "apex height", "higher", "lower"),
        ("antenna.end_height", length, "height of the far end", "higher", "lower"),
        ("antenna.height", length, "height", "higher", "lower"),
        ("antenna.feed_height", length, "height of the feed", "higher", "lower"),
    ):
        if value_at(setup, path) is not None:
            found.append(_added(path, _usual(path), kind, name, more, less))
    found += [_soil(), _wet(), _sag(), _foliage(), *_transformer(setup)]
    bearing = setup.antenna.bearing or 0.0
    for i, cp in enumerate(setup.counterpoise, 1):
        which = "counterpoise" if len(setup.counterpoise) == 1 else f"counterpoise {i}"
        long = f"counterpoise.{i}.length"
        found.append(_added(long, _usual(long), length, f"length of the {which}", "longer", "shorter"))
        found.append(_turned(f"counterpoise.{i}.bearing", bearing + math.pi, cp.bearing, which))
        if cp.height is not None:
            found.append(_scaled(f"counterpoise.{i}.height", f"height of the {which}"))
    if setup.coax is not None:
        found.append(_scaled("coax.height", "height of the coax"))
        found.append(_added("coax.length", 1.0, length, "length of the coax", "longer", "shorter"))
        found.append(_coiled(setup))
        found.append(_wire_turned(setup))
        if setup.counterpoise:  # else it is the same as turning the wire
            found.append(_turned("coax.bearing", bearing + math.pi / 2, setup.coax.bearing, "coax"))
    found += [_near(*one) for one in (("fence", _fence), ("vehicle", _vehicle), ("mast", _mast))]
    if setup.nearby:
        found.append(_turned("antenna.bearing", bearing, setup.antenna.bearing, "antenna"))
    return tuple(found)


def _amount(value: float, form: str = "length") -> Number:
    return Number(abs(value), (), form=form)


def _form(kind: Kind) -> str:
    return "length" if kind is length else "few degrees"


def _usual(path: str) -> float:
    """A usual change at a dotted path: SI, or the logarithm of a factor where the table has it so."""
    row = usual_of(path)
    assert row is not None, path
    return CHANGE * row.sd


def _moved(setup: Setup, path: str, change: float) -> Setup:
    value = value_at(setup, path)
    if value is None:
        raise InputError(path, "nothing", "a value in the set-up")
    return with_value(setup, path, value + change)


def _added(path: str, usual: float, kind: Kind, name: str, more: str, less: str) -> Cause:
    return Cause(
        name,
        lambda s, c: _moved(s, path, c * usual),
        lambda c: say("{by} {way}", by=_amount(c * usual, _form(kind)), way=more if c > 0 else less),
        lambda c: say(
            "bring the {name} back: {by} {way}",
            name=Name(name, "text"),
            by=_amount(c * usual, _form(kind)),
            way=less if c > 0 else more,
        ),  # fmt: skip
    )


def _scaled(path: str, name: str) -> Cause:
    def apply(setup: Setup, c: float) -> Setup:
        value = value_at(setup, path)
        if value is None:
            raise InputError(path, "nothing", "a value in the set-up")
        return with_value(setup, path, max(value * math.exp(c * _usual(path)), LOWEST))

    return Cause(
        name,
        apply,
        lambda c: say(
            "{ratio} times {way}",
            ratio=_amount(math.exp(abs(c) * _usual(path)), "times"),
            way="higher" if c > 0 else "lower",
        ),  # fmt: skip
        lambda c: say(
            "lay it {way} again, as before ({name})", way="lower" if c > 0 else "higher", name=Name(name, "text")
        ),  # fmt: skip
    )


def _turned(path: str, default: float, given: float | None, name: str) -> Cause:
    start = default if given is None else given
    usual = math.radians(30)
    return Cause(
        f"bearing of the {name}",
        lambda s, c: with_value(s, path, start + c * usual),
        lambda c: say(
            "turned {by} {way}", by=_amount(c * usual, "few degrees"), way="clockwise" if c > 0 else "anticlockwise"
        ),  # fmt: skip
        lambda c: say(
            "turn the {name} {by} {way}",
            name=Name(name, "text"),
            by=_amount(c * usual, "few degrees"),
            way="anticlockwise" if c > 0 else "clockwise",
        ),  # fmt: skip
    )


def _left_lying(setup: Setup) -> Setup:
    """The set-up with the bearings of coax and counterpoises written down, so that they do not turn with the wire."""
    wire = setup.antenna.bearing or 0.0
    returns = tuple(
        c if c.bearing is not None else c.model_copy(update={"bearing": wire + math.pi}) for c in setup.counterpoise
    )
    coax = setup.coax
    if coax is not None and coax.bearing is None:
        coax = coax.model_copy(update={"bearing": wire + math.pi / 2})
    return setup.model_copy(update={"counterpoise": returns, "coax": coax})


def _wire_turned(setup: Setup) -> Cause:
    start, usual = setup.antenna.bearing or 0.0, math.radians(30)

    def words(c: float) -> Words:
        way, other = ("clockwise", "anticlockwise") if c > 0 else ("anticlockwise", "clockwise")
        rest = "coax left" if setup.counterpoise else f"or the coax {other}"
        return say("wire turned {by} {way}, {rest}", by=_amount(c * usual, "few degrees"), way=way, rest=rest)

    return Cause(
        "bearing of the wire against the coax",
        lambda s, c: with_value(_left_lying(s), "antenna.bearing", start + c * usual),
        words,
        lambda c: say("lay the coax so that it leaves the wire at the angle it had, or turn the wire back"),
        sizes=(1.5, 3.0, 6.0),
    )


def _coiled(setup: Setup) -> Cause:
    coax = setup.coax
    assert coax is not None
    return Cause(
        "spare coax coiled up",
        lambda s, c: _moved(s, "coax.coiled", c * SPARE),
        lambda c: say("{by} {way} coiled up at the radio", by=_amount(c * SPARE), way="more" if c > 0 else "less"),
        lambda c: say("uncoil the spare coax and lay it out" if c > 0 else "coil the spare coax up again"),
        one_way=coax.coiled == 0,
    )


def _foliage() -> Cause:
    """Leaves and twigs at the open end: a small capacitance with much loss."""

    def apply(setup: Setup, c: float) -> Setup:
        here = _moved(setup, "antenna.end_capacitance", c * LEAVES)
        return with_value(here, "antenna.end_resistance", LEAF_LOSS / (2 * math.pi * LEAF_HZ * c * LEAVES))

    return Cause(
        "foliage touching the end",
        apply,
        lambda c: say("leaves and twigs at the end, about {by} with loss", by=_amount(c * LEAVES, "picofarads")),
        lambda c: say("pull the wire's end free of leaves and branches; it carries a high voltage"),
        one_way=True,
    )


def _transformer(setup: Setup) -> list[Cause]:
    """What may have changed of the transformer: its box, wet or dry, and its core."""
    part = setup.transformer
    if part.two_port is not None or part.ideal:
        return []
    box = Cause(
        "box of the transformer",
        lambda s, c: _moved(s, TERMINAL, c * BOX),
        lambda c: say(
            "{by} {way}",
            by=_amount(c * BOX, "picofarads"),
            way="more at the wire's terminal: a wet box or post, or the wire led along it"
            if c > 0
            else "less at the wire's terminal: a dry box or post again",
        ),  # fmt: skip
        lambda c: say("dry the box and the post; lead the wire straight away from it"),
    )
    if part.magnetising_inductance is not None:
        return [box]
    core = "transformer.core_scale"
    return [box, Cause(
        "core of the transformer",
        lambda s, c: with_value(s, core, s.transformer.core_scale * math.exp(c * _usual(core))),
        lambda c: say("permeability {ratio} times {way}: another ring, a cracked or a hot one",
                      ratio=_amount(math.exp(abs(c) * _usual(core)), "times"), way="higher" if c > 0 else "lower"),
        lambda c: say("look at the ring for a crack, let it cool, or put the former one back"),
    )]  # fmt: skip


def _wire_length(setup: Setup) -> Cause:
    reel = None if setup.reel is None else setup.reel.reel()
    layout = setup.antenna.build()
    usual, on_reel = _usual("antenna.length"), False
    if reel is not None and layout.length <= reel.wire_length:
        usual, on_reel = float(reel.length_per_turn(reel.turns_out(layout.length))), True

    def turns(c: float) -> Words:
        return say(" ({turns} of the reel)", turns=_amount(c, "tenths of turns")) if on_reel else NOTHING

    def words(c: float) -> Words:
        return say("{by} {way}{turns}", by=_amount(c * usual), way="more" if c > 0 else "less", turns=turns(c))

    def undo(c: float) -> Words:
        return say("{do} {by}{turns}", do="reel in" if c > 0 else "let out", by=_amount(c * usual), turns=turns(c))

    def apply(setup: Setup, c: float) -> Setup:
        wire = setup.antenna.length
        if wire is None:
            raise InputError("antenna.length", "nothing", "the wire's length in the set-up")
        return with_value(setup, "antenna.length", wire + c * usual)

    return Cause("wire out", apply, words, undo)


def _soil() -> Cause:
    def apply(setup: Setup, c: float) -> Setup:
        ground = setup.site.ground()
        if ground.is_free_space or ground.is_perfect:
            raise InputError("site.soil", ground.name, "a real soil")
        wet = value_at(setup, "site.soil.moisture")
        if wet is not None:
            return with_value(setup, "site.soil.moisture", min(max(wet * WETTER**c, 0.005), 0.6))
        er, sigma = ground.constants(SOIL_AT)
        er, sigma = er * DRIER_ER**c, sigma * DRIER_SIGMA**c
        return with_values(setup, {"site.soil.er": max(er, 1.5), "site.soil.sigma": sigma})

    def words(c: float) -> Words:
        by = "times" if c > 0 else "over"
        return say(
            "{way}: er {by} {er}, conductivity {by} {sigma}", way="wetter" if c > 0 else "drier", by=by,
            er=_amount(DRIER_ER ** abs(c), "times"), sigma=_amount(DRIER_SIGMA ** abs(c), "times"),
        )  # fmt: skip

    return Cause("soil", apply, words, lambda c: say("nothing to put back: adjust the wire with the reel"))


def _wet() -> Cause:
    """A film of water round the wire."""

    def apply(setup: Setup, c: float) -> Setup:
        return _moved(setup, "wire.film", c * FILM)

    return Cause(
        "wet wire",
        apply,
        lambda c: say("a film of water {by} thick", by=_amount(c * FILM, "two-digit length")),
        lambda c: say("wipe the wire, or wait until it dries; until then use the reel"),
        one_way=True,
    )


def _sag() -> Cause:
    def apply(setup: Setup, c: float) -> Setup:
        return _moved(setup, "antenna.sag", _usual("antenna.sag") * c)

    return Cause(
        "sag",
        apply,
        lambda c: say("hanging {by} lower in the middle", by=_amount(_usual("antenna.sag") * c)),
        lambda c: say("pull the wire tighter"),
        one_way=True,
    )


def _near(name: str, place: Callable[[Setup, float], NearbySpec]) -> Cause:
    def apply(setup: Setup, c: float) -> Setup:
        return setup.model_copy(update={"nearby": (*setup.nearby, place(setup, NEAR / c))})

    return Cause(
        f"{name} nearby",
        apply,
        lambda c: say("a {name} {at} beside the wire", name=name, at=_amount(NEAR / c)),
        lambda c: say(
            "move the {name} away, or turn or move the antenna: with a {name} nearby its bearing matters", name=name
        ),  # fmt: skip
        sizes=(1.0, 2.0, 4.0),
        one_way=True,
    )


def _beside(setup: Setup, distance: float) -> tuple[float, float, float, float]:
    """A place `distance` left of the middle of the first leg, and the leg's direction (east, north)."""
    layout = setup.antenna.build()
    (x0, y0, _), (x1, y1, _) = layout.points[:2]
    east, north = math.sin(layout.bearing), math.cos(layout.bearing)
    return (x0 + x1) / 2 - distance * north, (y0 + y1) / 2 + distance * east, east, north


def _fence(setup: Setup, distance: float) -> NearbySpec:
    x, y, east, north = _beside(setup, distance)
    ends = [(x + s * 10 * east, y + s * 10 * north, 1.2) for s in (-1, 1)]
    return NearbySpec.model_construct(name="fence", start=ends[0], end=ends[1], diameter=2e-3)


def _vehicle(setup: Setup, distance: float) -> NearbySpec:
    x, y, east, north = _beside(setup, distance)
    ends = [(x + s * 2.25 * east, y + s * 2.25 * north, 1.0) for s in (-1, 1)]
    return NearbySpec.model_construct(name="vehicle", start=ends[0], end=ends[1], diameter=0.1)


def _mast(setup: Setup, distance: float) -> NearbySpec:
    x, y, _, _ = _beside(setup, distance)
    return NearbySpec.model_construct(name="mast", start=(x, y, 0.3), end=(x, y, 8.0), diameter=0.04)
