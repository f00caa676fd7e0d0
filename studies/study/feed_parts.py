"""The tables of what stands between wire and radio: choke, coax, core, transformer."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
from pydantic import field_validator

from tautwire.model.errors import InputError
from tautwire.model.feed.coax import CoaxType, coax_named
from tautwire.model.feed.ferrite import TOROIDS, Core, Ferrite, Toroid, ferrite_named
from tautwire.model.feed.transformer import (
    IDEAL_49_TO_1,
    PORTABLE_49_TO_1,
    MagnetisingInductance,
    MeasuredTransformer,
    Transformer,
)
from tautwire.model.wires.attachments import RG58_OUTSIDE, Choke
from tautwire.studies.study import units
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.sweep_table import read_two_port
from tautwire.studies.study.units import Angle, Capacitance, Inductance, Length, Number, Resistance

LEAST_SHIELD = 0.1  # m of coax that cannot be coiled up
MOST_BEHIND = 20.0  # m
MOST_TURNS_RATIO = 15.0  # 225:1; above it an impedance ratio was surely meant
TYPICAL_CHOKE = 3000.0  # ohm, a ferrite-ring choke at HF: common practice, no source


class ChokeSpec(Part):
    """A common-mode choke: what is given of R, L and C, in parallel."""

    at: Length = entry(
        "where it sits: distance along the coax from the transformer", "5 m", "0 to the length of the coax", default=...
    )
    resistance: Resistance | None = entry("its resistance; 3 kohm if nothing of it is given", "3 kohm", "above 0")
    inductance: Inductance | None = entry("its inductance, in parallel", "20 uH", "above 0")
    capacitance: Capacitance | None = entry("its capacitance, in parallel", "2 pF", "above 0")

    def choke(self) -> Choke:
        values = self.resistance, self.inductance, self.capacitance
        if values == (None, None, None):
            return Choke(self.at, TYPICAL_CHOKE)
        return Choke(self.at, *values)


class CableSpec(Part):
    """A coax of your own."""

    z0: Resistance = entry("characteristic impedance", "50 ohm", "5 to 1000 ohm", default=50.0)
    velocity_factor: Number = entry("speed of the wave inside over that of light", 0.66, "0.2 to 1", default=...)
    loss: dict[str, Number] = entry(
        "matched loss in dB per 100 m at one frequency or several",
        {"10 MHz": 4.6, "50 MHz": 11},
        "above 0, not falling with frequency; or all 0",
        default=...,
    )
    shield_diameter: Length = entry(
        "outside diameter of the shield", "3.6 mm", "0.1 to 100 mm", default=RG58_OUTSIDE.diameter
    )
    jacket: Length = entry("thickness of the outer jacket", "0.7 mm", "0 to 50 mm", default=RG58_OUTSIDE.jacket)
    jacket_er: Number = entry(
        "relative permittivity of the outer jacket", 3.0, "1 to 20", default=RG58_OUTSIDE.jacket_er
    )

    def cable(self) -> CoaxType:
        rows = sorted((units.frequency(f, "coax.type.loss"), db) for f, db in self.loss.items())
        rest = self.model_dump(exclude={"loss"})
        return CoaxType(name="own coax", loss=tuple(rows), **rest)


class CoaxSpec(Part):
    """Both the line inside and the outside of the shield, which lies along the ground."""

    type: str | CableSpec = entry(
        "the cable: a name, or a table of your own",
        "RG-174",
        "a name of `tautwire list coax`, or a table",
        default="RG-58",
    )
    length: Length = entry("its length; leave [coax] out for none", "5 m", "0.1 m to 10 km", default=...)
    loss_scale: Number = entry(
        "factor on the loss of the type, for an old cable or a fit", 1.2, "0 to 100", default=1.0
    )
    velocity_scale: Number = entry(
        "factor on the velocity factor of the type, which differs between lots", 0.99, "0.5 to 1.5", default=1.0
    )
    z0_scale: Number = entry(
        "factor on the characteristic impedance of the type, which differs between lots", 1.02, "0.5 to 2", default=1.0
    )
    height: Length = entry(
        "height of its axis where it lies along the ground",
        "2 cm",
        "half its outer diameter (lies on the soil) or more",
        default=0.02,
    )
    bearing: Angle | None = entry(
        "direction in which it runs, clockwise from north; a quarter turn clockwise from the wire if left out",
        "180 deg",
        "any angle",
    )
    choke: ChokeSpec | None = entry("a common-mode choke on it", {"at": "5 m"})
    coiled: Length = entry(
        "how much of it is wound up at the radio: it conducts inside, but its shield carries nothing",
        "2 m",
        "0 to 10 cm less than the length",
        default=0.0,
    )

    behind: Length = entry(
        "what hangs on its shield behind the radio, as so much more wire: leads, battery, operator",
        "1 m",
        "0 to 20 m",
        default=0.0,
    )

    @field_validator("length")
    @classmethod
    def _there(cls, value: float) -> float:
        if not value >= LEAST_SHIELD:
            allowed = f"{LEAST_SHIELD} m or more; for no coax leave the [coax] table out (--coax-length 0)"
            raise InputError("length", f"{value:g} m", allowed)
        return value

    @property
    def lying(self) -> float:
        """Metres of shield that lie out; the rest is coiled up at the radio. Raises InputError if nothing is left."""
        if self.length < LEAST_SHIELD:
            allowed = f"{LEAST_SHIELD} m or more; leave [coax] out for none"
            raise InputError("coax.length", f"{self.length:g} m", allowed)
        if not 0 <= self.coiled <= self.length - LEAST_SHIELD:
            allowed = f"from 0 to {self.length - LEAST_SHIELD:.4g} m, {LEAST_SHIELD} m less than its length"
            raise InputError("coax.coiled", f"{self.coiled:g} m", allowed)
        return self.length - self.coiled

    @property
    def conducting(self) -> float:
        """Metres of shield that lie out, with what hangs on it behind the radio. Raises InputError."""
        if not 0 <= self.behind <= MOST_BEHIND:
            raise InputError("coax.behind", f"{self.behind:g} m", f"from 0 to {MOST_BEHIND:g} m")
        return self.lying + self.behind

    def cable(self) -> CoaxType:
        cable = coax_named(self.type) if isinstance(self.type, str) else self.type.cable()
        for name, low, high in (("velocity_scale", 0.5, 1.5), ("z0_scale", 0.5, 2.0)):
            if not low <= (value := getattr(self, name)) <= high:
                raise InputError(f"coax.{name}", value, f"from {low:g} to {high:g}, 1 for the type's own")
        if not 0 <= self.loss_scale <= 100:
            raise InputError("coax.loss_scale", self.loss_scale, "from 0 to 100, 1 for the type's own loss")
        return replace(
            cable,
            loss=tuple((f, db * self.loss_scale) for f, db in cable.loss),
            velocity_factor=min(cable.velocity_factor * self.velocity_scale, 1.0),
            z0=cable.z0 * self.z0_scale,
        )


RING_NEAR = 0.03  # of the outer diameter: how near a ring must be to what is asked for
RINGS = ", ".join(f"{name} ({ring.outer / units.INCH:.2g} in)" for name, ring in TOROIDS.items())


def ring_of(size: str) -> Toroid:
    """The ring of that outer diameter, "36 mm" or "1.4 in". Raises InputError naming the rings.

    >>> ring_of("1.4 in") == ring_of("36 mm")
    True
    """
    field = "transformer.core.size"
    try:
        outer = units.length(size, field)
    except InputError:
        raise InputError(field, repr(size), f"one of {RINGS}") from None
    ring = TOROIDS.get(size.strip()) or min(TOROIDS.values(), key=lambda ring: abs(ring.outer - outer))
    if abs(ring.outer - outer) > RING_NEAR * outer:
        raise InputError(field, repr(size), f"one of {RINGS}; or outer, inner and height of the ring")
    return ring


class CoreSpec(Part):
    """A ring core: a known material, and a known size or dimensions."""

    material: str = entry("material of the ring", "mix 52", "a name of `tautwire list cores`", default="mix 43")
    permeability: dict[str, tuple[float, float]] = entry(
        "relative permeability of the ring's material, mu' and mu'', at frequencies that rise, instead of material",
        {"1 MHz": [800, 100], "10 MHz": [350, 250], "60 MHz": [90, 145]},
        "mu' 1 to 100000, mu'' 0 to 100000; the table must hold the bands",
        default={},
    )
    size: str | None = entry(
        "size of the ring by its outer diameter, mm or inches", "36 mm", "a name of `tautwire list cores`"
    )
    outer: Length | None = entry("outer diameter, instead of size", "35.6 mm", "1 to 500 mm")
    inner: Length | None = entry("inner diameter, instead of size", "23 mm", "0.1 mm to below outer")
    height: Length | None = entry("height of one ring, instead of size", "12.7 mm", "0.1 to 500 mm")
    stack: int = entry("rings on top of each other", 2, "1 to 20", default=1)

    def core(self) -> Core:
        sides = self.outer, self.inner, self.height
        if self.size is not None:
            known = ring_of(self.size)
            sides = known.outer, known.inner, known.height
        if None in sides:
            raise InputError("transformer.core", "incomplete", "size, or all of outer, inner and height")
        outer, inner, height = (float(x or 0) for x in sides)
        return Core(self.ferrite(), Toroid(outer, inner, height, self.stack))

    def ferrite(self) -> Ferrite:
        if not self.permeability:
            return ferrite_named(self.material)
        field = "transformer.core.permeability"
        rows = sorted((units.frequency(f, field), *mu) for f, mu in self.permeability.items())
        return Ferrite("own material", tuple(rows), "given in the study")


TwoPort = tuple[tuple[float, ...], ...]
"""frequency (Hz), then real and imaginary part of S11, S21, S12 and S22 against 50 ohm, a row a frequency"""


class TransformerSpec(Part):
    """Given values replace those of the default portable 49:1; ideal = true starts from a lossless one."""

    ideal: bool = entry(
        "start from a transformer without loss, leakage or capacitance", True, "true or false", default=False
    )
    turns_ratio: Number | None = entry("secondary turns over primary turns: 7 for 49:1", 8, "above 0, up to 15")
    primary_turns: int | None = entry("turns of the primary", 3, "1 to 100")
    core: CoreSpec | None = entry("the ring it is wound on", {"material": "mix 43", "size": "36 mm"})
    core_scale: Number = entry(
        "factor on the permeability of the core, which makers warrant to some 20 %", 0.9, "above 0", default=1.0
    )
    magnetising_inductance: Inductance | None = entry("inductance of the primary, instead of a core", "8 uH", "above 0")
    loss_resistance: Resistance | None = entry(
        "core loss as a resistance across the primary; with magnetising_inductance", "2 kohm", "above 0"
    )
    leakage_inductance: Inductance | None = entry("leakage seen at the primary", "0.2 uH", "0 to 1 mH")
    compensation_capacitance: Capacitance | None = entry("capacitor across the primary", "100 pF", "0 to 1 uF")
    winding_resistance: Resistance | None = entry(
        "resistance of the windings at 10 MHz, seen at the primary", "0.1 ohm", "0 to 1000 ohm"
    )
    terminal_capacitance: Capacitance | None = entry(
        "capacitance at the wire's terminal: winding, post and box. 1 pF moves a dip as 17 cm of wire do",
        "4 pF",
        "0 to 1 uF",
    )

    two_port: str | TwoPort | None = entry(
        "the transformer as measured between both sides, instead of all the above but the terminal's capacitance: a "
        "Touchstone file; its radio's side is the one of fewer volts",
        "my-49to1.s2p",
        "the name of a .s2p file that holds the bands",
    )

    @field_validator("two_port", mode="before")
    @classmethod
    def _two_port(cls, given: Any) -> Any:
        return read_two_port(given) if isinstance(given, str) else given

    @field_validator("turns_ratio", mode="before")
    @classmethod
    def _turns_ratio(cls, given: Any) -> Any:
        ratio = None if isinstance(given, str) and ":" in given else given
        ratio = ratio if ratio is None else units.number(ratio, "turns_ratio")
        if given is not None and (ratio is None or ratio > MOST_TURNS_RATIO):
            allowed = f"a turns ratio: 7 for a 49:1 impedance ratio; up to {MOST_TURNS_RATIO:g}"
            raise InputError("turns_ratio", repr(given), allowed)
        return ratio

    def transformer(self) -> Transformer:
        if self.two_port is not None:
            return self._measured(self.two_port)
        given = self.model_dump(
            exclude={"ideal", "core", "core_scale", "magnetising_inductance", "loss_resistance"}, exclude_none=True
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
        made = replace(IDEAL_49_TO_1 if self.ideal else PORTABLE_49_TO_1, **given)
        return made if self.core_scale == 1 else made.with_core_scaled(self.core_scale)

    def _measured(self, rows: str | TwoPort) -> Transformer:
        known = {"two_port", "terminal_capacitance"}
        beside = [k for k in self.model_fields_set - known if getattr(self, k) != type(self).model_fields[k].default]
        if beside:
            raise InputError(f"transformer.{min(beside)}", "given", "either two_port or this: the two-port has it all")
        table = np.array(rows)
        if table.ndim != 2 or table.shape[1] != 9:
            raise InputError("transformer.two_port", "a table", "the name of a .s2p file")
        made = np.concatenate([table[:, :1], table[:, 1::2] + 1j * table[:, 2::2]], axis=1)
        return MeasuredTransformer.of(made, 50.0, self.terminal_capacitance or 0.0)
