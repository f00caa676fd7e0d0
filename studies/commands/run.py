"""tautwire run FILE: compute a study."""

import dataclasses
import re
from pathlib import Path

import click

from tautwire.model.errors import InputError
from tautwire.studies.commands.shared import (
    ALL,
    CASE_TIMEOUT,
    FILE,
    OUT,
    WORKERS,
    dips_text,
    load_reports,
    progress_bar,
    results_folder,
    said,
    tell_answer,
    write,
)
from tautwire.studies.reports.answers import told
from tautwire.studies.running.runner import TIMEOUT, run, share
from tautwire.studies.running.store import FOLDER_VARIABLE, Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import table_of
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.wants.fit.fitted import FROM, with_fit
from tautwire.studies.wants.give_or_take import give_of


def run_shown(
    study: Study,
    workers: int | None = None,
    scheduler: str | None = None,
    timeout: float = TIMEOUT,
    part: tuple[int, int] | None = None,
) -> Result:
    """Run a study with a progress bar on standard error. What writes its results is loaded meanwhile, unless it is only
    a part."""
    with progress_bar(f"cases of {study.name}") as tell:
        return run(
            study,
            Store(),
            workers,
            timeout,
            scheduler,
            progress=tell,
            part=part,
            meanwhile=None if part else load_reports,
        )


def share_of(text: str | None) -> tuple[int, int] | None:
    """Which part of how many, from a text such as "3/20"; None for no text. Raises InputError."""
    if text is None:
        return None
    found = re.fullmatch(r"([0-9]{1,6})/([0-9]{1,6})", text.strip())
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise InputError("--part", repr(text), "a number and how many parts there are, such as 3/20")
    return int(found[1]), int(found[2])


@click.command("run")
@FILE
@FROM
@OUT
@WORKERS
@CASE_TIMEOUT
@ALL
@click.option("--scheduler", metavar="ADDRESS", help="Use the Dask cluster at ADDRESS.")
@click.option("--part", metavar="3/20", help="Compute this share of the cases into the store, and write nothing.")
@click.option(
    "--animate",
    "animated",
    is_flag=True,
    help="Also write dip.gif, the first band's dip on its walk, and picture.gif, the wire.",
)
def COMMAND(
    file: Path,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    workers: int | None,
    timeout: float,
    everything: bool,
    scheduler: str | None,
    part: str | None,
    animated: bool,
) -> None:
    """Compute the study in FILE and write tables, plots and a summary.

    Array jobs: each runs with its --part of one store ($TAUTWIRE_CACHE); then a run without it writes the results.
    """
    own = share_of(part)
    study = dataclasses.replace(read_study(with_fit(load_tables(file), fit), file.stem), file=str(file))
    if own:
        _compute_share(study, own, workers, scheduler, timeout)
        return
    if animated:
        from tautwire.studies.pictures.figure import animate_picture
        from tautwire.studies.wants.dips.curves import (  # with the drawing library, which other runs may spare
            animate,
            animated_axis,
        )

        animated_axis(study)
    with results_folder(study, "run", out, replace) as made:
        result, store = run_shown(study, workers, scheduler, timeout), Store()
        tell_answer(told(result, _tables(result), everything=everything))
        written = write(result, made, said("run", file, from_=fit, out=out), store=store)
        if animated:
            written += made.put({"dip.gif": animate(result), "picture.gif": animate_picture(result, store)})
    solved, count = study.count - len(result.failed), len(written)
    cases = f"{solved} case{'' if solved == 1 else 's'} in {result.seconds:.1f} s"
    click.echo(f"{cases} ({result.cached} from the store); {count} files in {made.folder}")
    if result.failed:
        raise click.exceptions.Exit(1)


MOST_ROWS = 24  # of the table in a terminal


def _tables(result: Result) -> list[str]:
    """The dips of the cases as aligned text; what is left out is said."""
    if not (rows := table_of(result, "dips")):
        return []
    shown = [{**give_of(result, row), **row} for row in rows[:MOST_ROWS]]
    axes = [(a.label, [a.value_text(row[a.column]) for row in shown]) for a in result.study.axes]
    text = dips_text(shown, axes)
    more = len(rows) - len(shown)
    return [text, *([f"The first {len(shown)} of {len(rows)} rows; all are in dips.csv."] if more else [])]


def _compute_share(
    study: Study, part: tuple[int, int], workers: int | None, scheduler: str | None, timeout: float
) -> None:
    if not Store().can_write():
        raise InputError(FOLDER_VARIABLE, Store().folder, "a folder that can be written: a part is kept there")
    result = run_shown(study, workers, scheduler, timeout, part)
    count = len(share(study.cases(), part))
    click.echo(f"part {part[0]}/{part[1]}: {count - len(result.failed)} of {count} cases kept in {Store().own_folder}")
    click.echo("when all parts are done, the same command without --part writes the results")
    if result.failed:
        raise click.exceptions.Exit(1)
