"""tautwire cache: what is kept on disk."""

import click

from tautwire.model.errors import InputError
from tautwire.studies.running.store import Store

WORDS = {
    "wires": "engine matrices",
    "volts": "engine calibrations",
    "rest": "soil remainders",
    "soil": "soil tables",
    "case": "finished cases",
    "power": "power checks",
    "plots": "drawn studies",
}


@click.command("cache")
@click.option("--prune", metavar="MB", help="Drop the oldest results until at most MB megabytes are left (0: all).")
def COMMAND(prune: str | None) -> None:
    """Show or prune the store of computed results."""
    store = Store()
    if prune is not None:
        try:
            limit = float(prune)
        except ValueError:
            limit = -1.0
        if not 0 <= limit < float("inf"):
            raise InputError("--prune", repr(prune), "megabytes, 0 or more")
        click.echo(f"{store.prune(int(limit * 1e6))} results dropped")
    click.echo(f"{store.folder}: {store.bytes() / 1e6:.1f} MB of at most {store.limit / 1e6:.0f} MB")
    for kind, count in sorted(store.contents().items()):
        click.echo(f"{count:7d} {WORDS.get(kind, kind)}")
