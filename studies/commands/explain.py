"""tautwire explain KEY: what a key of a study file, or a column of a table, means."""

import click

from tautwire.model.errors import InputError
from tautwire.studies.manual.keys import Key, all_keys, key_named
from tautwire.studies.study.columns import COLUMNS


def names() -> list[str]:
    """All that can be explained."""
    return [*(key.path for key in all_keys()), *COLUMNS]


def key_text(key: Key) -> str:
    """A key in a few lines."""
    facts = [("written as", key.kind), ("range", key.allowed), ("default", key.default), ("example", key.example)]
    return "\n".join([key.path, f"  {key.meaning}", *(f"  {name}: {value}" for name, value in facts if value)])


@click.command("explain")
@click.argument("key", shell_complete=lambda context, argument, begun: [n for n in names() if n.startswith(begun)])
def COMMAND(key: str) -> None:
    """Explain KEY, such as antenna.slope or coax, or a column such as dip_mhz."""
    if key in COLUMNS:
        click.echo(f"{key}\n  column: {COLUMNS[key]}")
        return
    try:
        found = key_named(key)
    except InputError as error:
        raise InputError("explain", repr(key), error.allowed) from None
    whole = [k for k in found if k.path == key] or found[: 0 if "." not in found[0].path else None]
    for k in whole:
        click.echo(key_text(k))
    for k in found:
        if k not in whole:
            click.echo(f"  {k.path}: {k.meaning}")
