"""From the wire to the radio: transformer and coax in a row; impedance, SWR, power and stress at each plane."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Complex, Real, as_frequencies
from tautwire.model.errors import InputError
from tautwire.model.feed.coax import CoaxType
from tautwire.model.feed.transformer import PORTABLE_49_TO_1, Transformer, TransformerState


@dataclass(frozen=True)
class FeedImpedances:
    """Impedance at the wire's end, at the transformer's primary, at the radio; complex ohm arrays (inf for an open)."""

    wire: Complex
    primary: Complex
    radio: Complex


@dataclass(frozen=True)
class PowerSplit:
    """Fractions of the radio's forward power, real arrays; they add up to 1.

    mismatch: reflected to the radio. coax, core, winding: heat. wire: into the wire and its return conductor.
    """

    mismatch: Real
    coax: Real
    core: Real
    winding: Real
    wire: Real

    @property
    def coax_db(self) -> Real:
        """Power into the coax over power into the primary, dB; includes what the SWR on the coax adds."""
        primary = self.core + self.winding + self.wire
        return _db(primary + self.coax, primary)

    @property
    def transformer_db(self) -> Real:
        """Power into the primary over power into the wire, dB."""
        return _db(self.core + self.winding + self.wire, self.wire)


@dataclass(frozen=True)
class FeedLevels:
    """Stress for a given forward power; real arrays, rms volts and amps, watts.

    core_flux: peak tesla, None without a core. The power is taken as steady carrier; scale watts by the duty cycle
    for heat. A real transmitter folds back on a poor SWR, so these are upper bounds there. The wire end carries
    hundreds of volts: keep people, animals and branches off it.
    """

    wire_volts: Real
    wire_amps: Real
    primary_volts: Real
    primary_amps: Real
    radio_volts: Real
    radio_amps: Real
    core_flux: Real | None
    mismatch_watts: Real
    coax_watts: Real
    core_watts: Real
    winding_watts: Real
    wire_watts: Real


@dataclass(frozen=True)
class _Planes:
    """Volts and amps at each plane for 1 W of forward power, and the reflected wave (sqrt W)."""

    z_wire: Complex
    wire_volts: Complex
    wire_amps: Complex
    inside: TransformerState
    radio_volts: Complex
    radio_amps: Complex
    reflected: Complex


@dataclass(frozen=True)
class FeedSystem:
    """Radio, coax, transformer, wire, in that order. transformer or coax None: left out. coax_length: m.

    reference: the radio's impedance, ohm. z_wire below is the impedance between the wire's end and the return
    conductor; z_wire and f_hz broadcast. Raises InputError for a length without coax, values outside the ranges, or a
    z_wire of negative resistance.
    """

    transformer: Transformer | None = PORTABLE_49_TO_1
    coax: CoaxType | None = None
    coax_length: float = 0.0
    reference: float = 50.0

    def __post_init__(self) -> None:
        if not 0 <= self.coax_length <= 1000:
            raise InputError("feed.coax.length", f"{self.coax_length} m", "from 0 to 1000 m")
        if self.coax is None and self.coax_length > 0:
            raise InputError("feed.coax", None, f"a coax type for its length of {self.coax_length} m")
        if not 1 <= self.reference <= 1000:
            raise InputError("feed.reference", f"{self.reference} ohm", "from 1 to 1000 ohm")

    def chain(self, f_hz: ArrayLike) -> Complex:
        """ABCD matrices from radio to wire, shape f_hz.shape + (2, 2)."""
        f = as_frequencies(f_hz)
        total = np.broadcast_to(np.eye(2, dtype=complex), (*f.shape, 2, 2))
        if self.coax is not None:
            total = total @ self.coax.chain(self.coax_length, f)
        if self.transformer is not None:
            total = total @ self.transformer.chain(f)
        return total

    def _back_to_radio(
        self, z_wire: ArrayLike, f_hz: ArrayLike
    ) -> tuple[Complex, Complex, Complex, TransformerState, Complex, Complex]:
        """Impedance, volts and amps at the wire, the state inside, volts and amps at the radio: from the load (z, 1)
        or, for an open, (1, 0)."""
        f = as_frequencies(f_hz)
        z: Complex = np.asarray(z_wire, dtype=complex)
        z = np.broadcast_to(z, np.broadcast_shapes(z.shape, f.shape))
        active = np.isfinite(z) & (z.real < -1e-9 * np.abs(z))
        if active.any():
            at = np.broadcast_to(f, z.shape)[active].flat[0]
            where = f"{z[active].flat[0]:.5g} ohm at {at / 1e6:g} MHz"
            raise InputError("feed.z_wire", where, "resistance of 0 ohm or more")
        is_open = np.isinf(z)
        v: Complex = np.where(is_open, 1 + 0j, z)
        i: Complex = np.where(is_open, 0j, 1 + 0j)
        if self.transformer is None:
            none = np.zeros(z.shape)
            inside = TransformerState(v, i, np.zeros(z.shape, dtype=complex), none, none)
        else:
            inside = self.transformer.inside(v, i, f)
        vr, ir = inside.primary_volts, inside.primary_amps
        if self.coax is not None:
            m = self.coax.chain(self.coax_length, f)
            vr, ir = m[..., 0, 0] * vr + m[..., 0, 1] * ir, m[..., 1, 0] * vr + m[..., 1, 1] * ir
        return z, v, i, inside, vr, ir

    def _planes(self, z_wire: ArrayLike, f_hz: ArrayLike) -> _Planes:
        """The same for 1 W of forward power."""
        z, v, i, inside, vr, ir = self._back_to_radio(z_wire, f_hz)
        r, root = complex(self.reference), complex(2 * math.sqrt(self.reference))
        forward = (vr + r * ir) / root
        backward = (vr - r * ir) / root
        watts = np.abs(forward) ** 2
        scaled = TransformerState(
            inside.primary_volts / forward,
            inside.primary_amps / forward,
            inside.core_volts / forward,
            inside.core_watts / watts,
            inside.winding_watts / watts,
        )
        return _Planes(z, v / forward, i / forward, scaled, vr / forward, ir / forward, backward / forward)

    def impedances(self, z_wire: ArrayLike, f_hz: ArrayLike) -> FeedImpedances:
        """Impedance (ohm) at each plane, broadcast shape."""
        z, _, _, inside, volts, amps = self._back_to_radio(z_wire, f_hz)
        return FeedImpedances(z, _ratio(inside.primary_volts, inside.primary_amps), _ratio(volts, amps))

    def power_split(self, z_wire: ArrayLike, f_hz: ArrayLike) -> PowerSplit:
        """Where the forward power goes, fractions that add up to 1, broadcast shape."""
        return self._split(self._planes(z_wire, f_hz))

    def _split(self, p: _Planes) -> PowerSplit:
        mismatch = np.abs(p.reflected) ** 2
        into_primary = (p.inside.primary_volts * p.inside.primary_amps.conj()).real
        no_line = self.coax is None or self.coax_length == 0
        # Differences of nearly equal powers may be a rounding error below 0; NaN passes np.maximum.
        coax = np.zeros(mismatch.shape) if no_line else np.maximum(1 - mismatch - into_primary, 0.0)
        wire = np.maximum((p.wire_volts * p.wire_amps.conj()).real, 0.0)
        return PowerSplit(mismatch, coax, p.inside.core_watts, p.inside.winding_watts, wire)

    def levels(self, z_wire: ArrayLike, f_hz: ArrayLike, power_w: float = 10.0) -> FeedLevels:
        """Volts, amps, flux and heat for power_w (W, above 0) of forward power at the radio, broadcast shape."""
        if not 0 < power_w <= 1e5:
            raise InputError("power", f"{power_w} W", "above 0 to 100000 W")
        p = self._planes(z_wire, f_hz)
        s = self._split(p)
        root = math.sqrt(power_w)
        core_volts = np.abs(p.inside.core_volts) * root
        return FeedLevels(
            wire_volts=np.abs(p.wire_volts) * root,
            wire_amps=np.abs(p.wire_amps) * root,
            primary_volts=np.abs(p.inside.primary_volts) * root,
            primary_amps=np.abs(p.inside.primary_amps) * root,
            radio_volts=np.abs(p.radio_volts) * root,
            radio_amps=np.abs(p.radio_amps) * root,
            core_flux=None if self.transformer is None else self.transformer.flux_density(core_volts, f_hz),
            mismatch_watts=s.mismatch * power_w,
            coax_watts=s.coax * power_w,
            core_watts=s.core * power_w,
            winding_watts=s.winding * power_w,
            wire_watts=s.wire * power_w,
        )


def _ratio(volts: Complex, amps: Complex) -> Complex:
    """volts/amps, inf + 0j where no current flows; NaN stays NaN."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        z = volts / amps
    return np.where(np.isinf(z) | ((amps == 0) & ~np.isnan(volts)), complex(np.inf, 0), z)


def _db(before: Real, after: Real) -> Real:
    """10 log10(before/after): inf where nothing is left, 0 where nothing came."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(before <= 0, 0.0, np.maximum(10 * np.log10(before / after), 0.0))
