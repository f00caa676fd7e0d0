"""What the solver says at one setting of the sliders, for every band and for the drawing of the wire."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from tautwire import __version__
from tautwire.model.basics import Complex, reflection
from tautwire.model.errors import InputError, SolveError
from tautwire.model.fields.far_field import Pattern
from tautwire.model.fields.stress import current_along
from tautwire.model.operating.bands import Band
from tautwire.model.solve.engine import engine_name
from tautwire.model.solve.response import REFERENCE, respond
from tautwire.model.solve.solver import Arrays, Remember, Solver
from tautwire.studies.pictures.seen import first_crest
from tautwire.studies.running.pool import Ask
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

# --- What the page's drawing of the wire shows at a node: the current on every conductor and the pattern, band by
# band.


PLACES = {"wire": 37}  # evenly along it, both ends included
OTHERS = 9
STEP = np.radians(5)
LEAST_DBI = -30.0

Glow = dict[str, Any]
"""f_mhz. amps: of each conductor [[re], [im]], A rms for 1 W into the wire, towards its end. dbi: of the wire alone, in
its plane, from the horizon ahead through the zenith to that behind"""


def glow(setup: Setup, solver: Solver, band: Band) -> Glow:
    """At the middle of a band, as nothing but the wires decides it. Raises SolveError."""
    f = (band.lower + band.upper) / 2
    solution, built = solver.solve(f), setup.build()
    along = [current_along(solution, built.structure, i) for i in range(len(built.structure.conductors))]
    crest = first_crest(along[0][1])
    turn = np.conj(crest) / abs(crest) / np.sqrt(solution.admittance.real)
    amps = []
    for (at, current), conductor in zip(along, built.structure.conductors, strict=True):
        way = 1 if conductor.role == "wire" else -1
        places = np.linspace(0, conductor.length, PLACES.get(conductor.role, OTHERS))
        amps.append(_columns(way * turn * np.interp(places, at, current)))
    angle, dbi = Pattern(solution, terrain=built.terrain).elevation_cut(built.layout.bearing, STEP)
    return {"f_mhz": round(f / 1e6, 4), "amps": amps, "dbi": [round(float(d), 1) for d in np.maximum(dbi, LEAST_DBI)]}


def _columns(amps: Complex) -> list[list[float]]:
    return [[float(f"{x:.3g}") for x in part] for part in (amps.real, amps.imag)]


# --- What the solver says at one setting, in the few numbers from which a page can draw every band.


TOLERANCE = 5e-4  # of the reflection coefficient at a node
MOST_SAMPLES = 12
FEED_TABLES = ("transformer", "radio", "reel")

Node = dict[str, Any]
"""length: m of wire. shape: [[name, role, [[x, y, z], ...]], ...], m. bands: [[support], [re], [im], [re w], [im w]].
glow: of each band, see curves.py"""
Progress = Callable[[int, int], None]
"""progress(done, total)"""


def wire_part(raw: Raw) -> Raw:
    """The part of a set-up that the currents depend on."""
    kept = {k: v for k, v in raw.items() if k not in FEED_TABLES}
    if isinstance(kept.get("coax"), dict):
        kept["coax"] = {k: v for k, v in kept["coax"].items() if k != "loss_scale"}
    return kept


def shape_of(setup: Setup) -> tuple[float, list[Any]]:
    """Wire length, m, and the conductors: name, role, corner points rounded to a millimetre."""
    built = setup.build()
    conductors = built.structure.conductors
    names = [name for name, _ in built.structure.to_points()]
    shape = [
        [name, c.role, [[round(x, 3) for x in p] for p in c.points]] for name, c in zip(names, conductors, strict=True)
    ]
    return built.layout.length, shape


def _rounded(values: Any) -> list[float]:
    return [float(f"{x:.7g}") for x in values]


class Answer(Protocol):
    """Something computed for one set-up that can be kept as JSON."""

    def key(self, raw: Raw) -> str: ...

    def compute(self, raw: Raw, remember: Remember) -> Any: ...


@dataclass(frozen=True)
class Curves:
    """The Node of a set-up: each band's window, widened by the factor `margin` on both sides."""

    bands: tuple[Band, ...]
    margin: float

    def key(self, raw: Raw) -> str:
        return _key("curves", raw, self.bands, self.margin, TOLERANCE, MOST_SAMPLES)

    def compute(self, raw: Raw, remember: Remember) -> Node:
        setup = Setup.read(raw)
        length, shape = shape_of(setup)
        solver = setup.build().solver(remember)
        curves = []
        for band in self.bands:
            low, high = window(band)
            port = solver.port_of_one_mesh((band.lower + band.upper) / 2)
            fit = respond(port, low / self.margin, high * self.margin, TOLERANCE, most=MOST_SAMPLES)
            weight = fit.weight / np.abs(fit.weight).max()
            columns = (fit.support / 1e6, fit.value.real, fit.value.imag, weight.real, weight.imag)
            curves.append([_rounded(column) for column in columns])
        lit = [glow(setup, solver, band) for band in self.bands]
        return {"length": round(length, 6), "shape": shape, "bands": curves, "glow": lit}


@dataclass(frozen=True)
class Exact:
    """The solver's own reflection coefficient at `points` frequencies of each band's window: [[re], [im]] a band."""

    bands: tuple[Band, ...]
    points: int

    def key(self, raw: Raw) -> str:
        return _key("exact", raw, self.bands, self.points)

    def compute(self, raw: Raw, remember: Remember) -> list[list[list[float]]]:
        solver = Setup.read(raw).build().solver(remember)
        out = []
        for band in self.bands:
            z = np.array([solver.impedance(float(f)) for f in np.linspace(*window(band), self.points)])
            gamma = reflection(z, REFERENCE)
            out.append([gamma.real.tolist(), gamma.imag.tolist()])
        return out


def _key(kind: str, raw: Raw, bands: tuple[Band, ...], *parts: object) -> str:
    edges = [(b.lower, b.upper) for b in bands]
    return digest(kind, __version__, engine_name(), wire_part(raw), edges, *parts)


def _solve(raws: list[Raw], answer: Answer, store: Store) -> tuple[list[Any], str]:
    """The answers of set-ups that share their wires, so that the engine's matrices are made once; and what failed."""
    kept: dict[str, Arrays] = {}

    def remember(key: str, compute: Callable[[], Arrays]) -> Arrays:
        if key.startswith("soil"):  # wanted by every setting
            return store(key, compute)
        if key not in kept:
            kept[key] = compute()
        return kept[key]

    found = []
    try:
        for raw in raws:
            known = store.get_json(answer.key(raw))
            if known is None:
                known = answer.compute(raw, remember)
                store.put_json(answer.key(raw), known)
            found.append(known)
    except (InputError, SolveError) as error:
        return [], str(error)
    return found, ""


def answers(
    groups: list[list[Raw]],
    answer: Answer,
    store: Store,
    ask: Ask | None = None,
    progress: Progress | None = None,
) -> list[list[Any]]:
    """The answer for every set-up; a group is solved in one worker and should share its wires.

    ask: worker processes to have them solved by; None solves them here. Raises SolveError if one cannot be solved.
    """
    answers_known = [[store.get_json(answer.key(raw)) for raw in g] for g in groups]
    todo = [i for i, known in enumerate(answers_known) if any(one is None for one in known)]
    tasks = [(groups[i], answer, store) for i in todo]
    source = ask(_solve, tasks, None) if ask else ((i, _solve(*task), "") for i, task in enumerate(tasks))
    for done, (i, solved, fault) in enumerate(source, 1):
        answers_known[todo[i]], refused = solved or ([], fault)
        if refused:
            raise SolveError(f"a setting of the sliders cannot be solved: {refused}")
        if progress:
            progress(done, len(todo))
    return answers_known
