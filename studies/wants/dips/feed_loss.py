"""Where the radio's power goes between radio and wire, in words and numbers: of the dips, and of single frequencies."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.two_port import MeasuredTransformer
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


def loss_words(feed: FeedSystem, dips: Sequence[Mapping[str, Any]]) -> list[str]:
    """A line a band of the table "dips": what of the power that the coax takes at the dip becomes heat, and where."""
    lines = []
    for row in dips:
        if math.isnan(row["dip_mhz"]):
            continue
        part = shares(feed, complex(row["feed_r_ohm"], row["feed_x_ohm"]), row["dip_mhz"] * 1e6)
        taken = 100 - part["mismatch"]
        coax, core, winding, wire = (f"{100 * part[n] / taken:.0f} %" for n in ("coax", "core", "winding", "wire"))
        in_coax, in_transformer = f"{row['dip_coax_db']:.2f} dB", f"{row['dip_transformer_db']:.2f} dB"
        measured = isinstance(feed.transformer, MeasuredTransformer)
        inside = f"{winding} the transformer" if measured else f"{core} the core and {winding} the winding"
        lines.append(
            f"{row['band']}: of what the coax takes in at the dip, {coax} heats the coax ({in_coax}), {inside} "
            f"({in_transformer}); {wire} reaches the wire."
        )
    return lines


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
