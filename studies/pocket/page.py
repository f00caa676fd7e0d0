"""The pocket page as one offline HTML text, from a study's set-up on the explorer's grid."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tautwire import __version__
from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Remember
from tautwire.studies.explorer.curves import answers, wire_part
from tautwire.studies.explorer.explorer import core_script, page_data
from tautwire.studies.explorer.sliders import Controls
from tautwire.studies.explorer.surface import Builder, Progress
from tautwire.studies.learned.outing import GRID, READ_DIP, READ_SIZE, layer_of, off_values
from tautwire.studies.learned.posterior import kind_of
from tautwire.studies.pocket.basis import ALONG, Model, Wanted, stops_of
from tautwire.studies.pocket.linear import LAYERS, mixing
from tautwire.studies.pocket.slopes import Slopes, slopes_of
from tautwire.studies.running.pool import Ask, asked, lasting
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.findings import DEFERENCE, cautions_for
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.raw import kind_of as quantity_of
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.study.units import CUSTOMARY, written
from tautwire.studies.wants.spread.values import Uncertain
from tautwire.studies.wants.turns.choice import threshold
from tautwire.studies.wants.turns.want import segments_of, turn_counts

HERE = Path(__file__).parent
APART = 0.04  # relative step of length between places whose slopes are read
METRES = 0.1  # between stops of a wire without a reel
DIGITS = 6  # of slopes


@dataclass(frozen=True)
class SlopesAnswer:
    """Slopes of a set-up, as something that workers compute and the store keeps."""

    bands: tuple[Band, ...]

    def key(self, raw: Raw) -> str:
        names, values = [b.name for b in self.bands], repr(off_values(Setup.read(raw)))
        own = {k: v for k, v in raw.items() if k != "radio"}
        return digest("pocket slopes", __version__, own, names, wire_part(raw), values)

    def compute(self, raw: Raw, remember: Remember) -> Any:
        setup = Setup.read(raw)
        found = slopes_of(setup, setup.build().solver(remember), self.bands, off_values(setup))
        return [[[float(f"{x:.{DIGITS}g}") for x in row] for row in part] for part in (found.dip, found.size)]


def slope_places(made: Controls) -> tuple[float, ...]:
    """Lengths (m) at which slopes are read: along the slider, or none."""
    slider = next((s for s in made.sliders if s.path == ALONG), None)
    if slider is None:
        raise InputError(ALONG, "nothing", "a set-up with a length, so that the page can say how much wire in or out")
    count = math.ceil(math.log(slider.high / slider.low) / APART) + 1
    return tuple(float(f"{x:.9g}") for x in np.linspace(slider.low, slider.high, max(count, 2)))


def model_of(made: Controls, surface: Any, store: Store, ask: Ask | None, progress: Progress | None) -> Model:
    """What the page computes from. surface: of the controls. Raises InputError or SolveError."""
    study, lengths = made.study, slope_places(made)
    first = {surface.pick[c][0]: c for c in reversed(list(made.combinations()))}
    raws = [[made.raw({**made.start, ALONG: x}, first[w]) for x in lengths] for w in sorted(first)]
    tell = None if progress is None else lambda done, total: progress("reading slopes", done, total)  # type: ignore
    found = answers([[r] for row in raws for r in row], SlopesAnswer(study.bands), store, ask, tell)
    each = [off_values(Setup.read(raw)) for row in raws for raw in row]
    values = tuple({v.path: v for some in each for v in some}.values())
    slopes = [_aligned(one, some, values) for (one,), some in zip(found, each, strict=True)]
    n = len(lengths)
    table = [slopes[i * n : (i + 1) * n] for i in range(len(raws))]
    return Model(made, surface, values, lengths, table, wanted_of(study), stops_along(made), threshold(study))


def _aligned(found: Any, some: Sequence[Uncertain], values: Sequence[Uncertain]) -> Slopes:
    """Slopes of some values as columns for all; one that a set-up does not have moves nothing there."""
    place = {v.path: i for i, v in enumerate(some)}
    dip, size = (np.column_stack([np.array(part), np.zeros(len(part))]) for part in found)
    which = [place.get(v.path, -1) for v in values]
    return Slopes(dip[:, which], size[:, which])


def wanted_of(study: Study) -> tuple[Wanted, ...]:
    """The segments of a study, those that no band of its holds left out."""
    found = []
    for s in segments_of(study):
        which = [
            i for i, b in enumerate(study.bands) if b.name == s.band or (b.lower <= s.lower and s.upper <= b.upper)
        ]
        if which:
            found.append(Wanted(s.name, which[0], s.lower / 1e6, s.upper / 1e6))
    return tuple(found)


def stops_along(made: Controls) -> Any:
    """Where the wire can be stopped within its slider: at whole turns, or every METRES."""
    slider = next(s for s in made.sliders if s.path == ALONG)
    setup = Setup.read(made.raw(made.start, tuple(c.start for c in made.choices)))
    if setup.reel is None:
        count = math.floor((slider.high - slider.low) / METRES + 1e-9)
        return stops_of([round(slider.low + METRES * i, 6) for i in range(count + 1)])
    reel = setup.reel.reel()
    turns = turn_counts(reel, made.study.options["turns"], [setup])
    pairs = [(round(float(reel.length_out(t)), 6), float(t)) for t in turns]
    inside = [(m, t) for m, t in pairs if slider.low - 1e-9 <= m <= slider.high + 1e-9]
    if not inside:
        raise InputError("turns.first", "no turn", "turns whose wire lies within the length slider")
    return stops_of(*zip(*inside, strict=True))


def pocket_data(model: Model, errors: dict[str, Any], store: Store, base: dict[str, Any]) -> dict[str, Any]:
    """All of the page's data. base: what explorer and pocket page share."""
    made = model.controls
    study = made.study
    units = {s.path: written(1.0, s.kind).partition(" ")[2] if s.unit else "" for s in made.sliders}
    return base | {
        "texts": tomllib.loads((HERE / "texts.toml").read_text(encoding="utf-8")),
        "pocket": {
            "along": ALONG,
            "lengths": model.lengths,
            "slopes": [[{"dip": s.dip.tolist(), "size": s.size.tolist()} for s in row] for row in model.slopes],
            "values": [_value(v) for v in model.values],
            "mixing": {layer: [mixing(model, b)[layer].tolist() for b in range(len(model.bands))] for layer in LAYERS},
            "error": {"dip": READ_DIP, "size": READ_SIZE},
            "cells": [dataclasses.asdict(c) for c in GRID],
            "site": model.site,
            "stops": [dataclasses.asdict(s) for s in model.stops],
            "segments": [dataclasses.asdict(s) for s in model.segments],
            "threshold": model.threshold,
            "place": study.spec.place or study.spec.name,
            "study": study.spec.name,
            "raws": [_tables(made, c) for c in made.combinations()],
            "units": units,
            "safety": safety(study, store),
        },
    }


def _tables(made: Controls, picked: tuple[int, ...]) -> Raw:
    return {k: v for k, v in made.raw(made.start, picked).items() if k in Setup.model_fields}


def _value(one: Any) -> dict[str, Any]:
    kind = quantity_of(one.path)
    unit = CUSTOMARY[kind] if kind is not None else None
    return {
        "path": one.path, "name": one.name, "layer": layer_of(one.path), "kind": kind_of(one), "measure": one.measure,
        "left": min(one.measured / one.sd, 1.0), "sd": one.sd, "law": one.law,
        "unit": "" if unit is None else unit.sign, "factor": 1.0 if unit is None else unit.factor,
    }  # fmt: skip


def safety(study: Study, store: Store) -> dict[str, list[str]]:
    """What the stress and exposure questions say of the set-up, and cautions, as sentences."""
    from tautwire.studies.reports.answers import findings

    said: dict[str, list[str]] = {}
    for name, want in (("power", "stress"), ("distance", "exposure")):
        spec = study.spec.model_copy(update={"want": (want,)})
        alone = dataclasses.replace(study, spec=spec, axes=(), variants={})
        result = run(alone, store, workers=0)
        said[name] = [f.words.text(study.lengths) for f in findings(result) if f.role in ("verdict", "answer")]
    wants = ("stress", "exposure")
    said["cautions"] = [*(c.words for c in cautions_for(wants)), DEFERENCE]
    return said


def pocket(
    made: Controls, store: Store, workers: int | None = None, progress: Progress | None = None
) -> tuple[str, dict[str, Any], Model]:
    """The page of some controls, its data, and the model behind it.

    Raises InputError for a set-up that cannot be built, or has no length; SolveError for one that cannot be solved.
    """
    count = asked(workers)
    with lasting(count) if count else nullcontext() as ask:
        slope_places(made)
        surface, errors = Builder(made, store, ask, progress).build()
        model = model_of(made, surface, store, ask, progress)
    base = page_data(surface, errors, most_lit=0)
    data = pocket_data(model, errors, store, base)
    return html(made.study, data), data, model


def html(study: Study, data: dict[str, Any], installed: bool = False, left_out: str = "") -> str:
    """The page. installed: with a manifest and a service worker beside it. left_out: what is not in it."""
    from markupsafe import Markup

    from tautwire.studies.drawing.axes import title_of
    from tautwire.studies.reports.page import as_json, render

    code = Markup((HERE / "qrcode.js").read_text(encoding="utf-8"))
    return render("pocket", HERE, title=title_of(study), data=as_json(data), core=core_script(), qrcode=code,
                  t=data["texts"], controls=data, setup=setup_words(study), installed=installed, left_out=left_out,
                  safety=data["pocket"]["safety"])  # fmt: skip
