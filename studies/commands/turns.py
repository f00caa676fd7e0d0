"""tautwire turns FILE: the turn table, the fewest stops, and a card to print."""

from __future__ import annotations

import dataclasses
import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tautwire.studies.commands.run import run_shown
from tautwire.studies.commands.shared import (
    ALL,
    CASE_TIMEOUT,
    FILE,
    OWN_OUT,
    WORKERS,
    aligned,
    results_folder,
    said,
    set_up_alone,
    tell_answer,
    write,
)
from tautwire.studies.reports.answers import told
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.findings import CARD_CAUTION
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import formatted
from tautwire.studies.wants.fit.fitted import FROM, with_fit
from tautwire.studies.wants.turns.choice import COLUMN, other_columns, parts
from tautwire.studies.wants.turns.want import with_turn_axis

if TYPE_CHECKING:
    import pandas as pd


def table_text(rows: pd.DataFrame, length: Callable[[float], str]) -> str:
    """The rows of the table "turns" as aligned text. length: a length in words."""
    lines = [("segment", "turns", "wire", "SWR across", "one turn off", "kHz/turn", "stop")]
    for _, row in rows.iterrows():
        lines.append((
            row["segment"],
            f"{row[COLUMN]:g}",
            length(row["wire_m"]),
            f"{row['swr_best']:.2f}-{row['swr_worst']:.2f}",
            formatted(row["swr_neighbour"], ".2f"),
            formatted(row["stop_shift_khz_per_turn" if row["served"] else "shift_khz_per_turn"], "+.0f"),
            formatted(row["stop_turns"], "g", "tuner"),
        ))  # fmt: skip
    return aligned(lines, "<>")


def tables(result: Result) -> list[str]:
    """The turn table of each case of the other axes, as aligned text."""
    table, out = result.frames.get("turns"), []
    for labels, rows in parts(table, other_columns(result)) if table is not None else ():
        out += [result.study.words_of(labels)] if labels else []
        out.append(table_text(rows, result.study.length_text))
    return out


@click.command("turns")
@FILE
@FROM
@OWN_OUT
@WORKERS
@CASE_TIMEOUT
@ALL
def COMMAND(
    file: Path,
    fit: Path | None,
    out: Path | None,
    replace: bool,
    workers: int | None,
    timeout: float,
    everything: bool,
) -> None:
    """Which turns off the reel serve the segments wanted in FILE's [turns] table, from its [reel] table.

    Writes card.pdf (A6, for the pocket), card_four.pdf (four on A4), card.png (for the phone), card.txt, a map of all
    settings, and tables.
    """
    raw = with_fit(load_tables(file), fit)
    study = with_turn_axis(read_study(set_up_alone(raw, "turns"), file.stem))
    study = dataclasses.replace(study, file=str(file))
    with results_folder(study, "turns", out, replace) as made:
        result = run_shown(study, workers, None, timeout)
        tell_answer(told(result, tables(result), everything=everything))
        written = write(result, made, said("turns", file, from_=fit, out=out), store=Store())
        written += made.put(card_files(result))
    click.echo(f"{result.study.count} settings in {result.seconds:.1f} s; {len(written)} files in {made.folder}")
    if result.failed:
        raise click.exceptions.Exit(1)


def card_files(result: Result) -> dict[str, bytes]:
    """card.txt, every card as PDF of A6, and four on A4: name -> content."""
    from tautwire.studies.wants.turns.figures import cards, four_cards

    text = told(result, tables(result), everything=True)
    files = {"card.txt": f"{text}\n{CARD_CAUTION}\n".encode()}
    if "turns" not in result.frames:
        return files
    for stem, figure in {**cards(result), "card_four": four_cards(result)}.items():
        held = io.BytesIO()
        figure.savefig(held, format="pdf")
        files[f"{stem}.pdf"] = held.getvalue()
    return files
