"""Want "pattern": where each case radiates, what becomes of the radio's power, and the cuts to draw it from."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pydantic import field_validator

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.fields.far_field import Pattern, strongest
from tautwire.model.fields.power_balance import PowerChain, power_balance, power_chain
from tautwire.model.fields.terrain import LEVEL
from tautwire.model.operating.bands import Band
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import Angle
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.pattern.words import findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

LEAST = -60.0  # dBi: tables go no lower
SPHERE_STEPS = 5, 10  # degrees of elevation and azimuth
CUT_STEP = math.radians(2)
SHARES = ("sky", "soil", "wire", "choke", "transformer", "coax", "mismatch")


Cuts = dict[str, tuple[Real, Real]]
"""name of a cut -> its angles, rad, and gains, dBi"""


class PatternSpec(Part):
    """[pattern]: where the power goes."""

    elevations: tuple[Angle, ...] = entry(
        "elevations at which the gain along the bearing is reported",
        ["10 deg", "30 deg"],
        "0 to 90 deg",
        default=(math.radians(10), math.radians(20), math.radians(30), math.radians(60)),
    )
    at: Literal["centre", "dip"] = entry(
        "frequency: the middle of the band, or its dip", "dip", '"centre" or "dip"', default="centre"
    )
    bearing: Angle | None = entry("bearing of the elevation cut; the wire's if left out", "45 deg", "any angle")
    cut_elevation: Angle | Literal["takeoff"] = entry(
        "elevation of the azimuth cut",
        "takeoff",
        '0 to 90 deg, or "takeoff": each case\'s own',
        default=math.radians(20),
    )
    sphere: bool = entry("also keep the table the solid picture is drawn from", False, "true or false", default=True)

    @field_validator("elevations", "cut_elevation")
    @classmethod
    def _above_the_horizon(cls, value: Any) -> Any:
        for e in value if isinstance(value, tuple) else () if isinstance(value, str) else (value,):
            if not 0 <= e <= math.pi / 2:
                raise InputError("elevation", f"{math.degrees(e):g} deg", "from 0 to 90 deg")
        return value


def frequency(solver: Solver, setup: Setup, study: Study, band: Band, at: str) -> float:
    """The band's centre, or its dip if it is wanted and there is one, Hz."""
    centre = (band.lower + band.upper) / 2
    if at == "centre":
        return centre
    row = band_row(band, solver.response(*window(band)), setup.feed_system(), study.spec.swr_threshold)
    return centre if math.isnan(row["dip_mhz"]) else row["dip_mhz"] * 1e6


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "pattern" (a row a band), "pattern_gains" (a row a band and elevation), "pattern_cuts" and, if wanted,
    "pattern_sphere".
    """
    spec: PatternSpec = study.options["pattern"]
    built = setup.build()
    bearing = built.layout.bearing if spec.bearing is None else spec.bearing
    frames: Frames = {"pattern": [], "pattern_gains": [], "pattern_cuts": []}
    for band in study.bands:
        f = frequency(solver, setup, study, band, spec.at)
        solution = solver.solve(f)
        balance = power_balance(solution, solver.structure)
        chain = power_chain(solution, solver.structure, setup.feed_system(), balance)
        pattern = Pattern(solution, balance.accounted, built.terrain)
        cut = pattern.peak[1] if spec.cut_elevation == "takeoff" else float(spec.cut_elevation)
        cuts: Cuts = {
            "elevation": pattern.elevation_cut(bearing, CUT_STEP),
            "azimuth": pattern.azimuth_cut(cut, CUT_STEP),
        }
        place = {"band": band.name, "f_mhz": f / 1e6}
        frames["pattern"].append({**place, **_row(pattern, chain, bearing, cut, cuts)})
        frames["pattern_gains"] += [{"band": band.name, **r} for r in _gains(pattern, chain, spec, bearing)]
        frames["pattern_cuts"] += [{"band": band.name, **r} for r in _cuts(cuts)]
        if spec.sphere:
            frames.setdefault("pattern_sphere", []).extend({"band": band.name, **r} for r in _sphere(pattern))
    return frames


def radio_db(chain: PowerChain) -> float:
    """What the feed takes off a gain to make it the gain from the radio, dB (0 or less)."""
    return 10 * math.log10(max(chain.feed_efficiency, 1e-12))


def _row(pattern: Pattern, chain: PowerChain, bearing: float, cut: float, cuts: Cuts) -> dict[str, Any]:
    peak, takeoff, at = pattern.peak
    shares = {f"share_{name}": float(getattr(chain, name)) for name in SHARES}
    (up, over), (around, dbi) = cuts["elevation"], cuts["azimuth"]
    highest, best, lost = strongest(over), strongest(dbi), radio_db(chain)
    return {
        "bearing_deg": math.degrees(bearing) % 360,
        "peak_gain_dbi": peak,
        "peak_radio_gain_dbi": peak + radio_db(chain),
        "takeoff_deg": math.degrees(takeoff),
        "peak_bearing_deg": math.degrees(at),
        "halfpower_elevation_deg": math.degrees(pattern.half_power_elevation),
        "halfpower_azimuth_deg": math.degrees(pattern.half_power_azimuth),
        "plane_peak_radio_gain_dbi": _floor(over[highest] + lost),
        "plane_peak_deg": math.degrees(up[highest]),
        "cut_elevation_deg": math.degrees(cut),
        "forward_gain_dbi": _floor(pattern.dbi(cut, bearing)),
        "forward_radio_gain_dbi": _floor(float(pattern.dbi(cut, bearing)) + lost),
        "around_radio_gain_dbi": _floor(10 * math.log10(float(np.mean(10 ** (dbi[:-1] / 10)))) + lost),
        "cut_peak_radio_gain_dbi": _floor(dbi[best] + lost),
        "cut_peak_bearing_deg": math.degrees(around[best]) % 360,
        "front_to_back_db": pattern.front_to_back(bearing, cut),
        "efficiency_percent": 100 * chain.antenna_efficiency,
        **shares,
        "balance_error_percent": 100 * chain.error,
    }


def _floor(dbi: Any) -> float:
    return float(max(float(dbi), LEAST))


def _gains(pattern: Pattern, chain: PowerChain, spec: PatternSpec, bearing: float) -> list[dict[str, Any]]:
    rows = []
    for e in spec.elevations:
        front, back = pattern.dbi(e, np.array([bearing, bearing + math.pi]))
        level = None if pattern.terrain.is_level else replace(pattern, terrain=LEVEL)
        around = {} if level is None else {"around_db": _floor(front) - _floor(level.dbi(e, bearing))}
        rows.append({
            "elevation_deg": round(math.degrees(e), 6),
            "forward_gain_dbi": _floor(front),
            "forward_radio_gain_dbi": _floor(front + radio_db(chain)),
            "back_gain_dbi": _floor(back),
            **around,
        })  # fmt: skip
    return rows


def _cuts(cuts: Cuts) -> list[dict[str, Any]]:
    rows = []
    for name, (angle, dbi) in cuts.items():
        for a, g in zip(np.degrees(angle), dbi, strict=True):
            rows.append({"cut": name, "angle_deg": round(float(a), 6), "gain_dbi": _floor(g)})
    return rows


def _sphere(pattern: Pattern) -> list[dict[str, Any]]:
    up, across = SPHERE_STEPS
    low = -90 if pattern.lowest < 0 else 0
    e, a = np.arange(low, 91, up, dtype=float), np.arange(0, 361, across, dtype=float)
    dbi = pattern.dbi(np.radians(e)[:, None], np.radians(a)[None, :])
    return [
        {"elevation_deg": float(e[i]), "azimuth_deg": float(a[j]), "gain_dbi": _floor(dbi[i, j])}
        for i in range(len(e))
        for j in range(len(a))
    ]


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.pattern.figures import pattern_figures

    return {**pattern_figures(result, size)}


FREE_OF = ("radio.power", "radio.duty", "reel")
WANT = Want("pattern", compute, PatternSpec, findings=findings, plots=plots, sized=True, free_of=FREE_OF)
