"""What a tuner at the radio takes to match a poor SWR: the two-part network with the least loss."""

import math

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Complex, Real
from tautwire.model.errors import InputError

COIL_Q = 100.0  # of a portable tuner's coil; some 60 on small powder rings, 200 on a good air coil (common practice)
CAPACITOR_Q = 1000.0  # of its capacitors, film or air (common practice, no source)


def tuner_loss_db(
    z: ArrayLike, reference: float = 50.0, coil_q: float = COIL_Q, capacitor_q: float = CAPACITOR_Q
) -> Real:
    """Loss (dB) of the L network, of a series and a shunt part, that matches z to reference with the least loss.

    z: impedance at the radio's end of the feed, complex ohm, any shape. reference: what the radio wants, ohm. The parts
    are those of a network without loss; each then takes its share of the power, V^2 or I^2 over its Q. Right to a tenth
    of itself below 0.5 dB (test_tuner.py solves the network with its losses). Infinite where z has no resistance.
    Raises InputError for a reference or a Q that is not above 0.

    >>> tuner_loss_db([50, 150, 10 - 40j]).round(2)
    array([0.  , 0.07, 0.17])
    """
    for name, value in {"reference": reference, "coil_q": coil_q, "capacitor_q": capacitor_q}.items():
        if not 0 < value < math.inf:
            raise InputError(f"tuner.{name}", value, "above 0")
    load: Complex = np.asarray(z, dtype=complex)
    load = load / complex(reference)
    with np.errstate(divide="ignore", invalid="ignore"):
        heat = np.minimum(_series_at_load(load, coil_q, capacitor_q), _series_at_load(1 / load, capacitor_q, coil_q))
    return np.asarray(10 * np.log10(1 + np.where(load.real > 0, heat, np.inf)))


def _series_at_load(z: Complex, q_up: float, q_down: float) -> Real:
    """Heat over the power into z (in units of the reference), series part at the load, shunt part at the radio, or
    infinite. q_up: of a series part of positive reactance and a shunt one of negative susceptance; q_down: of others.

    With z the load's admittance and the Qs exchanged this is the dual: shunt part at the load.
    """
    r = z.real
    total = np.sqrt(np.where(r <= 1, r * (1 - r), np.nan))
    heats = []
    for reactance in (total, -total):
        series, shunt = reactance - z.imag, reactance / r  # |z|^2 = r after the series part
        heats.append(np.abs(series) / r / np.where(series > 0, q_up, q_down)
                     + np.abs(shunt) / np.where(shunt < 0, q_up, q_down))  # fmt: skip
    heat = np.minimum(*heats)
    return np.where(np.isnan(heat), np.inf, heat)
