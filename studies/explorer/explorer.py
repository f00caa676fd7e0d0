"""The explorer: one HTML file whose sliders move the SWR curves of all bands and the drawing of the wire."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Real
from tautwire.studies.explorer.sliders import Controls, Slider
from tautwire.studies.explorer.surface import POINTS, Builder, Progress, Surface
from tautwire.studies.running.pool import asked, lasting
from tautwire.studies.running.store import Store
from tautwire.studies.study import units
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.findings import caution_text
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import territory

if TYPE_CHECKING:
    from collections.abc import Callable

    from markupsafe import Markup

REEL_POINTS = 60
MOST_LIT = 1500  # nodes times bands up to which currents and patterns are kept, some 0.8 kB each


HERE = Path(__file__).parent


def core_script() -> Markup:
    """The script that works out what both pages show, for a template."""
    from markupsafe import Markup

    return Markup((HERE / "core.js").read_text(encoding="utf-8"))


def live_limits(slider: Slider) -> tuple[float, float]:
    """How far a slider goes in live mode: its range again on both sides, a length or size never below a third."""
    span = slider.high - slider.low
    low = slider.low - span
    if slider.kind is not units.angle:
        low = max(low, slider.low / 3)
    return round(low, 6), round(slider.high + span, 6)


def page_data(surface: Surface, errors: dict[str, Any], live: bool = False, most_lit: int = MOST_LIT) -> dict[str, Any]:
    """Everything the page's script needs. Frequencies in MHz, lengths in m, angles in degrees.

    most_lit: nodes times bands up to which currents and patterns go along.
    """
    made = surface.controls
    lit = sum(len(wire) for wire in surface.wires) * len(made.study.bands) <= most_lit
    shapes: list[Any] = []
    shape_of = []
    for wire in surface.wires:
        points = [node["shape"] for node in wire]
        if points not in shapes:
            shapes.append(points)
        shape_of.append(shapes.index(points))
    return {
        "live": live,
        "feet": made.study.lengths == "imperial",
        "bands": [
            {
                "name": band.name,
                "lower": band.lower / 1e6,
                "upper": band.upper / 1e6,
                "low": float(f[0]) / 1e6,
                "high": float(f[-1]) / 1e6,
                "own": [min(max(edge, float(f[0])), float(f[-1])) / 1e6 for edge in territory(band)],
            }
            for band, f in zip(made.study.bands, surface.frequencies, strict=True)
        ],
        "points": POINTS,
        "threshold": made.study.spec.swr_threshold,
        "sliders": [_slider(s, *surface.axes[s.path]) for s in made.sliders],
        "choices": [{"path": c.path, "label": c.label, "names": c.names, "start": c.start} for c in made.choices],
        "pick": [surface.pick[c] for c in made.combinations()],
        "wires": [
            {"shape": s, "nodes": [{k: n[k] for k in ("length", "bands", *["glow"] * lit)} for n in wire]}
            for s, wire in zip(shape_of, surface.wires, strict=True)
        ],
        "shapes": shapes,
        "lit": lit,
        "feeds": [[_feed(node) for node in feed] for feed in surface.feeds],
        "errors": errors,
        "reel": _reel(made),
    }


def _slider(s: Slider, nodes: list[float], blended: int) -> dict[str, Any]:
    low, high = live_limits(s)
    return {
        "path": s.path, "label": s.label, "unit": s.unit, "low": s.low, "high": s.high, "start": s.start,
        "step": s.step, "liveLow": low, "liveHigh": high, "wire": s.moves_wire, "nodes": nodes,
        "blended": blended,
    }  # fmt: skip


def _feed(node: dict[str, Any]) -> dict[str, Any]:
    bands = [[_short(column) for column in band] for band in node["bands"]]
    return {"reference": node["reference"], "length": node["length"], "bands": bands}


def _short(column: Real) -> list[float] | float:
    """A column of one value as that value."""
    values = column.tolist()
    return values[0] if len(set(values)) == 1 else values


def _reel(made: Controls) -> dict[str, list[float]] | None:
    """Turns off the reel against metres of wire, over what the length slider can reach."""
    setup = Setup.read(made.raw(made.start, tuple(c.start for c in made.choices)))
    slider = next((s for s in made.sliders if s.path == "antenna.length"), None)
    if setup.reel is None or slider is None:
        return None
    reel = setup.reel.reel()
    low, high = live_limits(slider)
    metres = np.linspace(max(low, 0.0), min(high, reel.wire_length), REEL_POINTS)
    return {"metres": [round(float(m), 4) for m in metres],
            "turns": [round(float(t), 3) for t in reel.turns_out(metres)]}  # fmt: skip


def explore(
    made: Controls,
    store: Store,
    workers: int | None = None,
    progress: Progress | None = None,
    live: bool = False,
) -> tuple[str, dict[str, Any]]:
    """The explorer page of some controls as one HTML text, and its data.

    Raises InputError for a set-up that cannot be built, SolveError for one that cannot be solved.
    """
    count = asked(workers)
    with lasting(count, _load_page) if count else nullcontext() as ask:
        surface, errors = Builder(made, store, ask, progress).build()
    data = page_data(surface, errors, live)
    study = made.study
    title_of, as_json, render = _load_page()
    page = render("explorer", HERE, title=title_of(study), name=study.name, data=as_json(data), core=core_script(),
                  controls=made, errors=errors, live=live, lit=data["lit"],
                  caution=caution_text(study.spec.want), setup=setup_words(study))  # fmt: skip
    return page, data


def _load_page() -> tuple[Callable[..., str], Callable[..., Markup], Callable[..., str]]:
    """What writes the page, with the colours of the drawing library."""
    from tautwire.studies.drawing.axes import title_of
    from tautwire.studies.reports.page import as_json, render

    return title_of, as_json, render
