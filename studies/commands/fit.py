"""tautwire fit FILE SWEEP...: fit the set-up to measured sweeps."""

import dataclasses
import math
import time
from collections.abc import Mapping
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
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import CUSTOMARY
from tautwire.studies.wants.fit.fitted import FROM, fit_text, fitted, with_fit
from tautwire.studies.wants.fit.want import made_up, measured_of
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
        tell_answer(told(result, values_text(result, truth), everything=everything))
        written: list[Path] = []
        if "fit" in result.frames:
            written = made.put({"fit.toml": fit_text(fitted(result), outcome(result, command)).encode()})
        written += write(result, made, command)
    if result.failed:
        raise click.exceptions.Exit(1)
    click.echo(f"fitted in {seconds:.1f} s; {len(written)} files in {made.folder}")
    click.echo(f"Use it:  tautwire run {file} --from {made.folder / 'fit.toml'}")


def values_text(result: Result, truth: Mapping[str, float]) -> list[str]:
    """The table "fit" as aligned text: what each value was taken for, and what the sweeps make of it. truth: what
    made-up sweeps were made of, in SI; none for others."""
    lines = [("value", "as the set-up has it", "fitted", "\u00b1, one sd", *(("truth", "off, in sd") if truth else ()))]
    for row in table_of(result, "fit"):
        prior = NOTHING if math.isnan(row["prior_sd"]) else say(" \u00b1 {sd}", sd=quantity(row, "prior_sd"))
        estimate = quantity(row, "estimate")
        words = [
            say("{start}{prior}", start=quantity(row, "start"), prior=prior),
            estimate,
            quantity(row, "estimate_sd"),
        ]
        cells = [w.text(result.study.lengths) for w in words]
        if truth:
            true = truth[row["parameter"]] * CUSTOMARY[quantity_kind(row["parameter"], "fit")].factor
            number = dataclasses.replace(estimate.numbers[0], value=true)
            cells += [number.text(result.study.lengths), f"{(row['estimate'] - true) / row['estimate_sd']:+.1f}"]
        lines.append((row["parameter"], *cells))
    said = ["The sweeps were made up: truth is what they were made of."] if truth else []
    return [*said, aligned(lines, "<<")] if len(lines) > 1 else []


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
