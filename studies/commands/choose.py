"""tautwire choose FILE: which of many possible set-ups serves best."""

import dataclasses
from pathlib import Path

import click

from tautwire.studies.commands.shared import (
    FILE,
    OWN_OUT,
    WORKERS,
    aligned,
    load_reports,
    progress_bar,
    results_folder,
    said,
    set_up_alone,
    tell_answer,
    write,
)
from tautwire.studies.questions.choose import choose
from tautwire.studies.reports.answers import sentences, trust
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.cells import cell_text
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.result import Result
from tautwire.studies.wants.fit.fitted import FROM, with_fit

EXIT_STOPPED = 130  # as a shell says of what Ctrl-C ended


def choices_text(result: Result) -> str:
    """The choices side by side as aligned text, a column each."""
    table = result.frames["choices"]
    left_out = {"choice", "why", "gives_up", "misses", *result.axis_columns}
    shown = [c for c in table if c not in left_out and table[c].notna().any()]
    lines = [("", *(f"choice {n}" for n in table["choice"]))]
    lines += [(str(c), *(cell_text(v) if isinstance(v, float) else str(v) for v in table[c])) for c in shown]
    return aligned(lines, "<>")


@click.command("choose")
@FILE
@FROM
@OWN_OUT
@WORKERS
def COMMAND(file: Path, fit: Path | None, out: Path | None, replace: bool, workers: int | None) -> None:
    """Choose among all set-ups that FILE's [choose] table allows: how long, how high, what to carry.

    Writes each choice as a study file ready to run. Ctrl-C ends the search and gives the best so far.
    """
    raw = set_up_alone(with_fit(load_tables(file), fit), "choose")
    study = read_study({**raw, "study": {**table_at(raw, "study"), "want": ["choose"]}}, file.stem)
    study = dataclasses.replace(study, file=str(file))
    with results_folder(study, "choose", out, replace) as made:
        with progress_bar("candidates solved") as tell:
            result = choose(study, workers, progress=tell, meanwhile=load_reports)
        tell_answer(choices_text(result), *sentences(result), *trust(result))
        written = write(result, made, said("choose", file, from_=fit, out=out), store=Store())
    solved = result.frames["choices_solved"]["solved"].sum()
    click.echo(f"{solved} set-ups solved; {len(written)} files in {made.folder}")
    if result.frames["choices_solved"]["stopped"].any():
        raise click.exceptions.Exit(EXIT_STOPPED)
    if result.failed:
        raise click.exceptions.Exit(1)
