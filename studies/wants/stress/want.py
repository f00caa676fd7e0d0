"""Want "stress": volts, amps, flux and heat for the radio's power and duty, with a warning in words where it is due."""

from __future__ import annotations

import math
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.feed.ferrite import Core
from tautwire.model.fields.stress import (
    CHOKE_BANDS,
    FLUX_BANDS,
    RISE_BANDS,
    VOLTS_BANDS,
    Stress,
    band,
    current_along,
    own_segments,
    potential,
    stress,
)
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.operating_point import operating_frequency
from tautwire.studies.wants.stress.words import findings
from tautwire.studies.wants.want import Frames, Rows, Want

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solution, Solver
    from tautwire.model.wires.structure import Structure
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

HOTTEST = RISE_BANDS[-1][0]  # K: from here on a core overheats
HOTTEST_CHOKE = CHOKE_BANDS[-1][0]  # W: from here on a choke overheats
CORE_MHZ = np.round(np.geomspace(1.8, 30.0, 49), 4)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "stress" (a row a band), "stress_along" (a row a place) and "core" (the core against frequency)."""
    feed, built = setup.feed_system(), setup.build()
    frames: Frames = {"stress": [], "stress_along": [], "core": _core_rows(setup)}
    for each in study.bands:
        f = operating_frequency(solver, feed, each)
        solution = solver.solve(f)
        s = stress(solution, built.structure, feed, setup.radio.power, setup.radio.duty)
        row: dict[str, Any] = {"band": each.name, "f_mhz": f / 1e6}
        row |= (
            {"power_w": setup.radio.power, "duty": setup.radio.duty}
            | asdict(s)
            | warnings(s)
            | safe_power(s, setup.radio.power)
        )
        frames["stress"].append(row)
        frames["stress_along"] += along_rows(each.name, built.structure, solution, s)
    return frames


def safe_power(s: Stress, power: float) -> dict[str, float]:
    """The power (W) up to which nothing overheats at this duty: heat grows with it. power: what s is for, W."""

    def most(rise: float) -> float:
        shares = [HOTTEST / rise if rise > 0 else math.nan, HOTTEST_CHOKE / s.choke_w if s.choke_w > 0 else math.nan]
        return power * float(np.fmin.reduce(shares))

    return {"safe_w": most(s.core_rise_high_k), "safe_in_air_w": most(s.core_rise_low_k)}


def warnings(s: Stress) -> dict[str, str]:
    """The band of warning of each part, in words."""
    return {
        "end_warning": band(s.end_peak_v, VOLTS_BANDS),
        "feed_warning": band(s.feed_peak_v, VOLTS_BANDS),
        "core_warning": "" if math.isnan(s.core_rise_high_k) else band(s.core_rise_high_k, RISE_BANDS),
        "flux_warning": "" if math.isnan(s.core_flux_t) else band(s.core_flux_t, FLUX_BANDS),
        "choke_warning": band(s.choke_w, CHOKE_BANDS) if s.choke_w > 0 else "",
    }


def along_rows(name: str, structure: Structure, solution: Solution, s: Stress) -> Rows:
    """Amps and volts at places along every conductor."""
    scale = math.sqrt(s.wire_w / solution.admittance.real)
    potentials, rows = potential(solution), []
    for i in range(len(structure.conductors)):
        at, amps = current_along(solution, structure, i)
        mine = own_segments(solution, i)
        volts = np.interp(at, solution.mesh.along[mine], potentials[mine])
        pairs = zip(at, np.abs(amps) * scale, np.abs(volts) * scale, strict=True)
        about = {"band": name, "conductor": structure.name(i)}
        rows += [about | {"along_m": float(p), "amps": float(a), "volts": float(v)} for p, a, v in pairs]
    return rows


def _core_rows(setup: Setup) -> Rows:
    """The core's permeability and its loss conductance across the primary; none for a transformer without a core."""
    transformer = setup.transformer.transformer()
    if not isinstance(transformer.magnetising, Core):
        return []
    f = CORE_MHZ * 1e6
    mu = transformer.magnetising.material.permeability(f) * transformer.magnetising.scale
    y = transformer.magnetising_admittance(f)
    return [
        {"f_mhz": float(m), "mu_real": float(u.real), "mu_imag": float(-u.imag), "core_siemens": float(g.real)}
        for m, u, g in zip(CORE_MHZ, mu, y, strict=True)
    ]


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    """Of the first case: volts and amps along the wire, heat, the core; currents on all conductors."""
    from tautwire.studies.drawing.style import Heading
    from tautwire.studies.wants.stress.figures import current_figure, current_title, stress_figure, stress_title

    first = result.study.cases()[0]
    parts = {name: result.of(name, first) for name in ("stress", "stress_along", "core")}
    if parts["stress"].empty:
        return {}
    row = parts["stress"].iloc[0]
    caption = f"{row['power_w']:g} W, duty {row['duty']:g}; {result.study.words_of(first.labels)}".rstrip("; ")
    heading = Heading(partial(stress_title, result), f"Volts, amps and heat; {caption}", size)
    about = f"Current along the wire and what returns it; {caption}"
    return {
        "stress": stress_figure(parts["stress"], along_of(parts), parts.get("core"), heading),
        "currents": current_figure(
            parts["stress_along"],
            first.setup().build().structure,
            Heading(partial(current_title, result), about, size),
            parts["stress"],
        ),
    }


def along_of(parts: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The rows of the wire itself."""
    along = parts["stress_along"]
    return along[along["conductor"] == "wire"]


WANT = Want("stress", compute, findings=findings, plots=plots, sized=True)
