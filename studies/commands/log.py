"""tautwire log PLACE: what was hung, measured, fitted and decided there, and its history."""

import io
from datetime import date
from pathlib import Path

import click

from tautwire.model.errors import InputError, SolveError, printable
from tautwire.studies.commands.shared import REPLACE, aligned
from tautwire.studies.logbook.logbook import (
    KINDS_BESIDE,
    Entry,
    Logbook,
    LoggedDip,
    add,
    dip_of,
    dips_of,
    logbook_folder,
    merge,
    read_logbook,
    turns_of,
)
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import Source, load_tables, write_file
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.fitted import FROM, with_fit

Predictions = dict[Path, dict[str, tuple[float, float]]]
PLOTS = (".png", ".svg", ".pdf")


def history_text(found: list[Entry]) -> str:
    """A line per entry: day, rain, dips, what was decided."""
    lines: list[tuple[str, ...]] = [("day", "ground", "dips", "decided", "note")]
    for e in found:
        ground = "" if e.log.rain is None else "rain" if e.log.rain else "dry"
        turns = "".join(f"{t.band} {t.turns:g} turns; ".lstrip() for t in e.log.turns)
        fitted = "fitted set-up; " if "fit_result" in e.tables else ""
        cells = e.log.date, ground, "; ".join(map(dip_text, e.log.dips)), fitted + turns + e.log.decided, e.log.note
        lines.append(tuple(map(printable, cells)))
    return aligned(lines, "<")


def dip_text(dip: LoggedDip) -> str:
    """A dip as it was kept: "20 m 14.05 MHz, SWR 1.3"."""
    return f"{dip.band} {dip.frequency}" + ("" if dip.swr is None else f", SWR {dip.swr:.3g}")


@click.command("log")
@click.argument("place", required=False)
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--dip",
    "seen",
    multiple=True,
    help='A dip measured there: "14.05 MHz", "20 m 13.8 MHz", "14.05 MHz SWR 1.3".',
)
@click.option("--turns", "reeled", multiple=True, help='Turns off the reel, "66", or "20 m 66"; repeat.')
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
@REPLACE
@click.option(
    "--merge",
    "other",
    type=click.Path(path_type=Path),
    help="Add what another copy of the logbook, or a file of the pocket page, has.",
)
@FROM
def COMMAND(
    place: str | None,
    file: Path | None,
    seen: tuple[str, ...],
    reeled: tuple[str, ...],
    sweeps: tuple[Path, ...],
    rain: bool | None,
    decided: str,
    note: str,
    day: str | None,
    plot: Path | None,
    replace: bool,
    other: Path | None,
    fit: Path | None,
) -> None:
    """Keep what was hung at PLACE (the set-up in FILE, or --from a fit), measured and decided; or show its history.

    Without a set-up, that of the last entry there. Then: tautwire predict --at PLACE. All stays on this machine.
    """
    if plot and plot.suffix.lower() not in PLOTS:
        raise InputError("plot", plot, f"a name that ends in {', '.join(PLOTS)}")
    if other:
        copied, known = merge(other)
        click.echo(f"{copied} files copied from {printable(str(other))}, {known} were here already")
    book = read_logbook()
    for fault in book.faults:
        click.echo(fault, err=True)
    if place is None:
        names = "\n".join(map(printable, book.places()))
        click.echo(names or 'The logbook is empty: tautwire log "Lakeside pine" my-park.toml')
        click.echo(f"in {logbook_folder()}")
        return
    if file or fit or seen or reeled or sweeps or decided or note or rain is not None:
        tables = _tables(book, place, file, fit)
        measured, how = dips_of(sweeps)
        said = [dip_of(text) for text in seen]
        dips = [*(d for d in measured if d["band"] not in {s["band"] for s in said}), *said]
        what = {"dips": dips, "turns": [turns_of(text) for text in reeled], "study": file.name if file else ""}
        head = {"place": place, "date": day or date.today().isoformat(), "rain": rain, "decided": decided, "note": note}
        entry = add({**head, **what}, tables, sweeps)
        for line in [*how, f"kept in {entry.path}"]:
            click.echo(printable(line))
        book = read_logbook()
    found = book.at(place)
    click.echo(history_text(found))
    if plot:
        from tautwire.studies.logbook.history import history_figure

        held = io.BytesIO()
        history_figure(found, predicted_before(found)).savefig(held, format=plot.suffix.lower()[1:])
        write_file(plot, held.getvalue(), Source(place), "log", replace)
        click.echo(f"history in {plot}")


def predicted_before(found: list[Entry]) -> Predictions:
    """What earlier outings, at any place, made of each entry's dips: file -> band -> (Hz, its ± in Hz).

    Empty where an entry of the logbook cannot be solved: the plot does without.
    """
    from tautwire.studies.learned.place import all_entries, log_of, track

    told: Predictions = {}
    every = all_entries()
    try:
        for one in track(log_of(every, [], Store())):
            told.setdefault(every[one.number].path, {})[one.band] = one.predicted_hz, one.sd_hz
    except (InputError, SolveError) as error:
        click.echo(f"Drawn without earlier predictions: {error}")
    return {e.path: told[e.path] for e in found if e.path in told}


def _tables(book: Logbook, place: str, file: Path | None, fit: Path | None) -> Raw:
    """The set-up to keep, and what a fit wrote beside it."""
    if file is None and fit is None:
        try:
            last = book.at(place)[-1]
            return last.setup | last.beside
        except InputError:
            raise InputError("log", repr(place), f'a set-up for its first entry: tautwire log "{place}" FILE') from None
    raw = with_fit(load_tables(file) if file else {}, fit)
    tables = {k: v for k, v in raw.items() if k in Setup.model_fields}
    written = load_tables(fit) if fit else {}
    return tables | {k: written[k] for k in KINDS_BESIDE if k in written}
