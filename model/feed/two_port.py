"""A transformer known by measurement alone: its scattering parameters between radio and wire."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.feed.transformer import Transformer, TransformerState
from tautwire.model.frequencies import as_frequencies

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
