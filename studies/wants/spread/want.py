"""Want "spread": how sure each band's dip and SWR are, what they are unsure by, and what to measure to know better.

The tables "spread" and "spread_parts" come with every study of dips or turns (`tables` is called for each case), as
every dip carries its give or take; wanting "spread" adds samples of the distribution, Sobol's shares, words, figures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import model_validator

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.study.parts import Part, entry, flat
from tautwire.studies.study.setup import AROUND, Setup
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import Kind, length, quantity_text
from tautwire.studies.wants.dips.reading import band_row as read_band
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.local_model import KEYS, Known, quantity_kind, read_known
from tautwire.studies.wants.spread.sampling import (
    COUNT,
    DRAWS,
    Asked,
    Spread,
    draws_row,
    measured_sd,
    narrowed,
    sobol_shares,
    spread_of,
)
from tautwire.studies.wants.spread.values import Joint, Uncertain, uncertain, with_offsets
from tautwire.studies.wants.spread.words import findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.result import Result


# --- Want "spread": how sure each band's dip and SWR are.


class SpreadSpec(Part):
    """[spread]: how far off values may be, and how the spread is sampled.

    Values not named have their usual spread (study/raw.py). They stand in [spread.values], as in [fit.parameters],
    or in [spread] itself.
    """

    values: dict[str, Known] = entry(
        "how far off values may be, by their dotted keys; sd = 0 for what is known",
        {"antenna.length": {"sd": "1 cm"}},
        "keys of the set-up that are quantities",
        default={},
    )
    correlation: tuple[tuple[str, str, float], ...] = entry(
        "values that are off together, as 'tautwire fit' writes them",
        [["antenna.length", "antenna.slope", -0.5]],
        "two keys and -1 to 1",
        default=(),
    )
    samples: int = entry("samples of each band", 1024, "16 to 65536", default=COUNT)
    seed: int = entry("another number draws other samples", 7, "0 or more", default=1)
    sobol: bool = entry("also Sobol's first and total shares of each value", True, "true or false", default=False)
    exact: int = entry("samples solved in full beside them, as a check", 20, "0 to 2000", default=0)

    @model_validator(mode="before")
    @classmethod
    def _read(cls, given: Any) -> Any:
        if not isinstance(given, Mapping):
            return given
        own = {k: v for k, v in given.items() if k in cls.model_fields}
        beside = {k: v for k, v in given.items() if k not in own}
        paths = {**flat(own.get("values", {}), KEYS, table="spread.values"), **flat(beside, KEYS, table="spread")}
        own["values"] = {path: read_known(path, value, "spread") for path, value in paths.items()}
        for name, low, high in (("samples", 16, 65536), ("exact", 0, 2000), ("seed", 0, 2**31)):
            value = own.get(name, low)
            if not (isinstance(value, int) and low <= value <= high):
                raise InputError(name, repr(value), f"a whole number from {low} to {high}")
        return own

    def joint(self, setup: Setup, turns: bool = False) -> Joint:
        """The uncertain values of a set-up. turns: whether its wire is measured out by turns of the reel.

        Raises InputError for a path it has no value for.
        """
        pairs = {(a, b): r for a, b, r in self.correlation}
        return Joint.of(uncertain(setup, self.values, turns), pairs)


def tables(setup: Setup, solver: Solver, study: Study, count: int) -> Frames:
    """Tables "spread" (a row a band), "spread_parts" (a row a band and value) and "spread_draws" (a row a band, the
    samples themselves), from `count` samples."""
    spec: SpreadSpec = study.options["spread"]
    turns = "turns" in study.spec.want
    joint = spec.joint(setup, turns)
    asked = Asked(lambda other: spec.joint(other, turns).values, f"{spec.model_dump_json()} {turns}")
    frames: Frames = {"spread": [], "spread_parts": [], DRAWS: []}
    spreads = [spread_of(setup, solver, band, joint, count, spec.seed, asked) for band in study.bands]
    measures = narrowed(spreads) if joint.values else []
    for i, one in enumerate(spreads):
        best = (measures[0][0], measures[0][1][i]) if measures else ("", math.nan)
        frames["spread"].append(band_row(one, best, study.spec.swr_threshold))
        frames["spread_parts"] += part_rows(one)
        frames[DRAWS].append(draws_row(one.band.name, one.base, one.samples))
    if "spread" in study.spec.want:
        frames["spread_samples"] = [row for one in spreads for row in sample_rows(one)]
        frames["spread_measures"] = measure_rows(spreads, measures)
        frames["spread_sobol"] = [row for one in spreads for row in sobol_rows(one)] if spec.sobol else []
        frames["spread_exact"] = [row for one in spreads for row in exact_rows(one, spec.exact, solver)]
    return frames


def band_row(spread: Spread, best: tuple[str, float], limit: float) -> dict[str, Any]:
    """One row of "spread"; see columns.py."""
    dip, worst, low_swr = (spread.interval(name, 95) for name in ("dip", "worst", "dip_swr"))
    nominal, likely, likely_worst = float(spread.base.dip[0]), spread.interval("dip", 68), spread.interval("worst", 68)
    ranked = sorted(zip(np.abs(spread.shares), spread.joint.values, strict=True), key=lambda s: -s[0])[:3]
    return {
        "band": spread.band.name,
        "dip_mhz": nominal / 1e6,
        "dip_give_khz": spread.half_width("dip") / 1e3,
        "dip_minus_khz": (nominal - likely[0]) / 1e3,
        "dip_plus_khz": (likely[1] - nominal) / 1e3,
        "dip_median_mhz": spread.median("dip") / 1e6,
        "khz_per_metre": _per_metre(spread) / 1e3,
        "dip_low_mhz": dip[0] / 1e6,
        "dip_high_mhz": dip[1] / 1e6,
        "dip_swr_low": low_swr[0],
        "dip_swr_high": low_swr[1],
        "swr_worst": float(spread.base.worst[0]),
        "swr_worst_low": worst[0],
        "swr_worst_high": worst[1],
        "swr_worst_low_68": likely_worst[0],
        "swr_worst_high_68": likely_worst[1],
        "swr_worst_median": spread.median("worst"),
        "chance_under_limit": spread.chance(limit),
        "withheld": spread.withheld,
        "largest": "; ".join(v.name for size, v in ranked if size > 0),
        "largest_khz": "; ".join(f"{size / 1e3:.0f}" for size, v in ranked if size > 0),
        "measure": best[0],
        "measured_give_khz": best[1] / 1e3,
    }


def _per_metre(spread: Spread) -> float:
    """Hz by which a metre of wire moves the dip; nan where the length is taken as known."""
    for one, hz in zip(spread.joint.values, spread.shares, strict=True):
        if one.path == "antenna.length":
            return float(2 * hz / (one.at(1.0) - one.at(-1.0)))
    return math.nan


def part_rows(spread: Spread) -> list[dict[str, Any]]:
    """A row a value, what moves the dip most first."""
    shares = spread.shares / 1e3
    whole = float(np.sum(shares**2)) or 1.0
    rows = []
    for k in np.argsort(-np.abs(shares)):
        one = spread.joint.values[k]
        rows.append({
            "band": spread.band.name, "value": one.path, "part": one.name, "value_and_sd": usual_words(one),
            "moves_khz": float(shares[k]), "share_percent": 100 * float(shares[k] ** 2) / whole,
            "left_percent": 100 * measured_sd(one), "measure": one.measure,
        })  # fmt: skip
    return rows


def usual_words(one: Uncertain) -> str:
    """A value with its give or take in words: "19.80 m, ±0.05 m", "13, ×/÷ 1.4"."""
    kind = quantity_kind(one.path, "spread")
    value = _sized(one.value, kind, 3)
    if one.law == "factor":
        return f"{value}, ±{100 * one.sd:.0f} %" if one.sd < 0.25 else f"{value}, times or over {math.exp(one.sd):.2f}"
    return f"{value}, {'up to +' if one.law == 'one-sided' else '±'}{_sized(one.sd, kind, 2)}"


def _sized(value: float, kind: Kind, digits: int) -> str:
    """A value with its unit, short lengths in mm."""
    return (
        f"{value * 1e3:.{digits}g} mm" if kind is length and abs(value) < 0.01 else quantity_text(value, kind, digits)
    )


def sample_rows(spread: Spread) -> list[dict[str, Any]]:
    s = spread.samples
    return [
        {"band": spread.band.name, "dip_mhz": float(d) / 1e6, "dip_swr": float(low), "swr_worst": float(w)}
        for d, low, w in zip(s.dip, s.dip_swr, s.worst, strict=True)
    ]


def measure_rows(spreads: Sequence[Spread], measures: Sequence[tuple[str, list[float]]]) -> list[dict[str, Any]]:
    """A row a band and measurement."""
    rows = []
    for i, one in enumerate(spreads):
        for what, left in measures:
            rows.append({
                "band": one.band.name, "measure": what, "dip_give_khz": one.half_width("dip") / 1e3,
                "measured_give_khz": left[i] / 1e3,
            })  # fmt: skip
    return rows


def sobol_rows(spread: Spread) -> list[dict[str, Any]]:
    first, total = sobol_shares(spread)
    return [
        {"band": spread.band.name, "value": v.path, "part": v.name, "answer": name, "sobol_first": float(first[j, k]),
         "sobol_total": float(total[j, k])}
        for j, name in enumerate(("dip", "worst SWR")) for k, v in enumerate(spread.joint.values)
    ]  # fmt: skip


def exact_rows(spread: Spread, count: int, solver: Solver) -> list[dict[str, Any]]:
    """Samples solved in full, beside what the model of shifts says of them."""

    rows = []
    offsets = spread.joint.draw(max(count, 1), spread.seed + 1)[:count]
    estimated = spread.at(offsets) if count else None
    for i, u in enumerate(offsets):
        try:
            moved = with_offsets(spread.setup, spread.joint.values, u)
            response = moved.build().solver(solver.remember).response(*window(spread.band))
            row = read_band(spread.band, response, moved.feed_system(), 3.0)
        except (InputError, SolveError):
            continue
        assert estimated is not None
        rows.append({
            "band": spread.band.name, "dip_mhz": row["dip_mhz"], "told_mhz": float(estimated.dip[i]) / 1e6,
            "swr_worst": row["swr_worst"], "told_swr": float(estimated.worst[i]),
        })  # fmt: skip
    return rows


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Nothing of its own: the tables come with every case (see `tables`)."""
    return {}


def check(setup: Setup, study: Study) -> None:
    """Raises InputError for a value named in [spread] that the set-up does not have."""
    study.options["spread"].joint(setup)


def plots(result: Result) -> dict[str, Figure]:
    from tautwire.studies.wants.spread.figures import spread_figures

    return spread_figures(result)


WANT = Want("spread", compute, SpreadSpec, findings=findings, plots=plots, check=check)


# --- The give or take of every dip: rows that come with each case of a study of dips or turns, whatever else is
# wanted.


FEW_SAMPLES = 128  # a case, in a study of many
ENOUGH = 24  # cases from which a study is one of many
FREE_OF = ("radio.power", "radio.duty", *AROUND)  # what a dip and an SWR do not depend on


def wanted(study: Study) -> bool:
    """Whether a study's answers carry their give or take."""
    return study.spec.spread and bool({"dips", "turns", "spread"} & set(study.spec.want))


def _samples(study: Study) -> int:
    asked: int = study.options["spread"].samples
    return asked if study.count < ENOUGH else min(asked, FEW_SAMPLES)


def give_rows(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "spread" and "spread_parts" of a case, and its samples."""
    return tables(setup, solver, study, _samples(study))


def depends(study: Study) -> Any:
    want = study.spec.want
    return [study.options["spread"].model_dump(), _samples(study), study.spec.swr_threshold, "spread" in want,
            "turns" in want]  # fmt: skip


GIVE = Want("give", give_rows, depends=depends, free_of=FREE_OF)
