"""What several commands share: options, the line that repeats a command, text tables."""

import math
import shlex
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tautwire.studies.commands.cli import unheard
from tautwire.studies.reports.answers import source
from tautwire.studies.running.runner import TIMEOUT
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import asking, read_study, without_cases
from tautwire.studies.study.files import Output
from tautwire.studies.study.findings import si_factor, written_as
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study

FILE = click.argument("file", type=click.Path(path_type=Path))
_OUT = click.option("--out", type=click.Path(path_type=Path), help="Folder for the results [results/<study>].")
_OWN_OUT = click.option("--out", type=click.Path(path_type=Path), help="Folder [results/<study>/<this command>].")
REPLACE = click.option(
    "--replace", is_flag=True, help="Replace files of others, or edited ones, too; 'tautwire undo' brings them back."
)


def OUT(command: Any) -> Any:
    """Options --out and --replace of a command that writes a folder: that of `run`."""
    return _OUT(REPLACE(command))


def OWN_OUT(command: Any) -> Any:
    """The same of a command whose answers have a folder of their own beside that of `run`."""
    return _OWN_OUT(REPLACE(command))


WORKERS = click.option("--workers", type=click.IntRange(min=0), help="Worker processes [all cores].")
ALL = click.option("--all", "everything", is_flag=True, help="Also print the details.")
OWN_FOLDERS = ("turns", "why", "choose", "fit")
CASE_TIMEOUT = click.option(
    "--timeout", type=click.FloatRange(min=1), default=TIMEOUT, show_default=True, help="Seconds for a case."
)


def results_of(study: Study, question: str) -> Path:
    """The folder of a study's answers to one question: that of `run` is the study's own, others are inside it."""
    return Path("results") / study.name / ("" if question == "run" else question)


def question_shown(study: Study) -> str:
    """Whose answers a study shows: one of the commands with a folder of their own, else "run".

    It is as `study_asked` or a command made it: a study that asks such a question asks no other.
    """
    return study.spec.want[0] if len(study.spec.want) == 1 and study.spec.want[0] in OWN_FOLDERS else "run"


def results_folder(study: Study, question: str, out: Path | None, replace: bool, part: str = "") -> Output:
    """The folder for a study's results, looked at before anything is computed.

    part: a command that only adds a file to the folder. Raises InputError if it cannot be written, or holds what may
    not be replaced.
    """
    folder = out or results_of(study, question)
    return Output(folder, source(study, question), part or question, replace, whole=not part)


def results_file(study: Study, name: str, question: str, out: Path | None, replace: bool, part: str) -> Output:
    """The same for a file: out, or that name in the folder of the study's results."""
    path = out or results_of(study, question) / name
    return Output.file(path, source(study, question), part, replace, results=out is None)


EVERY = 60.0
"""Seconds between lines of progress where standard error is no terminal"""


@contextmanager
def progress_bar(label: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error with time left; a line a minute where that is no terminal. Call it with how many of how
    many."""
    if not sys.stderr.isatty():
        yield _progress_lines(label)
        return
    with click.progressbar(length=1, label=label, file=sys.stderr, show_pos=True) as bar:

        def tell(done: int, total: int) -> None:
            bar.length = total
            bar.update(done - bar.pos)

        yield tell


def _progress_lines(label: str) -> Callable[[int, int], None]:
    began = last = time.monotonic()
    first: int | None = None

    def tell(done: int, total: int) -> None:
        nonlocal last, first
        first = done if first is None else first  # what was in the store
        now = time.monotonic()
        if now - last < EVERY or done <= first:
            return
        last = now
        left = (now - began) / (done - first) * (total - done)
        click.echo(f"{label}: {done} of {total}, about {_minutes(left)} to go", err=True)

    return tell


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def load_reports() -> None:
    """Loads what writes results, with pandas and matplotlib: for while worker processes compute."""
    import tautwire.studies.reports.folder
    import tautwire.studies.reports.page  # noqa: F401


def write(result: Result, out: Output, command: str, store: Store | None = None) -> list[Path]:
    """As reports/folder.py, which is loaded here, unless that was done while the answer was computed."""
    from tautwire.studies.reports.folder import write_into

    return write_into(out, result, command, store=store)


def tell_answer(*lines: str) -> None:
    """Print the answer, before files are drawn, which takes longer. A reader that is gone costs no file."""
    try:
        for line in lines:
            click.echo(line)
    except BrokenPipeError:
        unheard()


def said(*words: object, **options: object) -> str:
    """The command that repeats a result: words, then --name value for each option given (from_ is --from)."""
    given = [part for name, value in options.items() if value for part in (f"--{name.strip('_')}", str(value))]
    return shlex.join(["tautwire", *map(str, words), *given])


def aligned(lines: Sequence[Sequence[str]], sides: str) -> str:
    """Lines of cells as a text table; sides: "<" or ">" for each column, the last for the rest too."""
    sides = sides.ljust(len(lines[0]), sides[-1])
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    rows = (zip(line, sides, widths, strict=True) for line in lines)
    return "\n".join("  ".join(f"{cell:{side}{width}}" for cell, side, width in row).rstrip() for row in rows)


COLUMNS = (
    ("dip MHz", "dip_mhz", "MHz"), ("± kHz", "dip_give_khz", "kHz"), ("SWR", "dip_swr", "SWR"),
    ("2:1 kHz", "width_2to1_khz", "kHz"), ("worst SWR", "swr_worst", "rough SWR"), ("R ohm", "feed_r_ohm", "whole"),
    ("X ohm", "feed_x_ohm", "whole"), ("feed loss dB", "dip_loss_db", "hundredths"),
)  # fmt: skip


def dips_text(rows: Sequence[Mapping[str, Any]], axes: Sequence[tuple[str, Sequence[str]]] = ()) -> str:
    """The bands as aligned text. R and X are at the dip; where there is none, at the band's middle, in brackets.

    ± only where rows have it. axes: label of each axis and its value in every row.
    """
    columns = [c for c in COLUMNS if rows and c[1] in rows[0]]
    lines = [(*(label for label, _ in axes), "band", *(head for head, _, _ in columns))]
    for i, row in enumerate(rows):
        cells = {k: written_as(row[k] * si_factor(k), form) for _, k, form in columns}
        if math.isnan(row["dip_mhz"]):
            cells |= {f"feed_{part}_ohm": f"({written_as(row[f'centre_{part}_ohm'], 'whole')})" for part in "rx"}
        if not math.isnan(row.get("swr_worst_low", math.nan)):
            low, high = (written_as(row[f"swr_worst_{end}"], "rough SWR") for end in ("low", "high"))
            cells["swr_worst"] += f" ({low}-{high})"
        lines.append((*(values[i] for _, values in axes), row["band"], *cells.values()))
    return aligned(lines, ">")


def study_asked(raw: Raw, file: Path) -> Study:
    """The study of a file that is shown, not computed by a command of its own: it asks what its tables ask."""
    study = replace(read_study(asking(raw), file.stem), file=str(file))
    if "turns" not in raw or "want" in table_at(raw, "study"):
        return study
    from tautwire.studies.wants.turns.want import with_turn_axis

    return with_turn_axis(study)


def set_up_alone(raw: Raw, want: str) -> Raw:
    """A study's tables without those that make cases, unless it wants `want` of every case; says so."""
    alone = without_cases(raw, want)
    if alone is not raw:
        click.echo(f'Without [sweep] and [[variant]]; to have them for each case put "{want}" into want.')
    return alone
