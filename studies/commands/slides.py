"""tautwire slides FILE: a study as a slide deck."""

from pathlib import Path

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import FILE, WORKERS
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import ALONE, read_study
from tautwire.studies.study.files import check_file, load_tables
from tautwire.studies.study.parts import table_at
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

    tables = with_fit(load_tables(file), fit)
    if "why" in tables and "want" not in table_at(tables, "study"):  # as the why command does
        head = {**table_at(tables, "study"), "want": ["why"]}
        tables = {**tables, "study": head, **ALONE}
    study = read_study(tables, file.stem)
    if "turns" in tables and "want" not in table_at(tables, "study"):
        from tautwire.studies.wants.turns.want import with_turn_axis

        study = with_turn_axis(study)
    path = out or Path("results") / study.name / "slides.pptx"
    if path.suffix.lower() != ".pptx":
        raise InputError("out", path, "a file name that ends in .pptx")
    check_file(path)
    result = run_shown(study, workers)
    slides(result, path, Store())
    click.echo(f"slides in {path}")
    if result.failed:
        raise click.exceptions.Exit(1)
