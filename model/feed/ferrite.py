"""Ferrite cores: complex permeability against frequency, toroid geometry, winding impedance, flux density."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import MU0, Complex, Real, as_frequencies
from tautwire.model.errors import InputError, did_you_mean

MEMORY = "typical catalogue curve, from memory; replace with your maker's table"


@dataclass(frozen=True)
class Ferrite:
    """A core material. table: rows (frequency Hz, mu', mu''), relative, frequency rising, two rows or more.

    Small-signal permeability mu' - j mu'': heating and saturation do not change it.
    Raises InputError for a table that is out of order, active (mu'' < 0) or has mu' below 1.
    """

    name: str
    table: tuple[tuple[float, float, float], ...]
    source: str = ""

    def __post_init__(self) -> None:
        rows = tuple(tuple(float(x) for x in row) for row in self.table)
        if len(rows) < 2 or any(len(row) != 3 for row in rows):
            raise InputError("ferrite.table", f"{len(rows)} rows", "two rows or more of frequency, mu', mu''")
        object.__setattr__(self, "table", rows)
        f, real, imag = np.array(rows).T
        if not (np.isfinite(f).all() and f[0] > 0 and (np.diff(f) > 0).all()):
            raise InputError("ferrite.table", f"frequencies {f.tolist()} Hz", "above 0 Hz and rising")
        if not ((real >= 1) & (real <= 1e5)).all():
            raise InputError("ferrite.table", f"mu' {real.tolist()}", "from 1 to 100000")
        if not ((imag >= 0) & (imag <= 1e5)).all():
            raise InputError("ferrite.table", f"mu'' {imag.tolist()}", "from 0 to 100000")

    def permeability(self, f_hz: ArrayLike) -> Complex:
        """mu' - j mu'' (relative), shape of f_hz (Hz): straight lines between rows on a log frequency scale.

        Raises InputError outside the table: there is no extrapolation.
        """
        f = as_frequencies(f_hz)
        rows = np.array(self.table)
        first, last = rows[0, 0], rows[-1, 0]
        outside = (f < first * (1 - 1e-9)) | (f > last * (1 + 1e-9))
        if outside.any():
            allowed = f"{first / 1e6:g} to {last / 1e6:g} MHz, the range of the table for '{self.name}'"
            raise InputError("frequency", f"{f[outside].flat[0] / 1e6:g} MHz", allowed)
        x, table_x = np.log(f), np.log(rows[:, 0])
        return np.asarray(np.interp(x, table_x, rows[:, 1]) - 1j * np.interp(x, table_x, rows[:, 2]))


@dataclass(frozen=True)
class Toroid:
    """A stack of equal rings of rectangular section. outer, inner: diameters, m. height: of one ring, m.

    stack: number of rings. Raises InputError for impossible sizes.
    """

    outer: float
    inner: float
    height: float
    stack: int = 1

    def __post_init__(self) -> None:
        if not 1e-3 <= self.outer <= 0.5:
            raise InputError("core.outer", f"{self.outer} m", "a diameter from 1 mm to 500 mm")
        if not 1e-4 <= self.inner < self.outer:
            raise InputError("core.inner", f"{self.inner} m", f"from 0.1 mm to below the outer {self.outer} m")
        if not 1e-4 <= self.height <= 0.5:
            raise InputError("core.height", f"{self.height} m", "from 0.1 mm to 500 mm")
        if not (1 <= self.stack <= 20 and self.stack == int(self.stack)):
            raise InputError("core.stack", self.stack, "a whole number of rings from 1 to 20")

    @property
    def _constants(self) -> tuple[float, float]:
        """C1 (1/m) and C2 (1/m^3) of a ring of rectangular section; IEC 60205, from memory."""
        r1, r2, h = self.inner / 2, self.outer / 2, self.height * self.stack
        ln = math.log(r2 / r1)
        return 2 * math.pi / (h * ln), 2 * math.pi * (1 / r1 - 1 / r2) / (h**2 * ln**3)

    @property
    def effective_length(self) -> float:
        """Magnetic path length C1^2/C2, m."""
        c1, c2 = self._constants
        return c1**2 / c2

    @property
    def effective_area(self) -> float:
        """Core section C1/C2, m^2 (whole stack)."""
        c1, c2 = self._constants
        return c1 / c2

    @property
    def inductance_per_mu(self) -> float:
        """Inductance of one turn at a relative permeability of 1, H: mu0 h ln(outer/inner)/(2 pi)."""
        return MU0 / self._constants[0]


@dataclass(frozen=True)
class Core:
    """A material in a shape. scale: times the material's permeability, which makers warrant to some 20 %."""

    material: Ferrite
    shape: Toroid
    scale: float = 1.0

    def inductance_index(self, f_hz: ArrayLike) -> Complex:
        """Complex inductance for one turn, H (times turns^2 for a winding); shape of f_hz (Hz)."""
        return self.material.permeability(f_hz) * self.shape.inductance_per_mu * self.scale

    def impedance(self, turns: float, f_hz: ArrayLike) -> Complex:
        """Impedance of a winding on the core, ohm: jw N^2 (mu' - j mu'') L1; shape of f_hz (Hz)."""
        f = as_frequencies(f_hz)
        return 2j * np.pi * f * turns**2 * self.inductance_index(f)

    def flux_density(self, volts: ArrayLike, turns: float, f_hz: ArrayLike) -> Real:
        """Peak flux density, T, for rms volts across a winding: sqrt(2) V/(w N A) (Faraday); broadcast shape."""
        f = as_frequencies(f_hz)
        return math.sqrt(2) * np.abs(volts) / (2 * np.pi * f * turns * self.shape.effective_area)


def _ferrite(name: str, *rows: tuple[float, float, float]) -> Ferrite:
    """A ferrite from rows in MHz."""
    return Ferrite(name, tuple((f * 1e6, real, imag) for f, real, imag in rows), MEMORY)


FERRITES: dict[str, Ferrite] = {
    m.name: m
    for m in (
        _ferrite(
            "mix 31",
            *((1, 1500, 250), (2, 1250, 520), (3.5, 900, 630), (5, 690, 610), (7, 530, 550), (10, 380, 470)),
            *((14, 290, 395), (20, 210, 315), (30, 150, 240), (50, 100, 170), (70, 78, 140), (100, 58, 110)),
        ),
        _ferrite(
            "mix 43",
            *((1, 780, 110), (2, 660, 200), (3.5, 540, 240), (5, 475, 245), (7, 415, 245), (10, 355, 240)),
            *((14, 300, 232), (20, 240, 220), (30, 175, 197), (50, 108, 160), (70, 75, 130), (100, 50, 100)),
        ),
        _ferrite(
            "mix 52",
            *((1, 250, 2), (2, 250, 2.5), (3.5, 252, 4), (5, 257, 7), (7, 265, 16), (10, 268, 42)),
            *((14, 250, 85), (20, 205, 122), (30, 150, 135), (50, 92, 120), (70, 65, 100), (100, 42, 78)),
        ),
        _ferrite(
            "mix 61",
            *((1, 125, 0.4), (2, 125, 0.5), (3.5, 125, 0.7), (5, 126, 1), (7, 127, 1.6), (10, 130, 3.5)),
            *((14, 136, 7), (20, 145, 18), (30, 148, 50), (50, 105, 88), (70, 75, 85), (100, 50, 70)),
        ),
    )
}

# Common ring sizes by outer diameter; common practice, no source.
TOROIDS: dict[str, Toroid] = {
    "21 mm": Toroid(21.0e-3, 13.1e-3, 6.35e-3),
    "29 mm": Toroid(29.0e-3, 19.0e-3, 7.5e-3),
    "36 mm": Toroid(35.55e-3, 23.0e-3, 12.7e-3),
    "61 mm": Toroid(61.0e-3, 35.55e-3, 12.7e-3),
}


def ferrite_named(name: str) -> Ferrite:
    """The material of that name: 'mix 43', 'Mix-43' or '43'. Raises InputError with the nearest name."""
    key = " ".join(name.lower().replace("_", " ").replace("-", " ").split())
    for candidate in (key, f"mix {key}"):
        if candidate in FERRITES:
            return FERRITES[candidate]
    allowed = f"one of {', '.join(FERRITES)}, or a table{did_you_mean(key, FERRITES)}"
    raise InputError("core.material", repr(name), allowed)
