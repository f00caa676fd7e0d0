"""tautwire explore FILE: a page with sliders, made from a study."""

import dataclasses
from collections.abc import Sequence
from pathlib import Path

import click

from tautwire.studies.commands.shared import FILE, REPLACE, WORKERS, progress_bar, results_file, results_of
from tautwire.studies.explorer.explorer import explore
from tautwire.studies.explorer.live import LiveServer
from tautwire.studies.explorer.sliders import Controls, controls
from tautwire.studies.questions.explore import explored_study
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit

NAME = "explorer.html"


SLIDER = click.option(
    "--slider", "ranges", type=(str, str, str), multiple=True, metavar="KEY LOWEST HIGHEST",
    help='One more slider, such as --slider antenna.slope "20 deg" "40 deg".',
)  # fmt: skip
CHOICE = click.option(
    "--choice", "words", type=(str, str), multiple=True, metavar="KEY VALUE",
    help="One more value to choose, such as --choice coax.type RG-174.",
)  # fmt: skip


def controls_of(
    file: Path, fit: Path | None, ranges: Sequence[tuple[str, str, str]], words: Sequence[tuple[str, str]]
) -> Controls:
    """What moves on the page of a study file. Raises InputError."""
    study = dataclasses.replace(explored_study(with_fit(load_tables(file), fit), file.stem), file=str(file))
    return controls(study, ranges, words)


def _explore_shown(made: Controls, workers: int | None, live: bool) -> str:
    with progress_bar("settings") as tell:
        page, data = explore(made, Store(), workers, lambda _, done, total: tell(done, total), live)
    errors = data["errors"]
    grid = " x ".join(f"{len(s['nodes'])} {s['label']}" for s in data["sliders"])
    click.echo(
        f"{grid}, {len(data['wires'])} kinds of wire and ground; at {errors['settings']} random settings within "
        f"{errors['reflection']:.4f} in reflection coefficient (typically {errors['typical']:.4f}) and "
        f"{errors['swr']:.3f} in SWR below {errors['below']:g}"
    )
    return page


@click.command("explore")
@FILE
@FROM
@click.option("--out", type=click.Path(path_type=Path), help="The page [results/<study>/explorer.html].")
@REPLACE
@SLIDER
@CHOICE
@click.option("--live", is_flag=True, help="Serve the page on this machine; the solver answers beyond the range.")
@click.option("--port", type=click.IntRange(0, 65535), default=8649, show_default=True, help="Port for --live.")
@WORKERS
def COMMAND(
    file: Path,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    ranges: tuple[tuple[str, str, str], ...],
    words: tuple[tuple[str, str], ...],
    live: bool,
    port: int,
    workers: int | None,
) -> None:
    """Make one offline page from FILE: sliders for its swept numbers, choices for its swept words.

    A study that sweeps no length, or no soil, gets a slider or a choice for it.
    """
    made = controls_of(file, fit, ranges, words)
    study = made.study
    if not live:
        path = out or results_of(study, "run") / NAME
        with results_file(study, NAME, "run", out, replace, "explore") as folder:
            page = _explore_shown(made, workers, live=False).encode()
            folder.put({path.name: page})
        click.echo(f"{path} ({len(page) / 1e6:.2f} MB): open it in any browser, also without a network")
        return
    with LiveServer("", made, Store(), port) as server:  # first, so that a port that is taken is told at once
        server.page = _explore_shown(made, workers, live=True)
        click.echo(f"{server.address} until Ctrl-C")
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
