"""tautwire choose FILE: which of many possible set-ups serves best."""

import dataclasses
import math
from pathlib import Path

import click

from tautwire.studies.commands.shared import (
    ALL,
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
from tautwire.studies.reports.answers import told
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import table_of
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.result import Result
from tautwire.studies.wants.choose.candidates import read_problem
from tautwire.studies.wants.choose.words import AIM_WORDS, FORMS_OF
from tautwire.studies.wants.fit.fitted import FROM, with_fit

SHOWN = (
    ("highest SWR", "swr_highest", "SWR"), ("holds in", "chance_percent", "chance"), ("wire out", "wire_m", "length"),
    ("highest point", "highest_m", "length"),
    *((words, column, FORMS_OF[name]) for name, (words, _, column, _) in AIM_WORDS.items() if name != "swr"),
)  # fmt: skip
EXIT_STOPPED = 130  # as a shell says of what Ctrl-C ended


def choices_text(result: Result) -> str:
    """The choices side by side as aligned text, a column each."""
    rows, problem = table_of(result, "choices"), read_problem(result.study, result.study.cases()[0].raw)
    knobs = [(k.label or "layout", k.column, "" if k.is_words else k.form) for k in problem.knobs]
    known = {column for _, column, _ in knobs}
    known |= {"wire_m"} if "length_m" in known else set()
    lines = [("", *(f"choice {r['choice']}" for r in rows))]
    for name, column, form in (*knobs, *(shown for shown in SHOWN if shown[1] not in known)):
        if all(column in r and not (form and math.isnan(r[column])) for r in rows):
            cells = (r.number(column, form).text(result.study.lengths) if form else str(r[column]) for r in rows)
            lines.append((name, *cells))
    return aligned(lines, "<>")


@click.command("choose")
@FILE
@FROM
@OWN_OUT
@WORKERS
@ALL
def COMMAND(
    file: Path, fit: Path | None, out: Path | None, replace: bool, workers: int | None, everything: bool
) -> None:
    """Choose among all set-ups that FILE's [choose] table allows: how long, how high, what to carry.

    Writes each choice as a study file ready to run. Ctrl-C ends the search and gives the best so far.
    """
    raw = set_up_alone(with_fit(load_tables(file), fit), "choose")
    study = read_study({**raw, "study": {**table_at(raw, "study"), "want": ["choose"]}}, file.stem)
    study = dataclasses.replace(study, file=str(file))
    with results_folder(study, "choose", out, replace) as made:
        with progress_bar("candidates solved") as tell:
            result = choose(study, workers, progress=tell, meanwhile=load_reports)
        tell_answer(told(result, [choices_text(result)], everything=everything))
        written = write(result, made, said("choose", file, from_=fit, out=out), store=Store())
    solved = result.frames["choices_solved"]["solved"].sum()
    click.echo(f"{solved} set-ups solved; {len(written)} files in {made.folder}")
    if result.frames["choices_solved"]["stopped"].any():
        raise click.exceptions.Exit(EXIT_STOPPED)
    if result.failed:
        raise click.exceptions.Exit(1)
