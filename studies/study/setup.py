"""One set-up as people write it: site, antenna, return conductors, transformer, coax, radio.

`Setup.read(raw)` checks a nested mapping of texts (a study file's tables) and gives SI values; `setup.build()` makes
the model's objects of it. A sweep or a fit changes the raw mapping with `changed` (raw.py) and reads it again, so every
case is checked like the first and can be written down as people write it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import ValidationInfo, field_validator

from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.reel import Reel
from tautwire.model.soil.ground import Ground
from tautwire.model.wires.end_load import with_end
from tautwire.model.wires.layout import Layout, build_layout
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.return_conductors import CoaxShield, Counterpoise
from tautwire.model.wires.sag import sagged
from tautwire.model.wires.structure import Conductor, Structure, structure
from tautwire.model.wires.wire import WireType, awg_diameter
from tautwire.studies.study.feed_parts import CoaxSpec, TransformerSpec
from tautwire.studies.study.guard import Name
from tautwire.studies.study.parts import Part, read_part
from tautwire.studies.study.soil import Soil, ground_of
from tautwire.studies.study.units import Angle, Capacitance, Conductivity, Length, Number, Power, Resistance

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Remember, Solver


WIRE_DIAMETER, WIRE_JACKET = 0.8e-3, 0.3e-3  # m, where a study file, or predict, is told nothing else


class SiteSpec(Part):
    soil: Soil = "average soil"

    def ground(self) -> Ground:
        return ground_of(self.soil)


class WireSpec(Part):
    """A wire; what is not given is that of a thin insulated wire on a reel (common practice, no source)."""

    diameter: Length | None = None
    awg: Number | None = None
    jacket: Length = WIRE_JACKET
    jacket_er: Number = 2.3
    conductivity: Conductivity | None = None

    def wire(self) -> WireType:
        if self.diameter is not None and self.awg is not None:
            raise InputError("wire.awg", self.awg, "either diameter or awg, not both")
        diameter = awg_diameter(self.awg) if self.awg is not None else self.diameter
        loss = {} if self.conductivity is None else {"conductivity": self.conductivity}
        return WireType(WIRE_DIAMETER if diameter is None else diameter, self.jacket, self.jacket_er, **loss)


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
    sag: Length = 0.0  # end_capacitance, end_resistance: of leaves, say, that touch the open end
    end_capacitance: Capacitance = 0.0
    end_resistance: Resistance = 0.0

    def build(self) -> Layout:
        given = self.model_dump(exclude={"layout", "sag", "end_capacitance", "end_resistance"}, exclude_none=True)
        return sagged(build_layout(self.layout, **given), self.sag)


class CounterpoiseSpec(Part):
    length: Length
    bearing: Angle | None = None
    height: Length | None = None
    end_height: Length | None = None
    wire: WireSpec = WireSpec()

    def counterpoise(self) -> Counterpoise:
        return Counterpoise(self.length, self.bearing, self.height, self.end_height, self.wire.wire())


class NearbySpec(Part):
    """A straight conductor near the antenna: a fence wire, a mast, the long side of a vehicle."""

    name: Name = "nearby"
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


RADIO_RANGES: dict[str, tuple[Callable[[float], bool], str, str]] = {
    "power": (lambda w: 0 < w <= 10e3, "W", "above 0, up to 10 kW"),
    "duty": (lambda part: 0 < part <= 1, "", "above 0, up to 1"),
    "impedance": (lambda ohm: 1 <= ohm <= 1000, "ohm", "from 1 to 1000 ohm"),
}


class RadioSpec(Part):
    power: Power = 10.0
    duty: Number = 0.5
    impedance: Resistance = 50.0

    @field_validator("power", "duty", "impedance")
    @classmethod
    def _in_range(cls, value: float, about: ValidationInfo) -> float:
        name = str(about.field_name)
        fits, unit, told = RADIO_RANGES[name]
        if not fits(value):
            raise InputError(name, f"{value:g} {unit}".rstrip(), told)
        return value


class MeshSpec(Part):
    """Overrides of the segmentation rules (model/wires/mesh.py)."""

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
        from tautwire.model.solve.solver import (  # with the engine, which a study read from the store spares
            Solver,
            compute_always,
        )

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
            returns.append(CoaxShield(self.coax.lying, self.coax.bearing, self.coax.height, shield, chokes))
        ground = self.site.ground()
        nearby = [n.conductor() for n in self.nearby]
        wires = structure(layout, self.wire.wire(), returns, nearby, over_soil=not ground.is_free_space)
        if self.antenna.end_capacitance:
            wires = with_end(wires, self.antenna.end_capacitance, self.antenna.end_resistance)
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
