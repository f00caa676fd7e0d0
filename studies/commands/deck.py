"""tautwire deck FILE: a case as a NEC-2 card deck; or a deck read and solved."""

import dataclasses
from pathlib import Path

import click
import numpy as np

from tautwire.model.basics import swr as swr_of_impedance
from tautwire.model.errors import InputError
from tautwire.model.solve.geometry_solver import GeometrySolver
from tautwire.studies.commands.shared import REPLACE, aligned, results_file
from tautwire.studies.reports.card_deck import GROUNDS, deck
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.nec_deck import Deck, read_deck
from tautwire.studies.wants.fit.fitted import FROM, with_fit

PLAIN = str.maketrans({"°": " deg", "Ω": "ohm", "µ": "u"})  # cards are ASCII


def solved_text(deck: Deck) -> str:
    """A deck's impedance at each of its frequencies, and what was left out."""
    if not deck.f_hz:
        raise InputError("deck", "no FR", "a card with frequencies, such as FR 0 1 0 0 14.2")
    lines = [("MHz", "R, X ohm", "SWR at 50 ohm")]
    solver = GeometrySolver(deck.geometry, deck.ground, remember=Store())
    for f_hz in deck.f_hz:
        z = solver.impedance(f_hz)
        swr = f"{swr_of_impedance(np.array(z), 50.0):.2f}"
        lines.append((f"{f_hz / 1e6:.3f}", f"{z.real:.0f} {z.imag:+.0f}j", swr))
    about = f"{len(deck.geometry.wires)} wires over {deck.ground.name}"
    return "\n".join([about, aligned(lines, ">"), *deck.notes])


@click.command("deck")
@click.argument("file", type=click.Path(path_type=Path))
@FROM
@click.option("--case", "number", type=click.IntRange(min=1), default=1, show_default=True, help="Which case, from 1.")
@click.option("--band", help="Which of the study's bands [its first].")
@click.option("--points", type=click.IntRange(1, 1000), default=11, show_default=True, help="Frequencies in the band.")
@click.option("--ground", type=click.Choice(GROUNDS), default="real", show_default=True, help="The site's, or none.")
@click.option("--out", type=click.Path(path_type=Path), help="File to write [standard output].")
@REPLACE
def COMMAND(
    file: Path,
    fit: Path | None,
    number: int,
    band: str | None,
    points: int,
    ground: str,
    out: Path | None,
    replace: bool,
) -> None:
    """Write one case of FILE as a NEC-2 card deck, for any engine that reads them; or solve FILE if it is a deck.

    A deck is a file that does not end in .toml. It is solved at its frequencies; what was left out is said by line.
    """
    if file.suffix.lower() != ".toml":
        click.echo(solved_text(read_deck(file)))
        return
    study = read_study(with_fit(load_tables(file), fit), file.stem)
    cases = study.cases()
    if number > len(cases):
        raise InputError("case", number, f"from 1 to {len(cases)}")
    named = {b.name: b for b in study.bands}
    if band is not None and band not in named:
        raise InputError("band", repr(band), f"one of {', '.join(named)}")
    chosen = named[band] if band else study.bands[0]
    study = dataclasses.replace(study, file=str(file))
    made = results_file(study, "", "run", out, replace, "deck") if out else None
    case = cases[number - 1]
    place = study.words_of(case.labels).translate(PLAIN)
    title = f"{study.name}, case {number} of {len(cases)}, {chosen.name}\n{place}".rstrip()
    text = deck(case.setup().build(), chosen.lower, chosen.upper, points, ground, title, remember=Store())
    if out is None or made is None:
        click.echo(text, nl=False)
        return
    with made:
        made.put({out.name: text.encode("ascii", errors="replace")})
    click.echo(f"{out}: {len(text.splitlines())} cards")
