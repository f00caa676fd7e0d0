"""Random set-ups with fixed seeds: layouts, lengths, soils, return conductors and bands from 3.5 to 54 MHz."""

from typing import Any

import numpy as np

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import Band, band_named
from tautwire.model.soil.ground import GROUNDS
from tautwire.studies.study.setup import Setup

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
