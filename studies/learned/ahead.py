"""What to read or measure next: what each would leave of the ± of the dips asked for, from draws of the posterior."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.operating.bands import Band
from tautwire.studies.learned.errors import READ_DIP
from tautwire.studies.learned.outing import Outing
from tautwire.studies.learned.posterior import DRAWS, Local, Posterior, drawn


@dataclass(frozen=True)
class Step:
    """One thing to read or measure.

    what: in words. is_reading: of a dip. now, then: ± of each band's dip, Hz, before and expected after.
    """

    what: str
    now: dict[str, float]
    then: dict[str, float]
    is_reading: bool = False

    @property
    def gain(self) -> float:
        """Sum over bands of the logarithm of the sd's shrinking: information, nats."""
        return sum(math.log(self.now[b] / max(self.then[b], 1.0)) for b in self.now)


def next_steps(posterior: Posterior, outing: Outing, bands: Sequence[Band], wider: float = 1.0) -> list[Step]:
    """Dips that could be read and values that could be measured at an outing, the most telling first.

    wider: factor on every ±.

    A reading z with error e leaves var(dip) - cov(dip, z)^2/(var(z) + e^2), to first order. A dip that is read is known
    to its reading's error, so what it says is counted on the other bands.
    """
    local = Local.of(outing, posterior.log.bands, bands, posterior.log.remember)
    x = drawn(posterior, local, DRAWS)
    dips = {b.name: local.models[b.name].dips(*local.split(b, x))[0] for b in bands}
    good = np.all([np.isfinite(d) for d in dips.values()], axis=0)
    dips = {name: _tamed(d[good]) for name, d in dips.items()}
    shape = {name: wider * _middle_width(d) / float(np.std(d)) for name, d in dips.items()}  # draws have long tails
    now = {name: shape[name] * float(np.std(d)) for name, d in dips.items()}
    steps = []
    for name, d in dips.items():
        error = READ_DIP * float(np.mean(d))
        then = {other: shape[other] * _left(dips[other], d, error) for other in dips}
        steps.append(Step(f"read {name}", now, then, True))
    by_measure: dict[str, list[int]] = {}
    for i, one in enumerate(local.values):
        if one.measure and one.measured < one.sd:
            by_measure.setdefault(one.measure, []).append(i)
    for what, which in by_measure.items():
        errors = np.array([local.values[i].measured / local.values[i].sd for i in which])
        then = {name: shape[name] * _left(d, x[good][:, which], errors) for name, d in dips.items()}
        steps.append(Step(what, now, then))
    return sorted(steps, key=lambda step: -step.gain)


def _tamed(dips: Real) -> Real:
    """Dips without the few draws that fall into another mode far away."""
    low, middle, high = np.percentile(dips, [16, 50, 84])
    reach = 2 * (high - low)
    return np.asarray(np.clip(dips, middle - reach, middle + reach))


def _middle_width(dips: Real) -> float:
    """Half the width of the range that holds 68 %."""
    low, high = np.percentile(dips, [15.87, 84.13])
    return float(high - low) / 2


def _left(dip: Real, seen: Real, error: Real | float) -> float:
    """Standard deviation of a dip (m,) left once `seen` (m,) or (m, k) is known with an error."""
    z = np.reshape(seen, (len(dip), -1))
    z = z - z.mean(axis=0)
    d = dip - dip.mean()
    whole = z.T @ z / len(d) + np.diag(np.broadcast_to(np.square(error), (z.shape[1],)))
    across = z.T @ d / len(d)
    return math.sqrt(max(float(np.var(dip) - across @ np.linalg.solve(whole, across)), 0.0))
