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
from tautwire.model.fields.terrain import LEVEL, Hill, Shore, Slope, Terrain
from tautwire.model.operating.reel import Reel
from tautwire.model.soil.ground import Ground
from tautwire.model.wires.coax_shield import CoaxShield
from tautwire.model.wires.coil import Coil, with_coil
from tautwire.model.wires.counterpoise import Counterpoise
from tautwire.model.wires.end_load import with_end
from tautwire.model.wires.layout import Layout, build_layout
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.sag import sagged
from tautwire.model.wires.structure import Conductor, Structure, structure
from tautwire.model.wires.wire import WireType, awg_diameter, wet_wire
from tautwire.studies.study.feed_parts import CoaxSpec, TransformerSpec
from tautwire.studies.study.guard import Name
from tautwire.studies.study.parts import Part, entry, named_as_written, read_part
from tautwire.studies.study.soil import Soil, ground_of
from tautwire.studies.study.units import Angle, Capacitance, Conductivity, Inductance, Length, Number, Power, Resistance
from tautwire.studies.study.written import as_written

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Remember, Solver


AROUND = ("site.shore", "site.slope", "site.hill")
"""keys that shape the far field only"""
MOST_FILM = 1e-3  # m of water on a wire
WIRE_DIAMETER, WIRE_JACKET = 0.8e-3, 0.3e-3  # m, where a study file, or predict, is told nothing else


class ShoreSpec(Part):
    """[site.shore]: where other ground begins, such as a lake. It shapes the pattern, not the dips."""

    distance: Length = entry(
        "from the feed to the shoreline, square to it; the line is taken as straight",
        "30 m",
        "0 to 100 km",
        default=...,
    )
    bearing: Angle = entry(
        "direction from the feed to the water, square to the shoreline, clockwise from north",
        "200 deg",
        "any angle",
        default=...,
    )
    soil: Soil = entry(
        "what lies beyond it, written like site.soil",
        "sea water",
        "a name of `tautwire list soils`, or a table",
        default="lake water",
    )
    drop: Length = entry("how far it lies below the ground at the feed", "1.5 m", "0 to 3 km", default=0.0)

    def shore(self) -> Shore:
        ground = ground_of(self.soil, "site.shore.soil")
        return Shore(self.distance, self.bearing, ground, self.drop)


class SlopeSpec(Part):
    """[site.slope]: ground that falls or rises. It shapes the pattern, not the dips."""

    bearing: Angle = entry(
        "direction in which the ground falls, clockwise from north", "200 deg", "any angle", default=...
    )
    fall: Angle = entry(
        "by how much it falls; below 0 it rises", "6 deg", "-45 to 45 deg; from 0 with distance", default=...
    )
    distance: Length | None = entry(
        "from the feed to where level ground begins to fall; left out, all of the site slopes, and heights and "
        "slopes of the wires count from the sloping ground",
        "40 m",
        "0 to 100 km",
    )

    def slope(self) -> Slope:
        return Slope(self.bearing, self.fall, self.distance)


class HillSpec(Part):
    """[site.hill]: the brow of a hill that low waves must pass over, a knife edge. It shapes the pattern only."""

    distance: Length = entry("from the feed to the brow, square to it", "300 m", "1 m to 100 km", default=...)
    bearing: Angle = entry(
        "direction from the feed to the hill, square to its brow, clockwise from north",
        "20 deg",
        "any angle",
        default=...,
    )
    height: Length = entry("height of the brow above the ground at the feed", "25 m", "0 to 3 km", default=...)

    def hill(self) -> Hill:
        return Hill(self.distance, self.bearing, self.height)


class SiteSpec(Part):
    """The place."""

    soil: Soil = entry(
        "what lies under the antenna: a name, constants, moisture, a table over frequency, or a list of layers",
        "wet ground",
        "a name of `tautwire list soils`, or a table",
        default="average soil",
    )
    shore: ShoreSpec | None = entry(
        "a straight shore, and what lies beyond it", {"distance": "30 m", "bearing": "200 deg"}
    )
    slope: SlopeSpec | None = entry("ground that falls or rises", {"bearing": "200 deg", "fall": "6 deg"})
    hill: HillSpec | None = entry(
        "a hill in the way of low waves", {"distance": "300 m", "bearing": "20 deg", "height": "25 m"}
    )

    def ground(self) -> Ground:
        return ground_of(self.soil)

    def terrain(self) -> Terrain:
        """What lies around the site, for the far field."""
        with named_as_written(shore="site.shore", slope="site.slope", hill="site.hill"):
            found = {
                "shore": self.shore and self.shore.shore(),
                "slope": self.slope and self.slope.slope(),
                "hill": self.hill and self.hill.hill(),
            }
            if not any(found.values()):
                return LEVEL
            if self.ground().is_free_space:
                raise InputError("soil", "'free space'", "a soil: in free space there is no shore, slope or hill")
            return Terrain(**found)  # type: ignore[arg-type]


class WireSpec(Part):
    """A wire; what is not given is that of a thin insulated wire on a reel (common practice, no source)."""

    diameter: Length | None = entry(
        "diameter of the conductor, without jacket", "0.8 mm", "0.01 to 100 mm; 0.8 mm if left out"
    )
    awg: Number | None = entry("the conductor as an American wire gauge number, instead of diameter", 20, "0 to 40")
    jacket: Length = entry(
        "thickness of the insulation on one side; 0 for bare wire", "0.3 mm", "0 to 50 mm", default=WIRE_JACKET
    )
    jacket_er: Number = entry(
        "relative permittivity of the insulation: 2.3 polyethylene, 3.5 PVC", 3.5, "1 to 100", default=2.3
    )
    jacket_loss: Number = entry(
        "loss tangent of the insulation: 0.0002 polyethylene, 0.02 to 0.06 PVC (from memory)",
        0.03,
        "0 to 1",
        default=0.0,
    )
    film: Length = entry(
        "thickness of a film of water on it: dew 10 um, rain 20 to 100 um (estimates, no source)",
        "0.02 mm",
        "0 to 1 mm",
        default=0.0,
    )
    conductivity: Conductivity | None = entry("conductivity of the metal; copper if left out", "8 MS/m", "above 0")

    def wire(self) -> WireType:
        if self.diameter is not None and self.awg is not None:
            raise InputError("wire.awg", self.awg, "either diameter or awg, not both")
        diameter = awg_diameter(self.awg) if self.awg is not None else self.diameter
        loss = {} if self.conductivity is None else {"conductivity": self.conductivity}
        size = WIRE_DIAMETER if diameter is None else diameter
        if not 0 <= self.film <= MOST_FILM:
            raise InputError("wire.film", f"{self.film * 1e3:g} mm", f"from 0 to {MOST_FILM * 1e3:g} mm")
        return wet_wire(WireType(size, self.jacket, self.jacket_er, jacket_loss=self.jacket_loss, **loss), self.film)


class AntennaSpec(Part):
    """How the wire hangs: any lengths, heights and slopes that settle it and agree."""

    layout: str = entry("how the wire hangs", "inverted V", "a name of `tautwire list layouts`", default=...)
    length: Length | None = entry("wire from the transformer to the far end", "20.1 m", "0.05 to 2000 m")
    slope: Angle | None = entry(
        "slope of a sloper from the horizontal; above 0 it rises from the feed", "25 deg", "-90 to 90 deg"
    )
    slope_up: Angle | None = entry("slope of the leg from feed to apex", "40 deg", "0 to 90 deg")
    slope_down: Angle | None = entry("slope of the leg from apex to far end, measured down", "30 deg", "0 to 90 deg")
    feed_height: Length | None = entry(
        "height of the transformer above the soil; 1 m if nothing settles it", "1.2 m", "1 cm to 500 m"
    )
    apex_height: Length | None = entry("height of the highest point", "8 m", "1 cm to 500 m")
    apex_at: Length | None = entry(
        "metres of wire from the transformer to the apex; half the length if nothing settles it",
        "10 m",
        "0.05 to 2000 m",
    )
    end_height: Length | None = entry("height of the far end", "2 m", "1 cm to 500 m")
    height: Length | None = entry("height of a level run", "6 m", "1 cm to 500 m")
    bearing: Angle | None = entry(
        "direction in which the wire leaves the feed, clockwise from north; north if left out", "120 deg", "any angle"
    )
    turn: Angle | None = entry("change of bearing at the apex, clockwise", "30 deg", "any angle")
    sag: Length = entry(
        "how far the longest leg hangs below its chord in the middle; wire length stays",
        "0.5 m",
        "0 to a fifth of the leg",
        default=0.0,
    )
    end_capacitance: Capacitance = entry(
        "capacitance of what touches the open end, such as leaves", "2 pF", "0 or more", default=0.0
    )
    end_resistance: Resistance = entry("resistance in series with it", "10 kohm", "0 or more", default=0.0)

    def build(self) -> Layout:
        given = self.model_dump(exclude={"layout", "sag", "end_capacitance", "end_resistance"}, exclude_none=True)
        return sagged(build_layout(self.layout, **given), self.sag)


class CounterpoiseSpec(Part):
    """A wire laid out as return conductor."""

    length: Length = entry("length of this counterpoise wire", "2 m", "above 0", default=...)
    bearing: Angle | None = entry(
        "direction in which it runs, clockwise from north; away from the wire if left out", "90 deg", "any angle"
    )
    height: Length | None = entry(
        "height at which it lies: it drops at 45 degrees, then runs level; level with the feed if left out",
        "5 cm",
        "half its outer diameter (lies on the soil) or more",
    )
    end_height: Length | None = entry(
        "height of its end if it slopes straight; instead of height", "10 cm", "half its outer diameter or more"
    )
    wire: WireSpec = entry(
        "its own wire; 1 mm bare copper if left out",
        {"diameter": "1 mm", "jacket": "0.4 mm"},
        "keys of [wire]",
        default=WireSpec(),
    )

    def counterpoise(self, at: str) -> Counterpoise:
        """at: where the table stands in the study file."""
        with named_as_written(counterpoise=at, wire=f"{at}.wire"):
            return Counterpoise(self.length, self.bearing, self.height, self.end_height, self.wire.wire())


class NearbySpec(Part):
    """A straight conductor near the antenna: a fence wire, a mast, the long side of a vehicle."""

    name: Name = entry("what it is, for drawings", "fence", "up to 60 characters", default="nearby")
    start: tuple[Length, Length, Length] = entry(
        "one end: metres east, north and up from the ground below the feed",
        ["2 m", "-5 m", "1 m"],
        "3 lengths",
        default=...,
    )
    end: tuple[Length, Length, Length] = entry(
        "the other end, likewise", ["2 m", "15 m", "1 m"], "3 lengths", default=...
    )
    diameter: Length = entry("its diameter", "3 mm", "0.01 to 100 mm", default=2e-3)

    def conductor(self, at: str) -> Conductor:
        """at: where the table stands in the study file."""
        with named_as_written(nearby=at, wire=at):
            return Conductor((self.start, self.end), WireType(self.diameter), "nearby")


class CoilSpec(Part):
    """A coil in the wire: one that adds a band below, one that shifts the upper bands, or a trap."""

    at: Length = entry(
        "where it sits: distance along the wire from the transformer",
        "20.1 m",
        "5 cm or more from either end of the wire",
        default=...,
    )
    inductance: Inductance = entry("its inductance", "110 uH", "above 0, up to 10 mH", default=...)
    q: Number = entry("its reactance over its series resistance", 150, "1 to 2000", default=200.0)
    capacitance: Capacitance = entry(
        "what lies across it: a long coil has 1 to 3 pF of its own (common practice, no source), a trap has more",
        "2 pF",
        "0 to 1 nF",
        default=2e-12,
    )

    def coil(self) -> Coil:
        return Coil(self.inductance, self.q, self.capacitance)


class CountSpec(Part):
    """Wire that was measured on a reel."""

    turns: Number = entry("turns let out, from the full reel", 8, "above 0", default=...)
    length: Length = entry("wire that they hold", "3.1 m", "above 0, up to reel.wire_length", default=...)


class ReelSpec(Part):
    """The reel of the wire: a measured turn_length, wire counted off it, or core, wire over its jacket, and width
    between the flanges."""

    wire_length: Length = entry("wire on the full reel", "21 m", "above 0, up to 1000 m", default=...)
    turn_length: Length = entry(
        "measured length of one turn; else give core_diameter, wire_diameter and width",
        "37.7 cm",
        "1 cm to 10 m",
        default=0.0,
    )
    counted: tuple[CountSpec, ...] = entry(
        "instead of turn_length: wire measured after one count of turns or more; turns get shorter towards the core, "
        "so two counts far apart say more than one",
        [{"turns": 8, "length": "3.3 m"}, {"turns": 40, "length": "15.4 m"}],
        default=(),
    )
    core_diameter: Length = entry("diameter of the core the wire is wound on", "12 cm", "5 mm to 2 m", default=0.0)
    wire_diameter: Length = entry("diameter over the jacket of the wound wire", "1.4 mm", "0.1 to 20 mm", default=0.0)
    width: Length = entry("room between the flanges", "4 cm", "one wire diameter to 1 m", default=0.0)
    stacking: Number = entry(
        "radial pitch of the layers over the wire diameter: 1 on top of each other, more when wound loosely",
        1.2,
        "0.5 to 5",
        default=1.0,
    )

    def reel(self) -> Reel:
        sizes = self.model_dump(exclude={"counted"})
        if not self.counted:
            return Reel(**sizes)
        if sizes.pop("turn_length"):
            raise InputError("reel.turn_length", f"{self.turn_length:g} m", "left out where reel.counted is given")
        counts = [(c.turns, c.length) for c in self.counted]
        return Reel.of_counts(sizes.pop("wire_length"), *zip(*counts, strict=True), **sizes)


RADIO_RANGES: dict[str, tuple[Callable[[float], bool], str, str]] = {
    "power": (lambda w: 0 < w <= 10e3, "W", "above 0, up to 10 kW"),
    "duty": (lambda part: 0 < part <= 1, "", "above 0, up to 1"),
    "impedance": (lambda ohm: 1 <= ohm <= 1000, "ohm", "from 1 to 1000 ohm"),
}


class RadioSpec(Part):
    """The radio."""

    power: Power = entry("power of the radio at full carrier", "10 W", "above 0, up to 10 kW", default=10.0)
    duty: Number = entry(
        "average over full power while you transmit and listen by turns", 0.3, "above 0, up to 1", default=0.5
    )
    impedance: Resistance = entry("impedance the SWR refers to", "50 ohm", "1 to 1000 ohm", default=50.0)

    @field_validator("power", "duty", "impedance")
    @classmethod
    def _in_range(cls, value: float, about: ValidationInfo) -> float:
        name = str(about.field_name)
        fits, unit, allowed = RADIO_RANGES[name]
        if not fits(value):
            raise InputError(name, f"{value:g} {unit}".rstrip(), allowed)
        return value


class MeshSpec(Part):
    """Overrides of the segmentation rules (model/wires/mesh.py)."""

    segments_per_wavelength: Number | None = entry("least segments a wavelength", 40, "8 to 400")
    max_segment: Length | None = entry("longest segment whatever the wavelength", "0.5 m", "1 mm to 100 m")
    feed_segment: Length | None = entry(
        "length of the segments at the feed: it stands for the box, so compare at one value only",
        "0.1 m",
        "1 mm to 10 m",
    )

    def rules(self) -> MeshRules:
        return MeshRules(**self.model_dump(exclude_none=True))


@dataclass(frozen=True)
class Built:
    """The model's objects of a set-up."""

    layout: Layout
    structure: Structure
    ground: Ground
    rules: MeshRules
    terrain: Terrain = LEVEL

    def solver(self, remember: "Remember | None" = None) -> "Solver":
        """The solver; remember: where matrices are kept (default: nowhere)."""
        from tautwire.model.solve.solver import (  # with the engine, which a study read from the store spares
            Solver,
            compute_always,
        )

        return Solver(self.structure, self.ground, self.rules, remember or compute_always)


class Setup(Part):
    """Everything needed to compute one antenna at one site."""

    site: SiteSpec = entry("where it stands", {"soil": "wet ground"}, default=SiteSpec())
    antenna: AntennaSpec = entry(
        "how the wire hangs", {"layout": "sloper", "length": "20 m", "slope": "30 deg"}, default=...
    )
    wire: WireSpec = entry("the wire itself", {"diameter": "0.8 mm"}, default=WireSpec())
    coil: tuple[CoilSpec, ...] = entry(
        "coils in the wire: loading coils, compensation coils, traps",
        [{"at": "20.1 m", "inductance": "110 uH"}],
        default=(),
    )
    counterpoise: tuple[CounterpoiseSpec, ...] = entry(
        "wires laid out as return conductors: none, one or several", [{"length": "2 m"}], default=()
    )
    coax: CoaxSpec | None = entry(
        "the cable: its inside is a line, its shield a return conductor; leave it out for none",
        {"type": "RG-58", "length": "5 m"},
    )
    transformer: TransformerSpec = entry(
        "between wire and cable; a portable 49:1 if left out", {"turns_ratio": 7}, default=TransformerSpec()
    )
    nearby: tuple[NearbySpec, ...] = entry(
        "straight conductors near the antenna: a fence wire, a mast, the side of a car",
        [{"start": ["2 m", "0 m", "1 m"], "end": ["9 m", "0 m", "1 m"]}],
        default=(),
    )
    reel: ReelSpec | None = entry(
        "the reel the wire is wound on; turns need it", {"wire_length": "21 m", "turn_length": "37.7 cm"}
    )
    radio: RadioSpec = entry("power and reference impedance", {"power": "10 W"}, default=RadioSpec())
    mesh: MeshSpec = entry(
        "how finely wires are cut; for checks of convergence", {"segments_per_wavelength": 40}, default=MeshSpec()
    )

    @as_written()
    def build(self) -> Built:
        """Layout, wires, ground. Raises InputError for what cannot be built."""
        layout = self.antenna.build()
        returns: list[Counterpoise | CoaxShield] = [
            c.counterpoise(f"counterpoise.{i}") for i, c in enumerate(self.counterpoise, 1)
        ]
        if self.coax is not None:
            chokes = () if self.coax.choke is None else (self.coax.choke.choke(),)
            shield = self.coax.cable().shield_wire()
            returns.append(CoaxShield(self.coax.conducting, self.coax.bearing, self.coax.height, shield, chokes))
        ground = self.site.ground()
        nearby = [n.conductor(f"nearby.{i}") for i, n in enumerate(self.nearby, 1)]
        wires = structure(layout, self.wire.wire(), returns, nearby, over_soil=not ground.is_free_space)
        for i, c in enumerate(self.coil, 1):
            with named_as_written(coil=f"coil.{i}"):
                wires = with_coil(wires, c.at, c.coil())
        if self.antenna.end_capacitance:
            wires = with_end(wires, self.antenna.end_capacitance, self.antenna.end_resistance)
        return Built(layout, wires, ground, self.mesh.rules(), self.site.terrain())

    @as_written()
    def feed_system(self) -> FeedSystem:
        """Transformer and coax between wire and radio."""
        transformer = self.transformer.transformer()
        if self.coax is None:
            return FeedSystem(transformer, reference=self.radio.impedance)
        return FeedSystem(transformer, self.coax.cable(), self.coax.length, self.radio.impedance)

    @classmethod
    def read(cls, raw: Mapping[str, Any]) -> "Setup":
        """The set-up in SI values. Raises InputError naming the field, its value and what is allowed."""
        with as_written(raw):
            return read_part(cls, raw)
