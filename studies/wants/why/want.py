"""Want "why": causes of a dip's move, ranked by how small a change explains all bands at once."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import Field, field_validator, model_validator

from tautwire.model.errors import InputError
from tautwire.model.solve.solver import Remember, Solver
from tautwire.studies.study.files import is_file
from tautwire.studies.study.measurement import PLANES, read_sweeps
from tautwire.studies.study.parts import HIDDEN, Part, entry
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import Frequency, Number
from tautwire.studies.wants.want import AskMany, Frames, Want
from tautwire.studies.wants.why.causes import Cause
from tautwire.studies.wants.why.ranking import (
    DIP_ERROR,
    GAMMA_ERROR,
    Shift,
    Why,
    check_errors,
    explain,
    shift_of,
    shifts_between,
)
from tautwire.studies.wants.why.words import findings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result


NOTHING_SEEN = (
    'a dip that moved, --was "14.16 MHz" --now "14.05 MHz", or sweeps, --before monday.s1p --after friday.s1p; in the '
    'file moves = [{ was = "14.16 MHz", now = "14.05 MHz" }], or before and after'
)


class MoveSpec(Part):
    """A dip that moved."""

    was: Frequency = entry("where the dip was", "14.16 MHz", "1.8 to 54 MHz", default=...)
    now: Frequency = entry("where it is now", "14.05 MHz", "1.8 to 54 MHz", default=...)
    band: str = entry("its band, if that is not plain", "20 m", "a name of `tautwire list bands`", default="")
    was_swr: Number = entry("SWR at the dip before", 1.4, "1 or more", default=float("nan"))
    now_swr: Number = entry("SWR at the dip now", 1.9, "1 or more", default=float("nan"))


class WhySpec(Part):
    """[why]: what was seen, as dips that moved or as sweeps. contents: digest of the files."""

    moves: tuple[MoveSpec, ...] = entry("dips that moved", [{"was": "14.16 MHz", "now": "14.05 MHz"}], default=())
    before: tuple[str, ...] = entry(
        "sweep files from before, instead of moves", ["monday.s1p"], "Touchstone one-port or tables", default=()
    )
    after: tuple[str, ...] = entry("sweep files from now", ["friday.s1p"], "Touchstone one-port or tables", default=())
    plane: str = entry("where the SWR was read", "radio", '"radio" or "transformer"', default="radio")
    dip_error: Number = entry("error of a dip's frequency, as a fraction", 0.002, "above 0", default=DIP_ERROR)
    gamma_error: Number = entry(
        "error of the size of the reflection coefficient at a dip", 0.05, "above 0", default=GAMMA_ERROR
    )
    exclude: tuple[str, ...] = entry("words in the names of causes that cannot be", ["length of the coax"], default=())
    contents: str = Field("", validation_alias=HIDDEN)

    @field_validator("plane")
    @classmethod
    def _plane(cls, value: str) -> str:
        if value not in PLANES:
            raise InputError("why.plane", repr(value), "'radio' or 'transformer'")
        return value

    @model_validator(mode="before")
    @classmethod
    def _files(cls, given: Any) -> Any:
        if not isinstance(given, Mapping):
            return given
        digest = hashlib.sha256()
        lists = [given.get(k) for k in ("before", "after")]
        files = [Path(str(f)) for names in lists if isinstance(names, list | tuple) for f in names]
        for path in files:
            digest.update(path.read_bytes() if is_file(path) else b"")
        return {**given, HIDDEN: digest.hexdigest() if files else ""}


def shifts_of(spec: WhySpec, region: object) -> tuple[Shift, ...]:
    """What was seen. Raises InputError if nothing is given, or sweeps on one side only."""
    moved = [shift_of(m.was, m.now, m.band, m.was_swr, m.now_swr, region) for m in spec.moves]
    if bool(spec.before) != bool(spec.after):
        raise InputError("why.after" if spec.before else "why.before", "none", "sweeps from before and from after")
    if spec.before:
        before, after = ([s for f in files for s in read_sweeps(f, spec.plane)] for files in (spec.before, spec.after))
        moved += shifts_between(before, after, region)
    if not moved:
        raise InputError("why.moves", "nothing", NOTHING_SEEN)
    return tuple(moved)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "why" (a row a cause, best first), "why_parts" (a row a single cause of each), "why_bands" (a row a cause
    and band), "why_next" (a row a band that would tell the two likeliest apart, the most telling first), "why_wire"
    (how much wire brings the dips back) and "why_failed" (what could not be tried)."""
    return tables(setup, study, solver.remember)


def tables(setup: Setup, study: Study, remember: Remember, ask: AskMany | None = None) -> Frames:
    """See `compute`. ask: see ranking.explain."""
    spec: WhySpec = study.options["why"]
    shifts = shifts_of(spec, study.spec.region)
    found = explain(setup, shifts, spec.dip_error, spec.gamma_error, spec.plane, remember, spec.exclude, ask,
                    study.bands)  # fmt: skip
    return why_tables(found, study.lengths)


def why_tables(found: Why, lengths: str = "metric") -> Frames:
    """What was found as rows. lengths: what lengths in columns of words are written in."""
    rows, parts, bands = [], [], []
    for rank, e in enumerate(found.explanations, 1):
        rows.append({
            "rank": rank, "cause": e.cause.name,
            "change": e.cause.words(e.change).text(lengths) if e.change else "no such change moves them this way",
            "usual": "" if e.pair else e.cause.words(1.0).text(lengths), "usual_changes": e.change, "misfit": e.chi2,
            "cause_chance": e.chance, "explains": e.explains, "at_end": e.at_end,
            "undo": e.cause.undo(e.change).text(lengths) if e.change else "",
        })  # fmt: skip
        for cause, c in e.cause.at(e.change):
            parts.append({"rank": rank, "cause": cause.name, "usual_changes": c, **amounts(cause, c)})
        for shift, base, dip_hz, low in zip(found.shifts, found.base_hz, e.told_hz, e.told_swr, strict=True):
            bands.append({
                "cause": e.cause.name, "band": shift.band, "was_mhz": shift.was_hz / 1e6,
                "now_mhz": shift.now_hz / 1e6, "told_mhz": dip_hz / 1e6, "told_swr": low,
                "off_khz": (dip_hz - shift.now_hz) / 1e3, "was_swr": shift.was_swr, "now_swr": shift.now_swr,
                "base_mhz": base / 1e6,
            })  # fmt: skip
    apart = [
        {"cause": a.first, "other_cause": a.second, "band": a.band, "was_mhz": a.was_hz / 1e6,
         "told_mhz": a.first_hz / 1e6, "other_mhz": a.second_hz / 1e6, "odds": a.odds}
        for a in found.apart
    ]  # fmt: skip
    failed = [{"cause": name, "reason": reason} for name, reason in found.failed.items()]
    return {
        "why": rows,
        "why_parts": parts,
        "why_bands": bands,
        "why_next": apart,
        "why_wire": wire_rows(found),
        "why_failed": failed,
    }


def amounts(cause: Cause, c: float) -> dict[str, float]:
    """The numbers of a change in words: columns "amount" and "further", SI; NaN where there is none."""
    values = [n.value for n in cause.words(c).numbers] if c else []
    return dict(zip(("amount", "further"), [*values, math.nan, math.nan], strict=False))


def wire_rows(why: Why) -> list[dict[str, Any]]:
    """The row of "why_wire": the change of wire that brings the dips back, and the band that then stays furthest off;
    none if the wire's effect could not be computed."""
    shift = np.array([math.log(s.now_hz / s.was_hz) for s in why.shifts])
    if np.isnan(why.wire).any() or not np.any(why.wire):
        return []
    c = float(-(shift @ why.wire) / (why.wire @ why.wire))
    left = shift + c * why.wire
    worst = int(np.abs(left).argmax())
    return [{
        "cause": why.wire_cause.name, "usual_changes": -c, **amounts(why.wire_cause, -c),
        "band": why.shifts[worst].band, "stays_khz": abs(left[worst]) * why.shifts[worst].was_hz / 1e3,
    }]  # fmt: skip


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.why.figures import why_figures

    return why_figures(result, size)


def depends(study: Study) -> list[Any]:
    """What the rows depend on besides the set-up."""
    return [study.options["why"].model_dump(), study.spec.region]


def check(setup: Setup, study: Study) -> None:
    """Raises InputError if nothing was seen, or without error."""
    spec: WhySpec = study.options["why"]
    shifts_of(spec, study.spec.region)
    check_errors(spec.dip_error, spec.gamma_error)


WANT = Want(
    "why", compute, WhySpec, findings=findings, plots=plots, sized=True, by_band=False, depends=depends, check=check
)
