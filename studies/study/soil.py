"""What a study file says about the soil: a name, constants, moisture, a table over frequency, or layers of these."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import AfterValidator, Discriminator, Tag

from tautwire.model.errors import InputError
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
from tautwire.studies.study import units
from tautwire.studies.study.parts import Part, entry, named_as_written
from tautwire.studies.study.units import Conductivity, Length, Number, Salinity, Temperature

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
