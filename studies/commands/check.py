"""tautwire check FILE: whether a study file is sound, without computing."""

from pathlib import Path

import click

from tautwire.studies.commands.shared import study_asked
from tautwire.studies.study.assumed import doubts
from tautwire.studies.study.files import load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@FROM
def COMMAND(file: Path, fit: Path | None) -> None:
    """Check every key and every case of the study in FILE, and compute nothing."""
    study = study_asked(with_fit(load_tables(file), fit), file)
    count = len(study.cases())
    bands = ", ".join(band.name for band in study.bands)
    click.echo(f"{file}: sound; {count} case{'s' * (count != 1)}, {bands}; wants {', '.join(study.spec.want)}")
    for axis in study.axes:
        click.echo(f"  {axis.path}: {len(axis.texts)} values")
    for line in doubts(study):
        click.echo(line)
