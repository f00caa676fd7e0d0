"""Values of a set-up by their dotted names: found, read, changed, and what each may be off by.

What each value of a set-up may usually be off by: one table for spreads, causes of a move and a fit's priors.

Estimates for an antenna hung with a tape measure in a park: common practice, no source, but where a row says more. A
user's own numbers replace them ([spread], in the form of a fit's parameters).
"""

import copy
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, get_args

from pydantic import BaseModel

from tautwire.model.errors import InputError, nearest
from tautwire.studies.study import units
from tautwire.studies.study.parts import is_index, part_of, replaced_in, value_in
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import (
    Angle,
    Capacitance,
    Conductivity,
    Inductance,
    Kind,
    Length,
    Number,
    Power,
    Resistance,
    Salinity,
    Temperature,
)

# --- A set-up as the nested texts people write: find, read and change a value by its dotted name.


Raw = dict[str, Any]

FEET = re.compile(r"""(ft|foot|feet|in|inch|inches|['"])\s*$""")  # what a length in them ends with
METRES = re.compile(r"\d\s*[cm]?m\s*$")
TOLD_BY = ("antenna", "reel", "counterpoise", "coax")  # tables whose lengths tell; the first that has one does


def lengths_of(raw: Mapping[str, Any]) -> str:
    """How a set-up's lengths are typed: "imperial" for feet and inches, else "metric".

    >>> lengths_of({"antenna": {"length": "66 ft 3 in", "slope": "25 deg"}, "coax": {"length": "5 m"}})
    'imperial'
    """
    for name in TOLD_BY:
        texts = list(_texts(raw.get(name)))
        feet, metres = (sum(bool(unit.search(t)) for t in texts) for unit in (FEET, METRES))
        if feet or metres:
            return "imperial" if feet > metres else "metric"
    return "metric"


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping | list | tuple):
        for inner in value.values() if isinstance(value, Mapping) else value:
            yield from _texts(inner)


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
        (Salinity, units.salinity),
        (Temperature, units.temperature),
    )
}


def kind_of(path: str) -> Kind | None:
    """The kind of quantity at a dotted path such as "antenna.slope"; None for text or a whole number.

    Raises InputError for a path that is not part of a set-up.
    """
    part: type[BaseModel] = Setup
    *tables, last = [p for p in path.split(".") if not is_index(p)] or [""]
    for step in tables:
        inner = part_of(part.model_fields[step].annotation) if step in part.model_fields else None
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
        inner = part_of(field.annotation)
        found += _paths(inner, f"{prefix}{name}.") if inner else []
        found += [prefix + name] if inner is None or name in ("soil", "type") else []
    return found


def _unknown_path(path: str) -> InputError:
    near = nearest(path, _paths(), 3, 0.4)
    return InputError("sweep", repr(path), f"a key of the set-up, such as {', '.join(near or ['antenna.length'])}")


def changed(raw: Mapping[str, Any], path: str, value: Any) -> Raw:
    """A copy of `raw` with the value at a dotted path replaced.

    Items of a list are counted from 1 ("counterpoise.2.length"); without a number the first is meant.
    """
    new: Raw = replaced_in(copy.deepcopy(dict(raw)), path, value)
    return new


def table_value(raw: Mapping[str, Any], path: str) -> Any:
    """The text at a dotted path of a raw set-up, or None."""
    return value_in(raw, path)


# --- What each value of a set-up may usually be off by.


Law = Literal["added", "factor", "one-sided"]
ADDED: Final = "added"
FACTOR: Final = "factor"
ONE_SIDED: Final = "one-sided"


@dataclass(frozen=True)
class Usual:
    """How far off one kind of value usually is: one standard deviation.

    sd: SI if law is "added"; the logarithm of a factor if "factor"; if "one-sided", SI, only upwards from the set-up's
    value (half of a normal law). name: in words. measure: how to know better, empty if one cannot; measured: the
    sd left then, in the same form. hang: whether it changes each time the antenna is hung.
    """

    sd: float
    law: Law
    name: str
    measure: str = ""
    measured: float = 0.0
    hang: bool = False


JACKET = "measure the jacket"
SOIL = "measure the soil"
CABLE = "measure the coax"
FREE_END = "keep the wire's end free of leaves"
TRANSFORMER = "measure the transformer, or fit a sweep (tautwire fit)"

USUAL: dict[str, Usual] = {
    "antenna.length": Usual(0.05, ADDED, "length of the wire", "measure the wire's length to 1 cm", 0.01),
    "antenna.slope": Usual(math.radians(3), ADDED, "slope", "measure the wire's slope to 1 deg", math.radians(1), True),
    "antenna.slope_up": Usual(math.radians(3), ADDED, "slope of the first leg", "measure the slopes to 1 deg",
                              math.radians(1), True),
    "antenna.slope_down": Usual(math.radians(3), ADDED, "slope of the second leg", "measure the slopes to 1 deg",
                                math.radians(1), True),
    "antenna.apex_height": Usual(0.3, ADDED, "apex height", "measure the heights to 5 cm", 0.05, True),
    "antenna.end_height": Usual(0.3, ADDED, "height of the far end", "measure the heights to 5 cm", 0.05, True),
    "antenna.height": Usual(0.3, ADDED, "height", "measure the heights to 5 cm", 0.05, True),
    "antenna.feed_height": Usual(0.1, ADDED, "height of the feed", "measure the heights to 5 cm", 0.05, True),
    "antenna.apex_at": Usual(0.2, ADDED, "place of the apex", "measure the wire's length to 1 cm", 0.05, True),
    # a few leaf tips at most: whole bunches, half to one picofarad, are for the set-up to say
    "antenna.end_capacitance": Usual(0.125e-12, ONE_SIDED, "what touches the wire's end", FREE_END, 0.02e-12, True),
    "antenna.sag": Usual(0.2, ONE_SIDED, "sag", "measure the sag to 5 cm", 0.05, True),
    "site.soil.er": Usual(0.35, FACTOR, "soil's permittivity"),
    "site.soil.sigma": Usual(0.5, FACTOR, "soil's conductivity"),
    "wire.diameter": Usual(0.03, FACTOR, "wire diameter", "measure the wire's diameter", 0.01),
    "wire.jacket": Usual(0.15, FACTOR, "jacket thickness", JACKET, 0.05),  # of extruded insulation, between lots
    "wire.jacket_er": Usual(0.12, FACTOR, "jacket permittivity", JACKET, 0.05),  # polyethylene 2.3, PVC 3 to 4
    "wire.film": Usual(10e-6, ONE_SIDED, "water on the wire", "wipe the wire", 2e-6, True),  # dew, not rain
    "reel.turn_length": Usual(0.01, FACTOR, "length of a turn", "measure ten turns to 1 cm", 0.003),  # on a reel
    "counterpoise.length": Usual(0.05, ADDED, "length of the counterpoise", "measure the counterpoise to 1 cm", 0.01),
    "counterpoise.height": Usual(0.4, FACTOR, "height of the counterpoise", "measure how the counterpoise lies", 0.1,
                                 True),
    "counterpoise.end_height": Usual(0.1, ADDED, "height of the counterpoise's end",
                                     "measure how the counterpoise lies", 0.03, True),
    "coax.height": Usual(0.4, FACTOR, "height of the coax", "measure how the coax lies", 0.1, True),
    "coax.bearing": Usual(math.radians(20), ADDED, "bearing of the coax", "measure how the coax lies",
                          math.radians(5), True),
    "coax.length": Usual(0.01, FACTOR, "length of the coax", "measure the coax's length to 1 cm", 0.002),
    # a radio, its leads and whoever holds it: some half a metre of conductor more
    "coax.behind": Usual(0.5, ONE_SIDED, "what hangs behind the coax", "measure what hangs behind the coax", 0.2, True),
    "coax.velocity_scale": Usual(0.01, FACTOR, "velocity factor of the coax", CABLE, 0.003),  # between lots
    "coax.z0_scale": Usual(0.015, FACTOR, "impedance of the coax", CABLE, 0.005),  # makers' tolerance: 2 ohm in 50
    "coax.loss_scale": Usual(0.1, FACTOR, "coax loss", "measure the coax's loss", 0.03),
    "transformer.core_scale": Usual(0.2, FACTOR, "core's permeability", TRANSFORMER, 0.05),  # makers' tolerance: 20 %
    "transformer.magnetising_inductance": Usual(0.2, FACTOR, "magnetising inductance", TRANSFORMER, 0.05),
    "transformer.loss_resistance": Usual(0.2, FACTOR, "core loss", TRANSFORMER, 0.05),
    "transformer.leakage_inductance": Usual(0.3, FACTOR, "leakage inductance", TRANSFORMER, 0.05),
    "transformer.compensation_capacitance": Usual(0.05, FACTOR, "compensation capacitor", TRANSFORMER, 0.02),
    "transformer.winding_resistance": Usual(0.3, FACTOR, "winding resistance"),
    "transformer.terminal_capacitance": Usual(1e-12, ADDED, "terminal capacitance", TRANSFORMER, 0.3e-12),
    "mesh.feed_segment": Usual(0.35, FACTOR, "length of the modelled feed gap"),  # 5, 10, 20 cm are all as right
}  # fmt: skip


WATER_ER = 60.0
"""Relative permittivity from which a ground is water, whose constants are known better than a soil's."""
OF_WATER: dict[str, Usual] = {
    # pure and sea water from 0 to 30 degrees C: er 88 to 77, and 35 g/kg of salt 2.9 to 5.8 S/m (ITU-R P.527)
    "site.soil.er": Usual(0.04, FACTOR, "water's permittivity"),
    "site.soil.sigma": Usual(0.2, FACTOR, "water's conductivity"),
}
SALT = 1.0  # S/m, from which water is sea water; what little salt fresh water has varies as in a soil


def usual_of(path: str) -> Usual | None:
    """The row of a dotted path ("counterpoise.2.length" counts as "counterpoise.length"); None if there is none."""
    return USUAL.get(re.sub(r"\.\d+\.", ".", path))


def usual_over(path: str, er: float, sigma: float) -> Usual | None:
    """The same over a ground of these constants (sigma: S/m), as water's own are known better than a soil's."""
    water = er >= WATER_ER and (path.endswith("er") or sigma >= SALT)
    return OF_WATER[path] if water and path in OF_WATER else usual_of(path)


def usual_sd(path: str, value: float) -> float:
    """The usual standard deviation (SI) of a value (SI) at a path. Raises KeyError for a path without a row."""
    row = USUAL[re.sub(r"\.\d+\.", ".", path)]
    return row.sd * abs(value) if row.law == FACTOR else row.sd
