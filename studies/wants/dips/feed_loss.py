"""Where the radio's power goes between radio and wire, in words and numbers: of the dips, and of single frequencies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.reflection import swr

if TYPE_CHECKING:
    from tautwire.model.solve.solver import Solver

PARTS = ("mismatch", "coax", "core", "winding", "wire")


def shares(feed: FeedSystem, z: complex, f_hz: float) -> dict[str, float]:
    """Percent of the radio's forward power that each of PARTS takes; they add up to 100. z: ohm, at the wire's end.

    >>> from tautwire.model.feed.transformer import IDEAL_49_TO_1
    >>> shares(FeedSystem(IDEAL_49_TO_1), 2450 + 0j, 14e6)["wire"]
    100.0
    """
    split = feed.power_split(z, f_hz)
    return {part: 100 * float(getattr(split, part)) for part in PARTS}


def at_frequency(solver: Solver, feed: FeedSystem, f_hz: float) -> dict[str, Any]:
    """What the radio sees at one frequency, Hz, and where its power goes; columns as in columns.py, shares in percent.

    Raises SolveError.
    """
    z = solver.impedance(f_hz)
    planes = feed.impedances(z, f_hz)
    split = feed.power_split(z, f_hz)
    return {
        "f_mhz": f_hz / 1e6,
        "swr": float(swr(planes.radio, feed.reference)),
        "radio_r_ohm": float(planes.radio.real),
        "radio_x_ohm": float(planes.radio.imag),
        "feed_r_ohm": z.real,
        "feed_x_ohm": z.imag,
        "coax_loss_db": float(split.coax_db),
        "transformer_loss_db": float(split.transformer_db),
        **{f"{part}_percent": share for part, share in shares(feed, z, f_hz).items()},
    }
