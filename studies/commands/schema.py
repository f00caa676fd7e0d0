"""tautwire schema: the JSON Schema of study files, for editors."""

import json

import click

from tautwire.studies.manual.keys import schema


@click.command("schema")
def COMMAND() -> None:
    """Print the JSON Schema of study files; an editor that knows it completes and checks keys."""
    click.echo(json.dumps(schema(), indent=1, ensure_ascii=False))
