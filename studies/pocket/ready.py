"""The ready pocket page: fitted formulas for any sloper of a box, and a folder that any static host can serve."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tautwire.model.basics import Complex, Real, impedance, reflection
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.explorer.sliders import Controls, Setting, controls
from tautwire.studies.explorer.surface import Picked, Surface, feed_node, grid
from tautwire.studies.pocket.basis import Model
from tautwire.studies.pocket.fitted import PATHS, Form
from tautwire.studies.pocket.page import HERE, html, pocket_data, stops_along, wanted_of
from tautwire.studies.pocket.slopes import Slopes
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.wants.spread.values import Uncertain

LOW, HIGH = (16.0, 10.0, 0.5, 3.0), (22.0, 60.0, 3.0, 20.0)
"""ends of the box: length m, slope degrees, feed height m, coax m"""
UNITS = ("m", "deg", "m", "m")
TABLES: dict[str, Any] = {
    "study": {
        "name": "pocket", "place": "the park", "question": "Your sloper in the park",
        "bands": ["40 m", "20 m", "15 m", "10 m"], "swr_threshold": 2.0,
    },
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg", "feed_height": "1.2 m"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "coax": {"type": "RG-58", "length": "5 m", "height": "2 cm"},
    "sweep": {
        **{path: [f"{a:g} {unit}", f"{b:g} {unit}"] for path, a, b, unit in zip(PATHS, LOW, HIGH, UNITS, strict=True)},
        "site.soil": ["average soil"],
    },
}  # fmt: skip
LEFT_OUT = (
    "Not in this page: inverted V and other layouts, soils but average soil, a counterpoise, other wires, coax and "
    "transformers, the bands 30, 17, 12 and 6 m. For those make your own page: tautwire pocket FILE."
)
NEAR = 0.03  # of a band's edges: dips so far out are compared
DEEP = 1 / 3  # |reflection| below which they are: SWR 2
SAME = 0.01  # of the frequency: dips so near each other are one


def ready_controls() -> Controls:
    """The sliders of the ready page."""
    return controls(read_study(TABLES))


def setting_of(place: Sequence[float]) -> Setting:
    """A place of the box as the page's setting."""
    return dict(zip(PATHS, map(float, place), strict=True))


@dataclass
class FittedSurface(Surface):
    """Curves from a fitted formula a band, in place of solved nodes."""

    forms: tuple[Form, ...] = ()

    def reflection(self, setting: Setting, picked: Picked) -> list[Complex]:
        place = np.array([[setting[path] for path in PATHS]])
        return [form.at(f / 1e6, place)[0] for form, f in zip(self.forms, self.frequencies, strict=True)]


def fitted_surface(made: Controls, forms: Sequence[Form]) -> FittedSurface:
    """forms: one a band, as rounded for the page."""
    picked = tuple(c.start for c in made.choices)
    frequencies = grid(made.study.bands)
    feed = feed_node(made.raw(made.start, picked), frequencies)
    axes: dict[str, tuple[list[float], int]] = {s.path: ([], 0) for s in made.sliders}
    return FittedSurface(made, frequencies, axes, [[]], [[feed]], {picked: (0, 0)}, tuple(forms))


def radio_size(feed: FeedSystem, gamma: Complex, f: Real) -> Real:
    """|reflection| at the radio of that at the wire's feed, both over f (Hz)."""
    return np.abs(reflection(feed.impedances(impedance(gamma, REFERENCE), f).radio, feed.reference))


def _dips(f: Real, g: Real) -> list[tuple[float, float]]:
    """(Hz, |reflection|) of every dip of g on f, by the parabola through three points."""
    found = []
    for m in range(1, len(g) - 1):
        if g[m] <= g[m - 1] and g[m] < g[m + 1]:
            y0, y1, y2 = g[m - 1 : m + 2] ** 2
            found.append((float(f[m] + (y0 - y2) / (2 * (y0 - 2 * y1 + y2)) * (f[1] - f[0])), float(g[m])))
    return found


def dips_near(band: Band, f: Real, g: Real) -> list[float]:
    """Frequencies (Hz) of all dips below SWR 2 of |reflection| g on f, within 3 % of the band."""
    ends = band.lower * (1 - NEAR), band.upper * (1 + NEAR)
    return [at for at, low in _dips(f, g) if low < DEEP and ends[0] <= at <= ends[1]]


@dataclass
class BandError:
    """A band of the page against the solver at fresh settings: dips compared, their errors (Hz), lost or merged ones,
    ones that are not there, and the greatest error of the SWR below 3."""

    band: Band
    settings: int
    errors: list[float]
    lost: int = 0
    extra: int = 0
    swr: float = 0.0

    def row(self) -> dict[str, Any]:
        size = np.abs(self.errors) / 1e3
        return {
            "band": self.band.name, "settings": self.settings, "dips": len(size), "median_khz": float(np.median(size)),
            "nine_in_ten_khz": float(np.percentile(size, 90)), "worst_khz": float(size.max()), "lost": self.lost,
            "extra": self.extra, "swr": self.swr,
        }  # fmt: skip


def compared(band: Band, feed: FeedSystem, f: Real, exact: Complex, page: Complex) -> BandError:
    """One band at some settings: reflection (n, f) at the wire's feed as solved and as the page has it, over f (Hz)."""
    found = BandError(band, len(exact), [])
    for right, shown in zip(exact, page, strict=True):
        g, p = radio_size(feed, right, f), radio_size(feed, shown, f)
        true, told = dips_near(band, f, g), dips_near(band, f, p)
        free = [x for x, _ in _dips(f, p)]  # each stands for one dip of the solver's, so that merged ones count
        for at in true:
            near = [x for x in free if abs(x / at - 1) < SAME]
            if near:
                best = min(near, key=lambda x: abs(x - at))
                free.remove(best)
                found.errors.append(best - at)
            else:
                found.lost += 1
        found.extra += sum(not any(abs(x / at - 1) < SAME for at, _ in _dips(f, g)) for x in told)
        low = g < 0.5
        swr = np.abs((1 + p) / (1 - np.minimum(p, 0.99)) - (1 + g) / (1 - np.minimum(g, 0.99)))
        found.swr = max(found.swr, float(swr[low].max(initial=0.0)))
    return found


def ready_model(surface: FittedSurface, values: tuple[Uncertain, ...], lengths: Sequence[float],
                slopes: list[Slopes]) -> Model:  # fmt: skip
    """What the ready page computes from. slopes: at each of the lengths, the rest as at the start."""
    made = surface.controls
    threshold = made.study.spec.swr_threshold
    return Model(made, surface, values, tuple(lengths), [slopes], wanted_of(made.study), stops_along(made), threshold)


def ready_data(model: Model, errors: Sequence[BandError], store: Store) -> dict[str, Any]:
    """All of the page's data."""
    from tautwire.studies.explorer.explorer import page_data

    assert isinstance(model.surface, FittedSurface)
    rows = [e.row() for e in errors]
    base = page_data(model.surface, {"settings": rows[0]["settings"], "words": error_words(rows), "bands": rows},
                     most_lit=-1)  # fmt: skip
    base["wires"] = [{"fitted": [form.data() for form in model.surface.forms]}]
    return pocket_data(model, base["errors"], store, base)


def error_words(rows: Sequence[dict[str, Any]]) -> str:
    """Each band's error in a sentence."""
    said = [f"{r['band']} {r['median_khz']:.1f}, {r['nine_in_ten_khz']:.1f}, {r['worst_khz']:.1f}" for r in rows]
    lost, extra = sum(r["lost"] for r in rows), sum(r["extra"] for r in rows)
    return (
        f"Dips of this page against the solver, at {rows[0]['settings']} fresh random settings, in kHz (middle one, "
        f"nine in ten within, worst): {'; '.join(said)}. Lost or merged dips: {lost}; dips that are not there: {extra}."
    )


def ready_files(data: dict[str, Any], model: Model) -> dict[str, bytes]:
    """The folder: the page, what installs it, and the licence of the QR library."""
    page = html(model.controls.study, data, installed=True, left_out=LEFT_OUT)
    version = f"{hash_of(page)}"
    worker = (HERE / "worker.js").read_text(encoding="utf-8").replace("VERSION", version)
    return {
        "index.html": page.encode(),
        "manifest.webmanifest": json.dumps(MANIFEST, indent=1).encode(),
        "worker.js": worker.encode(),
        "icon.svg": ICON.encode(),
        "qrcode-licence.txt": (HERE / "qrcode-licence.txt").read_bytes(),
    }


def hash_of(text: str) -> str:
    """Twelve digits that change with the text."""
    import hashlib

    return hashlib.sha256(text.encode()).hexdigest()[:12]


MANIFEST = {
    "name": "tautwire pocket page", "short_name": "tautwire", "start_url": "./", "scope": "./", "display": "standalone",
    "background_color": "#ffffff", "theme_color": "#ffffff",
    "icons": [{"src": "icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"}],
}  # fmt: skip
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><rect width="64" height="64" rx="12" fill="#f5f7f5"/>'
    '<path d="M10 50L54 14" stroke="#14484b" stroke-width="5" stroke-linecap="round"/>'
    '<path d="M6 56H58" stroke="#8a7a5c" stroke-width="3"/>'
    '<rect x="6" y="44" width="9" height="9" fill="#1d2b2c"/></svg>\n'
)
