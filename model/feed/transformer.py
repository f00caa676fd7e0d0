"""The matching transformer: computed from its core and parts, with the capacitance at its terminal, or known by
measurement alone.

The matching transformer between coax (primary) and wire (secondary), from its core and parasitics.

Primary terminals -- compensation C across -- winding R and leakage L in series -- magnetising branch across
-- ideal 1 : n -- terminal C across -- secondary terminals. Everything before the ideal part is referred to the primary.

Capacitance at a transformer's high-impedance terminal, from its winding, post and lead.

A wire's end is some 3 kohm and steep, so that each pF there moves every dip down by 0.85 %, as 17 cm of wire do.
Nothing else about a transformer matters as much, and no data sheet gives it: fit it to a sweep (`tautwire fit`), or
take the estimate made here.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import EPS0, Complex, Real, as_frequencies
from tautwire.model.errors import InputError
from tautwire.model.feed.ferrite import FERRITES, TOROIDS, Core, Toroid

# --- The matching transformer between coax (primary) and wire (secondary).


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
    box (transformer.py). Capacitors have no loss. Raises InputError outside the ranges.
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
# what this geometry gives (2.3 to 9.2 pF, likely 4.3: transformer.py), rounded to what puts the dips of such
# wires where they are found (tests/test_terminal_capacitance.py; common practice, no source).
PORTABLE_49_TO_1 = Transformer(
    magnetising=Core(FERRITES["mix 43"], TOROIDS["36 mm"]),
    leakage_inductance=0.2e-6,
    compensation_capacitance=100e-12,
    winding_resistance=0.06,
    terminal_capacitance=4e-12,
)


# --- Capacitance at a transformer's high-impedance terminal.


NICKEL_ZINC_ER = 12.0  # relative permittivity of nickel-zinc ferrite at HF (catalogue values 10 to 15, from memory)


def rod_capacitance(length: float, diameter: float) -> float:
    """Capacitance (F) of a straight thin rod in free space to far away. length, diameter: m, above 0.

    C = 2 pi eps0 l / (ln(l/a) - 0.307), a the radius: Maxwell's charge along a thin wire (from memory; within 3 % for
    l above 10 a). Raises InputError for a rod that is no longer than it is thick.

    >>> round(rod_capacitance(0.03, 4e-3) * 1e12, 2)
    0.7
    """
    if not 0 < diameter < length:
        raise InputError("rod.length", f"{length} m", f"above its diameter of {diameter} m")
    return 2 * math.pi * EPS0 * length / (math.log(2 * length / diameter) - 0.307)


def winding_capacitance(shape: Toroid, er: float = NICKEL_ZINC_ER) -> tuple[float, float]:
    """Least and greatest capacitance (F) of a one-layer winding all round a ring, one end earthed.

    The ring is stretched into a straight coil as long as its mean circumference, with the ring's girth as
    circumference, whose capacitance is Medhurst's (1947) as a fit, from memory: C/pF = 0.1126 l + 0.08 D +
    0.27 sqrt(D^3/l), l and D in cm. Least: as in air. Greatest: half of the field in the core, times (1 + er)/2.

    >>> from tautwire.model.feed.ferrite import TOROIDS
    >>> low, high = winding_capacitance(TOROIDS["36 mm"])
    >>> round(low * 1e12, 1), round(high * 1e12, 1)
    (1.3, 8.1)
    """
    length = math.pi * (shape.outer + shape.inner) / 2 * 100
    diameter = 2 * (shape.height * shape.stack + (shape.outer - shape.inner) / 2) / math.pi * 100
    air = 1e-12 * (0.1126 * length + 0.08 * diameter + 0.27 * math.sqrt(diameter**3 / length))
    return air, air * (1 + er) / 2


@dataclass(frozen=True)
class Box:
    """What stands between the winding's hot end and the wire. lengths and diameters, m: the terminal's post and the
    lead to it."""

    post: float = 25e-3
    post_diameter: float = 4e-3
    lead: float = 30e-3
    lead_diameter: float = 1e-3


def terminal_capacitance(shape: Toroid, box: Box = Box(), er: float = NICKEL_ZINC_ER) -> tuple[float, float, float]:
    """Least, likely and greatest capacitance (F) at the high-impedance terminal.

    Post and lead as rods, plus the winding's; likely: the geometric mean of its least and greatest.

    >>> from tautwire.model.feed.ferrite import TOROIDS
    >>> [round(c * 1e12, 1) for c in terminal_capacitance(TOROIDS["36 mm"])]
    [2.3, 4.3, 9.2]
    """
    rods = rod_capacitance(box.post, box.post_diameter) + rod_capacitance(box.lead, box.lead_diameter)
    low, high = winding_capacitance(shape, er)
    return rods + low, rods + math.sqrt(low * high), rods + high


# --- A transformer known by measurement alone: its scattering parameters between radio and wire.


FIELD = "feed.transformer.two_port"
MOST_GAIN = 1.02  # as an analyser's error may make it
BEYOND = 0.12  # of the frequency: as far beyond the table the last row holds, as a dip is looked for beside its band
PLAIN = 10e6  # Hz; above, leakage and capacitance change the ratio of volts
UNLIKE = 0.05  # greatest difference of S12 and S21 of something passive and well measured

Row = tuple[float, complex, complex, complex, complex]
"""frequency (Hz), S11, S21, S12, S22"""


@dataclass(frozen=True)
class MeasuredTransformer(Transformer):
    """A transformer as its measured two-port tells it. Its heat is one figure, told as that of the windings.

    rows: at rising frequencies, joined by straight lines. z0: ohm, of both ports. turns_ratio: that of the
    volts up to PLAIN; it serves words and the voltage across the core only. Made by `of`.

    >>> t = MeasuredTransformer.of([(f, 0, 1, 1, 0) for f in (1e6, 10e6, 30e6)], 50.0)
    >>> complex(t.inside(50.0, 1.0, 7e6).primary_volts)
    (50+0j)
    """

    rows: tuple[Row, ...] = ()
    z0: float = 50.0

    @classmethod
    def of(cls, rows: ArrayLike, z0: float, terminal_capacitance: float = 0.0) -> "MeasuredTransformer":
        """From rows (n, 5), see `Row`. Port 1 may be either side: that of fewer volts is the radio's.

        Raises InputError for fewer than 3 rows, for what amplifies, lets nothing through or is not reciprocal.
        """
        table = np.asarray(rows, dtype=complex)
        f = table[:, 0].real
        if len(f) < 3 or not (np.diff(f) > 0).all():
            raise InputError(FIELD, f"{len(f)} rows", "3 or more, with frequencies that rise")
        s = table[:, 1:].reshape(-1, 2, 2).transpose(0, 2, 1)
        if not np.isfinite(s).all():
            raise InputError(FIELD, "a row that is no number", "numbers in every row")
        unlike = np.abs(s[:, 0, 1] - s[:, 1, 0])
        if (unlike > UNLIKE).any():
            at = int(unlike.argmax())
            value = f"S21 {s[at, 1, 0]:.3g}, S12 {s[at, 0, 1]:.3g} at {f[at] / 1e6:g} MHz"
            raise InputError(
                FIELD, value, "equal S21 and S12: measure both ways; an analyser that leaves S12 out gives 0"
            )
        gain = np.linalg.norm(s, ord=2, axis=(1, 2))
        if (gain > MOST_GAIN).any():
            at = int(gain.argmax())
            value = f"more power out than in at {f[at] / 1e6:g} MHz"
            raise InputError(FIELD, value, "a passive two-port: check the calibration")
        if not (np.abs(s[:, 1, 0]) > 1e-4).all():
            raise InputError(FIELD, "S21 of 0", "a two-port that lets power through")
        if np.median(np.abs(_chain(s, z0)[:, 0, 0])) > 1:
            s = s[:, ::-1, ::-1]
        low = f <= max(PLAIN, f[0])
        ratio = float(np.median(np.abs(_chain(s[low], z0)[:, 0, 0])))
        made = [
            (float(x), complex(m[0, 0]), complex(m[1, 0]), complex(m[0, 1]), complex(m[1, 1]))
            for x, m in zip(f, s, strict=True)
        ]
        turns = min(max(1 / ratio, 0.05), 50.0)
        return cls(turns_ratio=turns, terminal_capacitance=terminal_capacitance, rows=tuple(made), z0=z0)

    def scattering(self, f_hz: ArrayLike) -> Complex:
        """S at f_hz (Hz), shape of f_hz + (2, 2), port 1 at the radio. Raises InputError beyond the table."""
        f = as_frequencies(f_hz)
        table = np.array(self.rows)
        known = table[:, 0].real
        if f.size and not (f.min() >= known[0] * (1 - BEYOND) and f.max() <= known[-1] * (1 + BEYOND)):
            value = f"{f.min() / 1e6:.4g} to {f.max() / 1e6:.4g} MHz"
            allowed = f"measured there; the table has {known[0] / 1e6:g} to {known[-1] / 1e6:g} MHz"
            raise InputError(FIELD, value, allowed)
        s11, s21, s12, s22 = (np.interp(f, known, table[:, k]) for k in range(1, 5))
        through = (s21 + s12) / 2
        return np.stack([np.stack([s11, through], axis=-1), np.stack([through, s22], axis=-1)], axis=-2)

    def chain(self, f_hz: ArrayLike) -> Complex:
        f = as_frequencies(f_hz)
        terminal = np.zeros((*f.shape, 2, 2), dtype=complex)
        terminal[..., 0, 0] = terminal[..., 1, 1] = 1
        terminal[..., 1, 0] = 2j * math.pi * f * self.terminal_capacitance
        return _chain(self.scattering(f), self.z0) @ terminal

    def inside(self, volts: ArrayLike, amps: ArrayLike, f_hz: ArrayLike) -> TransformerState:
        m = self.chain(f_hz)
        v2, i2 = np.asarray(volts, dtype=complex), np.asarray(amps, dtype=complex)
        v1 = m[..., 0, 0] * v2 + m[..., 0, 1] * i2
        i1 = m[..., 1, 0] * v2 + m[..., 1, 1] * i2
        heat: Real = np.maximum((v1 * i1.conj()).real - (v2 * i2.conj()).real, 0.0)
        return TransformerState(v1, i1, np.asarray(v2 / self.turns_ratio), np.zeros(heat.shape), heat)


def _chain(s: Complex, z0: float) -> Complex:
    """ABCD matrices of S (..., 2, 2), both ports against z0 (ohm); compared with scikit-rf in the tests."""
    s11, s12, s21, s22 = s[..., 0, 0], s[..., 0, 1], s[..., 1, 0], s[..., 1, 1]
    both = s12 * s21
    a = (1 + s11) * (1 - s22) + both
    b = z0 * ((1 + s11) * (1 + s22) - both)
    c = ((1 - s11) * (1 - s22) - both) / z0
    d = (1 - s11) * (1 + s22) + both
    return np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2) / (2 * s21)[..., None, None]
