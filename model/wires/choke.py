"""A choke on a wire: a lumped impedance at a place."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex
from tautwire.model.errors import InputError


@dataclass(frozen=True)
class Choke:
    """A lumped impedance `position` metres from the transformer.

    Either resistance (ohm), inductance (H) and capacitance (F) in parallel, those given; or a table of (Hz, complex
    ohm) pairs, interpolated linearly in frequency and refused outside it.
    """

    position: float
    resistance: float | None = None
    inductance: float | None = None
    capacitance: float | None = None
    table: tuple[tuple[float, complex], ...] | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.position < math.inf:
            raise InputError("choke.position", f"{self.position} m", "0 m or more from the transformer")
        parts = {n: getattr(self, n) for n in ("resistance", "inductance", "capacitance")}
        given = {n: x for n, x in parts.items() if x is not None}
        for name, x in given.items():
            if not 0 < x < math.inf:
                raise InputError(f"choke.{name}", x, "above 0; leave out what the choke does not have")
        if bool(given) == (self.table is not None):
            raise InputError("choke", "no impedance" if not given else "two impedances", "R, L, C or a table, not both")
        if self.table is not None:
            f = [row[0] for row in self.table]
            if len(f) < 2 or f[0] <= 0 or any(b <= a for a, b in zip(f, f[1:], strict=False)):
                raise InputError("choke.table", f, "two or more frequencies above 0 Hz, rising")
            if not all(complex(z).real >= 0 and abs(z) < math.inf for _, z in self.table):
                raise InputError("choke.table", "an impedance", "finite, with a resistance of 0 ohm or more")

    def impedance(self, f_hz: ArrayLike) -> Complex:
        """Ohms at f_hz (Hz, any shape). Raises InputError outside the table."""
        f = np.asarray(f_hz, dtype=float)
        if self.table is not None:
            known, z = np.array([r[0] for r in self.table]), np.array([r[1] for r in self.table], dtype=complex)
            if np.any((f < known[0]) | (f > known[-1])):
                allowed = f"within the choke's table, {known[0] / 1e6:.6g} to {known[-1] / 1e6:.6g} MHz"
                raise InputError("choke.table", f"{np.atleast_1d(f).min() / 1e6:.6g} MHz and up", allowed)
            return np.asarray(np.interp(f, known, z))
        w = 2 * np.pi * f
        y: Complex = np.zeros(f.shape, dtype=complex)
        if self.resistance is not None:
            y = y + 1 / self.resistance
        if self.inductance is not None:
            y = y + 1 / (1j * w * self.inductance)
        if self.capacitance is not None:
            y = y + 1j * w * self.capacitance
        return 1 / y
