"""What one panel shows: conductors in the plane of the wire with the current on them, and the pattern in that plane."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.basics import Arrays, Complex, Real, swr
from tautwire.model.fields.far_field import Pattern
from tautwire.model.fields.stress import current_along
from tautwire.studies.running.families import beside, solver_for
from tautwire.studies.running.store import Store, code_digest, digest
from tautwire.studies.wants.dips.operating_point import operating_frequency, watts_into_wire

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from tautwire.model.operating.bands import Band
    from tautwire.model.solve.solver import Solver
    from tautwire.studies.study.setup import Built, Setup
    from tautwire.studies.study.study import Case, Study

LOW = math.radians(15)  # elevation of "low" gain: a path of some 1500 km under the F2 layer
STEP = math.radians(1.5)


@dataclass(frozen=True, eq=False)
class Seen:
    """One set-up on one band, at the lowest SWR inside it.

    built: the set-up. paths: of each conductor, metres (n, 2) along the bearing of the wire's first leg and up. amps:
    current of each (n,), A rms at the radio's full power, counted along the way from the end of a return conductor
    through the feed to the wire's end, with the phase of the first crest from the feed taken off. angle (M,), dbi (M,):
    gain from the radio in that plane, from the horizon ahead through the zenith; rad. low_dbi, side_dbi: the greater
    of both directions at 15 degrees in the plane, and the greatest all round. swr: at the radio.
    """

    built: Built
    band: Band
    f_mhz: float
    swr: float
    paths: tuple[Real, ...]
    amps: tuple[Complex, ...]
    angle: Real
    dbi: Real
    low_dbi: float
    side_dbi: float


def seen_bands(case: Case, study: Study, bands: Sequence[Band], store: Store) -> list[Seen]:
    """What the panels of a case show, blended between solved cases where its answers are. Raises SolveError."""
    stands = beside(case, study)
    solver = cache(lambda: solver_for(case, stands, store))
    return [seen(case.setup(), band, store, solver, stands.facts if stands else ()) for band in bands]


def seen(
    setup: Setup, band: Band, store: Store, solver: Callable[[], Solver] | None = None, facts: Sequence[Any] = ()
) -> Seen:
    """What a panel shows, read from the store if it was computed before. Raises SolveError.

    solver: gives the set-up's solver, where it is not its own; facts: what that depends on besides the set-up.
    """
    built = setup.build()
    ask = solver or (lambda: built.solver(store))
    key = digest("seen", setup.model_dump(), band.lower, band.upper, code_digest(__name__), *facts)
    found = store(key, lambda: _computed(setup, built, band, ask()))
    count = sum(name.startswith("path") for name in found)
    f_mhz, at_radio, low, side = map(float, found["figures"])
    return Seen(
        built,
        band,
        f_mhz,
        at_radio,
        tuple(found[f"path{i}"] for i in range(count)),
        tuple(found[f"amps{i}"] for i in range(count)),
        found["angle"],
        found["dbi"],
        low,
        side,
    )


def _computed(setup: Setup, built: Built, band: Band, solver: Solver) -> Arrays:
    feed = setup.feed_system()
    f = operating_frequency(solver, feed, band)
    solution = solver.solve(f)
    pattern, lost = (
        Pattern(solution, terrain=built.terrain),
        10 * math.log10(max(float(feed.power_split(solution.impedance, f).wire), 1e-9)),
    )
    bearing = built.layout.bearing
    angle, dbi = pattern.elevation_cut(bearing, STEP)
    around = pattern.azimuth_cut(LOW)[1]
    low = pattern.dbi(LOW, np.array([bearing, bearing + math.pi]))
    at_radio = float(swr(feed.impedances(solution.impedance, f).radio, feed.reference))
    out: Arrays = {
        "figures": np.array([f / 1e6, at_radio, low.max() + lost, around.max() + lost]),
        "angle": angle,
        "dbi": dbi + lost,
    }
    scale = math.sqrt(watts_into_wire(solution, feed, setup.radio.power) / solution.admittance.real)
    along = [current_along(solution, built.structure, i) for i in range(len(built.structure.conductors))]
    most = first_crest(along[0][1])
    for i, (at, current) in enumerate(along):
        role = built.structure.conductors[i].role
        way = 1 if role == "wire" else -1
        at, current = np.concatenate([[0.0], at]), np.concatenate([current[:1], current])  # from the feed itself
        out[f"path{i}"] = _in_plane(built, i, at)
        out[f"amps{i}"] = way * current * scale * np.conj(most) / abs(most)
    return out


def first_crest(current: Complex) -> complex:
    """The current where it is greatest in its first half-wave from the feed, so that all bands begin alike."""
    size = np.abs(current)
    crest = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > 0.3 * size.max())
    found = np.flatnonzero(crest)
    return complex(current[int(found[0]) + 1 if len(found) else int(np.argmax(size))])


def _in_plane(built: Built, conductor: int, at: Real) -> Real:
    """Places at these metres along a conductor, (n, 2): along the wire's bearing, and up."""
    points = np.array(built.structure.conductors[conductor].points)
    stops = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    x, y, z = (np.interp(at, stops, points[:, k]) for k in range(3))
    b = built.layout.bearing
    return np.column_stack([x * math.sin(b) + y * math.cos(b), z])
