"""tautwire manual: the whole manual as one offline page."""

from pathlib import Path

import click

from tautwire.studies.manual.page import manual_page
from tautwire.studies.study.files import put_text


@click.command("manual")
@click.option("--out", type=click.Path(path_type=Path), default="tautwire-manual.html", show_default=True, help="File.")
def COMMAND(out: Path) -> None:
    """Write the manual: every key, list and column, how-tos, the method and its limits, in one page."""
    from tautwire.studies.commands.cli import COMMANDS  # which imports this file by its name

    put_text(out, manual_page(COMMANDS))
    click.echo(f"{out} ({out.stat().st_size / 1e3:.0f} kB): open it in any browser, also without a network")
