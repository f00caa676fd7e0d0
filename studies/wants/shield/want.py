"""Want "shield": what runs on the outside of the coax, what a choke at each place does, what the coax does to the dip
and to the pattern.

The coax ends at the radio, whose case is taken to be as small as a hand-held one. A person, a mains lead, a vehicle or
a second cable at the radio lengthens the shield: add it as coax length or a nearby conductor.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.far_field import gain
from tautwire.model.fields.stress import choke_heat, current_along, own_segments
from tautwire.studies.study.feed_parts import ChokeSpec
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.setup import CounterpoiseSpec, Setup
from tautwire.studies.study.units import Length, Resistance
from tautwire.studies.wants.dips.operating_point import operating_frequency, watts_into_wire
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.shield.words import AS_BUILT, findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.operating.bands import Band
    from tautwire.model.solve.solver import Solution, Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

MATTERS = 0.1  # directions whose gain is within 10 dB of the peak count for the change of the pattern
ELEVATION, AZIMUTH = np.radians(np.arange(5, 91, 5.0))[:, None], np.radians(np.arange(0, 360, 10.0))[None, :]


class ShieldSpec(Part):
    """[shield]: current on the outside of the coax, and what a choke changes."""

    positions: tuple[Length, ...] = entry(
        "places of a choke to try, along the coax from the transformer; four if left out",
        ["0 m", "2 m", "5 m"],
        "0 to the length of the coax",
        default=(),
    )
    resistance: Resistance = entry("resistance of the choke that is tried", "3 kohm", "above 0", default=3000.0)


def variants(setup: Setup, spec: ShieldSpec) -> list[tuple[str, float, Setup]]:
    """Name, choke position (m, nan without) and set-up of each variant, the set-up as it is first.

    Raises InputError without coax, or for a position beyond it.
    """
    coax = setup.coax
    if coax is None:
        raise InputError("coax", "nothing", "a [coax] table: this study is about its shield")
    built = math.nan if coax.choke is None else coax.choke.at
    setups = [(AS_BUILT, built, setup)]
    if coax.choke is not None:
        setups.append(("no choke", math.nan, _with(setup, coax=coax.model_copy(update={"choke": None}))))
    for at in spec.positions or tuple(coax.length * part for part in (0.0, 0.25, 0.5, 0.75)):
        if not 0 <= at <= coax.length:
            raise InputError("shield.positions", f"{at} m", f"from 0 to the coax length of {coax.length} m")
        choke = ChokeSpec.model_construct(at=at, resistance=spec.resistance, inductance=None, capacitance=None)
        name = "choke at transformer" if at == 0 else f"choke at {at:.3g} m"
        setups.append((name, at, _with(setup, coax=coax.model_copy(update={"choke": choke}))))
    plain = CounterpoiseSpec.model_construct(
        length=coax.length, bearing=None, height=coax.height, end_height=None, wire=setup.wire
    )
    instead = (*setup.counterpoise, plain) if not setup.counterpoise else setup.counterpoise
    name = "counterpoise alone" if setup.counterpoise else "a counterpoise as long"
    setups.append((name, math.nan, _with(setup, coax=None, counterpoise=instead)))
    return setups


def _with(setup: Setup, **parts: Any) -> Setup:
    return setup.model_copy(update=parts)


def check(setup: Setup, study: Study) -> None:
    """Raises InputError without coax, or for a choke position beyond it."""
    variants(setup, study.options["shield"])


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "shield" (a row a band and variant) and "shield_along" (a row a segment of the shield)."""
    frames: Frames = {"shield": [], "shield_along": []}
    feed = setup.feed_system()
    first: dict[str, tuple[float, float, Real]] = {}
    for name, at, variant in variants(setup, study.options["shield"]):
        built = variant.build()
        own = solver if name == AS_BUILT else built.solver(solver.remember)
        for band in study.bands:
            f = operating_frequency(own, feed, band) if name == AS_BUILT else first[band.name][0]
            row, gains, along = _row(own, band, f, feed, setup.radio.power, name, built.structure)
            if name == AS_BUILT:
                first[band.name] = f, row["dip_mhz"], gains
            _, dip, as_built = first[band.name]
            row |= {
                "choke_at_m": at,
                "dip_shift_khz": (row["dip_mhz"] - dip) * 1e3,
                "pattern_change_db": pattern_change(as_built, gains),
            }
            frames["shield"].append(row)
            frames["shield_along"] += along
    return frames


def _row(
    solver: Solver, band: Band, f: float, feed: FeedSystem, power: float, name: str, structure: Any
) -> tuple[dict[str, Any], Real, list[dict[str, Any]]]:
    dips = band_row(band, solver.response(*window(band)), feed, 3.0)
    solution = solver.solve(f)
    watts = watts_into_wire(solution, feed, power)
    scale = math.sqrt(watts / solution.admittance.real)
    amps, mine = np.abs(solution.current) * scale, shield_segments(solution, structure)
    gains = np.asarray(gain(solution, ELEVATION, AZIMUTH))
    top = np.unravel_index(int(gains.argmax()), gains.shape)
    row = {
        "band": band.name,
        "variant": name,
        "dip_mhz": dips["dip_mhz"],
        "dip_swr": dips["dip_swr"],
        "f_mhz": f / 1e6,
        "power_w": power,
        "shield_feed_a": float(amps[mine[0]]) if len(mine) else 0.0,
        "shield_max_a": float(amps[mine].max()) if len(mine) else 0.0,
        "shield_radio_a": float(amps[mine[-1]]) if len(mine) else 0.0,
        "choke_peak_w": choke_heat(solution, structure) * scale**2,
        "gain_dbi": float(10 * np.log10(gains[top])),
        "gain_elevation_deg": float(np.degrees(ELEVATION[top[0], 0])),
        "gain_azimuth_deg": float(np.degrees(AZIMUTH[0, top[1]])),
    }
    along = [
        {"band": band.name, "variant": name, "along_m": float(at), "amps": float(abs(current) * scale)}
        for i, conductor in enumerate(structure.conductors)
        if conductor.role == "coax"
        for at, current in zip(*current_along(solution, structure, i), strict=True)
    ]
    return row, gains, along


def shield_segments(solution: Solution, structure: Any) -> np.ndarray:
    """Indices of the coax shield's segments, from the transformer on, but for those that hold the source."""
    own = [own_segments(solution, i) for i, c in enumerate(structure.conductors) if c.role == "coax"]
    return np.concatenate([*own, np.zeros(0, dtype=int)])


def pattern_change(one: Real, two: Real) -> float:
    """Greatest change of gain, dB, over directions where either is within 10 dB of its peak."""
    strong = (one > MATTERS * one.max()) | (two > MATTERS * two.max())
    return float(np.abs(10 * np.log10(two[strong] / one[strong])).max())


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    """Of the first case."""
    from tautwire.studies.drawing.style import Heading
    from tautwire.studies.wants.shield.figures import shield_figure, shield_title

    first = result.study.cases()[0]
    table, along = result.of("shield", first), result.of("shield_along", first)
    if table.empty or along.empty:
        return {}
    power = f"Current on the coax shield with {table['power_w'].iloc[0]:g} W, and where the dip goes"
    caption = "; ".join(filter(None, (power, result.study.words_of(first.labels))))
    heading = Heading(partial(shield_title, result), caption, size)
    return {"shield": shield_figure(table, along, result.study.bands, heading, result.study.lengths)}


WANT = Want("shield", compute, ShieldSpec, findings=findings, plots=plots, sized=True, check=check)
