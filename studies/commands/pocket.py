"""tautwire pocket FILE: the page for the park, for one's own set-up."""

from pathlib import Path

import click

from tautwire.studies.commands.explore import CHOICE, SLIDER, controls_of
from tautwire.studies.commands.shared import FILE, REPLACE, WORKERS, progress_bar, results_file, results_of
from tautwire.studies.pocket.page import pocket
from tautwire.studies.running.store import Store
from tautwire.studies.wants.fit.fitted import FROM

NAME = "pocket.html"


@click.command("pocket")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="The page [results/<study>/pocket.html].")
@REPLACE
@SLIDER
@CHOICE
@WORKERS
def COMMAND(
    file: Path,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    ranges: tuple[tuple[str, str, str], ...],
    words: tuple[tuple[str, str], ...],
    workers: int | None,
) -> None:
    """Make one offline page for the phone from the set-up in FILE: type a dip, get the turns, the causes, a log.

    What it keeps goes home as one file: tautwire log --merge FILE.
    """
    made = controls_of(file, fit, ranges, words)
    path = out or results_of(made.study, "run") / NAME
    with results_file(made.study, NAME, "run", out, replace, "pocket") as folder:
        with progress_bar("settings") as tell:
            page, data, _ = pocket(made, Store(), workers, lambda _, done, total: tell(done, total))
        folder.put({path.name: page.encode()})
    errors = data["errors"]
    click.echo(f"SWR within {errors['swr']:.3f} of the solver's below {errors['below']:g}, "
               f"at {errors['settings']} random settings")  # fmt: skip
    click.echo(f"{path} ({len(page.encode()) / 1e6:.2f} MB): send it to your phone and open it there")
