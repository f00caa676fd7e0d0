"""tautwire manual: the whole manual as one offline page."""

from pathlib import Path

import click

from tautwire.studies.commands.shared import REPLACE
from tautwire.studies.manual.page import manual_page
from tautwire.studies.study.files import Source, write_file


@click.command("manual")
@click.option("--out", type=click.Path(path_type=Path), default="tautwire-manual.html", show_default=True, help="File.")
@REPLACE
def COMMAND(out: Path, replace: bool) -> None:
    """Write the manual: every key, list and column, how-tos, the method and its limits, in one page."""
    from tautwire.studies.commands.cli import COMMANDS  # which imports this file by its name

    page = manual_page(COMMANDS).encode()
    write_file(out, page, Source("manual"), "manual", replace)
    click.echo(f"{out} ({len(page) / 1e3:.0f} kB): open it in any browser, also without a network")
