"""tautwire log PLACE: what was hung, measured, fitted and decided there, and its history."""

from datetime import date
from pathlib import Path

import click

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.commands.shared import aligned
from tautwire.studies.logbook.logbook import Entry, add, dip_of, dips_of, entries, logbook_folder, places
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.fitted import FROM, SPREAD, with_fit

Predictions = dict[Path, dict[str, tuple[float, float]]]
BESIDE = ("fit_result", "spread")  # what a fit writes beside the set-up


def history_text(found: list[Entry]) -> str:
    """A line an entry: day, rain, dips, what was decided."""
    lines = [("day", "ground", "dips", "decided", "note")]
    for e in found:
        ground = "" if e.log.rain is None else "rain" if e.log.rain else "dry"
        told = "; ".join(f"{band} {text}" for band, text in e.log.dips.items())
        fitted = "fitted set-up; " if "fit_result" in e.tables else ""
        lines.append((e.log.date, ground, told, fitted + e.log.decided, e.log.note))
    return aligned(lines, "<")


@click.command("log")
@click.argument("place", required=False)
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--dip", "seen", multiple=True, help='A dip measured there, "14.05 MHz"; repeat for more bands.')
@click.option(
    "--sweep",
    "sweeps",
    multiple=True,
    type=click.Path(path_type=Path),
    help="A sweep file: its dips count, a copy is kept.",
)
@click.option("--rain/--dry", default=None, help="Whether it rained, or the ground was wet.")
@click.option("--decided", default="", help='What you settled on, "66 turns".')
@click.option("--note", default="", help="Anything else.")
@click.option("--date", "day", default=None, help="The day, 2026-05-31 [today].")
@click.option(
    "--plot", type=click.Path(path_type=Path), help="Draw the place's history into this file (.png, .svg, .pdf)."
)
@FROM
def COMMAND(
    place: str | None,
    file: Path | None,
    seen: tuple[str, ...],
    sweeps: tuple[Path, ...],
    rain: bool | None,
    decided: str,
    note: str,
    day: str | None,
    plot: Path | None,
    fit: Path | None,
) -> None:
    """Keep what was hung at PLACE (the set-up in FILE, or --from a fit), measured and decided; or show its history.

    Without a set-up, that of the last entry there. Then: tautwire predict --at PLACE. All stays on this machine.
    """
    if place is None:
        click.echo("\n".join(places()) or 'The logbook is empty: tautwire log "Lakeside pine" my-park.toml')
        click.echo(f"in {logbook_folder()}")
        return
    if file or fit or seen or sweeps or decided or note or rain is not None:
        tables = _tables(place, file, fit)
        measured, how = dips_of(sweeps)
        head = {"place": place, "date": day or date.today().isoformat(), "rain": rain, "decided": decided, "note": note}
        entry = add({**head, "dips": measured | dict(map(dip_of, seen))}, tables, sweeps)
        for line in [*how, f"kept in {entry.path}"]:
            click.echo(line)
    found = entries(place)
    click.echo(history_text(found))
    if plot:
        from tautwire.studies.logbook.history import history_figure
        from tautwire.studies.study.files import writable

        figure = history_figure(found, predicted_before(found))
        with writable(plot):
            figure.savefig(plot)
        click.echo(f"history in {plot}")


def predicted_before(found: list[Entry]) -> Predictions:
    """What earlier outings, at any place, made of each entry's dips: file -> band -> (Hz, its ± in Hz).

    Empty where an entry of the logbook cannot be solved: the plot does without.
    """
    from tautwire.studies.learned.replay import all_entries, log_of
    from tautwire.studies.learned.track import track

    told: Predictions = {}
    every = all_entries()
    try:
        for one in track(log_of(every, [], Store())):
            told.setdefault(every[one.number].path, {})[one.band] = one.predicted_hz, one.sd_hz
    except (InputError, SolveError) as error:
        click.echo(f"Drawn without earlier predictions: {error}")
    return {e.path: told[e.path] for e in found if e.path in told}


def _tables(place: str, file: Path | None, fit: Path | None) -> Raw:
    """The set-up to keep, and what a fit wrote beside it."""
    if file is None and fit is None:
        try:
            last = entries(place)[-1]
        except InputError:
            raise InputError("log", repr(place), f'a set-up for its first entry: tautwire log "{place}" FILE') from None
        return last.setup | {k: v for k, v in last.tables.items() if k == SPREAD}  # what a fit knew stays known
    raw = with_fit(load_tables(file) if file else {}, fit)
    tables = {k: v for k, v in raw.items() if k in Setup.model_fields}
    written = load_tables(fit) if fit else {}
    return tables | {k: written[k] for k in BESIDE if k in written}
