"""Want "turns": how many turns off the reel for each wanted segment, and the fewest stops that serve them all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from tautwire.model.basics import Real, swr
from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.operating.bands import BandSegment, band_named, segment_named
from tautwire.model.operating.reel import Reel
from tautwire.model.solve.response import Response
from tautwire.model.solve.solver import Solver
from tautwire.model.wires.segments import half_waves
from tautwire.studies.study.parts import Part, entry
from tautwire.studies.study.setup import Setup, buildable
from tautwire.studies.study.study import Axis, Study
from tautwire.studies.study.units import Number, length, written
from tautwire.studies.wants.dips.reading import GRID, minima, owned, swr_at_radio, the_dip, window
from tautwire.studies.wants.turns.choice import COLUMN, finish, threshold
from tautwire.studies.wants.turns.words import findings
from tautwire.studies.wants.want import Frames, Want

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from tautwire.studies.study.result import Result

MOST_TURNS = 400
POINTS = 41  # frequencies at which a segment's SWR is read
TOLERANCE = 3e-4  # of the reflection coefficient


class TurnsSpec(Part):
    """[turns]: turns off the reel, and the fewest stops."""

    segments: tuple[str, ...] = entry(
        "stretches to serve: segments, bands or ranges; the study's bands if left out",
        ["20 m CW", "40 m", "14.000-14.070 MHz"],
        "names of `tautwire list bands`, or ranges",
        default=(),
    )
    threshold: Number | None = entry(
        "highest SWR that counts as served; the study's swr_threshold if left out", 2.0, "above 1"
    )
    first: Number | None = entry("fewest turns out to try; a third of the wire if left out", 20, "above 0")
    last: Number | None = entry("most turns out to try; all if left out", 55, "up to what the reel holds")
    step: Number = entry("step of the turns tried", 0.5, "above 0", default=1.0)
    stray: Literal["none", "series", "shunt"] = entry(
        "what the wire still wound does: nothing, a coil in series, or a lump at the feed",
        "series",
        '"none", "series" or "shunt"',
        default="none",
    )


def reel_of(setup: Setup) -> Reel:
    """The set-up's reel. Raises InputError if it has none."""
    if setup.reel is None:
        raise InputError(
            "reel", "nothing", "a [reel] table with wire_length and turn_length, counted, or the reel's sizes"
        )
    return setup.reel.reel()


def turn_counts(reel: Reel, spec: TurnsSpec, setups: Iterable[Setup] = ()) -> Real:
    """Turns out to try, rising. setups: what they cannot be built with is left out.

    Raises InputError for a range that is empty, too long or beyond the reel.
    """
    if not spec.step > 0:
        raise InputError("turns.step", spec.step, "above 0 turns")
    first = math.ceil(reel.turns / 3) if spec.first is None else spec.first
    last = math.floor(reel.turns + 1e-9) if spec.last is None else spec.last
    if not 0 < first < last <= reel.turns * (1 + 1e-9):
        allowed = f"0 < first < last, up to the {reel.turns:.4g} turns on the reel"
        raise InputError("turns.first", f"{first:g} to {last:g} turns", allowed)
    count = math.floor((last - first) / spec.step + 1e-9) + 1
    if not 2 <= count <= MOST_TURNS:
        raise InputError("turns.step", spec.step, f"2 to {MOST_TURNS} settings between first and last, not {count}")
    turns = first + spec.step * np.arange(count)
    metres = reel.length_out(turns)
    low, high = buildable(setups, float(metres[0]), float(metres[-1]))
    fits = (metres > low - 1e-6) & (metres < high + 1e-6)
    if fits.sum() < 2:
        allowed = "turns with which the layout can be built: a longer range, or other heights"
        raise InputError("turns.first", f"{first:g} to {last:g} turns", allowed)
    return np.asarray(turns[fits])


def segments_of(study: Study) -> tuple[BandSegment, ...]:
    """The wanted segments of a study. Raises InputError for an unknown one or one named twice."""
    names = study.options["turns"].segments or study.spec.bands
    found = tuple(segment_named(name, study.spec.region, "turns.segments") for name in names)
    for i, segment in enumerate(found):
        if segment.name in [s.name for s in found[:i]]:
            raise InputError("turns.segments", repr(segment.name), "each segment once")
    return found


def with_turn_axis(study: Study) -> Study:
    """The study with the turns as its last axis, a case for each, so that cases are solved side by side.

    Raises InputError if the set-up cannot follow the wire length.
    """
    threshold(study)  # say what is wrong with it before anything is computed
    setup = Setup.read(study.raw)
    turns = turn_counts(reel_of(setup), study.options["turns"], (case.setup() for case in study.cases()))
    metres = reel_of(setup).length_out(turns)
    bands = dict.fromkeys(s.band for s in segments_of(study) if s.band)
    study = replace(
        study,
        spec=study.spec.model_copy(update={"want": ("turns",)}),
        bands=tuple(band_named(b, study.spec.region) for b in bands) or study.bands,
    )
    if any(a.path.startswith(("reel", "antenna.length", "variant")) for a in study.axes):
        return study
    texts = tuple(written(round(float(m), 6), length) for m in metres)
    axis = Axis("antenna.length", COLUMN, "turns out", texts, tuple(map(float, turns)))
    return replace(study, axes=(*study.axes, axis))


def check(setup: Setup, study: Study) -> None:
    """Raises InputError without a reel, or for turns, segments or a threshold that compute would refuse."""
    turn_counts(reel_of(setup), study.options["turns"], [setup])
    segments_of(study)
    threshold(study)


def compute(setup: Setup, solver: Solver, study: Study) -> Frames:
    """Tables "turn_swr" (a row a setting and segment) and "turn_dips" (a row a setting and band)."""
    spec: TurnsSpec = study.options["turns"]
    reel = reel_of(setup)
    wanted = segments_of(study)
    frames: Frames = {"turn_swr": [], "turn_dips": []}
    for turns, wire, here in _settings(setup, solver, study, reel):
        feed = setup.feed_system()
        wound, known = max(reel.turns - turns, 0.0), _Responses(here, study.spec.region)
        place: dict[str, Any] = {"wire_m": wire} if _has_axis(study) else {COLUMN: turns, "wire_m": wire}
        for segment in wanted:
            row = _segment_row(segment, known, feed, reel, wound, spec.stray)
            frames["turn_swr"].append({**place, **row})
        for name in dict.fromkeys(s.band for s in wanted if s.band):
            row = _dip_row(name, known, feed, reel, wound, spec.stray)
            frames["turn_dips"].append({**place, **row})
    return frames


def depends(study: Study) -> list[Any]:
    """What the rows depend on besides the set-up: not the threshold, which only chooses among them."""
    options = study.options["turns"].model_dump(exclude={"threshold"})
    segments = [(s.name, s.band, s.lower, s.upper) for s in segments_of(study)]
    return [options, segments, study.spec.region, _has_axis(study)]


def _has_axis(study: Study) -> bool:
    return any(a.column == COLUMN for a in study.axes)


def _settings(setup: Setup, solver: Solver, study: Study, reel: Reel) -> Iterator[tuple[float, float, Solver]]:
    """(turns out, metres out, solver) of each setting: the case's own if turns are an axis, else all of them."""
    if _has_axis(study):
        wire = setup.build().layout.length
        yield float(reel.turns_out(wire)), wire, solver
        return
    for turns in turn_counts(reel, study.options["turns"], [setup]):
        wire = float(reel.length_out(turns))
        antenna = setup.antenna.model_copy(update={"length": wire})
        built = setup.model_copy(update={"antenna": antenna}).build()
        yield float(turns), wire, built.solver(solver.remember)


class _Responses:
    """A setting's responses, one for a band's window and all wanted segments in it."""

    def __init__(self, solver: Solver, region: int | str) -> None:
        self.solver, self.region = solver, region
        self._known: dict[tuple[float, float], Response] = {}

    def over(self, lower: float, upper: float) -> Response:
        if (lower, upper) not in self._known:
            self._known[lower, upper] = self.solver.response(lower, upper, TOLERANCE)
        return self._known[lower, upper]

    def band(self, name: str) -> Response:
        return self.over(*window(band_named(name, self.region)))

    def segment(self, segment: BandSegment) -> Response:
        if segment.band:
            lower, upper = window(band_named(segment.band, self.region))
            if lower <= segment.lower and segment.upper <= upper:
                return self.over(lower, upper)
        return self.over(segment.lower, segment.upper)


def _segment_row(
    segment: BandSegment, known: _Responses, feed: FeedSystem, reel: Reel, wound: float, stray: str
) -> dict[str, Any]:
    f = segment.frequencies(POINTS)
    z = known.segment(segment).impedance(f)
    z = reel.with_stray(z, f, wound, stray)
    at_radio = feed.impedances(z, f).radio
    seen = swr(at_radio, feed.reference)
    worst = int(seen.argmax())
    split = feed.power_split(z[worst], f[worst])
    matched = 0.0 if feed.coax is None else float(feed.coax.loss_db(feed.coax_length, f[worst]))
    if segment.band:
        whole = band_named(segment.band, known.region)
        f_band = np.linspace(whole.lower, whole.upper, POINTS)
        z_band = reel.with_stray(known.band(segment.band).impedance(f_band), f_band, wound, stray)
        over_band = float(swr(feed.impedances(z_band, f_band).radio, feed.reference).max())
    return {
        "segment": segment.name,
        "band": segment.band,
        "swr_best": float(seen.min()),
        "swr_worst": float(seen[worst]),
        "band_swr_worst": over_band if segment.band else math.nan,
        "worst_mhz": float(f[worst]) / 1e6,
        "radio_r_ohm": float(at_radio[worst].real),
        "radio_x_ohm": float(at_radio[worst].imag),
        "coax_loss_db": float(split.coax_db),
        "coax_matched_db": matched,
        "transformer_loss_db": float(split.transformer_db),
    }


def _dip_row(name: str, known: _Responses, feed: FeedSystem, reel: Reel, wound: float, stray: str) -> dict[str, Any]:
    band, response = band_named(name, known.region), known.band(name)
    if stray == "none":
        at = swr_at_radio(response, feed)
    else:

        def at(f: Any) -> Real:
            z = reel.with_stray(response.impedance(f), f, wound, stray)
            return swr(feed.impedances(z, f).radio, feed.reference)

    found = owned(minima(at, np.linspace(response.lower, response.upper, GRID)), band)
    dip, low = the_dip(found, band)
    mode = max(round(half_waves(known.solver.solve(dip))), 1) if found else math.nan
    return {"band": name, "dip_mhz": dip / 1e6, "dip_swr": low, "dip_mode": mode}


def plots(result: Result, size: str = "print") -> dict[str, Figure]:
    from tautwire.studies.wants.turns.figures import turn_figures

    return turn_figures(result, size)


WANT = Want("turns", compute, TurnsSpec, finish, findings=findings, plots=plots, sized=True, check=check, by_band=False,
            depends=depends)  # fmt: skip
