"""tautwire report FILE: a study as one offline page."""

from pathlib import Path

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import CASE_TIMEOUT, FILE, WORKERS, results_folder, said, study_asked
from tautwire.studies.reports.answers import trust
from tautwire.studies.reports.page import write_report
from tautwire.studies.study.files import load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit


@click.command("report")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="Folder for report.html [results/<study>].")
@WORKERS
@CASE_TIMEOUT
def COMMAND(file: Path, fit: Path | None, out: Path | None, workers: int | None, timeout: float) -> None:
    """Write the study in FILE as one offline page; cases that were computed before are not computed again."""
    study = study_asked(with_fit(load_tables(file), fit), file.stem)
    folder = results_folder(out, study.name)
    result = run_shown(study, workers, timeout=timeout)
    path = write_report(result, folder, said("report", file, from_=fit, out=out))
    for line in trust(result):
        click.echo(line)
    click.echo(f"{path} ({path.stat().st_size / 1e6:.2f} MB): open it in any browser, also without a network")
    if result.failed:
        raise click.exceptions.Exit(1)
