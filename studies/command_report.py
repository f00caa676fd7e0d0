"""tautwire report FILE: a study as one offline page."""

import shlex
from pathlib import Path

import click

from ..model.errors import InputError
from .command_run import run_shown
from .output import validity
from .page import write_report
from .runner import TIMEOUT
from .study import load_study


@click.command("report")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Folder for report.html [results/<study>].")
@click.option("--workers", type=click.IntRange(min=0), help="Worker processes [all cores].")
@click.option("--timeout", type=click.FloatRange(min=1), default=TIMEOUT, show_default=True, help="Seconds for a case.")
def COMMAND(file: Path, out: Path | None, workers: int | None, timeout: float) -> None:
    """Write the study in FILE as one offline page; cases that were computed before are not computed again."""
    study = load_study(file)
    result = run_shown(study, workers, timeout=timeout)
    folder = out or Path("results") / study.name
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError("out", folder, f"a folder that can be written ({error.strerror})") from None
    command = shlex.join(["tautwire", "report", str(file)] + (["--out", str(out)] if out else []))
    path = write_report(result, folder, command)
    for line in validity(result):
        click.echo(line)
    click.echo(f"{path} ({path.stat().st_size / 1e6:.2f} MB): open it in any browser, also without a network")
    if result.failed:
        raise click.exceptions.Exit(1)
