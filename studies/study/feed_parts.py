"""The tables of what stands between wire and radio: choke, coax, core, transformer."""

import math
from dataclasses import replace
from typing import Any

from pydantic import field_validator

from tautwire.model.errors import InputError
from tautwire.model.feed.coax import CoaxType, coax_named
from tautwire.model.feed.ferrite import TOROIDS, Core, Toroid, ferrite_named
from tautwire.model.feed.transformer import IDEAL_49_TO_1, PORTABLE_49_TO_1, MagnetisingInductance, Transformer
from tautwire.model.wires.return_conductors import RG58_OUTSIDE, Choke
from tautwire.studies.study import units
from tautwire.studies.study.parts import Part, named_as_written
from tautwire.studies.study.units import Angle, Capacitance, Inductance, Length, Number, Resistance

LEAST_SHIELD = 0.1  # m of coax that cannot be coiled up
MOST_TURNS_RATIO = 15.0  # 225:1; above it an impedance ratio was surely meant
TYPICAL_CHOKE = 3000.0  # ohm, a ferrite-ring choke at HF: common practice, no source


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
    shield_diameter: Length = RG58_OUTSIDE.diameter
    jacket: Length = RG58_OUTSIDE.jacket
    jacket_er: Number = RG58_OUTSIDE.jacket_er

    def cable(self) -> CoaxType:
        rows = sorted((units.frequency(f, "coax.type.loss"), db) for f, db in self.loss.items())
        rest = self.model_dump(exclude={"loss"})
        with named_as_written(feed__coax="coax.type"):
            return CoaxType(name="own coax", loss=tuple(rows), **rest)


class CoaxSpec(Part):
    """Both the line inside and the shield's outside, which lies along the ground. loss_scale: on the type's loss.

    coiled: how much of it is wound up at the radio: it conducts inside, but its shield carries nothing.
    """

    type: str | CableSpec = "RG-58"
    length: Length
    loss_scale: Number = 1.0
    height: Length = 0.02
    bearing: Angle | None = None
    choke: ChokeSpec | None = None
    coiled: Length = 0.0

    @property
    def lying(self) -> float:
        """Metres of shield that lie out; the rest is coiled up at the radio. Raises InputError if nothing is left."""
        if not 0 <= self.coiled <= self.length - LEAST_SHIELD:
            told = f"from 0 to {self.length - LEAST_SHIELD:.4g} m, {LEAST_SHIELD} m less than its length"
            raise InputError("coax.coiled", f"{self.coiled:g} m", told)
        return self.length - self.coiled

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
        with named_as_written(core="transformer.core"):
            return Core(ferrite_named(self.material), Toroid(outer, inner, height, self.stack))


class TransformerSpec(Part):
    """Given values replace those of the default portable 49:1; ideal = true starts from a lossless one.

    core_scale: times the core's permeability, which makers warrant to some 20 %.
    """

    ideal: bool = False
    turns_ratio: Number | None = None
    primary_turns: int | None = None
    core: CoreSpec | None = None
    core_scale: Number = 1.0
    magnetising_inductance: Inductance | None = None
    loss_resistance: Resistance | None = None
    leakage_inductance: Inductance | None = None
    compensation_capacitance: Capacitance | None = None
    winding_resistance: Resistance | None = None
    terminal_capacitance: Capacitance | None = None

    @field_validator("turns_ratio", mode="before")
    @classmethod
    def _turns_ratio(cls, given: Any) -> Any:
        ratio = None if isinstance(given, str) and ":" in given else given
        ratio = ratio if ratio is None else units.number(ratio, "turns_ratio")
        if given is not None and (ratio is None or ratio > MOST_TURNS_RATIO):
            told = f"a turns ratio: 7 for a 49:1 impedance ratio; up to {MOST_TURNS_RATIO:g}"
            raise InputError("turns_ratio", repr(given), told)
        return ratio

    def transformer(self) -> Transformer:
        given = self.model_dump(
            exclude={"ideal", "core", "core_scale", "magnetising_inductance", "loss_resistance"}, exclude_none=True
        )
        if self.core is not None and self.magnetising_inductance is not None:
            raise InputError("transformer.core", "given", "either core or magnetising_inductance, not both")
        if self.core is not None:
            given["magnetising"] = self.core.core()
        elif self.magnetising_inductance is not None:
            loss = math.inf if self.loss_resistance is None else self.loss_resistance
            with named_as_written(
                feed__transformer__magnetising__inductance="transformer.magnetising_inductance",
                feed__transformer__magnetising__resistance="transformer.loss_resistance",
            ):
                given["magnetising"] = MagnetisingInductance(self.magnetising_inductance, loss)
        elif self.loss_resistance is not None:
            raise InputError("transformer.loss_resistance", self.loss_resistance, "given with magnetising_inductance")
        with named_as_written(feed__transformer="transformer"):
            made = replace(IDEAL_49_TO_1 if self.ideal else PORTABLE_49_TO_1, **given)
            return made if self.core_scale == 1 else made.with_core_scaled(self.core_scale)
