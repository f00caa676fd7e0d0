"""tautwire deck FILE: a case as a NEC-2 card deck."""

import dataclasses
from pathlib import Path

import click

from tautwire.model.errors import InputError
from tautwire.studies.commands.shared import REPLACE, results_file
from tautwire.studies.reports.card_deck import GROUNDS, deck
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import load_tables
from tautwire.studies.wants.fit.fitted import FROM, with_fit

PLAIN = str.maketrans({"°": " deg", "Ω": "ohm", "µ": "u"})  # cards are ASCII


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
    """Write one case of FILE as a NEC-2 card deck, for any engine that reads them."""
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
    text = deck(case.setup().build(), chosen.lower, chosen.upper, points, ground, title)
    if out is None or made is None:
        click.echo(text, nl=False)
        return
    with made:
        made.put({out.name: text.encode("ascii", errors="replace")})
    click.echo(f"{out}: {len(text.splitlines())} cards")
