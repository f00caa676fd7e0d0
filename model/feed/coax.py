"""Coaxial cable: the inside as a lossy transmission line, the outside of the shield as a wire."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import ArrayLike

from tautwire.model.basics import Complex, Real, as_frequencies, wave_number
from tautwire.model.errors import InputError, nearest
from tautwire.model.wires.attachments import RG58_OUTSIDE
from tautwire.model.wires.structure import WireType

MEMORY = "from memory, typical catalogue values"
DB_PER_NEPER = 20 / math.log(10)
MAX_LOSS_DB = 300.0  # beyond it cosh and sinh no longer differ in double precision


@dataclass(frozen=True)
class CoaxType:
    """A cable, outside like RG-58 unless told otherwise. z0: ohm. velocity_factor: of the inside.

    loss: rows (frequency Hz, matched loss dB per 100 m), frequency rising; one row is enough; all 0 for no loss.
    shield_diameter: outside of the shield, m. jacket: its thickness, m. jacket_er: its relative permittivity.
    Raises InputError outside the ranges or for a loss that falls with frequency.
    """

    name: str
    z0: float
    velocity_factor: float
    loss: tuple[tuple[float, float], ...]
    shield_diameter: float = RG58_OUTSIDE.diameter
    jacket: float = RG58_OUTSIDE.jacket
    jacket_er: float = RG58_OUTSIDE.jacket_er
    source: str = ""

    def __post_init__(self) -> None:
        if not 5 <= self.z0 <= 1000:
            raise InputError("feed.coax.z0", f"{self.z0} ohm", "from 5 to 1000 ohm")
        if not 0.2 <= self.velocity_factor <= 1:
            raise InputError("feed.coax.velocity_factor", self.velocity_factor, "from 0.2 to 1")
        if not 1e-4 <= self.shield_diameter <= 0.1:
            raise InputError("feed.coax.shield_diameter", f"{self.shield_diameter} m", "from 0.1 mm to 100 mm")
        if not 0 <= self.jacket <= 0.05:
            raise InputError("feed.coax.jacket", f"{self.jacket} m", "a thickness from 0 to 50 mm")
        if not 1 <= self.jacket_er <= 20:
            raise InputError("feed.coax.jacket_er", self.jacket_er, "relative permittivity from 1 to 20")
        rows = tuple(tuple(float(x) for x in row) for row in self.loss)
        if not rows or any(len(row) != 2 for row in rows):
            raise InputError("feed.coax.loss", f"{len(rows)} rows", "one row or more of frequency, dB per 100 m")
        object.__setattr__(self, "loss", rows)
        f, db = np.array(rows).T
        if not (np.isfinite(f).all() and f[0] > 0 and (np.diff(f) > 0).all()):
            raise InputError("feed.coax.loss", f"frequencies {f.tolist()} Hz", "above 0 Hz and rising")
        rising = ((db > 0) & (db <= 1000)).all() and (np.diff(db) >= 0).all()
        if not (rising or (db == 0).all()):
            allowed = "above 0 to 1000 dB per 100 m and not falling (or all 0 for a lossless line)"
            raise InputError("feed.coax.loss", f"{db.tolist()} dB", allowed)

    def shield_wire(self) -> WireType:
        """The outside of the shield as a jacketed wire (a solid copper tube; braid loss is left out)."""
        return WireType(self.shield_diameter, self.jacket, self.jacket_er)

    def attenuation(self, f_hz: ArrayLike) -> tuple[Real, Real]:
        """Matched attenuation due to the conductors and to the dielectric, Np/m; each the shape of f_hz (Hz).

        The law k1 sqrt(f) + k2 f (k1, k2 >= 0, least relative squares) is fitted to the table. What the law misses at
        each row is put right by a factor, straight between rows in log f and constant beyond the ends.
        """
        f = as_frequencies(f_hz)
        k, log_f, factors = self._law
        factor = np.interp(np.log(f), log_f, factors)
        return factor * k[0] * np.sqrt(f), factor * k[1] * f

    @cached_property
    def _law(self) -> tuple[Real, Real, Real]:
        """k1 and k2, Np/m; the table's rows in log f; their factors."""
        table_f, db = np.array(self.loss).T
        if not db.any():
            return np.zeros(2), np.log(table_f), np.zeros(len(db))
        basis = np.stack([np.sqrt(table_f), table_f], axis=-1)
        if len(db) == 1:
            k = np.array([db[0] / basis[0, 0], 0.0])
        else:
            scale = basis.max(axis=0)
            lines = basis / scale / db[:, None], np.ones(len(db))
            k = np.linalg.lstsq(*lines)[0]
            k = (k if (k >= 0).all() else scipy.optimize.nnls(*lines)[0]) / scale
        return k, np.log(table_f), db / (basis @ k) / (100 * DB_PER_NEPER)

    def loss_db(self, length: float, f_hz: ArrayLike) -> Real:
        """Matched loss of a length (m), dB, shape of f_hz (Hz)."""
        conductor, dielectric = self.attenuation(f_hz)
        return (conductor + dielectric) * DB_PER_NEPER * _checked_length(length)

    def propagation(self, f_hz: ArrayLike) -> tuple[Complex, Complex]:
        """Propagation constant (1/m) and characteristic impedance (ohm), complex, shape of f_hz (Hz).

        Series impedance jwL (1 + x - j x): conductors thicker than the skin have a reactance as great as their
        resistance (Ramo, Whinnery and Van Duzer, Fields and Waves, sect. 3.17, from memory); shunt admittance
        jwC (1 - j t) with the dielectric's loss tangent t. L and C are those of z0 and the velocity factor, which hold
        at high frequencies; x and t follow from the attenuation of the conductors and of the dielectric. So at low
        frequencies a thin cable is slower, and its impedance higher and capacitive. Neither x nor t is below 0: the
        line gives no power.
        """
        f = as_frequencies(f_hz)
        conductor, dielectric = self.attenuation(f)
        beta = wave_number(f) / self.velocity_factor
        q = conductor / beta
        series = q + np.sqrt(2 * q**2 + 1) - 1j * q  # sqrt(1 + x - j x), its imaginary part known
        q = dielectric / beta / series.real
        shunt = np.sqrt(q**2 + 1) - 1j * q  # sqrt(1 - j t)
        return 1j * beta * series * shunt, self.z0 * series / shunt

    def chain(self, length: float, f_hz: ArrayLike) -> Complex:
        """ABCD matrices of a length (m, 0 or more), shape f_hz.shape + (2, 2).

        Raises InputError for a negative length or a matched loss above 300 dB.
        """
        f = as_frequencies(f_hz)
        loss = self.loss_db(length, f)
        if (loss > MAX_LOSS_DB).any():
            value = f"{length} m ({loss.max():.0f} dB)"
            raise InputError("feed.coax.length", value, f"a matched loss up to {MAX_LOSS_DB:g} dB")
        gamma, zc = self.propagation(f)
        cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
        return np.stack([np.stack([cosh, zc * sinh], -1), np.stack([sinh / zc, cosh], -1)], -2)


def _checked_length(length: float) -> float:
    if not 0 <= length <= 10_000:
        raise InputError("feed.coax.length", f"{length} m", "from 0 to 10000 m")
    return length


def _coax(name: str, vf: float, db: tuple[float, ...], outside: WireType) -> CoaxType:
    """A 50 ohm family with its loss at 1, 10, 50 and 100 MHz, dB per 100 m."""
    loss = tuple(zip((1e6, 10e6, 50e6, 100e6), db, strict=True))
    return CoaxType(name, 50.0, vf, loss, outside.diameter, outside.jacket, outside.jacket_er, MEMORY)


COAX_TYPES: dict[str, CoaxType] = {
    c.name: c
    for c in (
        _coax("RG-58", 0.66, (1.4, 4.6, 11.0, 16.1), RG58_OUTSIDE),
        _coax("RG-174", 0.66, (6.2, 10.8, 21.3, 29.2), WireType(2.0e-3, 0.4e-3, 3.5)),
        _coax("RG-316", 0.695, (3.9, 9.2, 19.0, 27.2), WireType(1.95e-3, 0.27e-3, 2.1)),
        _coax("RG-8X", 0.80, (1.0, 3.3, 7.5, 10.8), WireType(4.5e-3, 0.8e-3, 3.5)),
        _coax("RG-213", 0.66, (0.62, 2.0, 4.9, 7.0), WireType(8.1e-3, 1.1e-3, 3.5)),
        _coax("5 mm foam", 0.83, (1.05, 3.3, 7.5, 10.6), WireType(3.65e-3, 0.65e-3, 2.3)),
    )
}


def coax_named(name: str) -> CoaxType:
    """The cable family of that name; case, spaces and hyphens do not matter. Raises InputError with a near name."""
    plain = {_plain(known): known for known in COAX_TYPES}
    if _plain(name) in plain:
        return COAX_TYPES[plain[_plain(name)]]
    near = nearest(_plain(name), plain)
    hint = f"; did you mean '{plain[near[0]]}'?" if near else ""
    raise InputError("feed.coax", repr(name), f"one of {', '.join(COAX_TYPES)}, or a loss table{hint}")


def _plain(name: str) -> str:
    return "".join(c for c in name.lower() if c.isalnum())
