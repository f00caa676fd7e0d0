"""One set-up as people write it, with its soil; and which lengths of wire it can be built with.

One set-up as people write it: site, antenna, return conductors, transformer, coax, radio.

`Setup.read(raw)` checks a nested mapping of texts (a study file's tables) and gives SI values; `setup.build()` makes
the model's objects of it. A sweep or a fit changes the raw mapping with `changed` (raw.py) and reads it again, so every
case is checked like the first and can be written down as people write it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import AfterValidator, Discriminator, Tag, ValidationInfo, field_validator

from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.terrain import LEVEL, Hill, Shore, Slope, Terrain
from tautwire.model.operating.reel import Reel
from tautwire.model.soil.ground import (
    Ground,
    Layer,
    LayeredGround,
    MoistGround,
    TabledGround,
    UniformGround,
    ground_named,
    water,
)
from tautwire.model.wires.attachments import CoaxShield, Coil, Counterpoise, with_coil, with_end
from tautwire.model.wires.layout import Layout, build_layout, sagged
from tautwire.model.wires.mesh import MeshRules
from tautwire.model.wires.structure import Conductor, Structure, WireType, awg_diameter, structure, wet_wire
from tautwire.studies.study import units
from tautwire.studies.study.feed_parts import CoaxSpec, TransformerSpec
from tautwire.studies.study.parts import Name, Part, as_written, entry, named_as_written, read_part
from tautwire.studies.study.units import (
    Angle,
    Capacitance,
    Conductivity,
    Inductance,
    Length,
    Number,
    Power,
    Resistance,
    Salinity,
    Temperature,
)

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Remember, Solver


# --- What a study file says about the soil: a name, constants, moisture, a table over frequency, or layers of these.


WATER_AT = 15.0  # degrees C of water whose temperature is not given
SOIL_AT = 10e6  # Hz, where a soil is taken whose constants change with frequency
MOST_SIGMA = 100.0  # S/m, twenty times that of sea water; beyond it, metal was meant or mS/m
WAYS = "one of: er and sigma; moisture; salinity; table; in a layer also soil, a name"


def _of_a_soil(sigma: float) -> float:
    if not 0 <= sigma <= MOST_SIGMA:
        allowed = f"from 0 to {MOST_SIGMA:g} S/m, such as '5 mS/m'; for metal soil = \"perfect ground\""
        raise InputError("sigma", f"{sigma:g} S/m", allowed)
    return sigma


SoilConductivity = Annotated[Conductivity, AfterValidator(_of_a_soil)]


class SoilRow(Part):
    """A row of a soil's table over frequency."""

    er: Number = entry("relative permittivity there", 15, "1 or more", default=...)
    sigma: SoilConductivity = entry("conductivity there", "5 mS/m", "0 to 100 S/m", default=...)


class SoilSpec(Part):
    """A soil: constants, or moisture, or a table over frequency. In a list, a layer."""

    er: Number | None = entry("relative permittivity", 13, "1 or more")
    sigma: SoilConductivity | None = entry("conductivity", "5 mS/m", "0 to 100 S/m")
    moisture: Number | None = entry(
        "share of the volume that is water, instead of er and sigma",
        0.15,
        "0 to 1; `tautwire list soils` says the range",
    )
    salinity: Salinity | None = entry(
        "of water, instead of er and sigma: its salt by weight; the ocean 35 g/kg, a fjord 15, a lake 0.2",
        "0.2 g/kg",
        "0 to 40 g/kg",
    )
    temperature: Temperature | None = entry("of that water; 15 C if left out", "15 C", "0 to 40 C")
    table: dict[str, SoilRow] | None = entry(
        "constants over frequency, instead of er and sigma",
        {"3 MHz": {"er": 20, "sigma": "5 mS/m"}, "30 MHz": {"er": 15, "sigma": "8 mS/m"}},
        "frequencies rising",
    )
    soil: str | None = entry("in a layer: the name of its soil", "dry ground", "a name of `tautwire list soils`")
    depth: Length | None = entry("in a layer: how deep it reaches; the last has none", "40 cm", "0.1 mm to 30 m")

    def ground(self, at: str) -> Ground:
        """The soil without its depth; at: its key, for refusals."""
        constants = {"er": self.er, "sigma": self.sigma}
        given = [n for n in ("moisture", "salinity", "table", "soil") if getattr(self, n) is not None]
        missing = [n for n, x in constants.items() if x is None]
        if len(given) + (len(missing) < 2) != 1:
            allowed = " and ".join([*given, *(n for n in constants if n not in missing)]) or "nothing"
            raise InputError(at, allowed, WAYS)
        if self.temperature is not None and self.salinity is None:
            raise InputError(
                f"{at}.temperature", f"{self.temperature:g} C", "salinity beside it: only water has it here"
            )
        with named_as_written(soil=at):
            if self.salinity is not None:
                return water(self.salinity, WATER_AT if self.temperature is None else self.temperature)
            if self.moisture is not None:
                return MoistGround(self.moisture)
            if self.table is not None:
                rows = sorted((units.frequency(f, f"{at}.table"), r.er, r.sigma) for f, r in self.table.items())
                return TabledGround(tuple(rows))
            if missing and self.soil is None:
                raise InputError(f"soil.{missing[0]}", "nothing", "this key is needed")
            if self.soil is None:
                return UniformGround(float(self.er or 0), float(self.sigma or 0))
        with named_as_written(soil=f"{at}.soil"):
            return ground_named(self.soil)

    def own(self, key: str) -> "SoilSpec":
        """The same soil described so that `key` can be given: by er and sigma (those at SOIL_AT), or by moisture."""
        if key in ("er", "sigma") and (self.er is None or self.sigma is None):
            er, sigma = self.ground("site.soil").constants(SOIL_AT)
            return SoilSpec.model_construct(er=er, sigma=sigma, depth=self.depth)
        if key == "moisture" and self.moisture is None:
            return SoilSpec.model_construct(depth=self.depth)
        return self


def _way(given: Any) -> str | None:
    if isinstance(given, str):
        return "str"
    if isinstance(given, Mapping | SoilSpec):
        return "SoilSpec"
    return "layers" if isinstance(given, list | tuple) else None


Soil = Annotated[
    Annotated[str, Tag("str")] | Annotated[SoilSpec, Tag("SoilSpec")] | Annotated[tuple[SoilSpec, ...], Tag("layers")],
    Discriminator(
        _way, custom_error_type="soil", custom_error_message="text in quotes, or a table, or a list of layers"
    ),
]


def ground_of(soil: str | SoilSpec | tuple[SoilSpec, ...], at: str = "site.soil") -> Ground:
    """The ground that a study file's soil describes. Raises InputError naming the key below `at`."""
    if isinstance(soil, str):
        with named_as_written(soil=at):
            return ground_named(soil)
    if isinstance(soil, SoilSpec):
        for key in ("soil", "depth"):
            if (value := getattr(soil, key)) is not None:
                raise InputError(f"{at}.{key}", value, f"layers, in brackets: soil = [{{ {key} = ... }}, ...]")
        return soil.ground(at)
    if not soil:
        raise InputError(at, "[]", "at least one layer")
    grounds = [layer.ground(f"{at}.{i}") for i, layer in enumerate(soil, 1)]
    layers = []
    for i, (layer, ground) in enumerate(zip(soil[:-1], grounds, strict=False), 1):
        if layer.depth is None:
            raise InputError(f"{at}.{i}.depth", "nothing", "a depth, such as '40 cm', for every layer but the last")
        with named_as_written(soil=f"{at}.{i}"):
            layers.append(Layer(ground, layer.depth))
    if soil[-1].depth is not None:
        raise InputError(
            f"{at}.{len(soil)}.depth", f"{soil[-1].depth} m", "no depth for the last: it goes on downwards"
        )
    if not layers:
        return grounds[-1]
    with named_as_written(soil=at):
        return LayeredGround(tuple(layers), grounds[-1])


def spec_named(name: str) -> SoilSpec | tuple[SoilSpec, ...]:
    """A named soil as a table, or as the list of its layers. Raises InputError for an unknown name."""
    ground = ground_of(name)
    if not isinstance(ground, LayeredGround):
        return SoilSpec.model_construct(soil=name)
    layers = [SoilSpec.model_construct(soil=layer.soil.name, depth=layer.depth) for layer in ground.layers]
    return (*layers, SoilSpec.model_construct(soil=ground.bottom.name))


def opened(written: Any, path: str) -> Any:
    """A soil as a study file has it, rewritten so that the value at a dotted path ("site.soil.1.depth") can be set."""
    *_, key = path.split(".")
    if isinstance(written, str):
        spec = spec_named(written)
        written = [_texts(s) for s in spec] if isinstance(spec, tuple) else _texts(spec)
    if isinstance(written, list):
        index = next((int(p) - 1 for p in path.split(".") if p.isdigit()), 0)
        return [_texts(SoilSpec.model_validate(s).own(key)) if i == index else s for i, s in enumerate(written)]
    return _texts(SoilSpec.model_validate(written).own(key))


def _texts(spec: SoilSpec) -> dict[str, Any]:
    """A soil's table as people write it."""
    units_of = {"sigma": (1e3, " mS/m"), "depth": (100, " cm")}
    entries: dict[str, Any] = {}
    for key, value in spec.model_dump(exclude_none=True).items():
        factor, unit = units_of.get(key, (1, ""))
        entries[key] = f"{value * factor:.6g}{unit}" if unit else value
    if spec.table is not None:
        entries["table"] = {f: {"er": r.er, "sigma": f"{r.sigma * 1e3:.6g} mS/m"} for f, r in spec.table.items()}
    return entries


# --- One set-up as people write it.


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


# --- Which lengths of wire a layout can be built with, where other sizes of it are fixed.


STEPS = 14  # halvings: about a millimetre in 20 m


def buildable(setups: Iterable[Setup], low: float, high: float) -> tuple[float, float]:
    """The part of low..high (m of wire) with which every set-up can be built, found outwards from its own length.

    A set-up that has no length of its own, or cannot be built with any near it, does not narrow the range: whatever
    builds it then says why it cannot. Where none of the range can be built, its own length is what is left.
    """
    for setup in setups:
        own = setup.antenna.length
        if own is None or high <= low:
            continue
        start = min(max(own, low), high)
        if _fits(setup, start):
            low, high = _last_good(setup, start, low), _last_good(setup, start, high)
        elif _fits(setup, own):
            return own, own
    return low, high


def _fits(setup: Setup, metres: float) -> bool:
    antenna = setup.antenna.model_copy(update={"length": metres})
    try:
        setup.model_copy(update={"antenna": antenna}).build()
    except InputError:
        return False
    return True


def _last_good(setup: Setup, good: float, end: float) -> float:
    """The length nearest to end that can be built, searched from one that can."""
    if end == good or _fits(setup, end):
        return end
    bad = end
    for _ in range(STEPS):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if _fits(setup, middle) else (good, middle)
    return good
