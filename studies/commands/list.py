"""tautwire list soils|coax|cores|bands|layouts|wants|columns: what can be named in a study file."""

import click

from tautwire.model.errors import InputError, did_you_mean
from tautwire.studies.commands.shared import aligned
from tautwire.studies.manual.lists import LISTS, NOTES


@click.command("list")
@click.argument("what", metavar="|".join(LISTS), required=False,
                shell_complete=lambda context, argument, begun: [n for n in LISTS if n.startswith(begun)])  # fmt: skip
@click.option("--region", default="1", show_default=True, help="For bands: 1, 2 or 3 (ITU), or US.")
def COMMAND(what: str | None, region: str) -> None:
    """List what can be named in a study file, with constants and sources."""
    if what is None:
        click.echo("\n".join(f"tautwire list {name}" for name in LISTS))
        return
    if what not in LISTS:
        raise InputError("list", repr(what), f"one of {', '.join(LISTS)}{did_you_mean(what, LISTS)}")
    click.echo(aligned(LISTS[what](region), "<"))
    click.echo(NOTES[what])
