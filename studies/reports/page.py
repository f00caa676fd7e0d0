"""A result as pages and notebook output, and all of its figures.

Self-contained pages: no request leaves them, so they open from a phone's files without a network.

`render` fills a template with the style shared by all pages; `report` makes a study's.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
import numpy as np
import pandas as pd
import tomli_w
from markupsafe import Markup, escape

from tautwire.studies.drawing.axes import in_lengths, shared_words
from tautwire.studies.drawing.style import AHEAD, BACK, CYCLE, INK, LOBE, QUIET, RULE, SOIL, TARGET, Heading, Sheet
from tautwire.studies.pictures.figure import the_picture
from tautwire.studies.reports.answers import main_want, parts, sentences, trust
from tautwire.studies.study.columns import COLUMNS, unit_of
from tautwire.studies.study.findings import caution_text
from tautwire.studies.study.result import Result
from tautwire.studies.study.units import cell_text, plain
from tautwire.studies.wants.want import want_named

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

    from tautwire.studies.running.store import Store


# --- All figures of a result, the one picture first.


PICTURE = "picture"  # file stem of the one picture


def picture_of(result: Result, size: str = "print", store: Store | None = None) -> Sheet | None:
    """The wire of every case and band with its current and pattern; None if no case was solved."""
    return the_picture(result, Heading("", shared_words(result.study), size), store) if result.frames else None


def each_figure(result: Result, store: Store | None = None) -> Iterator[tuple[str, Figure]]:
    """File stem and figure, at print size, as they are built: the picture, then those of each want."""
    picture = picture_of(result, store=store)
    if picture is not None:
        yield PICTURE, in_lengths(picture, result.study.lengths)
    stems = set()
    for name in result.study.spec.want:
        plots = want_named(name).plots(result)
        for stem, figure in plots.items() if isinstance(plots, Mapping) else plots:
            stems.add(stem)
            yield stem, in_lengths(figure, result.study.lengths)
    if result.frames and not {"layout", "choices_layout"} & stems:
        from tautwire.studies.wants.dips.figures import layout_figures

        yield from layout_figures(result.study).items()


def figures_of(result: Result, store: Store | None = None) -> dict[str, Figure]:
    """All of them."""
    return dict(each_figure(result, store))


def alternative(stem: str, figure: Figure) -> str:
    """The words for those who do not see a figure: its title and caption, else its name."""
    return (figure.alternative if isinstance(figure, Sheet) else "") or stem.replace("_", " ").replace("-", " ")


# --- Self-contained pages.


HERE = Path(__file__).parent
NAMES = ("pine", "ember", "plum", "lake", "bark", "stone")
LIGHT = {
    "paper": "#ffffff", "raised": "#f5f7f5", "ink": INK, "quiet": QUIET, "rule": RULE, "edge": "#aeb9b6",
    "target": TARGET, "soil": SOIL, "ahead": AHEAD, "back": BACK, "lobe": LOBE,
    **{name: mark.colour for name, mark in zip(NAMES, CYCLE, strict=True)},
}  # fmt: skip
# the same hues, as bright on dark as the others are dark on white
DARK = {
    "paper": "#121a1b", "raised": "#1c2728", "ink": "#e8eeec", "quiet": "#a3b0ae", "rule": "#2b3839", "edge": "#4a5a5a",
    "target": "#1c3530", "soil": "#37301f", "pine": "#7fd1c4", "ember": "#f59a4a", "plum": "#cda2ee", "lake": "#82b9f5",
    "bark": "#d78f66", "stone": "#b8ab94", "ahead": "#f7b267", "back": "#b04e12", "lobe": "#22384e",
}  # fmt: skip
MOST_ROWS = 400  # of a table
MOST_POINTS = 160_000  # of all sweeps together
SWEEP_POINTS = 101


def theme() -> Markup:
    """The colours as custom properties, light and dark."""

    def block(colours: Mapping[str, str]) -> str:
        return "{" + "".join(f"--{name}:{value};" for name, value in colours.items()) + "}"

    dark = f"@media (prefers-color-scheme: dark) {{ :root {block(DARK)} }}"
    return Markup(f":root {block(LIGHT)} {dark} @media print {{ :root {block(LIGHT)} }}")


def as_json(value: Any) -> Markup:
    """JSON that is safe inside a script element; NaN becomes null."""
    text = json.dumps(plain(value), separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def render(template: str, folder: Path = HERE, **context: Any) -> str:
    """A page from <folder>/<template>.html.j2, with its own script and style, and this room's page.css, inside it."""
    loader = jinja2.FileSystemLoader([folder, HERE])
    room = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    css = folder / f"{template}.css"
    own = {
        "own_style": Markup(css.read_text(encoding="utf-8")) if css.exists() else "",
        "theme": theme(),
        "style": Markup((HERE / "page.css").read_text(encoding="utf-8")),
        "script": Markup((folder / f"{template}.js").read_text(encoding="utf-8")),
    }
    return room.get_template(f"{template}.html.j2").render(**own, **context)


def svg_text(figure: Figure) -> str:
    """A figure as the text of an SVG file."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="svg")
    return buffer.getvalue().decode("utf-8")


def inline_svg(text: str, stem: str, words: str) -> Markup:
    """An SVG file's text as an svg element whose ids no other figure on the page shares."""
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{stem}-", text)
    label = Markup.escape(words)
    return Markup(text.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1))


def _cell(value: Any) -> tuple[str, Any]:
    """How a value is shown, and what it is sorted by."""
    if isinstance(value, bool | str) or value is None:
        return str(value), str(value)
    if isinstance(value, int | np.integer):
        return cell_text(value), int(value)
    number = float(value)
    if math.isnan(number):
        return "", ""
    return cell_text(number), number


def report_tables(result: Result) -> list[dict[str, Any]]:
    """Every table but the sampled sweeps: name, columns with their meaning, rows of (text, key), rows left out."""
    out = []
    for name, frame in result.frames.items():
        if name == "sweeps" or frame.empty:
            continue
        words = [not pd.api.types.is_numeric_dtype(frame[c]) for c in frame]
        columns = [
            {"name": c, "meaning": COLUMNS.get(c, ""), "word": w} for c, w in zip(frame.columns, words, strict=True)
        ]
        rows = [[_cell(v) for v in row] for row in frame.head(MOST_ROWS).itertuples(index=False)]
        out.append({"name": name, "columns": columns, "rows": rows, "more": max(0, len(frame) - MOST_ROWS)})
    return out


def plot_data(result: Result) -> dict[str, Any] | None:
    """What the page's own plots are drawn from: dips and thinned sweeps of the cases; None without dips."""
    dips, sweeps = result.frames.get("dips"), result.frames.get("sweeps")
    if dips is None or sweeps is None or dips.empty:
        return None
    study = result.study
    keys = [a.column for a in study.axes]
    cases = study.cases()
    most = max(1, MOST_POINTS // (SWEEP_POINTS * len(study.bands)))
    step = math.ceil(len(cases) / most)
    place = {tuple(c.labels[k] for k in keys): c.index for c in cases}
    curves: dict[int, dict[str, list[float]]] = {}
    bands = {b.name: {"lower": b.lower / 1e6, "upper": b.upper / 1e6} for b in study.bands}
    for labels, rows in sweeps.groupby([*keys, "band"], sort=False, dropna=False):
        *case, name = labels if isinstance(labels, tuple) else (labels,)
        index = place[tuple(case)]
        if index % step:
            continue
        rows = rows.iloc[:: max(1, (len(rows) - 1) // (SWEEP_POINTS - 1))]
        bands[str(name)] |= {"low": float(rows["f_mhz"].iloc[0]), "high": float(rows["f_mhz"].iloc[-1])}
        curves.setdefault(index, {})[str(name)] = [round(min(x, 99.0), 3) for x in rows["swr"]]
    points: dict[int, dict[str, list[float]]] = {}
    for row in dips.to_dict("records"):
        index = place[tuple(row[k] for k in keys)]
        points.setdefault(index, {})[row["band"]] = [row["dip_mhz"], row["dip_swr"], row["width_2to1_khz"]]
    return {
        "axes": [{"label": a.label, "numbers": a.numbers is not None} for a in study.axes],
        "bands": [{"name": name, **band} for name, band in bands.items() if "low" in band],
        "threshold": study.spec.swr_threshold,
        "cases": [
            {"labels": [c.labels[k] for k in keys], "curves": curves[c.index], "dips": points.get(c.index, {})}
            for c in cases
            if c.index in curves
        ],
        "left_out": len(cases) - len(curves),
    }


def _study_file(result: Result) -> str:
    """The study as a study file."""
    study = result.study
    tables_: dict[str, Any] = {"study": study.spec.model_dump(), **study.raw}
    tables_["variant"] = [{"name": name, **raw} for name, raw in study.variants.items()]
    tables_["sweep"] = {a.path: list(a.texts) for a in study.axes if a.path != "variant"}
    return tomli_w.dumps({k: v for k, v in tables_.items() if v})


def report(
    result: Result, command: str, figures: Mapping[str, str] | None = None, words: Mapping[str, str] | None = None
) -> str:
    """The report of a result as one HTML text.

    figures: stem -> SVG text (default: those of the study's wants). words: stem -> what stands for it where it is not
    seen.
    """
    if figures is None:
        plots = figures_of(result)
        figures = {stem: svg_text(figure) for stem, figure in plots.items()}
        words = {stem: alternative(stem, figure) for stem, figure in plots.items()}
    spec, (first, rest, details) = result.study.spec, parts(result)
    drawn = {k: inline_svg(f, re.sub(r"\W+", "-", k), (words or {}).get(k, k)) for k, f in figures.items()}
    return render(
        "report",
        name=spec.name,
        title=spec.question or spec.name,
        verdicts=first,
        picture=drawn.pop(PICTURE, ""),
        answers=rest,
        details=details,
        figures=list(drawn.values()),
        plots=(data := plot_data(result)),
        data=as_json(data),
        tables=report_tables(result),
        setup=_study_file(result),
        caution=caution_text(spec.want),
        validity=trust(result),
        failed=bool(result.failed or result.marked()),
        cases=result.study.count,
        command=command,
    )


# --- A result as notebooks show it: verdict, main table, main figure.


SHOWN_MOST_ROWS, MOST_COLUMNS = 12, 10


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
        for row in rows[:SHOWN_MOST_ROWS]
    ]
    more = f"table {name}, {len(rows)} rows: result.frames[{name!r}]"
    return Markup("<table><thead><tr>{}</tr><tr>{}</tr></thead><tbody>{}</tbody></table><p>{}</p>").format(
        head, units, Markup("").join(body), escape(more)
    )
