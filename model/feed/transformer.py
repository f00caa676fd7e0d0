"""The matching transformer between coax (primary) and wire (secondary), from its core and parasitics.

Primary terminals -- compensation C across -- winding R and leakage L in series -- magnetising branch across
-- ideal 1 : n -- terminal C across -- secondary terminals. Everything before the ideal part is referred to the primary.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.feed.ferrite import FERRITES, TOROIDS, Core
from tautwire.model.frequencies import as_frequencies


@dataclass(frozen=True)
class MagnetisingInductance:
    """A magnetising branch known by measurement: all in parallel, referred to the primary.

    inductance: H. resistance: ohm (inf = no loss). q: of the inductance, the same at every frequency (inf = no loss).
    Give resistance or q; giving both counts both losses. Raises InputError outside the ranges.
    """

    inductance: float
    resistance: float = math.inf
    q: float = math.inf

    def __post_init__(self) -> None:
        field = "feed.transformer.magnetising"
        if not np.all((np.asarray(self.inductance) >= 1e-9) & (np.asarray(self.inductance) <= 1)):
            raise InputError(f"{field}.inductance", f"{self.inductance} H", "from 1 nH to 1 H")
        if not np.all(np.asarray(self.resistance) > 0):
            raise InputError(f"{field}.resistance", f"{self.resistance} ohm", "above 0 ohm (inf for no loss)")
        if not np.all(np.asarray(self.q) > 0):
            raise InputError(f"{field}.q", self.q, "above 0 (inf for no loss)")


@dataclass(frozen=True)
class TransformerState:
    """What happens inside for given secondary volts and amps. rms complex volts and amps, watts as real arrays."""

    primary_volts: Complex
    primary_amps: Complex
    core_volts: Complex
    core_watts: Real
    winding_watts: Real


@dataclass(frozen=True)
class TransformerLoss:
    """Fractions of the power into the primary: core + winding + load = 1 (arrays)."""

    core: Real
    winding: Real
    load: Real


@dataclass(frozen=True)
class Transformer:
    """A transformer; the defaults alone make an ideal 49:1.

    turns_ratio: secondary turns / primary turns (7 transforms impedance by 49). primary_turns: whole turns.
    magnetising: a Core (impedance from its permeability and primary_turns), a MagnetisingInductance, or None for
    an infinite one. leakage_inductance: H, referred to the primary. compensation_capacitance: F, across the
    primary. winding_resistance: ohm at winding_reference (Hz), referred to the primary, growing as sqrt(f).
    terminal_capacitance: F, across the secondary: winding, post and
    box (terminal_capacitance.py). Capacitors have no loss. Raises InputError outside the ranges.
    """

    turns_ratio: float = 7.0
    primary_turns: int = 2
    magnetising: Core | MagnetisingInductance | None = None
    leakage_inductance: float = 0.0
    compensation_capacitance: float = 0.0
    winding_resistance: float = 0.0
    winding_reference: float = 10e6
    terminal_capacitance: float = 0.0

    def __post_init__(self) -> None:
        def check(name: str, low: float, high: float, unit: str, allowed: str) -> None:
            value = getattr(self, name)
            if not np.all((low <= value) & (value <= high)):
                raise InputError(f"feed.transformer.{name}", f"{value}{unit}", allowed)

        check("turns_ratio", 0.05, 50, "", "secondary / primary turns from 0.05 to 50 (7 for a 49:1)")
        check("primary_turns", 1, 100, "", "a whole number of turns from 1 to 100")
        if self.primary_turns != int(self.primary_turns):
            raise InputError("feed.transformer.primary_turns", self.primary_turns, "a whole number of turns")
        check("leakage_inductance", 0, 1e-3, " H", "from 0 to 1 mH")
        check("compensation_capacitance", 0, 1e-6, " F", "from 0 to 1 uF")
        check("winding_resistance", 0, 1e3, " ohm", "from 0 to 1000 ohm")
        check("winding_reference", 1e3, 1e9, " Hz", "from 1 kHz to 1 GHz")
        check("terminal_capacitance", 0, 1e-6, " F", "from 0 to 1 uF")
        if not isinstance(self.magnetising, Core | MagnetisingInductance | None):
            raise InputError("feed.transformer.magnetising", self.magnetising, "a core, an inductance, or none")

    def with_core_scaled(self, scale: float) -> "Transformer":
        """The same with its core's permeability times scale. Raises InputError outside 0.1 to 10 or without a core."""
        if not isinstance(self.magnetising, Core):
            raise InputError("feed.transformer.core_scale", scale, "left out: there is no core to scale")
        if not 0.1 <= scale <= 10:
            raise InputError("feed.transformer.core_scale", scale, "from 0.1 to 10")
        return replace(self, magnetising=replace(self.magnetising, scale=scale))

    def magnetising_admittance(self, f_hz: ArrayLike) -> Complex:
        """Admittance of the magnetising branch across the primary, S; shape of f_hz (Hz)."""
        f = as_frequencies(f_hz)
        match self.magnetising:
            case None:
                return np.zeros(f.shape, dtype=complex)
            case Core() as core:
                return 1 / core.impedance(self.primary_turns, f)
            case MagnetisingInductance() as m:
                return (1 / m.q - 1j) / (2 * np.pi * f * m.inductance) + 1 / m.resistance

    def series_impedance(self, f_hz: ArrayLike) -> Complex:
        """Winding resistance and leakage reactance referred to the primary, ohm; shape of f_hz (Hz)."""
        f = as_frequencies(f_hz)
        resistance = self.winding_resistance * np.sqrt(f / self.winding_reference)
        return resistance + 2j * np.pi * f * self.leakage_inductance

    def chain(self, f_hz: ArrayLike) -> Complex:
        """ABCD matrices from primary (radio side) to secondary (wire side), shape f_hz.shape + (2, 2)."""
        f = as_frequencies(f_hz)
        w = 2 * np.pi * f
        ideal = np.array([[1 / self.turns_ratio, 0], [0, self.turns_ratio]], dtype=complex)
        return (
            _shunt(1j * w * self.compensation_capacitance)
            @ _series(self.series_impedance(f))
            @ _shunt(self.magnetising_admittance(f))
            @ ideal
            @ _shunt(1j * w * self.terminal_capacitance)
        )

    def inside(self, volts: ArrayLike, amps: ArrayLike, f_hz: ArrayLike) -> TransformerState:
        """The state that gives rms volts and amps (out to the load) at the secondary; broadcast shapes."""
        f = as_frequencies(f_hz)
        w = 2 * np.pi * f
        v2: Complex = np.asarray(volts, dtype=complex)
        core_volts: Complex = v2 / self.turns_ratio
        through = self.turns_ratio * (np.asarray(amps) + 1j * w * self.terminal_capacitance * v2)
        branch = self.magnetising_admittance(f)
        series_amps = through + branch * core_volts
        series = self.series_impedance(f)
        v1 = core_volts + series * series_amps
        i1 = series_amps + 1j * w * self.compensation_capacitance * v1
        core_watts = branch.real * np.abs(core_volts) ** 2
        return TransformerState(v1, i1, core_volts, core_watts, series.real * np.abs(series_amps) ** 2)

    def loss_split(self, z_load: ArrayLike, f_hz: ArrayLike) -> TransformerLoss:
        """Where the power into the primary goes with z_load (ohm, resistance above 0) at the secondary."""
        z = np.asarray(z_load, dtype=complex)
        if not (np.isfinite(z) & (z.real > 0)).all():
            raise InputError("feed.transformer.load", f"{z} ohm", "finite with resistance above 0 ohm")
        state = self.inside(z, 1.0, f_hz)
        total = state.core_watts + state.winding_watts + z.real
        return TransformerLoss(state.core_watts / total, state.winding_watts / total, z.real / total)

    def loss_db(self, z_load: ArrayLike, f_hz: ArrayLike) -> Real:
        """Loss between power into the primary and power into z_load (ohm), dB, 0 or more."""
        return np.asarray(-10 * np.log10(self.loss_split(z_load, f_hz).load))

    def flux_density(self, core_volts: ArrayLike, f_hz: ArrayLike) -> Real | None:
        """Peak flux density, T, for rms volts across the magnetising branch; None when there is no core to ask."""
        if isinstance(self.magnetising, Core):
            return self.magnetising.flux_density(core_volts, self.primary_turns, f_hz)
        return None


def _matrix(a: Any, b: Any, c: Any, d: Any) -> Complex:
    """Stack four arrays into (..., 2, 2)."""
    a, b, c, d = np.broadcast_arrays(a, b, c, d)
    return np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2).astype(complex)


def _series(z: Complex) -> Complex:
    return _matrix(1, z, 0, 1)


def _shunt(y: Complex) -> Complex:
    return _matrix(1, 0, y, 1)


IDEAL_49_TO_1 = Transformer()

# 2 : 14 turns of 1 mm wire on one 36 mm ring of mix 43, 100 pF across the primary: common practice, no source.
# Leakage and winding resistance are estimates of ours; replace them by measured values. The terminal capacitance is
# what this geometry gives (2.3 to 9.2 pF, likely 4.3: terminal_capacitance.py), rounded to what puts the dips of such
# wires where they are found (tests/test_terminal_capacitance.py; common practice, no source).
PORTABLE_49_TO_1 = Transformer(
    magnetising=Core(FERRITES["mix 43"], TOROIDS["36 mm"]),
    leakage_inductance=0.2e-6,
    compensation_capacitance=100e-12,
    winding_resistance=0.06,
    terminal_capacitance=4e-12,
)
