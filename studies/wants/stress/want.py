"""Want "stress": volts, amps, flux and heat for the radio's power and duty, with a warning in words where it is due."""

from __future__ import annotations

import math
from dataclasses import asdict
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
from tautwire.studies.wants.want import Frames, Rows, Want

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solution, Solver
    from tautwire.model.wires.structure import Structure
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

CURIE_RISE = 110.0  # K above 20 C: the Curie point of common HF ferrites starts at some 130 C, from memory
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
        row |= {"power_w": setup.radio.power, "duty": setup.radio.duty} | asdict(s) | warnings(s)
        frames["stress"].append(row)
        frames["stress_along"] += along_rows(each.name, built.structure, solution, s)
    return frames


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


def sentences(result: Result) -> list[str]:
    """The worst of all, the worst case of each band from the worst on, and which band heats the core most and why."""
    table = result.frames.get("stress")
    if table is None or table.empty:
        return []
    volts = table.groupby("band")["end_peak_v"].max()
    heat = (table["core_w"] + table["winding_w"]).groupby(table["band"]).max()
    lines = []
    if len(volts) > 1:
        worst, hottest = volts.idxmax(), heat.idxmax()
        case = table.loc[table[table["band"] == worst]["end_peak_v"].idxmax()]
        lines.append(
            f"Worst: {_two(volts[worst])} V peak at the wire's end on {worst} ({case['end_warning']}), and "
            f"{_two(heat[hottest])} W of heat in the transformer on {hottest}, with {case['power_w']:g} W."
        )
    for each in sorted((b for b in result.study.bands if b.name in volts), key=lambda b: -volts[b.name]):
        rows = table[table["band"] == each.name]
        top = rows.loc[rows["end_peak_v"].idxmax()]
        hot = rows.loc[(rows["core_w"] + rows["winding_w"]).idxmax()]
        sentence = (
            f"{each.name}, {top['power_w']:g} W: some {_two(top['end_peak_v'])} V peak at the wire's end "
            f"({top['end_warning']}), {_two(top['feed_peak_v'])} V peak at the transformer, at most "
            f"{top['max_a']:.2f} A in the wire, {top['max_a_at']:.1f} m from the feed. The transformer turns "
            f"{_two(hot['core_w'] + hot['winding_w'])} W on average into heat"
        )
        if hot["core_warning"]:
            sentence += (
                f"; left on, it ends up {_rise(hot['core_rise_low_k'], hot['core_rise_high_k'])} "
                f"({hot['core_warning']}; half way within {0.7 * hot['core_minutes']:.0f} min); flux "
                f"{hot['core_flux_t'] * 1e3:.1f} mT ({hot['flux_warning']})"
            )
        choke = rows.loc[rows["choke_w"].idxmax()]
        if choke["choke_warning"]:
            sentence += f". The choke: {_two(choke['choke_w'])} W ({choke['choke_warning']})"
        lines.append(sentence + ".")
    return lines + _why(table)


def _rise(low: float, high: float) -> str:
    """The range in words, no farther than ferrite has any permeability left."""
    if low >= CURIE_RISE:
        return f"more than {CURIE_RISE:.0f} K above the air, where ferrite loses its permeability"
    top = f"{high:.0f} K" if high < CURIE_RISE else f"more than {CURIE_RISE:.0f} K"
    return f"{low:.0f} to {top} above the air"


def _two(x: float) -> str:
    """Two digits."""
    return f"{x:.2g}" if x < 10 else f"{round(x, 1 - math.floor(math.log10(x))):.0f}"


def _why(table: pd.DataFrame) -> list[str]:
    """Core heat of the hottest against the coolest band of the first case, split into its two factors."""
    first = table.drop_duplicates("band")
    if len(first) < 2 or first["core_siemens"].isna().any() or not (first["core_w"] > 0).all():
        return []
    hot, cool = first.loc[first["core_w"].idxmax()], first.loc[first["core_w"].idxmin()]
    heat = hot["core_w"] / cool["core_w"]
    loss, volts = hot["core_siemens"] / cool["core_siemens"], (hot["core_v"] / cool["core_v"]) ** 2
    if heat < 1.05:
        return ["The core heats about alike on all bands."]
    sentence = (
        f"For the same power the core heats {heat:.1f} times as much on {hot['band']} as on {cool['band']}: its loss "
        f"conductance is {loss:.1f} times as high and the voltage across it squared {volts:.1f} times"
    )
    if not math.isnan(hot["mu_imag"]):
        sentence += (
            f" (mu' {cool['mu_real']:.0f} to {hot['mu_real']:.0f}, mu'' {cool['mu_imag']:.0f} to {hot['mu_imag']:.0f})"
        )
    if hot["f_mhz"] > cool["f_mhz"]:
        return [sentence + f". A core that is cool on {cool['band']} can overheat on {hot['band']}."]
    return [
        sentence
        + ". This core is hottest low down; where mu'' rises steeply with frequency, as in low-loss materials, a "
        "core that is cool on the fundamental can overheat on a high harmonic."
    ]


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    """Of the first case: volts and amps along the wire, heat, the core; currents on all conductors."""
    from tautwire.studies.drawing.style import Heading
    from tautwire.studies.study.cells import short
    from tautwire.studies.wants.stress.currents import current_figure
    from tautwire.studies.wants.stress.figures import stress_figure

    first = result.study.cases()[0]
    parts = {name: result.of(name, first) for name in ("stress", "stress_along", "core")}
    if parts["stress"].empty:
        return {}
    row = parts["stress"].iloc[0]
    caption = f"{row['power_w']:g} W, duty {row['duty']:g}; {result.study.words_of(first.labels)}".rstrip("; ")
    structure, most = first.setup().build().structure, parts["stress"].loc[parts["stress"]["max_a"].idxmax()]
    title = f"At most {most['max_a']:.2f} A, on {most['band']}, {most['max_a_at']:.1f} m from the feed"
    worst = short(sentences(result)[0].partition(" (")[0] if result.study.count == 1 else sentences(result)[0])
    return {
        "stress": stress_figure(
            parts["stress"],
            along_of(parts),
            parts.get("core"),
            Heading(worst, f"Volts, amps and heat; {caption}", size),
        ),
        "currents": current_figure(
            parts["stress_along"],
            structure,
            Heading(title, f"Current along the wire and what returns it; {caption}", size),
        ),
    }


def along_of(parts: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The rows of the wire itself."""
    along = parts["stress_along"]
    return along[along["conductor"] == "wire"]


WANT = Want("stress", compute, sentences=sentences, plots=plots, sized=True)
