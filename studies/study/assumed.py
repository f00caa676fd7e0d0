"""The set-up behind an answer in one line of words, with what nobody gave marked as assumed."""

import math
import re
from collections.abc import Callable, Collection, Mapping

from tautwire.model.feed.ferrite import Core
from tautwire.model.feed.transformer import MagnetisingInductance, MeasuredTransformer, Transformer
from tautwire.studies.study.raw import Raw, lengths_of, table_value
from tautwire.studies.study.setup import AntennaSpec, Setup
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import FOOT, format_length, in_words

Said = list[tuple[str, tuple[str, ...]]]
ASSUMED = " (assumed)"
VARIED = " (varied)"
MOST_DIGITS = 5  # of a length that is echoed


def setup_words(study: Study, assumed: Collection[str] = ()) -> str:
    """The set-up of a study's first case: what hangs, the wire, the ground, returns, coax, transformer with its core.

    assumed: dotted keys that a default put into the study's tables. What the tables do not have is assumed as well;
    what an axis or a variant changes is marked as varied.
    """
    case = study.cases()[0]
    setup = case.setup()
    parts = [_Part(case.raw, assumed, study)(words, *keys) for words, keys in _spoken(setup, _Typed(case.raw, assumed))]
    return f"Set-up: {'; '.join(parts)}."


LONGEST = 45.0  # m: a half wave on 80 m is 41 m at most, so that no wire for bands above 160 m needs more
_METRES = re.compile(r"\s*(\d+\.?\d*)\s*(?:m|metres?|meters?)\s*")


def doubts(study: Study) -> list[str]:
    """Typed lengths of wire that look like feet written as metres, each in a line."""
    if any(band.lower < 3e6 for band in study.bands):
        return []
    texts: list[object] = [_text_at(study.raw, "antenna.length")]
    texts += [text for axis in study.axes if axis.path == "antenna.length" for text in axis.texts]
    texts += [_text_at(variant, "antenna.length") for variant in study.variants.values()]
    lines = []
    for found in filter(None, (_METRES.fullmatch(str(text)) for text in dict.fromkeys(texts))):
        metres, feet = float(found[1]), float(found[1]) * FOOT
        if metres > LONGEST and feet <= LONGEST:
            why = f"it is above {LONGEST:g} m, more than a half wave on 80 m"
            lines.append(f'Wire of {found[1]} m: meant in feet? As metres {why}; "{found[1]} ft" is {feet:.2f} m.')
    return lines


class _Typed:
    """Lengths as they were typed; what nobody typed in the lengths of the rest."""

    def __init__(self, raw: Raw, assumed: Collection[str]) -> None:
        self.raw, self.lengths, self.assumed = raw, lengths_of(raw), assumed

    def __call__(self, metres: float, *keys: str) -> str:
        """keys: dotted keys that may hold the length as a text; the first that is given is echoed."""
        keys = tuple(k for k in keys if k not in self.assumed or self.lengths == "metric")
        return next((text for key in keys if (text := _text_at(self.raw, key))), format_length(metres, self.lengths))


def _text_at(raw: Raw, key: str) -> str:
    """The text that a key was given; "" for none, and for a number with more digits than anybody types."""
    value = table_value(raw, key)
    return value if isinstance(value, str) and sum(map(str.isdigit, value)) <= MOST_DIGITS else ""


class _Part:
    """Marks words by where the values of their keys come from."""

    def __init__(self, raw: Raw, assumed: Collection[str], study: Study) -> None:
        self.raw, self.assumed, self.axes = raw, assumed, study.axes
        self.varied = {a.path for a in study.axes} | {table for v in study.variants.values() for table in v}
        if "choose" in study.spec.want:
            self.varied |= set(study.options["choose"].vary)

    def __call__(self, words: str, *keys: str) -> str:
        axis = next((a for a in self.axes if a.path in keys and a.numbers is not None), None)
        if axis is not None:
            low, high = (axis.value_text(pick(axis.labels)) for pick in (min, max))
            return f"{axis.name} {low} to {high}{VARIED}"
        if any(k == v or k.startswith(f"{v}.") or v.startswith(f"{k}.") for k in keys for v in self.varied):
            return words + VARIED
        return words if any(self._given(k) for k in keys) else words + ASSUMED

    def _given(self, key: str) -> bool:
        if key in self.assumed:
            return False
        try:
            value = table_value(self.raw, key)
        except (IndexError, ValueError):
            return False
        if isinstance(value, Mapping):
            return any(f"{key}.{part}" not in self.assumed for part in value)
        return value is not None


def _spoken(setup: Setup, typed: _Typed) -> Said:
    """Words and the dotted keys they rest on."""
    return [
        *_hanging(setup.antenna, setup, typed),
        *_wire(setup, typed),
        (_soil(setup), ("site.soil",)),
        *_returns(setup, typed),
        *_transformer(setup.transformer.transformer()),
    ]


def _hanging(antenna: AntennaSpec, setup: Setup, typed: _Typed) -> Said:
    layout = setup.build().layout
    said: Said = [(antenna.layout, ("antenna.layout",))]
    said.append((f"{typed(layout.length, 'antenna.length')} of wire", ("antenna.length",)))
    slope = ", ".join(f"{math.degrees(s):.0f}°" for s in layout.slopes[: 1 if antenna.sag else 2])
    shape = ("slope", "slope_up", "slope_down", "end_height", "apex_height", "height", "apex_at")
    said.append((f"slope {slope}", tuple(f"antenna.{k}" for k in shape)))
    said.append(
        (f"feed at {typed(layout.feed_height, 'antenna.feed_height')}", ("antenna.feed_height", "antenna.height"))
    )
    return said


def _wire(setup: Setup, typed: _Typed) -> Said:
    wire = setup.wire.wire()
    thick = _text_at(typed.raw, "wire.jacket") or _mm(wire.jacket)
    jacket = f"jacket {thick} of er {wire.jacket_er:g}" if wire.jacket else "no jacket"
    across = _text_at(typed.raw, "wire.diameter") or _mm(wire.diameter)
    return [(f"wire {across}", ("wire.diameter", "wire.awg")), (jacket, ("wire.jacket",))]


def _mm(metres: float) -> str:
    return f"{metres * 1e3:.3g} mm"


def _soil(setup: Setup) -> str:
    soil = setup.site.soil
    return soil if isinstance(soil, str) else setup.site.ground().name or in_words(soil)


def _returns(setup: Setup, typed: _Typed) -> Said:
    said: Said = []
    for i, c in enumerate(setup.counterpoise, 1):
        key = f"counterpoise.{i}"
        height = c.end_height if c.height is None else c.height
        keys = (f"{key}.end_height",) if c.height is None else (f"{key}.height",)
        at = "at the feed's height" if height is None else f"at {typed(height, *keys)}"
        said.append((f"counterpoise {typed(c.length, f'{key}.length')} {at}", (f"{key}.length",)))
    if not setup.counterpoise:
        said.append(("no counterpoise", ("coax.length",)))
    coax = setup.coax
    if coax is None:
        return [*said, ("no coax", ("counterpoise.1.length",))]
    said.append((f"coax {typed(coax.length, 'coax.length')} of {coax.cable().name}", ("coax.length", "coax.type")))
    conductors = setup.build().structure.conductors
    end = next(c.points[-1][2] for c in conductors if c.role == "coax")
    above = end > coax.height + 1e-6
    lies = f"hanging, its end {typed(end)} up" if above else f"lying at {typed(coax.height, 'coax.height')}"
    said.append((lies, ("coax.height",)))
    towards = (
        "coax a quarter turn clockwise from the wire"
        if coax.bearing is None
        else (f"coax towards {math.degrees(coax.bearing):.0f}°")
    )
    said.append((towards, ("coax.bearing",)))
    if coax.coiled:
        said.append((f"{typed(coax.coiled, 'coax.coiled')} of it coiled up", ("coax.coiled",)))
    if coax.behind:
        said.append((f"{typed(coax.behind, 'coax.behind')} of conductor behind the radio", ("coax.behind",)))
    return said


def _transformer(t: Transformer) -> Said:
    at = "transformer."
    if isinstance(t, MeasuredTransformer):
        return [(f"transformer as measured, about {t.turns_ratio**2:.0f}:1", (f"{at}two_port",))]
    said: Said = [(f"transformer {t.turns_ratio**2:.0f}:1", (f"{at}turns_ratio",))]
    match t.magnetising:
        case Core() as c:
            size, rings = f"{1e3 * c.shape.outer:.0f} mm", c.shape.stack
            core = f"one {size} ring" if rings == 1 else f"{rings} rings of {size}"
            words = f"{t.primary_turns} turns on {core}, {c.material.name}"
        case MagnetisingInductance() as m:
            words = f"magnetising inductance {1e6 * m.inductance:.3g} µH"
        case None:
            words = "no core loss"
    said.append((words, (f"{at}core", f"{at}magnetising_inductance", f"{at}ideal")))
    values: tuple[tuple[str, Callable[[Transformer], float], float, str, str], ...] = (
        ("compensation_capacitance", lambda x: x.compensation_capacitance, 1e12, "pF", "across the primary"),
        ("leakage_inductance", lambda x: x.leakage_inductance, 1e6, "µH", "leakage"),
        ("terminal_capacitance", lambda x: x.terminal_capacitance, 1e12, "pF", "at the wire's terminal"),
    )
    for key, of, factor, unit, what in values:
        said.append((f"{of(t) * factor:.3g} {unit} {what}", (at + key, f"{at}ideal")))
    return said
