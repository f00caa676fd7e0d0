"""A result on disk: tidy CSV tables, plots, and a one-page summary that answers first."""

import shlex
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from ..model.errors import InputError
from .cautions import caution_text
from .result import Result
from .wants import want_named


def sentences(result: Result) -> list[str]:
    """The answer in words, with its numbers."""
    out = []
    for name in result.study.spec.want:
        out += want_named(name).sentences(result)
    return out


def validity(result: Result) -> list[str]:
    """Failed and marked cases, in words; one line says so if there are none."""
    out = []
    for failure in result.failed:
        labels = ", ".join(f"{k} {v}" for k, v in failure.labels.items()) or "the set-up"
        out.append(f"FAILED: {labels}: {failure.reason}")
    marked = result.marked()
    for words, rows in marked.groupby("marks") if len(marked) else ():
        out.append(f"Outside validity in {len(rows)} rows: {words}.")
    return out or ["All cases were solved, inside the model's validity."]


def markdown_table(frame: pd.DataFrame) -> str:
    """A pipe table with few digits."""

    def cell(value: object) -> str:
        if isinstance(value, float):
            return (
                "" if pd.isna(value) else f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) < 100 else f"{value:.0f}"
            )
        return str(value)

    head = "| " + " | ".join(map(str, frame.columns)) + " |"
    rule = "|" + "---|" * len(frame.columns)
    rows = ["| " + " | ".join(map(cell, row)) + " |" for row in frame.itertuples(index=False)]
    return "\n".join([head, rule, *rows])


SUMMARY_COLUMNS = [
    "band",
    "dip_mhz",
    "dip_swr",
    "width_2to1_khz",
    "swr_worst",
    "feed_r_ohm",
    "feed_x_ohm",
    "dip_loss_db",
]


def summary(result: Result, command: str, plots: Iterable[str] = ()) -> str:
    """The one-page summary, Markdown."""
    spec = result.study.spec
    parts = [f"# {spec.question or spec.name}", *sentences(result)]
    dips = result.frames.get("dips")
    if dips is not None and len(dips):
        wanted = [c for c in [*result.axis_columns, *SUMMARY_COLUMNS] if c in dips]
        shown = dips[wanted]
        if len(shown) > 40:
            parts.append(f"The first 40 of {len(shown)} rows; all are in dips.csv.")
        parts.append(markdown_table(shown.head(40)))
    parts += [f"![{name}]({name}.png)" for name in plots]
    parts += ["## How far to trust it", *validity(result), caution_text(spec.want)]
    parts += ["## Made with", f"    {command}"]
    return "\n\n".join(parts) + "\n"


def write(
    result: Result, folder: Path, command: str | None = None, formats: tuple[str, ...] = ("png", "svg")
) -> list[Path]:
    """Write every table, plot and the summary into folder; the paths written. Raises InputError if it cannot."""
    from .page import write_report  # which needs this module's words

    command = command or f"tautwire run {shlex.quote(result.study.name)}"
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, frame in result.frames.items():
            path = folder / f"{name}.csv"
            frame.to_csv(path, index=False, float_format="%.9g", lineterminator="\n")
            written.append(path)
        plots = {k: figure for name in result.study.spec.want for k, figure in want_named(name).plots(result).items()}
        for stem, figure in plots.items():
            for kind in formats:
                path = folder / f"{stem}.{kind}"
                figure.savefig(path)
                written.append(path)
        page = folder / "summary.md"
        page.write_text(summary(result, command, plots), encoding="utf-8")
        written.append(write_report(result, folder, command, plots))
    except OSError as error:
        raise InputError("out", folder, f"a folder that can be written ({error.strerror})") from None
    return [*written, page]
