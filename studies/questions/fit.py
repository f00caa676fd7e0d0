"""Uncertain values of a set-up fitted to measured sweeps."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from tautwire.studies.questions.shared import LONG, Asked, asking_for, one_case, tables_of
from tautwire.studies.running.pool import Ask, asking_all
from tautwire.studies.running.runner import Progress
from tautwire.studies.running.store import Store
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.fit.want import FitSpec, measured_of, parameters_of, tables
from tautwire.studies.wants.local_model import WireModel
from tautwire.studies.wants.want import Frames


def fit_study(
    raw: Raw,
    sweeps: Iterable[str | Path] = (),
    parameters: Mapping[str, Any] | None = None,
    plane: str | None = None,
    name: str = "fit",
) -> Study:
    """The study that `fit` runs; its sweeps are read and its parameters checked. Raises InputError."""
    options: dict[str, Any] = table_at(raw, "fit")
    if files := [str(s) for s in sweeps]:
        options["sweeps"] = files
    if parameters is not None:
        options["parameters"] = dict(parameters)
    if plane:
        options["plane"] = plane
    study = asking_for(raw, "fit", options, name)
    spec: FitSpec = study.options["fit"]
    measured_of(spec)
    parameters_of(Setup.read(study.raw), spec)
    return study


def run_fit(
    study: Study,
    store: Store,
    workers: int | None = None,
    timeout: float = LONG,
    meanwhile: Callable[[], object] | None = None,
    progress: Progress | None = None,
) -> Result:
    """What `fit_study` asks for."""

    def compute(setup: Setup, ask: Ask) -> Frames:
        return tables(setup, study, WireModel(store, asking_all(ask, timeout)))

    return one_case(study, "fit", compute, store, workers, timeout, meanwhile, progress)


def fit(
    study: Asked,
    sweeps: Iterable[str | Path] = (),
    parameters: Mapping[str, Any] | None = None,
    plane: str | None = None,
    workers: int | None = None,
    store: Store | None = None,
) -> Result:
    """Fit uncertain values of a set-up to measured sweeps, all sweeps at once.

    Parameters
    ----------
    study : mapping or Study
        Tables of a study file: the set-up, and "study" with the bands that the sweeps lie in. What "fit" holds
        (sweeps, parameters, plane ...) counts unless the arguments below replace it.
    sweeps : iterable of str or Path
        Touchstone one-port files (.s1p), or tables of points (.csv).
    parameters : mapping, optional
        Dotted key -> how far off the set-up's value may be: {"antenna.length": {"sd": "20 cm"}}; also prior, from, to.
    plane : str, optional
        Where the sweeps were taken: "radio" (default) or "transformer".
    workers : int, optional
        Processes that solve wires; by default one for each core that may be used. 0 computes in this process.
    store : Store, optional
        Where finished answers are kept and looked up.

    Returns
    -------
    Result
        frames["fit"]: a row per parameter (parameter, unit, start, estimate, estimate_sd, most_correlated ...);
        "fit_correlation", "fit_directions", "fit_sweeps" and "fit_points". `fitted` makes the fitted set-up of it.

    Raises
    ------
    InputError
        For files that cannot be read, values that are not allowed, or fewer points than parameters.
    SolveError
        Where the engine gives no usable answer.

    Notes
    -----
    Nonlinear least squares on the complex reflection coefficient with Gaussian priors; the covariance is the inverse
    of the curvature at the minimum, widened for correlated residuals and for the model's own error
    (`tautwire.studies.wants.fit.fitting`).

    Examples
    --------
    A sweep is made up with `response` of a wire of 10.42 m, and the fit is asked for the length:

    >>> import tautwire, tempfile, pathlib
    >>> setup = {
    ...     "antenna": {"layout": "vertical", "length": "10.3 m"},
    ...     "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    ... }
    >>> true = {**setup, "antenna": {"layout": "vertical", "length": "10.42 m"}}
    >>> sweep = tautwire.response(true, "12.6-15.7 MHz", points=101)
    >>> file = tautwire.write_touchstone(sweep, pathlib.Path(tempfile.mkdtemp()) / "park.s1p")
    >>> tables = {"study": {"bands": ["20 m"]}, **setup}
    >>> result = tautwire.fit(tables, [file], {"antenna.length": {"sd": "20 cm"}}, workers=0)
    >>> print(f"{result.rows('fit')[0]['estimate']:.2f} m")
    10.42 m
    >>> print(tautwire.fitted(result)["antenna"]["length"][:5])
    10.42
    """
    return run_fit(fit_study(tables_of(study), sweeps, parameters, plane), store or Store(), workers)
