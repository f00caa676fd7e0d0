"""Currents along the wire and its return conductors, each measured from the feed: the wire to the right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.lines import Line2D

from ..model.structure import RETURNS, Structure
from .figure_axes import mhz_text
from .style import CYCLE, INK, QUIET, SOIL, Look, Sheet, style

if TYPE_CHECKING:
    from ..model.arrays import Real
    from ..model.solver import Solution

DASHES = {"wire": "-", "counterpoise": (0, (4, 1.6)), "coax": (0, (1, 1.3))}


def along(solution: Solution, conductor: int) -> tuple[Real, Real]:
    """Distance from the conductor's first point (m) and current there (A rms for 1 V rms at the feed)."""
    mine = np.flatnonzero(solution.mesh.conductor == conductor)
    size = solution.mesh.length[mine]
    at = solution.mesh.along[mine][:, None] + size[:, None] * np.array([-0.5, 0.0, 0.5])
    current = np.abs(solution.segments.current[mine] @ solution.current)
    return at.ravel(), current.ravel()


def current_figure(
    solutions: Sequence[Solution],
    structure: Structure,
    *,
    power_w: float = 10.0,
    labels: Sequence[str] | None = None,
    title: str = "",
    caption: str = "",
    size: str | Look = "print",
) -> Sheet:
    """|I| (A rms) against distance (m) for power_w watts into the wire; a colour a solution (at most six).

    labels: names of the solutions, by default their frequencies. Return conductors run to the left of the feed.
    """
    with style(size) as look:
        sheet = Sheet(look)
        sheet.header(title, f"{caption}; {power_w:g} W into the wire".lstrip("; "))
        ax = sheet.subplots()
        reach = max([c.length for c in structure.conductors if c.role in RETURNS], default=0.0)
        ax.axvspan(-1.04 * reach, 0, facecolor=SOIL, alpha=0.6, zorder=0.2)
        ax.axvline(0, color=QUIET, lw=look.line * 0.5, zorder=1)
        roles: list[str] = []
        for solution, mark in zip(solutions, CYCLE, strict=False):
            scale = np.sqrt(power_w / solution.admittance.real)
            for i, c in enumerate(structure.conductors):
                if c.role == "nearby":
                    continue
                x, amps = along(solution, i)
                sign = 1 if c.role == "wire" else -1
                lw = look.line * (1.25 if c.role == "wire" else 1)
                ax.plot(sign * x, amps * scale, color=mark.colour, ls=DASHES[c.role], lw=lw, zorder=3)
                roles += [c.role] if c.role not in roles else []
        ax.set_xlim(-1.04 * reach, 1.01 * structure.conductors[0].length)
        ax.set_ylim(bottom=0)
        ticks = [t for t in ax.get_xticks() if ax.get_xlim()[0] <= t <= ax.get_xlim()[1]]
        ax.set_xticks(ticks, [f"{abs(t):g}" for t in ticks])
        ax.set_xlabel("distance from the feed (m): return conductors to the left, wire to the right")
        ax.set_ylabel("current (A rms)")
        words = labels or [f"{mhz_text(s.f_hz / 1e6)} MHz" for s in solutions]
        handles = [Line2D([], [], color=m.colour, label=w) for m, w in zip(CYCLE, words, strict=False)]
        handles += [Line2D([], [], color=INK, ls=DASHES[r], label=r) for r in roles]
        sheet.legend(handles=handles, loc="outside lower left", ncols=min(len(handles), 6), handlelength=2.6)
        return sheet
