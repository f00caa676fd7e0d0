"""tautwire slides FILE: a study as a slide deck."""

from pathlib import Path

import click

from .command_run import run_shown
from .study import load_study


@click.command("slides")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="The .pptx to write [results/<study>/slides.pptx].")
@click.option("--workers", type=click.IntRange(min=0), help="Worker processes [all cores].")
def COMMAND(file: Path, out: Path | None, workers: int | None) -> None:
    """Make slides (.pptx) of the study in FILE; cases solved before are read, not computed."""
    from ..model.errors import InputError
    from .slides import slides

    study = load_study(file)
    path = out or Path("results") / study.name / "slides.pptx"
    if path.suffix.lower() != ".pptx":
        raise InputError("out", path, "a file name that ends in .pptx")
    result = run_shown(study, workers)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError("out", path.parent, f"a folder that can be written ({error.strerror})") from None
    slides(result, path)
    click.echo(f"slides in {path}")
    if result.failed:
        raise click.exceptions.Exit(1)
