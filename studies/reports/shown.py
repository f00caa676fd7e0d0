"""A result as notebooks show it: verdict, main table, main figure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from tautwire.studies.reports.answers import main_want, sentences, trust
from tautwire.studies.reports.figures import alternative, figures_of
from tautwire.studies.reports.page import inline_svg, svg_text
from tautwire.studies.study.cells import cell_text
from tautwire.studies.study.columns import unit_of
from tautwire.studies.wants.registry import want_named

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_ROWS, MOST_COLUMNS = 12, 10
__all__ = ["figures_of", "html", "words"]


def words(result: Result) -> list[str]:
    """The answer, and how far to trust it."""
    return [*sentences(result), *trust(result)]


def html(result: Result) -> Markup:
    """Verdict, main table and main figure."""
    told = sentences(result) or trust(result)
    parts = [Markup("<p><b>{}</b></p>").format(told[0])] if told else []
    name = next((n for n in (main_want(result), "dips", *result.frames) if n in result.frames), None)
    if name is not None:
        parts.append(_table(result, name))
    first = _first_figure(result)
    if first is not None:
        stem, figure = first
        parts.append(inline_svg(svg_text(figure), f"{result.study.name}-{stem}", alternative(stem, figure)))
    return Markup("<div>{}</div>").format(Markup("").join(parts))


def _first_figure(result: Result) -> tuple[str, Figure] | None:
    if not result.frames:
        return None
    plots = want_named(main_want(result)).plots(result)
    return next(iter(plots.items() if isinstance(plots, Mapping) else plots), None)


def _table(result: Result, name: str) -> Markup:
    rows = result.rows(name)
    columns = list(rows[0])[:MOST_COLUMNS] if rows else []
    head = Markup("").join(Markup("<th>{}</th>").format(c) for c in columns)
    units = Markup("").join(Markup("<td>{}</td>").format(unit_of(str(c)).replace("1", "")) for c in columns)
    body = [
        Markup("<tr>{}</tr>").format(Markup("").join(Markup("<td>{}</td>").format(cell_text(row[c])) for c in columns))
        for row in rows[:MOST_ROWS]
    ]
    more = f"table {name}, {len(rows)} rows: result.frames[{name!r}]"
    return Markup("<table><thead><tr>{}</tr><tr>{}</tr></thead><tbody>{}</tbody></table><p>{}</p>").format(
        head, units, Markup("").join(body), escape(more)
    )
