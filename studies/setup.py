"""One set-up as people write it: site, antenna, return conductors, transformer, coax, radio.

`Setup.read(raw)` checks a nested mapping of texts (a study file's tables) and gives SI values; `build(setup)` makes
the model's objects of it. A sweep or a fit changes the raw mapping with `changed` and reads it again, so every case
is checked like the first and can be written down as people write it.
"""

import copy
import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from ..model.coax import CoaxType, coax_named
from ..model.errors import InputError
from ..model.feed import FeedSystem
from ..model.ferrite import TOROIDS, Core, Toroid, ferrite_named
from ..model.ground import Ground, ground_named
from ..model.layout import Layout, build_layout
from ..model.mesh import MeshRules
from ..model.reel import Reel
from ..model.returns import Choke, CoaxShield, Counterpoise
from ..model.sag import sagged
from ..model.structure import Conductor, Structure, structure
from ..model.transformer import IDEAL_49_TO_1, PORTABLE_49_TO_1, MagnetisingInductance, Transformer
from ..model.wire import WireType, awg_diameter
from . import units
from .units import Angle, Capacitance, Conductivity, Inductance, Kind, Length, Number, Power, Resistance

if TYPE_CHECKING:
    from ..model.solver import Remember, Solver

Raw = dict[str, Any]
TYPICAL_CHOKE = 3000.0  # ohm, a ferrite-ring choke at HF: common practice, no source

KINDS: dict[Any, Kind] = {
    get_args(annotated)[1]: kind
    for annotated, kind in (
        (Length, units.length),
        (Angle, units.angle),
        (Capacitance, units.capacitance),
        (Conductivity, units.conductivity),
        (Inductance, units.inductance),
        (Number, units.number),
        (Power, units.power),
        (Resistance, units.resistance),
    )
}


class Part(BaseModel):
    """A table of a study file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class SoilSpec(Part):
    er: Number
    sigma: Conductivity


class SiteSpec(Part):
    soil: str | SoilSpec = "average soil"

    def ground(self) -> Ground:
        if isinstance(self.soil, str):
            return ground_named(self.soil)
        return Ground(self.soil.er, self.soil.sigma)


class WireSpec(Part):
    diameter: Length | None = None
    awg: Number | None = None
    jacket: Length = 0.0
    jacket_er: Number = 2.3
    conductivity: Conductivity | None = None

    def wire(self, default: float = 1e-3) -> WireType:
        if self.diameter is not None and self.awg is not None:
            raise InputError("wire.awg", self.awg, "either diameter or awg, not both")
        diameter = awg_diameter(self.awg) if self.awg is not None else self.diameter
        loss = {} if self.conductivity is None else {"conductivity": self.conductivity}
        return WireType(default if diameter is None else diameter, self.jacket, self.jacket_er, **loss)


class AntennaSpec(Part):
    layout: str
    length: Length | None = None
    slope: Angle | None = None
    slope_up: Angle | None = None
    slope_down: Angle | None = None
    feed_height: Length | None = None
    apex_height: Length | None = None
    apex_at: Length | None = None
    end_height: Length | None = None
    height: Length | None = None
    bearing: Angle | None = None
    turn: Angle | None = None
    sag: Length = 0.0

    def build(self) -> Layout:
        given = self.model_dump(exclude={"layout", "sag"}, exclude_none=True)
        return sagged(build_layout(self.layout, **given), self.sag)


class CounterpoiseSpec(Part):
    length: Length
    bearing: Angle | None = None
    height: Length | None = None
    end_height: Length | None = None
    wire: WireSpec = WireSpec()

    def counterpoise(self) -> Counterpoise:
        return Counterpoise(self.length, self.bearing, self.height, self.end_height, self.wire.wire())


class ChokeSpec(Part):
    """A common-mode choke: what is given of R, L and C, in parallel."""

    at: Length
    resistance: Resistance | None = None
    inductance: Inductance | None = None
    capacitance: Capacitance | None = None

    def choke(self) -> Choke:
        values = self.resistance, self.inductance, self.capacitance
        if values == (None, None, None):
            return Choke(self.at, TYPICAL_CHOKE)
        return Choke(self.at, *values)


class CableSpec(Part):
    """A coax of the user's own. loss: frequency -> matched dB per 100 m."""

    z0: Resistance = 50.0
    velocity_factor: Number
    loss: dict[str, Number]
    shield_diameter: Length = 3.6e-3
    jacket: Length = 0.7e-3
    jacket_er: Number = 3.0

    def cable(self) -> CoaxType:
        rows = sorted((units.frequency(f, "coax.type.loss"), db) for f, db in self.loss.items())
        rest = self.model_dump(exclude={"loss"})
        return CoaxType(name="own coax", loss=tuple(rows), **rest)


class CoaxSpec(Part):
    """Both the line inside and the shield's outside, which lies along the ground. loss_scale: on the type's loss."""

    type: str | CableSpec = "RG-58"
    length: Length
    loss_scale: Number = 1.0
    height: Length = 0.02
    bearing: Angle | None = None
    choke: ChokeSpec | None = None

    def cable(self) -> CoaxType:
        cable = coax_named(self.type) if isinstance(self.type, str) else self.type.cable()
        if not 0 <= self.loss_scale <= 100:
            raise InputError("coax.loss_scale", self.loss_scale, "from 0 to 100, 1 for the type's own loss")
        return replace(cable, loss=tuple((f, db * self.loss_scale) for f, db in cable.loss))


class CoreSpec(Part):
    """A ring core: a known material, and a known size or dimensions."""

    material: str = "mix 43"
    size: str | None = None
    outer: Length | None = None
    inner: Length | None = None
    height: Length | None = None
    stack: int = 1

    def core(self) -> Core:
        sides = self.outer, self.inner, self.height
        if self.size is not None:
            known = TOROIDS.get(self.size)
            if known is None:
                raise InputError("transformer.core.size", repr(self.size), f"one of {', '.join(TOROIDS)}")
            sides = known.outer, known.inner, known.height
        if None in sides:
            raise InputError("transformer.core", "incomplete", "size, or all of outer, inner and height")
        outer, inner, height = (float(x or 0) for x in sides)
        return Core(ferrite_named(self.material), Toroid(outer, inner, height, self.stack))


class TransformerSpec(Part):
    """Given values replace those of the default portable 49:1; ideal = true starts from a lossless one."""

    ideal: bool = False
    turns_ratio: Number | None = None
    primary_turns: int | None = None
    core: CoreSpec | None = None
    magnetising_inductance: Inductance | None = None
    loss_resistance: Resistance | None = None
    leakage_inductance: Inductance | None = None
    compensation_capacitance: Capacitance | None = None
    winding_resistance: Resistance | None = None
    stray_capacitance: Capacitance | None = None

    def transformer(self) -> Transformer:
        given = self.model_dump(
            exclude={"ideal", "core", "magnetising_inductance", "loss_resistance"}, exclude_none=True
        )
        if self.core is not None and self.magnetising_inductance is not None:
            raise InputError("transformer.core", "given", "either core or magnetising_inductance, not both")
        if self.core is not None:
            given["magnetising"] = self.core.core()
        elif self.magnetising_inductance is not None:
            loss = math.inf if self.loss_resistance is None else self.loss_resistance
            given["magnetising"] = MagnetisingInductance(self.magnetising_inductance, loss)
        elif self.loss_resistance is not None:
            raise InputError("transformer.loss_resistance", self.loss_resistance, "given with magnetising_inductance")
        return replace(IDEAL_49_TO_1 if self.ideal else PORTABLE_49_TO_1, **given)


class NearbySpec(Part):
    """A straight conductor near the antenna: a fence wire, a mast, the long side of a vehicle."""

    name: str = "nearby"
    start: tuple[Length, Length, Length]
    end: tuple[Length, Length, Length]
    diameter: Length = 2e-3

    def conductor(self) -> Conductor:
        return Conductor((self.start, self.end), WireType(self.diameter), "nearby")


class ReelSpec(Part):
    """The wire's reel: a measured turn_length, or core, wire over its jacket, and width between the flanges."""

    wire_length: Length
    turn_length: Length = 0.0
    core_diameter: Length = 0.0
    wire_diameter: Length = 0.0
    width: Length = 0.0
    stacking: Number = 1.0

    def reel(self) -> Reel:
        return Reel(**self.model_dump())


class RadioSpec(Part):
    power: Power = 10.0
    duty: Number = 0.5
    impedance: Resistance = 50.0


class MeshSpec(Part):
    """Overrides of the segmentation rules (model/mesh.py)."""

    segments_per_wavelength: Number | None = None
    max_segment: Length | None = None
    feed_segment: Length | None = None

    def rules(self) -> MeshRules:
        return MeshRules(**self.model_dump(exclude_none=True))


@dataclass(frozen=True)
class Built:
    """The model's objects of a set-up."""

    layout: Layout
    structure: Structure
    ground: Ground
    rules: MeshRules

    def solver(self, remember: "Remember | None" = None) -> "Solver":
        """The solver; remember: where matrices are kept (default: nowhere)."""
        from ..model.solver import Solver, compute_always  # with the engine, which a study read from the store spares

        return Solver(self.structure, self.ground, self.rules, remember or compute_always)


class Setup(Part):
    """Everything needed to compute one antenna at one site."""

    site: SiteSpec = SiteSpec()
    antenna: AntennaSpec
    wire: WireSpec = WireSpec()
    counterpoise: tuple[CounterpoiseSpec, ...] = ()
    coax: CoaxSpec | None = None
    transformer: TransformerSpec = TransformerSpec()
    nearby: tuple[NearbySpec, ...] = ()
    reel: ReelSpec | None = None
    radio: RadioSpec = RadioSpec()
    mesh: MeshSpec = MeshSpec()

    def build(self) -> Built:
        """Layout, wires, ground. Raises InputError for what cannot be built."""
        layout = self.antenna.build()
        returns: list[Counterpoise | CoaxShield] = [c.counterpoise() for c in self.counterpoise]
        if self.coax is not None:
            chokes = () if self.coax.choke is None else (self.coax.choke.choke(),)
            shield = self.coax.cable().shield_wire()
            returns.append(CoaxShield(self.coax.length, self.coax.bearing, self.coax.height, shield, chokes))
        ground = self.site.ground()
        nearby = [n.conductor() for n in self.nearby]
        wires = structure(layout, self.wire.wire(), returns, nearby, over_soil=not ground.is_free_space)
        return Built(layout, wires, ground, self.mesh.rules())

    def feed_system(self) -> FeedSystem:
        """Transformer and coax between wire and radio."""
        transformer = self.transformer.transformer()
        if self.coax is None:
            return FeedSystem(transformer, reference=self.radio.impedance)
        return FeedSystem(transformer, self.coax.cable(), self.coax.length, self.radio.impedance)

    @classmethod
    def read(cls, raw: Mapping[str, Any]) -> "Setup":
        """The set-up in SI values. Raises InputError naming the field, its value and what is allowed."""
        return read_part(cls, raw)


def read_part(part: type[Any], raw: Mapping[str, Any], prefix: str = "") -> Any:
    """`raw` checked by a Part; its first fault as an InputError."""
    try:
        return part.model_validate(raw)
    except ValidationError as error:
        raise _first_fault(part, error, prefix) from None


def _first_fault(part: type[BaseModel], error: ValidationError, prefix: str) -> InputError:
    # an unknown key explains more than the missing one it was meant to be
    faults = sorted(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
    fault = faults[0]
    places = [str(p + 1) if isinstance(p, int) else p for p in fault["loc"]]
    field = prefix + ".".join(p for p in places if p not in ("str", "SoilSpec", "CableSpec"))
    cause = (fault.get("ctx") or {}).get("error")
    if isinstance(cause, InputError):
        return InputError(field, cause.value, cause.allowed)
    if fault["type"] == "extra_forbidden":
        known = sorted(_fields_at(part, fault["loc"][:-1]))
        near = difflib.get_close_matches(str(fault["loc"][-1]), known, n=1)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        return InputError(field, repr(fault["input"]), f"unknown key, allowed here: {', '.join(known)}{hint}")
    if fault["type"] == "missing":
        return InputError(field, "nothing", "this key is needed")
    return InputError(field, repr(fault["input"]), fault["msg"].lower())


def _part_of(annotation: Any) -> type[BaseModel] | None:
    """The Part inside an annotation such as `CoaxSpec | None` or `tuple[NearbySpec, ...]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((p for a in get_args(annotation) if (p := _part_of(a))), None)


def _fields_at(part: type[BaseModel], path: tuple[int | str, ...]) -> dict[str, Any]:
    for step in path:
        if isinstance(step, str) and step in part.model_fields:
            part = _part_of(part.model_fields[step].annotation) or part
    return part.model_fields


def kind_of(path: str) -> Kind | None:
    """The kind of quantity at a dotted path such as "antenna.slope"; None for text or a whole number.

    Raises InputError for a path that is not part of a set-up.
    """
    part: type[BaseModel] = Setup
    *tables, last = [p for p in path.split(".") if not p.isdigit()]
    for step in tables:
        inner = _part_of(part.model_fields[step].annotation) if step in part.model_fields else None
        if inner is None:
            raise _unknown_path(path)
        part = inner
    if last not in part.model_fields:
        raise _unknown_path(path)
    field = part.model_fields[last]
    marks = list(field.metadata) + [m for a in get_args(field.annotation) for m in getattr(a, "__metadata__", ())]
    return next((KINDS[m] for m in marks if m in KINDS), None)


def _paths(part: type[BaseModel] = Setup, prefix: str = "") -> list[str]:
    found = []
    for name, field in part.model_fields.items():
        inner = _part_of(field.annotation)
        found += _paths(inner, f"{prefix}{name}.") if inner else []
        found += [prefix + name] if inner is None or name in ("soil", "type") else []
    return found


def _unknown_path(path: str) -> InputError:
    near = difflib.get_close_matches(path, _paths(), n=3, cutoff=0.4)
    return InputError("sweep", repr(path), f"a key of the set-up, such as {', '.join(near or ['antenna.length'])}")


def changed(raw: Mapping[str, Any], path: str, value: Any) -> Raw:
    """A copy of `raw` with the value at a dotted path replaced.

    Items of a list are counted from 1 ("counterpoise.2.length"); without a number the first is meant.
    """
    out = copy.deepcopy(dict(raw))
    place: Any = out
    *steps, last = path.split(".")
    for i, step in enumerate(steps):
        if isinstance(place, list):
            index = int(step) - 1 if step.isdigit() else 0
            if not 0 <= index < len(place):
                raise InputError(path, repr(value), f"an item from 1 to {len(place)}")
            place = place[index]
            if step.isdigit():
                continue
        place = place.setdefault(step, {})
        if not isinstance(place, dict | list):
            raise InputError(path, repr(value), f"a table at {'.'.join(steps[: i + 1])}")
    if isinstance(place, list):
        if not place:
            raise InputError(path, repr(value), "at least one item in the set-up to change")
        place = place[0]
    place[last] = value
    return out


def table_value(raw: Mapping[str, Any], path: str) -> Any:
    """The text at a dotted path of a raw set-up, or None."""
    place: Any = raw
    for step in path.split("."):
        if isinstance(place, list):
            place = place[int(step) - 1 if step.isdigit() else 0]
            if step.isdigit():
                continue
        if not isinstance(place, Mapping) or step not in place:
            return None
        place = place[step]
    return place
