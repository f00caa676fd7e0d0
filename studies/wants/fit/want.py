"""Want "fit": uncertain values of the set-up fitted to measured sweeps, with their confidence, in tables and words."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pydantic import Field, field_validator, model_validator

from tautwire.model.basics import Real, swr_of
from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import SPANS
from tautwire.model.solve.solver import Remember, Solver, compute_always
from tautwire.studies.study.files import is_file
from tautwire.studies.study.measurement import MOST_GAMMA, PLANES, Sweep, read_sweeps, s1p_text
from tautwire.studies.study.parts import HIDDEN, Part, entry, flat
from tautwire.studies.study.raw import usual_of, usual_sd
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import CUSTOMARY, Number, Resistance
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.fit.fitting import LEAST_ERROR, Fit, Measured, Missing, Parameter, fit, missing
from tautwire.studies.wants.fit.words import findings
from tautwire.studies.wants.local_model import (
    KEYS,
    Known,
    WireModel,
    quantity_kind,
    radio_gamma,
    read_known,
    wire_impedance,
    with_values,
)
from tautwire.studies.wants.spread.values import start_of, uncertain
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result


# --- Want "fit": uncertain values of the set-up fitted to measured sweeps.


TERMINAL = "transformer.terminal_capacitance"
LEAST_POINTS = 3  # of a sweep in one of the study's bands or a tenth beyond it
FEED = ("transformer.", "coax.loss_scale")  # what a resistor in the wire's place shows
SDS = 4  # a prior's range, if none is given, in standard deviations either side
POSITIVE = 1e-4  # of the prior: the least value of a length or another quantity that cannot be negative


class SweepSpec(Part):
    """A measured sweep, and what was different in its set-up."""

    file: str = entry(
        "name of the file, seen from where tautwire runs", "monday.s1p", "Touchstone one-port or a table", default=...
    )
    plane: str | None = entry("where it was taken; [fit] plane if left out", "transformer", '"radio" or "transformer"')
    load: Resistance | None = entry(
        "resistor at the transformer's wire terminal in place of the antenna, which measures the transformer",
        "2.4 kohm", "1 ohm to 100 kohm",
    )  # fmt: skip
    change: dict[str, float] = entry(
        "what was different in its set-up", {"antenna.length": "19.4 m"}, "keys of the set-up", default={}
    )

    @field_validator("change", mode="before")
    @classmethod
    def _read(cls, given: Any) -> dict[str, float]:
        return {path: quantity_kind(path, "change")(value, path) for path, value in flat(given).items()}

    @field_validator("load")
    @classmethod
    def _load(cls, ohm: float | None) -> float | None:
        if ohm is not None and not 1 <= ohm <= 1e5:
            raise InputError("fit.sweeps.load", f"{ohm:g} ohm", "from 1 ohm to 100 kohm")
        return ohm


class FitSpec(Part):
    """[fit]: measured sweeps, and the values to find from them.

    The transformer's terminal capacitance is always fitted, as a length can hardly be told from it, unless it is in
    fixed. contents: digest of the files.
    """

    sweeps: tuple[SweepSpec, ...] = entry(
        "measured sweeps: file names, or tables",
        ["monday.s1p", {"file": "tuesday.csv", "plane": "transformer"}],
        default=(),
    )
    free: Literal["named", "usual"] = entry(
        "what is fitted: every value with a usual spread, or only the parameters named",
        "named",
        '"named" or "usual"',
        default="usual",
    )
    fixed: tuple[str, ...] = entry(
        "values that are never fitted", ["transformer.terminal_capacitance"], "keys of the set-up", default=()
    )
    plane: str = entry("where sweeps were taken", "radio", '"radio" or "transformer"', default="radio")
    error: Number = entry("least error of the measured reflection coefficient", 0.01, "above 0", default=LEAST_ERROR)
    parameters: dict[str, Known] = entry(
        "values to fit, by their dotted keys",
        {"antenna.length": {"prior": "20.1 m", "sd": "0.2 m"}},
        "keys of the set-up that are quantities",
        default={},
    )
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
        return {path: _parameter(path, spec) for path, spec in flat(given, KEYS).items()}

    @model_validator(mode="before")
    @classmethod
    def _files(cls, given: Any) -> Any:
        if not isinstance(given, Mapping) or not isinstance(given.get("sweeps", ()), list | tuple):
            return given
        sweeps = [{"file": s} if isinstance(s, str) else s for s in given.get("sweeps", ())]
        digest = hashlib.sha256()
        for sweep in sweeps:
            path = Path(str(sweep.get("file", "")) if isinstance(sweep, Mapping) else "")
            digest.update(path.read_bytes() if is_file(path) else b"")
        return {**given, "sweeps": sweeps, HIDDEN: digest.hexdigest() if sweeps else ""}


def _parameter(path: str, given: Any) -> Known:
    known = read_known(path, given, "fit.parameters")
    if known.sd is None and (known.low is None or known.high is None) and usual_of(path) is None:
        raise InputError(f"fit.parameters.{path}", repr(given), "sd (how far off it may be), or from and to")
    if known.sd == 0:
        raise InputError(f"fit.parameters.{path}.sd", "0", "above 0; list a value that is known under fixed")
    return known


NOT_FREED = (
    "antenna.end_capacitance", "wire.film", "coax.behind", "coax.length", "coax.velocity_scale", "coax.z0_scale",
)  # fmt: skip
"""values that sweeps of a few bands hardly tell from others: fitted only if they are named"""


def freed(setup: Setup, spec: FitSpec) -> dict[str, Known]:
    """The values to fit: every one with a usual spread; with free = "named" those named and the terminal capacitance.

    Sweeps of resistors alone say nothing of wires and soil, so those are left out.
    """
    paths = [v.path for v in uncertain(setup) if v.path not in NOT_FREED]
    if spec.sweeps and all(sweep.load is not None for sweep in spec.sweeps):
        paths = [p for p in paths if p.startswith(FEED)]
    extra = paths if spec.free == "usual" else [p for p in paths if p == TERMINAL]
    known = {**spec.parameters, **{p: Known() for p in extra if p not in spec.parameters}}
    changed = {path for sweep in spec.sweeps for path in sweep.change}
    return {p: k for p, k in known.items() if p not in spec.fixed and (p in spec.parameters or p not in changed)}


def parameters_of(setup: Setup, spec: FitSpec) -> tuple[Parameter, ...]:
    """The parameters with their starts and ranges. Raises InputError if one has no start."""
    parameters, usual = [], {v.path: v for v in uncertain(setup)}
    for path, p in (freed(setup, spec) if spec.parameters or spec.free == "usual" else {}).items():
        start = start_of(setup, path) if p.prior is None else p.prior
        if start is not None and p.sd is None and (p.low is None or p.high is None):
            p = p.model_copy(update={"sd": usual_sd(path, start)})
        if start is None and p.low is not None and p.high is not None:
            start = (p.low + p.high) / 2
        if start is None:
            raise InputError(f"fit.parameters.{path}.prior", "nothing", "a prior: the set-up leaves this value open")
        reach = math.inf if p.sd is None else SDS * p.sd
        low = max(start - reach, POSITIVE * start) if start > 0 else start - reach
        high = start + reach
        if path in usual:  # what the set-up can have at all
            low, high = max(low, usual[path].low), min(high, usual[path].high)
        low, high = low if p.low is None else p.low, high if p.high is None else p.high
        start = min(max(start, low), high)
        parameters.append(Parameter(path, start, low, high, start if p.sd is not None else None, p.sd))
    return tuple(parameters)


def measured_of(spec: FitSpec) -> tuple[Measured, ...]:
    """The sweeps, cut to what the solver covers. Raises InputError for unreadable files and a dummy load."""
    if not spec.sweeps:
        raise InputError("fit.sweeps", "none", "one measured sweep or more (.s1p or .csv)")
    measurements: list[Measured] = []
    for s in spec.sweeps:
        measurements += [_cut(sweep, s) for sweep in read_sweeps(s.file, s.plane or spec.plane)]
    return tuple(measurements)


def parted(measured: Iterable[Measured], bands: Iterable[Band]) -> tuple[list[Measured], list[Measured]]:
    """Sweeps of these bands or of a resistor, and those of others, which are not fitted."""
    windows = [window(b) for b in bands]
    inside: list[Measured] = []
    outside: list[Measured] = []
    for m in measured:
        f = m.sweep.f_hz
        here = m.load is not None or any(((f >= low) & (f <= high)).sum() >= LEAST_POINTS for low, high in windows)
        (inside if here else outside).append(m)
    return inside, outside


def _cut(sweep: Sweep, spec: SweepSpec) -> Measured:
    """The sweep where the solver covers it."""
    if sweep.dummy and spec.load is None:
        raise InputError("fit.sweeps", sweep.name, f"a sweep of the antenna: this one {sweep.dummy}")
    inside = (sweep.f_hz >= SPANS[0].lower) & (sweep.f_hz <= SPANS[-1].upper)
    if inside.sum() < 3:
        raise InputError(f"{sweep.name}: frequency", f"{sweep.f_hz[0] / 1e6:g} MHz and up", "1.6 to 60 MHz")
    gamma = None if sweep.gamma is None else sweep.gamma[inside]
    cut = replace(sweep, f_hz=sweep.f_hz[inside], swr=sweep.swr[inside], gamma=gamma)
    return Measured(cut, spec.change, spec.load)


def check(setup: Setup, study: Study) -> None:
    """Raises InputError if no sweep is of the study's bands."""
    spec: FitSpec = study.options["fit"]
    if spec.sweeps and all(is_file(Path(s.file)) for s in spec.sweeps):
        inside, outside = parted(measured_of(spec), study.bands)
        if not inside:
            names = ", ".join(b.name for b in study.bands)
            sweep = outside[0].sweep
            raise InputError(f"fit.sweeps: {sweep.name}", _range(sweep), f"a sweep of the study's bands: {names}")


def _range(sweep: Sweep) -> str:
    return f"{sweep.f_hz[0] / 1e6:.4g} to {sweep.f_hz[-1] / 1e6:.4g} MHz"


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "fit" (a row a parameter), "fit_sweeps", "fit_points", "fit_correlation", "fit_directions" and, if noise
    does not explain what is left, "fit_missing" (a row a value that was left out and tried) and "fit_instead"."""
    return tables(setup, study, WireModel(solver.remember))


def tables(setup: Setup, study: Study, wires: WireModel) -> Frames:
    """See `compute`. wires: what solves them."""
    spec: FitSpec = study.options["fit"]
    inside, outside = parted(measured_of(spec), study.bands)
    found = fit(setup, inside, parameters_of(setup, spec), spec.error, wires=wires)
    return {**fit_tables(found, outside), **missing_tables(missing(found, spec.error, wires))}


def missing_tables(tried: Sequence[Missing]) -> Frames:
    """Tables "fit_missing", the group that explains most first, and "fit_instead": the fitted values with it freed."""
    rows, instead = [], []
    for m in tried:
        for p, value in zip(m.parameters, m.estimate, strict=True):
            customary = CUSTOMARY[quantity_kind(p.path, "fit")]
            rows.append({
                "left_out": m.name, "parameter": p.path, "unit": customary.unit, "start": p.start * customary.factor,
                "estimate": float(value) * customary.factor, "lowest": p.low * customary.factor,
                "highest": p.high * customary.factor, "explains_percent": 100 * m.share,
            })  # fmt: skip
        for path, value in m.others.items():
            customary = CUSTOMARY[quantity_kind(path, "fit")]
            instead.append({"left_out": m.name, "parameter": path, "unit": customary.unit,
                            "estimate": value * customary.factor})  # fmt: skip
    return {"fit_missing": rows, "fit_instead": instead}


def fit_tables(found: Fit, outside: Iterable[Measured] = ()) -> Frames:
    """The fit's numbers as rows."""
    rows = []
    for i, p in enumerate(found.parameters):
        kind = quantity_kind(p.path, "fit")
        factor = CUSTOMARY[kind].factor
        others = [j for j in range(len(found.sd)) if j != i]
        k = max(others, key=lambda j: abs(found.correlation[i, j]), default=i)
        rows.append({
            "parameter": p.path,
            "unit": CUSTOMARY[kind].unit,
            "start": p.start * factor,
            "prior_sd": math.nan if p.sd is None else p.sd * factor,
            "estimate": float(found.estimate[i]) * factor,
            "estimate_sd": float(found.sd[i]) * factor,
            "lowest": p.low * factor,
            "highest": p.high * factor,
            "scale": p.scale * factor,
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
    pairs = [
        {"parameter": found.parameters[i].path, "with_parameter": found.parameters[j].path,
         "correlation": float(found.correlation[i, j])}
        for i in range(len(rows)) for j in range(i)
    ]  # fmt: skip
    directions = [
        {"direction": k, "parameter": p.path, "weight": float(weight), "strength": strength}
        for k, (weights, strength) in enumerate(found.directions, 1)
        for p, weight in zip(found.parameters, weights, strict=True)
    ]
    unused = [
        {"sweep": m.sweep.name, "sweep_from_mhz": m.sweep.f_hz[0] / 1e6, "sweep_to_mhz": m.sweep.f_hz[-1] / 1e6}
        for m in outside
    ]
    return {"fit": rows, "fit_sweeps": sweeps, "fit_unused": unused, "fit_points": points, "fit_correlation": pairs,
            "fit_directions": directions}  # fmt: skip


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.fit.figures import fit_figures

    return fit_figures(result, size)


WANT = Want("fit", compute, FitSpec, findings=findings, plots=plots, sized=True, check=check, by_band=False)


# --- Sweeps made from a set-up whose true values are known, to test a fit or to rehearse one.


POINTS = 101
NOISE = 0.005  # of each part of gamma


def made_up_sweep(
    setup: Setup,
    f_hz: Real,
    plane: str = "radio",
    noise: float = NOISE,
    rng: np.random.Generator | None = None,
    name: str = "made up",
    remember: Remember = compute_always,
) -> Sweep:
    """What an analyser at `plane` would read at f_hz (n,), Hz, with Gaussian noise on each part of gamma."""
    z = wire_impedance(setup.build().solver(remember), f_hz)
    gamma = radio_gamma(setup, z, f_hz, plane, setup.radio.impedance)
    if rng is not None:
        gamma = gamma + noise * (rng.standard_normal(len(f_hz)) + 1j * rng.standard_normal(len(f_hz)))
    gamma = gamma / np.maximum(np.abs(gamma) / MOST_GAMMA, 1)
    return Sweep.from_gamma(f_hz, gamma, setup.radio.impedance, plane, name)


def made_up(study: Study, seed: int, remember: Remember = compute_always) -> tuple[dict[str, bytes], dict[str, float]]:
    """Sweeps of every band of a study as .s1p files, name -> content, with values drawn from the priors of its
    [fit.parameters], and these true values (SI).

    remember: where matrices are kept.
    """
    spec: FitSpec = study.options["fit"]
    setup = Setup.read(study.raw)
    rng = np.random.default_rng(seed)
    truth = {}
    for p in parameters_of(setup, spec):
        value = p.start + p.scale * rng.standard_normal()
        truth[p.path] = float(np.clip(value, p.low, p.high))
    true = with_values(setup, truth)
    files = {}
    for band in study.bands:
        f = np.linspace(*window(band), POINTS)
        sweep = made_up_sweep(true, f, spec.plane, NOISE, rng, remember=remember)
        name = f"made-up-{band.name.replace(' ', '')}"
        files[f"{name}.s1p"] = s1p_text(sweep, name).encode()
    return files, truth
