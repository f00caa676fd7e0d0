"""Random set-ups with fixed seeds: layouts, lengths, soils, return conductors and bands from 3.5 to 54 MHz."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tautwire.model.basics import swr
from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_named
from tautwire.model.soil.ground import GROUNDS
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import GRID, minima, the_dip, window

BANDS = ("80 m", "60 m", "40 m", "30 m", "20 m", "17 m", "15 m", "12 m", "10 m", "6 m")
SOILS = [g.name for g in GROUNDS.values() if not g.is_free_space and not g.is_perfect]
COUNT = 50


def _antenna(rng: np.random.Generator) -> dict[str, Any]:
    length = float(rng.uniform(8, 41))
    feed = float(rng.uniform(0.3, 2.5))
    kind = str(rng.choice(["sloper", "inverted V", "inverted L", "horizontal", "vertical"]))
    if kind == "sloper":
        shape = {"slope": f"{rng.uniform(5, 70):.3f} deg", "feed_height": f"{feed:.3f} m"}
    elif kind == "inverted V":
        apex = feed + length * float(rng.uniform(0.2, 0.4))
        shape = {"apex_height": f"{apex:.3f} m", "feed_height": f"{feed:.3f} m", "end_height": "1.5 m"}
    elif kind == "inverted L":
        shape = {"height": f"{feed + length * rng.uniform(0.2, 0.5):.3f} m", "feed_height": f"{feed:.3f} m"}
    elif kind == "horizontal":
        shape = {"height": f"{rng.uniform(1, 12):.3f} m"}
    else:
        length = min(length, 20.0)
        shape = {"feed_height": f"{feed:.3f} m"}
    return {"layout": kind, "length": f"{length:.3f} m", **shape}


def _draw(rng: np.random.Generator) -> dict[str, Any]:
    raw: dict[str, Any] = {
        "site": {"soil": str(rng.choice(SOILS))},
        "antenna": _antenna(rng),
        "wire": {"diameter": f"{rng.uniform(0.5, 2):.2f} mm", "jacket": f"{rng.choice([0.0, 0.3, 0.8])} mm"},
    }
    with_coax = rng.random() < 0.7
    if with_coax:
        raw["coax"] = {"type": "RG-58", "length": f"{rng.uniform(2, 10):.2f} m"}
        if rng.random() < 0.3:
            raw["coax"]["choke"] = {"at": raw["coax"]["length"]}
    if not with_coax or rng.random() < 0.4:
        height = f"{100 * rng.uniform(0.03, 0.5):.1f} cm"
        raw["counterpoise"] = [{"length": f"{rng.uniform(1, 8):.2f} m", "height": height, "bearing": "250 deg"}]
    return raw


def random_case(seed: int) -> tuple[dict[str, Any], Band]:
    """Raw set-up and band number `seed`: the first draw that can be built."""
    rng = np.random.default_rng([2450, seed])
    band = band_named(BANDS[seed % len(BANDS)], region=2)  # region 2 has the widest bands
    while True:
        raw = _draw(rng)
        try:
            Setup.read(raw).build()
        except InputError:
            continue
        return raw, band


def random_setup(seed: int) -> tuple[Setup, Band]:
    """Set-up and band number `seed`, built as a study would."""
    raw, band = random_case(seed)
    return Setup.read(raw), band


def lakeside_sloper(coax_height: str, soil: Any = "average soil", feed: str = "1 m") -> dict[str, Any]:
    """Raw set-up of a 20.2 m sloper with 5 m of RG-58 at a height: what low conductors are compared with."""
    return {
        "site": {"soil": soil},
        "antenna": {"layout": "sloper", "length": "20.2 m", "slope": "28 deg", "feed_height": feed},
        "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
        "coax": {"type": "RG-58", "length": "5 m", "height": coax_height},
    }


TOP_LAYERS = ("dry snow", "wet snow", "ice", "very dry ground", "wet ground")


def low_case(seed: int, layers: bool = False) -> dict[str, Any]:
    """Raw set-up number `seed` of a sloper for 40 to 10 m whose coax (and counterpoise, some) is 2.5 mm to 5 cm high.

    layers: over a top layer of 2 mm to 10 cm.
    """
    rng = np.random.default_rng([771, seed])
    while True:
        feed, high = rng.uniform(0.3, 2.0), np.exp(rng.uniform(np.log(2.5), np.log(50)))
        soil: Any = str(rng.choice(["average soil", "wet ground", "very dry ground", "sandy soil", "fresh water"]))
        if layers:
            depth = np.exp(rng.uniform(np.log(2), np.log(100)))
            soil = [{"soil": str(rng.choice(TOP_LAYERS)), "depth": f"{depth:.1f} mm"}, {"soil": soil}]
        length, slope = f"{rng.uniform(19.3, 20.8):.2f} m", f"{rng.uniform(10, 60):.1f} deg"
        raw: dict[str, Any] = {
            "site": {"soil": soil},
            "antenna": {"layout": "sloper", "length": length, "slope": slope, "feed_height": f"{feed:.2f} m"},
            "wire": {"diameter": f"{rng.uniform(0.5, 1.5):.2f} mm", "jacket": f"{rng.choice([0.0, 0.3, 0.6])} mm"},
            "coax": {"type": "RG-58", "length": f"{rng.uniform(2, 10):.2f} m", "height": f"{high:.2f} mm"},
        }
        if rng.random() < 0.3:
            reach, drop = f"{rng.uniform(2, 6):.2f} m", f"{rng.uniform(1, 20):.1f} cm"
            raw["counterpoise"] = [{"length": reach, "height": drop, "bearing": "250 deg"}]
        try:
            Setup.read(raw).build()
        except InputError:
            continue
        return raw


def dips_at_transformer(solver: Solver, bands: Sequence[str]) -> np.ndarray:
    """The SWR dip of each band at 2450 ohm, Hz."""
    found = []
    for band in map(band_named, bands):
        response = solver.response(*window(band))
        f = np.linspace(response.lower, response.upper, GRID)
        found.append(the_dip(minima(lambda x, r=response: swr(r.impedance(x), 2450.0), f), band)[0])
    return np.array(found)
