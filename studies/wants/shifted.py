"""Wires near known ones, each from one coarse solve.

A change of geometry, wire or soil moves the wire's resonances and their damping, so near a dip the changed wire does at
f what the known one does at a complex frequency close by, f (1 - s). One solve at the dip, on a coarse mesh, gives s;
what that mesh gets wrong it gets wrong alike for both wires, so the difference is right to a few per cent.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from tautwire.model.reflection import impedance, reflection

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from tautwire.model.arrays import Complex
    from tautwire.model.solve.response import Response
    from tautwire.studies.study.setup import Setup

FURTHEST = 0.08  # of the frequency: shifts beyond are not taken from the rational response
NEWTON = 30
STRAIGHT = 1e-6  # m of sag: a straight wire, cut into the pieces of one that hangs through
SURE = 0.9999  # greatest reflection of a passive wire: far shifts may leave it


class Shifted:
    """Set-ups beside a known one, whose response is `response`, near f_hz (Hz)."""

    def __init__(self, setup: Setup, response: Response, f_hz: float) -> None:
        from tautwire.model.solve.one_frequency import OneFrequency  # with the engine, which stored answers spare

        self.setup, self.response, self.f_hz = setup, response, f_hz
        self._once = OneFrequency(f_hz)
        self._own = self._to(self._coarse(setup))

    def shift(self, changed: Setup) -> complex:
        """s of a changed set-up. Raises InputError for one that cannot be built, SolveError."""
        own = self._in_pieces if changed.antenna.sag and not self.setup.antenna.sag else self._own
        return self._to(self._coarse(changed)) - own

    @cached_property
    def _in_pieces(self) -> complex:
        """The known set-up's own, its straight wire cut as a sagging one is."""
        antenna = self.setup.antenna.model_copy(update={"sag": STRAIGHT})
        return self._to(self._coarse(self.setup.model_copy(update={"antenna": antenna})))

    def _coarse(self, setup: Setup) -> complex:
        built = setup.build()
        return self._once.impedance(built.structure, built.ground, built.rules.coarse)

    def _to(self, z: complex) -> complex:
        """s with response(f (1 - s)) = z, by Newton's method on the reflection coefficient; kept within FURTHEST."""
        response, s, step = self.response, 0j, 1e-6
        g = complex(reflection(z, response.reference))
        for _ in range(NEWTON):
            here, beside = (complex(response.reflection(self.f_hz * (1 - x))) for x in (s, s + step))
            change = (g - here) / ((beside - here) / step)
            s += change * min(1.0, 0.02 / max(abs(change), 1e-12))
            if abs(s) > FURTHEST:
                return s / abs(s) * FURTHEST
            if abs(change) < 1e-9:
                break
        return s


def shifted_impedance(response: Response, f_hz: ArrayLike, shift: Complex | complex) -> Complex:
    """Impedance (ohm) at f_hz (Hz) of wires that are shifted so; f_hz and shift broadcast."""
    g = response.reflection(np.asarray(f_hz) * (1 - shift))
    return impedance(g / np.maximum(np.abs(g) / SURE, 1), response.reference)
