"""Want "fit": uncertain values of the set-up fitted to measured sweeps, with their confidence, in tables and words."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import Field, field_validator, model_validator

from tautwire.model.errors import InputError
from tautwire.model.reflection import swr_of
from tautwire.model.solve.smooth_matrices import SPANS
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.measurement import PLANES, Sweep, read_sweeps
from tautwire.studies.study.parts import HIDDEN, Part
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import SHOWN, Study
from tautwire.studies.study.units import Number
from tautwire.studies.wants.fit.fitting import LEAST_ERROR, Fit, fit
from tautwire.studies.wants.fit.search import Measured, Parameter
from tautwire.studies.wants.fit.words import notes
from tautwire.studies.wants.local_model import TEXT_UNITS, quantity_kind, value_at
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

SDS = 4  # a prior's range, if none is given, in standard deviations either side
POSITIVE = 1e-4  # of the prior: the least value of a length or another quantity that cannot be negative


class ParameterSpec(Part):
    """What is known of a value, SI: prior (default: the set-up's) give or take sd; low and high bound it."""

    prior: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None


class SweepSpec(Part):
    """A sweep's file, where it was taken (default: [fit] plane), and what was different in its set-up, SI."""

    file: str
    plane: str | None = None
    change: dict[str, float] = {}

    @field_validator("change", mode="before")
    @classmethod
    def _read(cls, given: Any) -> dict[str, float]:
        return {path: quantity_kind(path, "change")(value, path) for path, value in _flat(given).items()}


class FitSpec(Part):
    """[fit]: sweeps, plane ("radio" or "transformer"), error (least error of gamma), and [fit.parameters].

    A parameter: "antenna.length" = { prior = "20.1 m", sd = "0.2 m", from = "19 m", to = "21 m" }; sd, or from and to,
    are needed. File names are relative to where tautwire runs. contents: digest of the files.
    """

    sweeps: tuple[SweepSpec, ...] = ()
    plane: str = "radio"
    error: Number = LEAST_ERROR
    parameters: dict[str, ParameterSpec] = {}
    contents: str = Field("", validation_alias=HIDDEN)

    @field_validator("plane")
    @classmethod
    def _plane(cls, value: str) -> str:
        if value not in PLANES:
            raise InputError("fit.plane", repr(value), "'radio' or 'transformer'")
        return value

    @field_validator("parameters", mode="before")
    @classmethod
    def _parameters(cls, given: Any) -> dict[str, Any]:
        return {path: _parameter(path, spec) for path, spec in _flat(given, ("prior", "sd", "from", "to")).items()}

    @model_validator(mode="before")
    @classmethod
    def _files(cls, given: Any) -> Any:
        if not isinstance(given, Mapping) or not isinstance(given.get("sweeps", ()), list | tuple):
            return given
        sweeps = [{"file": s} if isinstance(s, str) else s for s in given.get("sweeps", ())]
        digest = hashlib.sha256()
        for sweep in sweeps:
            path = Path(str(sweep.get("file", "")) if isinstance(sweep, Mapping) else "")
            digest.update(path.read_bytes() if path.is_file() else b"")
        return {**given, "sweeps": sweeps, HIDDEN: digest.hexdigest() if sweeps else ""}


def _flat(given: Any, ends: tuple[str, ...] = (), prefix: str = "") -> dict[str, Any]:
    """Dotted path -> value, whether written "antenna.length" = ... or antenna.length = ..."""
    if not isinstance(given, Mapping):
        raise InputError("fit", repr(given), "a table of dotted keys of the set-up")
    out: dict[str, Any] = {}
    for key, value in given.items():
        if isinstance(value, Mapping) and not set(value) & set(ends):
            out.update(_flat(value, ends, f"{prefix}{key}."))
        else:
            out[prefix + key] = value
    return out


def _parameter(path: str, given: Any) -> ParameterSpec:
    name = f"fit.parameters.{path}"
    kind = quantity_kind(path, name)
    if isinstance(given, ParameterSpec):
        return given
    if not isinstance(given, Mapping) or not set(given) <= {"prior", "sd", "from", "to"}:
        raise InputError(name, repr(given), "a table of prior, sd, from and to")
    value = {k: kind(v, f"{name}.{k}") for k, v in given.items()}
    if "sd" not in value and not {"from", "to"} <= set(value):
        raise InputError(name, repr(dict(given)), "sd (how far off it may be), or from and to")
    return ParameterSpec(prior=value.get("prior"), sd=value.get("sd"), low=value.get("from"), high=value.get("to"))


def parameters_of(setup: Setup, spec: FitSpec) -> tuple[Parameter, ...]:
    """The parameters with their starts and ranges. Raises InputError if one has no start."""
    out = []
    for path, p in spec.parameters.items():
        start = value_at(setup, path) if p.prior is None else p.prior
        if start is None and p.low is not None and p.high is not None:
            start = (p.low + p.high) / 2
        if start is None:
            raise InputError(f"fit.parameters.{path}.prior", "nothing", "a prior: the set-up leaves this value open")
        reach = math.inf if p.sd is None else SDS * p.sd
        low = max(start - reach, POSITIVE * start) if start > 0 else start - reach
        low, high = low if p.low is None else p.low, start + reach if p.high is None else p.high
        start = min(max(start, low), high)
        out.append(Parameter(path, start, low, high, start if p.sd is not None else None, p.sd))
    return tuple(out)


def measured_of(spec: FitSpec) -> tuple[Measured, ...]:
    """The sweeps, cut to what the solver covers. Raises InputError for files that cannot be read."""
    if not spec.sweeps:
        raise InputError("fit.sweeps", "none", "one measured sweep or more (.s1p or .csv)")
    out: list[Measured] = []
    for s in spec.sweeps:
        out += [_cut(sweep, s) for sweep in read_sweeps(s.file, s.plane or spec.plane)]
    return tuple(out)


def _cut(sweep: Sweep, spec: SweepSpec) -> Measured:
    """The sweep where the solver covers it."""
    inside = (sweep.f_hz >= SPANS[0].lower) & (sweep.f_hz <= SPANS[-1].upper)
    if inside.sum() < 3:
        raise InputError(f"{sweep.name}: frequency", f"{sweep.f_hz[0] / 1e6:g} MHz and up", "1.6 to 60 MHz")
    gamma = None if sweep.gamma is None else sweep.gamma[inside]
    cut = replace(sweep, f_hz=sweep.f_hz[inside], swr=sweep.swr[inside], gamma=gamma)
    return Measured(cut, spec.change)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "fit" (a row a parameter), "fit_sweeps", "fit_points" and "fit_notes"."""
    spec: FitSpec = study.options["fit"]
    found = fit(setup, measured_of(spec), parameters_of(setup, spec), spec.error, solver.remember)
    return {**tables(found), "fit_notes": [{"note": n} for n in notes(found, spec.error)]}


def tables(found: Fit) -> Frames:
    """The fit's numbers as rows."""
    rows = []
    for i, p in enumerate(found.parameters):
        kind = quantity_kind(p.path, "fit")
        factor = SHOWN[kind][2]
        others = [j for j in range(len(found.sd)) if j != i]
        k = max(others, key=lambda j: abs(found.correlation[i, j]), default=i)
        rows.append({
            "parameter": p.path,
            "unit": TEXT_UNITS.get(kind, ""),
            "start": p.start * factor,
            "prior_sd": math.nan if p.sd is None else p.sd * factor,
            "estimate": float(found.estimate[i]) * factor,
            "estimate_sd": float(found.sd[i]) * factor,
            "lowest": p.low * factor,
            "highest": p.high * factor,
            "most_correlated": "" if k == i else found.parameters[k].path,
            "correlation": math.nan if k == i else float(found.correlation[i, k]),
        })  # fmt: skip
    sweeps, points = [], []
    for j, m in enumerate(found.measured):
        s = m.sweep
        sweeps.append({
            "sweep": s.name, "plane": s.plane, "points": len(s.f_hz), "noise": found.scatter[j],
            "residual_rms": found.rms[j], "other_plane_ratio": found.other_plane,
        })  # fmt: skip
        left = m.difference(found.model[j])
        fitted, before = swr_of(found.model[j]), swr_of(found.start_model[j])
        for i, f in enumerate(s.f_hz):
            points.append({
                "sweep": s.name, "f_mhz": float(f) / 1e6, "swr_measured": float(s.swr[i]),
                "swr_fitted": float(fitted[i]), "swr_start": float(before[i]),
                "residual_re": float(left[i].real), "residual_im": float(left[i].imag),
            })  # fmt: skip
    return {"fit": rows, "fit_sweeps": sweeps, "fit_points": points}


def sentences(result: Result) -> list[str]:
    """What was found and how far to trust it."""
    table = result.frames.get("fit_notes")
    return [] if table is None else list(table["note"])


def plots(result: Result) -> dict[str, Figure]:
    from tautwire.studies.wants.fit.figures import fit_figures

    return fit_figures(result)


WANT = Want("fit", compute, FitSpec, sentences=sentences, plots=plots)
