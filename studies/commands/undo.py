"""tautwire undo FOLDER: bring back what the last command replaced there."""

from pathlib import Path

import click

from tautwire.studies.study.files import undo


@click.command("undo")
@click.argument("folder", type=click.Path(path_type=Path))
def COMMAND(folder: Path) -> None:
    """Bring back what the last command replaced or removed in FOLDER; a second undo undoes the first."""
    back, gone = undo(folder)
    for words, names in (("brought back", back), ("taken away", gone)):
        if names:
            click.echo(f"{len(names)} {words}: {', '.join(names)}")
