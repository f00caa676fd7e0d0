"""tautwire cache: what is kept on disk."""

import click

from tautwire.studies.running.store import Store, megabytes

WORDS = {
    "wires": "engine matrices",
    "volts": "engine calibrations",
    "rest": "soil remainders",
    "soil": "soil tables",
    "case": "answers, each to one question about one band of a case",
    "quality": "marks of quality, each of one band of a case",
    "give": "gives or takes, each of the bands of a case",
    "power": "power checks",
    "plots": "drawn studies",
}


@click.command("cache")
@click.option("--prune", metavar="MB", help="Drop the longest unused results until MB megabytes are left (0: all).")
@click.option("--limit", metavar="MB", help="From now on keep at most MB megabytes.")
def COMMAND(prune: str | None, limit: str | None) -> None:
    """Show, prune or bound the store of computed results."""
    store = Store()
    if limit is not None:
        store.set_limit(megabytes(limit, "--limit"))
    if prune is not None:
        click.echo(f"{store.prune(megabytes(prune, '--prune'))} results dropped")
    click.echo(f"{store.own_folder}: {store.bytes() / 1e6:.1f} MB of at most {store.limit / 1e6:.0f} MB")
    for kind, count in sorted(store.contents().items()):
        click.echo(f"{count:7d} {WORDS.get(kind, kind)}")
