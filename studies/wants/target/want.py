"""Want "target": each case's gain at the angles of chosen paths, and which case serves a region best.

The angles are geometry of one and more hops under a layer of given height (model/fields/hop_angles.py), not a
prediction of whether the band is open.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pydantic import field_validator, model_validator

from tautwire.model.basics import Real
from tautwire.model.errors import InputError
from tautwire.model.fields.far_field import Pattern, strongest
from tautwire.model.fields.hop_angles import LAYERS, Region, hop_reach
from tautwire.model.fields.power_balance import power_balance, power_chain
from tautwire.studies.study import units
from tautwire.studies.study.parts import Name, Part, entry
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import Angle, Length
from tautwire.studies.wants.pattern.want import LEAST, frequency, radio_db
from tautwire.studies.wants.target.words import findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

MOST_HOPS = 5
TURN_STEP = 5  # degrees in which the whole antenna is turned to look for its best bearing


class RegionSpec(Part):
    """[[target.region]]: a place to be heard, by ground distance and bearing."""

    name: Name = entry("name of the region", "near", "up to 60 characters", default=...)
    nearest: Length = entry("nearest ground distance", "500 km", "0 or more", default=...)
    farthest: Length | None = entry("farthest ground distance; the nearest if left out", "1500 km", "nearest or more")
    bearing: Angle | None = entry("direction to its middle; all round if left out", "300 deg", "any angle")
    spread: Angle = entry("how wide it is, edge to edge", "40 deg", "above 0, up to 360 deg", default=math.radians(20))

    def region(self) -> Region:
        far = self.nearest if self.farthest is None else self.farthest
        return Region(self.name, self.nearest, far, self.bearing, self.spread)

    @model_validator(mode="after")
    def _sound(self) -> RegionSpec:
        self.region()
        return self


DEFAULT = tuple(
    RegionSpec.model_validate({"name": name, "nearest": near, "farthest": far})
    for name, near, far in (("near", "0 km", "400 km"), ("middle", "500 km", "1500 km"), ("far", "2000 km", "3500 km"))
)


class TargetSpec(Part):
    """[target]: how well regions are served."""

    region: tuple[RegionSpec, ...] = entry(
        "where you want to be heard; near, middle and far if left out",
        [{"name": "coast", "nearest": "800 km"}],
        default=DEFAULT,
    )
    layer: str = entry(
        "reflecting layer by name, or its height", "280 km", '"E", "F1", "F2", or a height', default="F2"
    )
    hops: tuple[int, ...] = entry("numbers of equal hops to look at", [1, 2], "whole numbers from 1", default=(1, 2))
    at: Literal["centre", "dip"] = entry(
        "frequency: the middle of the band, or its dip", "centre", '"centre" or "dip"', default="centre"
    )

    @property
    def height(self) -> float:
        """Layer height, m."""
        return layer_height(self.layer)

    @field_validator("layer")
    @classmethod
    def _known_layer(cls, value: str) -> str:
        hop_reach(layer_height(value))
        return value

    @field_validator("hops")
    @classmethod
    def _few_hops(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if not value or not all(1 <= n <= MOST_HOPS for n in value):
            raise InputError("target.hops", list(value), f"whole numbers from 1 to {MOST_HOPS}")
        return value


def layer_height(layer: str) -> float:
    """Height, m, of a named layer or of a text such as "280 km". Raises InputError."""
    named = {k.lower(): h for k, h in LAYERS.items()}.get(layer.strip().lower())
    if named is not None:
        return named
    try:
        return units.length(layer, "target.layer")
    except InputError:
        allowed = f"one of {', '.join(LAYERS)}, or a height such as '280 km'"
        raise InputError("target.layer", repr(layer), allowed) from None


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Table "target": a row a band, region and number of hops."""
    spec: TargetSpec = study.options["target"]
    height = spec.height
    regions = [r.region() for r in spec.region]
    built = setup.build()
    wire = built.layout.bearing
    rows = []
    for band in study.bands:
        f = frequency(solver, setup, study, band, spec.at)
        solution = solver.solve(f)
        balance = power_balance(solution, solver.structure)
        feed = radio_db(power_chain(solution, solver.structure, setup.feed_system(), balance))
        pattern = Pattern(solution, balance.accounted, built.terrain)
        for region in regions:
            for hops in spec.hops:
                place = {"band": band.name, "f_mhz": f / 1e6, "region": region.name, "hops": hops}
                rows.append({**place, **_row(pattern, region, height, hops, feed, wire)})
    return {"target": rows}


def _row(pattern: Pattern, region: Region, height: float, hops: int, feed: float, wire: float) -> dict[str, Any]:
    reach = hops * hop_reach(height)
    elevations = region.elevations(height, hops)
    row: dict[str, Any] = {
        "layer_km": height / 1e3,
        "nearest_km": region.nearest / 1e3,
        "farthest_km": min(region.farthest, max(reach, region.nearest)) / 1e3,
        "elevation_low_deg": math.nan,
        "elevation_high_deg": math.nan,
        "region_gain_dbi": math.nan,
        "region_least_dbi": math.nan,
        "region_radio_gain_dbi": math.nan,
        "best_bearing_deg": math.nan,
        "turn_gain_db": math.nan,
        "reach_km": reach / 1e3,
        "note": "",
    }
    if not len(elevations):
        row["note"] = f"beyond {hops} hop{'s' * (hops > 1)}, which reach {reach / 1e3:.0f} km"
        return row
    if region.farthest > reach:
        row["note"] = f"as far as {hops} hop{'s' * (hops > 1)} reach, {reach / 1e3:.0f} km"
    dbi = np.maximum(pattern.dbi(elevations[:, None], region.bearings[None, :]), LEAST)
    mean = _mean(dbi)
    row |= {
        "elevation_low_deg": math.degrees(elevations.min()),
        "elevation_high_deg": math.degrees(elevations.max()),
        "region_gain_dbi": mean,
        "region_least_dbi": float(dbi.min()),
        "region_radio_gain_dbi": mean + feed,
    }
    if region.bearing is not None:
        turns = np.radians(np.arange(0, 360, TURN_STEP))
        by_turn = _by_turn(pattern, elevations[:, None], region.bearings[None, :], turns)
        db = 10 * np.log10(by_turn)
        row["best_bearing_deg"] = math.degrees(wire + turns[strongest(db)]) % 360
        row["turn_gain_db"] = float(db.max() - db[0])
    return row


def _by_turn(pattern: Pattern, elevations: Real, bearings: Real, turns: Real) -> Real:
    """Mean power gain of the antenna turned clockwise by each of turns (rad): the same as all else turned back."""
    if pattern.terrain.is_level:
        looks = bearings[..., None] - turns
        return np.asarray((10 ** (pattern.dbi(elevations[..., None], looks) / 10)).mean(axis=(0, 1)))
    around = (replace(pattern, terrain=pattern.terrain.turned(-t)).dbi(elevations, bearings - t) for t in turns)
    return np.array([(10 ** (dbi / 10)).mean() for dbi in around])


def _mean(dbi: Any) -> float:
    return float(10 * np.log10((10 ** (dbi / 10)).mean()))


def finish(result: Result) -> None:
    """Table "target_best": for each band and region the case with most gain from the radio, by the fewest hops."""
    table = result.frames.get("target")
    if table is None or table.empty:
        return
    rows = []
    for (band, region), part in table.groupby(["band", "region"], sort=False):
        known = part.dropna(subset=["region_radio_gain_dbi"])
        if known.empty:
            continue
        known = known[known["hops"] == known["hops"].min()].sort_values("region_radio_gain_dbi", ascending=False)
        best = known.iloc[0]
        second = known.iloc[1] if len(known) > 1 else best
        rows.append({
            **{c: best[c] for c in result.axis_columns}, "band": band, "region": region,
            **{c: best[c] for c in ("hops", "elevation_low_deg", "elevation_high_deg", "region_gain_dbi",
                                    "region_radio_gain_dbi", "best_bearing_deg", "turn_gain_db")},
            "lead_db": best["region_radio_gain_dbi"] - second["region_radio_gain_dbi"],
            "spread_db": best["region_radio_gain_dbi"] - known["region_radio_gain_dbi"].iloc[-1],
        })  # fmt: skip
    result.frames["target_best"] = rows


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.target.figures import target_figures

    return {**target_figures(result, size)}


FREE_OF = ("radio.power", "radio.duty", "reel")
WANT = Want("target", compute, TargetSpec, finish, findings=findings, plots=plots, sized=True, free_of=FREE_OF)
