"""The choices side by side: SWR of each in every segment; and the curve between two aims, with the choices on it."""

from __future__ import annotations

import textwrap
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from tautwire.studies.drawing.layout import layout_grid
from tautwire.studies.drawing.style import CYCLE, INK, QUIET, TARGET, Heading, Look, Sheet, style
from tautwire.studies.study.findings import Drawn, say
from tautwire.studies.wants.choose.candidates import Problem, choices_of, read_problem
from tautwire.studies.wants.choose.words import AIM_WORDS, FORMS_OF, choice_text, verdict

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

AIM_COLUMNS = {column for _, _, column, _ in AIM_WORDS.values()}


def choose_figures(result: Result, size: str | Look = "print") -> dict[str, Figure]:
    """Stem -> figure: "choices" and, for two aims, "tradeoff"; of the study's first case."""
    table = result.frames.get("choices")
    if table is None or table.empty:
        return {}
    case = result.study.cases()[0]
    problem = read_problem(result.study, case.raw)
    rows, swr = result.of("choices", case), result.of("choice_swr", case)
    figures: dict[str, Figure] = {
        "choices": choices_figure(result, problem, rows, swr, size),
    }
    hung = [(name, setup.build()) for name, setup in choices_of(result, case)]
    figures["choices_layout"] = layout_grid(
        hung, Heading("How the choices hang", size=size), lengths=result.study.lengths
    )
    curve = result.of("tradeoff", case) if "tradeoff" in result.frames else pd.DataFrame()
    if len(curve) > 1:
        figures["tradeoff"] = tradeoff_figure(result, problem, curve, rows, size)
    return figures


def _title(result: Result, problem: Problem, drawn: Drawn) -> str:
    """The verdict on the case that is drawn."""
    best = drawn.rows(result, "choices", "swr_highest")[0]
    return verdict(result, problem, best).title(result.study.lengths)


def _ends(result: Result, problem: Problem, drawn: Drawn) -> str:
    """What the whole way along the curve costs."""
    (first, second), rows = problem.spec.aims, drawn.rows(result, "tradeoff", AIM_WORDS[list(problem.spec.aims)[0]][2])
    ends = sorted((rows[0], rows[-1]), key=lambda r: float(r[AIM_WORDS[first][2]]))
    at = [r.number(AIM_WORDS[name][2], FORMS_OF[name]) for name in (first, second) for r in ends]
    return say("{one} {a} with {two} {c}, or {b} with {d}", one=AIM_WORDS[first][0].capitalize(), a=at[0], b=at[1],
               two=AIM_WORDS[second][0], c=at[2], d=at[3]).title()  # fmt: skip


def choices_figure(
    result: Result, problem: Problem, rows: pd.DataFrame, swr: pd.DataFrame, size: str | Look = "print"
) -> Sheet:
    """Highest SWR of each choice in each segment, with its 68 % interval, against the SWR wanted."""
    names = [s.name for s in problem.segments]
    records = rows.to_dict("records")
    with style(size) as look:
        sheet = Sheet(look, 1.6 + 0.34 * len(names) * max(len(records), 2) if look.name == "print" else None)
        shown = [c for c in rows.columns if c in {k.column for k in problem.knobs} or c in AIM_COLUMNS]
        sheet.draws("choices", rows.index, *shown)
        sheet.header(
            Heading(
                partial(_title, result, problem),
                f"Highest SWR across each segment, with the 68 % interval; the wish is {problem.swr:g} or less.",
            )
        )
        ax: Any = sheet.subplots()
        most = problem.swr
        names_of = [f"{row['choice']}: {choice_text(problem, row, result.study.lengths)}" for row in records]
        for i, row in enumerate(records):
            part = swr[swr["choice"] == row["choice"]].set_index("segment").reindex(names)
            y = np.arange(len(names)) + (i - (len(records) - 1) / 2) * 0.22
            mark, x = CYCLE[i % len(CYCLE)], part["swr_worst"].to_numpy()
            swing = np.nan_to_num(part["swr_worst_pm"].to_numpy())
            low = np.minimum(swing, x - 1)
            ax.errorbar(x, y, xerr=[low, swing], fmt=mark.marker, color=mark.colour, mec="white", lw=look.line * 0.8,
                        label=textwrap.fill(names_of[i], 60))  # fmt: skip
            most = max(most, float((x + swing).max()))
        ax.axvspan(1, problem.swr, color=TARGET, lw=0, zorder=0)
        ax.axvline(problem.swr, color=INK, lw=look.line * 0.6)
        ax.set_yticks(range(len(names)), labels=names)
        ax.set_ylim(len(names) - 0.5, -0.5)
        ax.set_xlim(1, 1 + 1.06 * (most - 1))
        ax.set_xlabel("highest SWR at the radio")
        sheet.legend(loc="outside lower left", ncols=1)
        return sheet


def tradeoff_figure(
    result: Result, problem: Problem, curve: pd.DataFrame, rows: pd.DataFrame, size: str | Look = "print"
) -> Sheet:
    """What more of one aim costs of the other."""
    (one, unit_one, x, _), (two, unit_two, y, _) = (AIM_WORDS[name] for name in problem.spec.aims)
    with style(size) as look:
        sheet = Sheet(look)
        sheet.draws("tradeoff", curve.index, x, y)
        sheet.header(
            Heading(
                partial(_ends, result, problem),
                "Each point was solved exactly; nothing found is better in both. Numbers are the choices.",
            )
        )
        ax: Any = sheet.subplots()
        ax.plot(curve[x], curve[y], color=QUIET, lw=look.line, marker="o", mec="white")
        for i, row in enumerate(rows.to_dict("records")):
            mark = CYCLE[i % len(CYCLE)]
            ax.plot(row[x], row[y], marker=mark.marker, color=mark.colour, mec="white", ms=look.type, ls="")
            ax.annotate(str(row["choice"]), (row[x], row[y]), xytext=(0, look.type), textcoords="offset points",
                        ha="center", color=INK, weight="bold")  # fmt: skip
        ax.set_xlabel(f"{one} ({unit_one.strip()})" if unit_one else one)
        ax.set_ylabel(f"{two} ({unit_two.strip()})" if unit_two else two)
        ax.margins(0.1)
        return sheet
