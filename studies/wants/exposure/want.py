"""Want "exposure": how far to stay away from the antenna while it transmits, with maps in plan and section."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.errors import InputError
from tautwire.model.fields.exposure import (
    GROUPS,
    HEIGHTS,
    STANDARDS,
    FieldMap,
    Level,
    check_sampling,
    levels,
    planes_of,
    stay_away,
)
from tautwire.model.fields.near_field import NearField
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import Length
from tautwire.studies.wants.dips.operating_point import operating_frequency, watts_into_wire
from tautwire.studies.wants.exposure.words import findings
from tautwire.studies.wants.want import Frames, Rows, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.operating.bands import Band
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

BOTH = "both"
MOST_MAPS = 6  # cases whose maps are kept
CAP = 1e6  # stands for the quotient in a conductor


class ExposureSpec(Part):
    """[exposure]: how far to stay away while you transmit."""

    standard: str = entry(
        "limits to compare with; both: the stricter at each place", "icnirp", '"fcc", "icnirp" or "both"', default=BOTH
    )
    group: str = entry("whom they are for", "general", '"general" or "occupational"', default="general")
    heights: tuple[Length, ...] = entry(
        "heights of the parts of a body that are checked", ["0.5 m", "1.8 m"], "0 or more", default=HEIGHTS
    )
    extent: Length | None = entry("how far from conductors to look; as far as needed if left out", "5 m", "above 0")
    resolution: Length | None = entry("step of the grid; from the extent if left out", "0.1 m", "above 0")
    maps: bool | None = entry("keep the maps; up to six cases if left out", True, "true or false")

    @property
    def against(self) -> str:
        """The limits in words."""
        names = [s.name for key, s in STANDARDS.items() if self.standard in (key, BOTH)]
        people = dict(zip(GROUPS, ("the general public", "people at work with it"), strict=True))
        return f"{' and '.join(names)} for {people[self.group.strip().lower()]}"


def limits_of(spec: ExposureSpec, f_hz: float) -> tuple[Level, ...]:
    """Every level asked for at f_hz (Hz). Raises InputError for an unknown standard or group."""
    known = (*STANDARDS, BOTH)
    if spec.standard not in known:
        raise InputError("exposure.standard", repr(spec.standard), f"one of {', '.join(known)}")
    names = tuple(STANDARDS) if spec.standard == BOTH else (spec.standard,)
    return tuple(level for name in names for level in levels(f_hz, name, spec.group))


def check(setup: Setup, study: Study) -> None:
    """Raises InputError for limits, heights or a grid that compute would refuse."""
    spec: ExposureSpec = study.options["exposure"]
    check_sampling(spec.heights, spec.extent, spec.resolution)
    for band in study.bands:
        limits_of(spec, band.lower)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "exposure" (a row a band), and for a few cases "exposure_plan" and "exposure_section" (a row a place)."""
    spec: ExposureSpec = study.options["exposure"]
    frames: Frames = {"exposure": []}
    if with_maps(study):
        frames |= {"exposure_plan": [], "exposure_section": []}
    for band in study.bands:
        _band(setup, solver, spec, band, frames)
    return frames


def with_maps(study: Study) -> bool:
    """Whether places are tabled too: as asked for, else for a few cases."""
    maps: bool | None = study.options["exposure"].maps
    return study.count <= MOST_MAPS if maps is None else maps


def depends(study: Study) -> list[Any]:
    """What the rows depend on besides set-up and band."""
    return [study.options["exposure"].model_dump(), with_maps(study)]


def _band(setup: Setup, solver: Solver, spec: ExposureSpec, band: Band, frames: Frames) -> None:
    feed, built = setup.feed_system(), setup.build()
    layout = built.layout
    f = operating_frequency(solver, feed, band)
    solution = solver.solve(f)
    watts = watts_into_wire(solution, feed, setup.radio.power)
    limits = limits_of(spec, f)
    start, end = (np.array(p) for p in (layout.points[0], layout.points[-1]))
    near = NearField.of(solution, watts)
    planes = planes_of(built.structure, layout.bearing, max(spec.heights))
    found = stay_away(near, limits, setup.radio.duty, start, end, planes, spec.heights, spec.extent, spec.resolution)
    worst = found.worst if found.worst is not None else np.full(3, math.nan)
    frames["exposure"].append(
        {
            "band": band.name,
            "f_mhz": f / 1e6,
            "power_w": setup.radio.power,
            "duty": setup.radio.duty,
            "wire_w": watts,
            "limits": spec.against,
            "body_low_m": min(spec.heights),
            "body_high_m": max(spec.heights),
            "limit_e_v_per_m": min(x.e for x in limits),
            "limit_h_a_per_m": min(x.h for x in limits),
            "stay_away_m": found.from_conductor,
            "any_part_m": found.from_any_part,
            "from_feed_m": found.from_feed,
            "from_end_m": found.from_end,
            "worst_east_m": worst[0],
            "worst_north_m": worst[1],
            "worst_height_m": worst[2],
            "complete": found.complete,
        }
    )
    if "exposure_plan" in frames:
        frames["exposure_plan"] += _places(band, found.plan, "east_m", "north_m")
        for number, section in enumerate(found.sections, 1):
            about = {"section": number, "widest": number - 1 == found.widest}
            frames["exposure_section"] += [about | row for row in _places(band, section, "along_m", "height_m")]


def _places(band: Band, field_map: FieldMap, across: str, up: str) -> Rows:
    rows: Rows = []
    for i, j in zip(*np.nonzero(~np.isnan(field_map.value)), strict=True):
        value = min(float(field_map.value[i, j]), CAP)
        rows.append(
            {"band": band.name, across: float(field_map.across[j]), up: float(field_map.up[i]), "quotient": value}
        )
    return rows


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    """Maps of the first case, a figure a band."""
    from tautwire.studies.drawing.style import Heading
    from tautwire.studies.wants.exposure.figures import exposure_figure, exposure_title

    case = result.study.cases()[0]
    rows, plan, section = (result.of(name, case) for name in ("exposure", "exposure_plan", "exposure_section"))
    if plan.empty or section.empty:
        return {}
    where = result.study.words_of(case.labels)
    spec: ExposureSpec = result.study.options["exposure"]
    built = case.setup().build()
    planes = planes_of(built.structure, built.layout.bearing, max(spec.heights))
    figures: dict[str, Figure] = {}
    for band in result.study.bands:
        one, two = (t[t["band"] == band.name] for t in (plan, section[section["widest"]]))
        mine = rows[rows["band"] == band.name]
        row = mine.iloc[0]
        caption = f"Against {spec.against}; duty {row['duty']:g}; {where}".rstrip("; ")
        stem = f"exposure-{band.name.replace(' ', '')}"
        plane = planes[int(two["section"].iloc[0]) - 1]
        figures[stem] = exposure_figure(
            one, two, built, plane, Heading(partial(exposure_title, result), caption, size), mine
        )
    return figures


WANT = Want("exposure", compute, ExposureSpec, findings=findings, plots=plots, sized=True, check=check, depends=depends)
