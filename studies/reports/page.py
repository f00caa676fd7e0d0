"""Self-contained pages: no request leaves them, so they open from a phone's files without a network.

`render` fills a template with the style shared by all pages; `report` makes a study's.
"""

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
from markupsafe import Markup

from tautwire.studies.drawing.style import AHEAD, BACK, CYCLE, INK, LOBE, QUIET, RULE, SOIL, TARGET
from tautwire.studies.reports.answers import parts, trust
from tautwire.studies.reports.figures import PICTURE, alternative, figures_of
from tautwire.studies.study.cautions import caution_text
from tautwire.studies.study.cells import cell_text, plain
from tautwire.studies.study.columns import COLUMNS
from tautwire.studies.study.result import Result

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def svg_text(figure: "Figure") -> str:
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
