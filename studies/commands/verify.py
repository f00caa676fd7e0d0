"""tautwire verify FOLDER: solve a sample of a results folder again, and say which digits stand."""

from pathlib import Path

import click

from tautwire.studies.commands.shared import aligned, progress_bar
from tautwire.studies.questions.verify import WRITTEN, Verified, as_json, verify


@click.command("verify")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--sample", type=click.IntRange(min=1), default=3, show_default=True, help="Cases that are solved again.")
@click.option("--seed", type=int, default=1, show_default=True, help="Which cases these are.")
@click.option("--json", "json_", is_flag=True, help="Print JSON for programs.")
def COMMAND(folder: Path, sample: int, seed: int, json_: bool) -> None:
    """Solve a sample of the cases in FOLDER again, as new, and say which digits of its tables stand.

    Also says which files were edited, and what else than here made them. Status 1 if something does not stand.
    """
    with progress_bar("cases") as tell:
        found = verify(folder, sample, seed, tell)
    click.echo(as_json(found) if json_ else words(found))
    if not found.stands:
        raise click.exceptions.Exit(1)


def words(found: Verified) -> str:
    """The verdict, tables, files, versions."""
    fewest = min((t.digits for t in found.tables), default=0)
    solved = f"{len(found.cases)} of {found.of} cases solved again"
    if found.stands:
        lines = [f"It stands: {solved}, {fewest} digits or more are the same."]
    else:
        lines = [f"IT DOES NOT STAND as it is here ({solved})."]
    if found.tables:
        rows = [("table", "numbers", "same digits", "worst column")]
        rows += [(t.table, str(t.numbers), f"{t.digits}" + " (all)" * (t.digits == WRITTEN), t.column)
                 for t in found.tables]  # fmt: skip
        lines.append(aligned(rows, "<><<"))
    lines.append(f"Solved again: {'; '.join(found.cases)}.")
    lines += [f"Not solved: {line}" for line in found.failed]
    if found.edited:
        lines.append(f"Edited since: {', '.join(found.edited)}.")
    if found.missing:
        lines.append(f"Not there: {', '.join(found.missing)}.")
    lines += [f"Made with another {name}: {then}; here {now}." for name, then, now in found.versions]
    return "\n".join(lines)
