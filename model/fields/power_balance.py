"""Where the power goes that enters the wire, and where the radio's power goes: sky, soil, wire, choke, and the feed.

Each share is computed by itself: the sky from the far field, the soil from the field in the soil (soil_power.py), wire
and loads from I^2 R. Their sum need not be the input V I of the solved matrix; what it misses is the `error`, a measure
of the whole solution (in free space and over perfect ground it is the average-gain test). Shares and gains are relative
to the sum, since the far field depends on the currents less delicately than V I does: common practice, no source.
"""

from dataclasses import dataclass, replace

import numpy as np

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.far_field import radiated
from tautwire.model.fields.soil_power import soil_power
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.structure import Structure


@dataclass(frozen=True)
class PowerBalance:
    """input: W into the wire for 1 V rms at the feed. sky, soil, wire, loads: fractions that add up to 1.

    loads: chokes and other lumped parts. error: sum of what was found over input, less 1.
    """

    input: float
    sky: float
    soil: float
    wire: float
    loads: float
    error: float

    @property
    def accounted(self) -> float:
        """Sum of all that was found, W for 1 V rms."""
        return self.input * (1 + self.error)


def power_balance(solution: Solution, structure: Structure) -> PowerBalance:
    """The balance of one solution; structure: what the solution is of, to tell its lumped loads from its wire loss."""
    amps2 = np.abs(solution.current) ** 2
    series = float(amps2 @ solution.load.real)
    lumped = float(
        sum(
            amps2[i] * complex(load.impedance(solution.f_hz)).real for i, load in solution.mesh.load_segments(structure)
        )
    )
    wire = max(series - lumped, 0.0) + solution.jacket_loss
    parts = np.array([radiated(solution), soil_power(solution), wire, lumped])
    entered = solution.admittance.real
    found = float(parts.sum())
    sky, soil, wire, loads = map(float, parts / found)
    return PowerBalance(entered, sky, soil, wire, loads, found / entered - 1)


@dataclass(frozen=True)
class PowerChain:
    """Fractions of the radio's forward power; they add up to 1. transformer: core and winding; choke: lumped loads.

    error: as in PowerBalance.
    """

    mismatch: float
    coax: float
    core: float
    winding: float
    choke: float
    wire: float
    soil: float
    sky: float
    error: float

    @property
    def transformer(self) -> float:
        return self.core + self.winding

    @property
    def antenna_efficiency(self) -> float:
        """Power into the sky over power into the wire."""
        into = self.sky + self.soil + self.wire + self.choke
        return self.sky / into if into > 0 else 0.0

    @property
    def feed_efficiency(self) -> float:
        """Power into the wire over the radio's forward power."""
        return self.sky + self.soil + self.wire + self.choke


def power_chain(
    solution: Solution, structure: Structure, feed: FeedSystem, balance: PowerBalance | None = None
) -> PowerChain:
    """From the radio to the sky. balance: that of the solution, if known already."""
    b = power_balance(solution, structure) if balance is None else balance
    split = feed.power_split(solution.impedance, solution.f_hz)
    into = float(split.wire)
    chain = PowerChain(
        mismatch=float(split.mismatch),
        coax=float(split.coax),
        core=float(split.core),
        winding=float(split.winding),
        choke=into * b.loads,
        wire=into * b.wire,
        soil=into * b.soil,
        sky=into * b.sky,
        error=b.error,
    )
    rounding = 1 - (chain.mismatch + chain.coax + chain.transformer + chain.feed_efficiency)
    return replace(chain, mismatch=chain.mismatch + rounding) if abs(rounding) < 1e-9 else chain
