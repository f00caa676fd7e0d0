"""tautwire slides FILE: a study as a slide deck."""

from pathlib import Path

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import (
    FILE,
    REPLACE,
    WORKERS,
    question_shown,
    results_file,
    results_of,
    study_asked,
)
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit

NAME = "slides.pptx"


@click.command("slides")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="The .pptx to write [results/<study>/slides.pptx].")
@click.option("--handout", is_flag=True, help="Also write one A4 page to hand out, a PDF beside the slides.")
@REPLACE
@WORKERS
def COMMAND(file: Path, fit: Path | None, out: Path | None, handout: bool, replace: bool, workers: int | None) -> None:
    """Make slides (.pptx) of the study in FILE; cases solved before are read, not computed."""
    from tautwire.model.errors import InputError
    from tautwire.studies.reports.slides import slides

    study = study_asked(with_fit(load_tables(file), fit), file)
    if out and out.suffix.lower() != ".pptx":
        raise InputError("out", out, "a file name that ends in .pptx")
    path = out or results_of(study, question_shown(study)) / NAME
    with results_file(study, NAME, question_shown(study), out, replace, "slides") as made:
        result = run_shown(study, workers)
        files = {path.name: slides(result, Store())}
        if handout:
            from tautwire.studies.reports.handout import handout as page_of

            files[f"{path.stem}-handout.pdf"] = page_of(result, Store())
        made.put(files)
    click.echo(f"slides in {path}")
    if handout:
        click.echo(f"handout in {path.with_name(f'{path.stem}-handout.pdf')}")
    if result.failed:
        raise click.exceptions.Exit(1)
