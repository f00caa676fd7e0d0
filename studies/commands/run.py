"""tautwire run FILE: compute a study."""

from pathlib import Path

import click

from tautwire.studies.commands.shared import CASE_TIMEOUT, FILE, OUT, WORKERS, progress_bar, results_folder, said
from tautwire.studies.reports.answers import sentences, trust
from tautwire.studies.reports.folder import write
from tautwire.studies.running.runner import TIMEOUT, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.wants.fit.fitted import FROM, with_fit


def run_shown(
    study: Study, workers: int | None = None, scheduler: str | None = None, timeout: float = TIMEOUT
) -> Result:
    """Run a study with a progress bar on standard error."""
    with progress_bar("cases") as bar:
        task = bar.add_task(study.name, total=None)
        return run(
            study, Store(), workers, timeout, scheduler,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )  # fmt: skip


@click.command("run")
@FILE
@FROM
@OUT
@WORKERS
@CASE_TIMEOUT
@click.option("--scheduler", metavar="ADDRESS", help="Use the Dask cluster at ADDRESS.")
@click.option("--animate", "animated", is_flag=True, help="Also write dip.gif, the first band's dip on its walk.")
def COMMAND(
    file: Path,
    fit: Path | None,
    out: Path | None,
    workers: int | None,
    timeout: float,
    scheduler: str | None,
    animated: bool,
) -> None:
    """Compute the study in FILE and write tables, plots and a summary."""
    study = read_study(with_fit(load_tables(file), fit), file.stem)
    if animated:
        from tautwire.studies.wants.dips.animation import (  # with the drawing library, which other runs may spare
            animate,
            animated_axis,
        )

        animated_axis(study)
    folder = results_folder(out, study.name)
    result = run_shown(study, workers, scheduler, timeout)
    written = write(result, folder, said("run", file, from_=fit, out=out), store=Store())
    if animated:
        written.append(animate(result, folder / "dip.gif"))
    for line in [*sentences(result), *trust(result)]:
        click.echo(line)
    solved = study.count - len(result.failed)
    click.echo(
        f"{solved} cases in {result.seconds:.1f} s ({result.cached} from the store); {len(written)} files in {folder}"
    )
    if result.failed:
        raise click.exceptions.Exit(1)
