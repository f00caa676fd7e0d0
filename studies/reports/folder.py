"""A result on disk: tidy CSV tables, plots, and a one-page summary that answers first."""

from __future__ import annotations

import contextlib
import io
import multiprocessing
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterable
from datetime import date
from importlib import metadata
from multiprocessing import connection
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np
import pandas as pd

from tautwire.model.errors import InputError
from tautwire.studies.reports.answers import making, source, study_text, trust
from tautwire.studies.reports.answers import parts as answer_parts
from tautwire.studies.running.pool import cores, end_with, start_method
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.files import PAGE, RECORD, STUDY, SUMMARY, Output
from tautwire.studies.study.findings import caution_text
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import cell_text
from tautwire.studies.wants.give_or_take import with_give
from tautwire.studies.wants.want import want_named

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

    from matplotlib.figure import Figure


# --- Texts of a study or a file name, written so that no program that opens a table or a summary acts on them.


ACTS = re.compile(r"\s*[=@]|\s*[+-](?=.*[|(!=])|[\t\r]")  # how a cell starts that spreadsheets take for a formula


def markdown(text: str) -> str:
    """A text whose HTML, links and pictures are shown, not followed."""
    return re.sub(r"([\[|])", r"\\\1", text.replace("&", "&amp;").replace("<", "&lt;"))


def cells(frame: pd.DataFrame) -> pd.DataFrame:
    """The table with an apostrophe before texts that a spreadsheet would compute ("=1+2"); "+5 cm" stays as it is."""
    words = [c for c in frame if not pd.api.types.is_numeric_dtype(frame[c])]
    return frame.assign(**{c: frame[c].map(_cell) for c in words}) if words else frame


def _cell(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and ACTS.match(value) else value


# --- A result on disk.


def markdown_table(frame: pd.DataFrame) -> str:
    """A pipe table with few digits."""

    def cell(value: object) -> str:
        return cell_text(value) if isinstance(value, float) else markdown(str(value))

    head = "| " + " | ".join(map(str, frame.columns)) + " |"
    rule = "|" + "---|" * len(frame.columns)
    rows = ["| " + " | ".join(map(cell, row)) + " |" for row in frame.itertuples(index=False)]
    return "\n".join([head, rule, *rows])


SUMMARY_COLUMNS = [
    "band",
    "dip_mhz",
    "dip_give_khz",
    "dip_swr",
    "width_2to1_khz",
    "swr_worst",
    "swr_worst_high",
    "feed_r_ohm",
    "feed_x_ohm",
    "dip_loss_db",
]


def summary(result: Result, command: str, plots: Iterable[str] = ()) -> str:
    """The one-page summary, Markdown."""
    spec = result.study.spec
    first, rest, details = ([markdown(line) for line in lines] for lines in answer_parts(result))
    parts = [f"# {markdown(spec.question or spec.name)}", *first]
    dips = result.frames.get("dips")
    if dips is not None and len(dips):
        dips = with_give(result, dips)
        wanted = [c for c in [*result.axis_columns, *SUMMARY_COLUMNS] if c in dips]
        shown = dips[wanted]
        if len(shown) > 40:
            parts.append(f"The first 40 of {len(shown)} rows; all are in dips.csv.")
        parts.append(markdown_table(shown.head(40)))
    parts += rest
    parts += [f"![{name}]({name}.png)" for name in plots]
    parts += ["## In detail", *details] if details else []
    parts += ["## How far to trust it", *map(markdown, trust(result)), caution_text(spec.want)]
    parts += ["## Made with", f"    {command}"]
    return "\n\n".join(parts) + "\n"


def write(
    result: Result,
    folder: Path | str,
    command: str | None = None,
    formats: tuple[str, ...] = ("png", "svg"),
    store: Store | None = None,
    replace: bool = False,
) -> list[Path]:
    """Write every table, plot, the summary and the report of a result into a folder.

    Parameters
    ----------
    result : Result
        As `run` gives it.
    folder : Path or str
        Where to write; made if it is not there. What an earlier run of the same study wrote is replaced, and kept in
        a folder .tautwire; other files, also those edited since, are not.
    command : str, optional
        What the summary ends with: how this result is made again.
    formats : tuple of str
        Formats of the plots; "png" and "svg" are known to work.
    store : Store, optional
        Where drawings are kept, so that the same result is drawn once.
    replace : bool
        Replace files of others too, such as those of another study; they are kept in .tautwire.

    Returns
    -------
    list of Path
        The files written: <table>.csv, <plot>.png and .svg, summary.md, report.html,
        study.toml (the study as run) and provenance.json (versions, platform, time, digests of all files).

    Raises
    ------
    InputError
        If the folder cannot be written, or holds files in the way that are not known as written there, or for an
        unknown format.

    Examples
    --------
    >>> import tempfile, tautwire
    >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
    >>> result = tautwire.run(tautwire.read_study({"study": {"bands": ["20 m"]}, **setup}), workers=0)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     files = [path.name for path in tautwire.write(result, folder, formats=("png",))]
    >>> [name for name in files if name.endswith("csv")][:4]
    ['dips.csv', 'all_dips.csv', 'sweeps.csv', 'spread.csv']
    """
    _check_formats(formats)
    command = command or f"tautwire run {STUDY}"
    question = command.split()[1] if command.startswith("tautwire ") else "run"
    with Output(Path(folder), source(result.study, question), replace=replace) as out:
        return write_into(out, result, command, formats, store)


def write_into(
    out: Output, result: Result, command: str, formats: tuple[str, ...] = ("png", "svg"), store: Store | None = None
) -> list[Path]:
    """As `write`, into a folder to which more may be written. Raises InputError."""
    tables = {f"{name}.csv": _csv(frame) for name, frame in result.frames.items() if len(frame.columns)}
    tables |= {name: text for want in result.study.spec.want for name, text in want_named(want).files(result).items()}
    written = out.put({name: text.encode() for name, text in tables.items()})  # whatever becomes of the drawings
    drawn = _drawn(result, command, formats, store)
    if store is None:
        drawings = drawn()
    else:
        study = result.study
        facts = [study.spec.model_dump(), study.raw, study.variants, repr(study.options), repr(result.failed)]
        facts += [date.today().isoformat()] if "turns.csv" in tables else []  # stands on the card
        drawings = store(digest("plots", tables, facts, command, formats, metadata.version("matplotlib")), drawn)
    stems = list(dict.fromkeys(Path(name).stem for name in drawings if not name.endswith((".html", ".csv"))))
    files = {name: data.tobytes() for name, data in drawings.items()}
    texts = {SUMMARY: summary(result, command, stems).encode(), STUDY: study_text(result.study).encode()}
    out.facts |= making(result.study, command)
    return [*written, *out.put({**texts, **files}), out.folder / RECORD]


def _check_formats(formats: tuple[str, ...]) -> None:
    """Raises InputError for a format of plots that cannot be written."""
    if not isinstance(formats, str) and set(formats) <= {"png", "svg"}:
        return
    from matplotlib.backend_bases import FigureCanvasBase

    possible = sorted(FigureCanvasBase.filetypes)
    for name in [formats] if isinstance(formats, str) else formats:
        if isinstance(formats, str) or name not in possible:
            raise InputError("formats", repr(name), f'a tuple of {", ".join(possible)}, such as ("png", "svg")')


def _saved(
    figures: Iterable[tuple[str, Figure]], formats: tuple[str, ...]
) -> tuple[dict[str, Figure], dict[str, bytes]]:
    """Every figure, and its bytes in every format by file name.

    Saving costs more than building, so while a figure is built others are saved, each in a forked process of its own,
    which needs no pickling.
    """
    plots: dict[str, Figure] = {}
    fork = multiprocessing.get_context("fork") if start_method() == "fork" and cores() > 1 else None
    running: list[tuple[dict[str, IO[bytes]], BaseProcess]] = []
    saved: dict[str, bytes] = {}
    with contextlib.ExitStack() as opened:
        for stem, figure in figures:
            plots[stem] = figure
            if fork is not None:
                while len(busy := [p for _, p in running if p.is_alive()]) >= cores():
                    connection.wait([p.sentinel for p in busy])
                # files without a name: whoever is killed leaves none behind
                names = [f"{stem}.{kind}" for kind in formats]
                files: dict[str, IO[bytes]] = {n: opened.enter_context(tempfile.TemporaryFile()) for n in names}
                try:
                    process: BaseProcess = fork.Process(target=_save_into, args=(files, figure, os.getpid()))
                    process.start()
                except (OSError, MemoryError):  # no memory for another process: saved here, below
                    continue
                running.append((files, process))
        for written, ended in running:
            ended.join()
            if ended.exitcode == 0:
                for name, file in written.items():
                    file.seek(0)
                    saved[name] = file.read()
    every = [(f"{stem}.{kind}", stem, kind) for stem in plots for kind in formats]
    # what a child could not save fails here again, and says why
    return plots, {name: saved.get(name) or _bytes(plots[stem], kind) for name, stem, kind in every}


def _save_into(files: dict[str, IO[bytes]], figure: Figure, parent: int) -> None:
    """In a process of its own; what fails is said by its parent, which tries again."""
    end_with(parent)
    sys.unraisablehook = lambda _: None
    try:
        for name, file in files.items():
            file.write(_bytes(figure, name.rpartition(".")[2]))
            file.flush()
    except Exception:  # noqa: BLE001
        os._exit(1)


def _bytes(figure: Figure, kind: str) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind)
    return buffer.getvalue()


def _csv(frame: pd.DataFrame) -> str:
    return str(cells(frame).to_csv(index=False, float_format="%.9g", lineterminator="\n"))


def _drawn(
    result: Result, command: str, formats: tuple[str, ...], store: Store | None
) -> Callable[[], dict[str, np.ndarray]]:
    """What draws every plot and the report: file name -> its bytes."""

    def draw() -> dict[str, np.ndarray]:
        from tautwire.studies.reports.page import (  # with the template engine, which a stored drawing spares
            alternative,
            each_figure,
            report,
            svg_text,
        )

        plots, files = _saved(each_figure(result, store), formats)
        shown = {stem: files[f"{stem}.svg"].decode() if "svg" in formats else svg_text(plots[stem]) for stem in plots}
        words = {stem: alternative(stem, figure) for stem, figure in plots.items()}
        if "picture" in result.frames:
            files["picture.csv"] = _csv(result.frames["picture"]).encode()
        files[PAGE] = report(result, command, shown, words).encode()
        return {name: np.frombuffer(data, dtype=np.uint8) for name, data in files.items()}

    return draw
