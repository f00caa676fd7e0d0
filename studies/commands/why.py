"""tautwire why FILE: which change of the set-up explains that the dips moved, and what to do."""

import dataclasses
import math
import time
from pathlib import Path
from typing import Any

import click

from tautwire.model.errors import InputError
from tautwire.studies.commands.shared import (
    ALL,
    OWN_OUT,
    aligned,
    load_reports,
    progress_bar,
    results_folder,
    said,
    tell_answer,
    write,
)
from tautwire.studies.logbook.logbook import LOG, kept_dips
from tautwire.studies.questions.why import run_why, why_study
from tautwire.studies.reports.answers import told
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import table_of, written_as
from tautwire.studies.study.measurement import PLANES, read_sweeps
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import frequency
from tautwire.studies.wants.fit.fitted import FROM, with_fit
from tautwire.studies.wants.why.want import WhySpec
from tautwire.studies.wants.why.words import Changes, telling

SAME_DIP = 0.1  # in log of frequency: further off, a logged dip is another one
MOST_ROWS = 10  # of the table in a terminal
MEANING = (
    "chance: how likely it is that this alone changed, among all causes, two or three of them at once, and none.\n"
    "times usual: the change over a usual one, the normal variation between set-ups, such as a turn of the reel\n"
    "(column usual of why.csv).\n"
    "misfit: squared distances from the dips seen, in reading errors; about one per reading where a cause explains all."
)


def ranking_text(result: Result) -> str:
    """The table "why" as aligned text, as far as a terminal shows it, with what its figures mean."""
    lines = [("cause", "change", "chance", "times usual", "misfit", "explains all bands")]
    changes = Changes({"why_parts": table_of(result, "why_parts")}, result.study.cases()[0].setup())
    rows = table_of(result, "why")
    moving = [r for r in telling(rows, changes) if r["usual_changes"]]
    for row in moving[:MOST_ROWS]:
        change = changes.words(row).text(result.study.lengths)
        verdict = "yes" if row["explains"] else "not enough within the tried range" if row["at_end"] else "no"
        lines.append(
            (
                row["cause"],
                change,
                written_as(row["cause_chance"], "chance"),
                f"{row['usual_changes']:+.1f}",
                f"{row['misfit']:.1f}",
                verdict,
            )
        )
    none = [row["cause"] for row in rows if not row["usual_changes"]]
    without = f"No change of these moves the dips this way: {', '.join(none)}.\n" if none else ""
    more = f"The first {MOST_ROWS} of {len(moving)} causes; all are in why.csv.\n" if len(moving) > MOST_ROWS else ""
    return f"{aligned(lines, '<<>>><')}\n{more}{without}{MEANING}"


def moves_of(was: tuple[str, ...], now: tuple[str, ...], band: tuple[str, ...]) -> list[dict[str, Any]]:
    """[why] moves of the options. Raises InputError if they do not pair up."""
    if len(was) != len(now):
        raise InputError("--now", f"{len(now)} given", f"one for each of the {len(was)} --was")
    if band and len(band) != len(was):
        raise InputError("--band", f"{len(band)} given", f"none, or one for each of the {len(was)} --was")
    names = band or ("",) * len(was)
    return [{"was": w, "now": n, "band": b} for w, n, b in zip(was, now, names, strict=True)]


def logged_dips(fit: Path | None, now: tuple[str, ...]) -> tuple[str, ...]:
    """Where the dips that are now at `now` were by the logbook's entry `fit`, or one before it of the same set-up; none
    if it is no entry, or lacks one."""
    if fit is None or LOG not in load_tables(fit):
        return ()
    logged = [f_hz for _, f_hz in kept_dips(fit).values()]
    seen = [frequency(text, "--now") for text in now]
    near = [min(logged, key=lambda f_hz: abs(math.log(f_hz / here)), default=0.0) for here in seen]
    if not all(f_hz and abs(math.log(f_hz / here)) < SAME_DIP for f_hz, here in zip(near, seen, strict=True)):
        return ()
    return tuple(f"{f_hz / 1e6:.6g} MHz" for f_hz in near)


@click.command("why")
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--was", multiple=True, help='Where a dip was, "14.06 MHz"; repeat for more bands.')
@click.option("--now", multiple=True, help="Where it is now, in the same order.")
@click.option("--band", multiple=True, help="Its band, if that is not plain.")
@click.option("--before", multiple=True, type=click.Path(), help="A sweep (.s1p or .csv) from before.")
@click.option("--after", multiple=True, type=click.Path(), help="A sweep from now.")
@click.option("--without", multiple=True, help='A cause that cannot be, "length of the coax"; or a word in its name.')
@click.option("--plane", type=click.Choice(PLANES), help="Where the SWR was read [radio].")
@FROM
@OWN_OUT
@ALL
def COMMAND(
    file: Path | None,
    was: tuple[str, ...],
    now: tuple[str, ...],
    band: tuple[str, ...],
    before: tuple[str, ...],
    after: tuple[str, ...],
    without: tuple[str, ...],
    plane: str | None,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    everything: bool,
) -> None:
    """Why did the dip move? Ranks what may have changed in FILE's set-up since it was as described there.

    With --at PLACE no FILE is needed, nor --was: they are those of the last entry in the logbook.
    """
    if file is None and fit is None:
        raise InputError("FILE", "nothing", 'a study file, or --at "a place of the logbook"')
    raw = with_fit(load_tables(file) if file else {}, fit)
    name = file.stem if file else "why"
    was = was or logged_dips(fit, now)
    study = why_study(raw, moves_of(was, now, band), before, after, without, plane, name)
    spec: WhySpec = study.options["why"]
    for sweep in (s for file_name in (*spec.before, *spec.after) for s in read_sweeps(file_name, spec.plane)):
        click.echo(sweep.how)
    # an entry of the logbook: any of its place
    study = dataclasses.replace(study, file=str(file or (fit.parent if fit and LOG in load_tables(fit) else fit)))
    with results_folder(study, "why", out, replace) as made:
        began = time.perf_counter()
        with progress_bar(f"cases of {study.name}") as tell:
            result = run_why(study, Store(), meanwhile=load_reports, progress=tell)
        seconds = time.perf_counter() - began
        options = _options(was, now, band, before, after, without)
        ranking = [ranking_text(result)] if "why" in result.frames else []
        tell_answer(told(result, ranking, everything=everything))
        written = write(result, made, said("why", *[file] * bool(file), *options, plane=plane, from_=fit, out=out))
    if result.failed:
        raise click.exceptions.Exit(1)
    click.echo(f"{len(result.frames['why'])} causes in {seconds:.1f} s; {len(written)} files in {made.folder}")


def _options(*given: tuple[str, ...]) -> list[str]:
    names = ("--was", "--now", "--band", "--before", "--after", "--without")
    return [word for name, values in zip(names, given, strict=True) for v in values for word in (name, str(v))]
