"""tautwire fit FILE SWEEP...: fit the set-up to measured sweeps."""

import dataclasses
import math
import time
from pathlib import Path
from typing import Any

import click

from tautwire.model.errors import InputError
from tautwire.studies.commands.shared import (
    ALL,
    FILE,
    OWN_OUT,
    aligned,
    load_reports,
    progress_bar,
    results_folder,
    said,
    tell_answer,
    write,
)
from tautwire.studies.questions.fit import fit_study, run_fit
from tautwire.studies.questions.shared import LONG
from tautwire.studies.reports.answers import sentences, told
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import NOTHING, say, table_of
from tautwire.studies.study.measurement import PLANES
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.quantities import CUSTOMARY, quantity_text
from tautwire.studies.study.result import Result
from tautwire.studies.wants.fit.fitted import FROM, fit_text, fitted, with_fit
from tautwire.studies.wants.fit.made_up_sweeps import made_up
from tautwire.studies.wants.fit.want import measured_of
from tautwire.studies.wants.fit.words import quantity
from tautwire.studies.wants.local_model import quantity_kind


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
@click.option("--timeout", type=click.FloatRange(min=1), default=LONG, show_default=True, help="Seconds at most.")
@ALL
def COMMAND(
    file: Path,
    sweeps: tuple[Path, ...],
    plane: str | None,
    rehearse: int | None,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    timeout: float,
    everything: bool,
) -> None:
    """Fit every value with a usual spread, and those in FILE's [fit.parameters], to SWEEPs (.s1p or .csv), all at once.

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
    study = dataclasses.replace(fit_study({**raw, "fit": options}, name=file.stem), file=str(file))
    for measured in measured_of(study.options["fit"]):
        click.echo(measured.sweep.how)
    with results_folder(study, "fit", out, replace) as made:
        began = time.perf_counter()
        with progress_bar(f"cases of {study.name}") as tell:
            result = run_fit(study, Store(), timeout=timeout, meanwhile=load_reports, progress=tell)
        seconds = time.perf_counter() - began
        command = said("fit", file, *sweeps, plane=plane, from_=fit, out=out)
        tell_answer(told(result, [*values_text(result), *_against(truth, result)], everything=everything))
        written: list[Path] = []
        if "fit" in result.frames:
            written = made.put({"fit.toml": fit_text(fitted(result), outcome(result, command)).encode()})
        written += write(result, made, command)
    if result.failed:
        raise click.exceptions.Exit(1)
    click.echo(f"fitted in {seconds:.1f} s; {len(written)} files in {made.folder}")
    click.echo(f"Use it:  tautwire run {file} --from {made.folder / 'fit.toml'}")


def values_text(result: Result) -> list[str]:
    """The table "fit" as aligned text: what each value was taken for, and what the sweeps make of it."""
    lines = [("value", "as the set-up has it", "fitted", "±, one standard deviation")]
    for row in table_of(result, "fit"):
        prior = math.isnan(row["prior_sd"])
        start = say("{start}{prior}", start=quantity(row, "start"), prior=NOTHING if prior else say(
            " ± {sd}", sd=quantity(row, "prior_sd", "two digits")))  # fmt: skip
        words = (start, quantity(row, "estimate"), quantity(row, "estimate_sd", "two digits"))
        lines.append((row["parameter"], *(w.text(result.study.lengths) for w in words)))
    return [aligned(lines, "<<")] if len(lines) > 1 else []


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
        "notes": sentences(result),
    }  # fmt: skip
