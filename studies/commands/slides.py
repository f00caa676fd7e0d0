"""tautwire slides FILE: a study as a slide deck."""

from pathlib import Path

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import FILE, WORKERS, study_asked
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import check_file, load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit


@click.command("slides")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="The .pptx to write [results/<study>/slides.pptx].")
@WORKERS
def COMMAND(file: Path, fit: Path | None, out: Path | None, workers: int | None) -> None:
    """Make slides (.pptx) of the study in FILE; cases solved before are read, not computed."""
    from tautwire.model.errors import InputError
    from tautwire.studies.reports.slides import slides

    study = study_asked(with_fit(load_tables(file), fit), file.stem)
    path = out or Path("results") / study.name / "slides.pptx"
    if path.suffix.lower() != ".pptx":
        raise InputError("out", path, "a file name that ends in .pptx")
    check_file(path)
    result = run_shown(study, workers)
    slides(result, path, Store())
    click.echo(f"slides in {path}")
    if result.failed:
        raise click.exceptions.Exit(1)
