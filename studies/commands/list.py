"""tautwire list soils|coax|cores|bands|layouts|wants|columns: what can be named in a study file."""

import json
from dataclasses import asdict

import click

from tautwire.model.errors import InputError, did_you_mean
from tautwire.studies.commands.shared import aligned
from tautwire.studies.manual.lists import LISTS, NOTES
from tautwire.studies.study.columns import facts


@click.command("list")
@click.argument("what", metavar="|".join(LISTS), required=False,
                shell_complete=lambda context, argument, begun: [n for n in LISTS if n.startswith(begun)])  # fmt: skip
@click.option("--region", default="1", show_default=True, help="For bands: 1, 2 or 3 (ITU), or US.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def COMMAND(what: str | None, region: str, as_json: bool) -> None:
    """List what can be named in a study file, with constants and sources."""
    if what is None:
        click.echo("\n".join(f"tautwire list {name}" for name in LISTS))
        return
    if what not in LISTS:
        raise InputError("list", repr(what), f"one of {', '.join(LISTS)}{did_you_mean(what, LISTS)}")
    if as_json:
        head, *rows = LISTS[what](region)
        table = (
            [asdict(fact) for fact in facts()] if what == "columns" else [dict(zip(head, r, strict=True)) for r in rows]
        )
        click.echo(json.dumps(table, indent=1))
        return
    click.echo(aligned(LISTS[what](region), "<"))
    click.echo(NOTES[what])
