"""tautwire fit FILE SWEEP...: fit the set-up to measured sweeps."""

import dataclasses
import time
from pathlib import Path
from typing import Any

import click

from tautwire.model.errors import InputError
from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import (
    FILE,
    OWN_OUT,
    load_reports,
    results_folder,
    said,
    tell_answer,
    write,
)
from tautwire.studies.reports.answers import as_typed, trust
from tautwire.studies.running.pool import Ask, asking_all
from tautwire.studies.running.runner import ahead
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import ALONE, read_study
from tautwire.studies.study import units
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.measurement import PLANES
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.quantities import CUSTOMARY, quantity_text, written
from tautwire.studies.study.raw import FEET, Raw, changed, table_value
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.soil import opened
from tautwire.studies.study.units import FOOT
from tautwire.studies.wants.fit.fitted import FROM, SPREAD, fit_text, posterior, with_fit
from tautwire.studies.wants.fit.made_up_sweeps import made_up
from tautwire.studies.wants.fit.want import FitSpec, measured_of, parameters_of, sentences, tables
from tautwire.studies.wants.local_model import WireModel, quantity_kind
from tautwire.studies.wants.want import Frames

TIMEOUT = 1800.0


@click.command("fit")
@FILE
@click.argument("sweeps", nargs=-1, type=click.Path(path_type=Path), metavar="SWEEP...")
@click.option("--plane", type=click.Choice(PLANES), help="Where the sweeps were taken [radio, or FILE's plane].")
@click.option(
    "--rehearse",
    type=int,
    metavar="SEED",
    help="Make the sweeps up instead, from values drawn at random, to see what such a fit would find.",
)
@FROM
@OWN_OUT
@click.option("--timeout", type=click.FloatRange(min=1), default=TIMEOUT, show_default=True, help="Seconds at most.")
def COMMAND(
    file: Path,
    sweeps: tuple[Path, ...],
    plane: str | None,
    rehearse: int | None,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    timeout: float,
) -> None:
    """Fit the values named in FILE's [fit.parameters] to the SWEEPs (.s1p or .csv), all at once.

    Writes fit.toml, the fitted set-up: use it with --from in other commands.
    """
    raw = with_fit(load_tables(file), fit)
    options: dict[str, Any] = table_at(raw, "fit")
    if plane:
        options["plane"] = plane
    truth: dict[str, float] = {}
    if rehearse is not None:
        if sweeps:
            raise InputError("--rehearse", rehearse, "no sweeps beside it: it makes them up")
        bare = read_study({**raw, "fit": {**options, "sweeps": []}}, file.stem)
        with results_folder(dataclasses.replace(bare, file=str(file)), "fit", out, replace, "rehearse") as rehearsal:
            files, truth = made_up(bare, rehearse, Store())
            sweeps = tuple(rehearsal.put(files))
    if sweeps:
        options["sweeps"] = [str(s) for s in sweeps]
    head = {**table_at(raw, "study"), "want": ["fit"]}
    study = read_study({**raw, "study": head, "fit": options, **ALONE}, file.stem)
    study = dataclasses.replace(study, file=str(file))
    spec: FitSpec = study.options["fit"]
    for measured in measured_of(spec):  # say what is wrong with the files before anything is computed
        click.echo(measured.sweep.how)
    parameters_of(Setup.read(study.raw), spec)
    with results_folder(study, "fit", out, replace) as made:
        began = time.perf_counter()
        store = Store()

        def solved(own: Setup, ask: Ask) -> Frames:
            return tables(own, study, WireModel(store, asking_all(ask, timeout)))

        ahead(study, "fit", store, solved, load_reports)
        result = run_shown(study, 1, None, timeout)
        seconds = time.perf_counter() - began
        command = said("fit", file, *sweeps, plane=plane, from_=fit, out=out)
        tell_answer(*_against(truth, result), *as_typed(result, sentences(result)), *trust(result))
        fitted = []
        if "fit" in result.frames:
            tables_fitted = {**fitted_raw(study.raw, result), SPREAD: posterior(result.frames)}
            fitted = made.put({"fit.toml": fit_text(tables_fitted, outcome(result, command)).encode()})
        written_files = [*write(result, made, command), *fitted]
    if result.failed:
        raise click.exceptions.Exit(1)
    click.echo(f"fitted in {seconds:.1f} s; {len(written_files)} files in {made.folder}")
    click.echo(f"Use it:  tautwire run {file} --from {made.folder / 'fit.toml'}")


def _against(truth: dict[str, float], result: Result) -> list[str]:
    """Made-up truth beside the estimates, in standard deviations."""
    if not truth or "fit" not in result.frames:
        return []
    lines = ["The sweeps were made up. How far each estimate is from the truth:"]
    for _, row in result.frames["fit"].iterrows():
        kind = quantity_kind(row["parameter"], "fit")
        true = truth[row["parameter"]]
        off = (row["estimate"] - true * CUSTOMARY[kind].factor) / row["estimate_sd"]
        lines.append(f"  {row['parameter']}: truth {quantity_text(true, kind)}, off by {off:+.1f} standard deviations")
    return lines


def fitted_raw(raw: Raw, result: Result) -> Raw:
    """The study's set-up (texts) with the fitted values written in."""
    new = raw
    for _, row in result.frames["fit"].iterrows():
        path = row["parameter"]
        kind = quantity_kind(path, "fit")
        if path.startswith("site.soil."):
            new = changed(new, "site.soil", opened(table_value(new, "site.soil") or "average soil", path))
        feet = kind is units.length and FEET.search(str(table_value(new, path)))
        text = f"{row['estimate'] / FOOT:.6g} ft" if feet else written(row["estimate"], kind, 6)
        new = changed(new, path, text)
    return new


def outcome(result: Result, command: str) -> dict[str, Any]:
    """The [fit_result] table."""
    rows = result.frames["fit"]
    return {
        "command": command,
        "estimates": {
            row["parameter"]: {
                "value": float(row["estimate"]), "sd": float(row["estimate_sd"]), "unit": row["unit"],
            }
            for _, row in rows.iterrows()
        },
        "notes": as_typed(result, sentences(result)),
    }  # fmt: skip
