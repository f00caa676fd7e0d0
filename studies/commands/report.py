"""tautwire report FILE: a study as one offline page."""

from pathlib import Path

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import (
    CASE_TIMEOUT,
    FILE,
    REPLACE,
    WORKERS,
    question_shown,
    results_folder,
    said,
    study_asked,
)
from tautwire.studies.reports.answers import trust
from tautwire.studies.reports.page import report
from tautwire.studies.study.files import PAGE, load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit


@click.command("report")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="Folder for report.html [results/<study>].")
@REPLACE
@WORKERS
@CASE_TIMEOUT
def COMMAND(file: Path, fit: Path | None, out: Path | None, replace: bool, workers: int | None, timeout: float) -> None:
    """Write the study in FILE as one offline page; cases that were computed before are not computed again."""
    study = study_asked(with_fit(load_tables(file), fit), file)
    question = question_shown(study)
    with results_folder(study, question, out, replace, "report") as made:
        result = run_shown(study, workers, timeout=timeout)
        page = report(result, said("report", file, from_=fit, out=out)).encode()
        (path,) = made.put({PAGE: page})
    for line in trust(result):
        click.echo(line)
    click.echo(f"{path} ({len(page) / 1e6:.2f} MB): open it in any browser, also without a network")
    if result.failed:
        raise click.exceptions.Exit(1)
