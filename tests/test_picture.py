"""The one picture: to one scale, with what is left out said, and with currents and gains that agree with the solver."""

import io
import math

import numpy as np
import pytest
from PIL import Image

from tautwire.model.fields.far_field import Pattern
from tautwire.model.fields.stress import current_along
from tautwire.studies.drawing.axes import evenly
from tautwire.studies.drawing.labels import outside, overlaps
from tautwire.studies.drawing.style import Heading
from tautwire.studies.pictures import figure
from tautwire.studies.pictures.figure import shown_cases, the_picture
from tautwire.studies.pictures.panel import frame_of
from tautwire.studies.pictures.seen import Seen, seen
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.result import Result

RAW = {
    "study": {"name": "ways up", "bands": ["20 m", "10 m"], "want": ["dips"]},
    "antenna": {"layout": "sloper", "length": "10.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "coax": {"type": "RG-58", "length": "4 m"},
    "counterpoise": [{"length": "1 m"}],
    "sweep": {"antenna.slope": {"from": "10 deg", "to": "70 deg", "step": "10 deg"}},
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("store"))


@pytest.fixture(scope="module")
def result(store: Store) -> Result:
    return run(read_study(RAW), store, workers=0)


@pytest.fixture(scope="module")
def view(result: Result, store: Store) -> Seen:
    return seen(result.study.cases()[2].setup(), result.study.bands[0], store)


@pytest.mark.parametrize("size", ["print", "slide"])
def test_its_words_are_apart_and_it_says_what_it_leaves_out(result: Result, store: Store, size: str) -> None:
    sheet = the_picture(result, Heading("", "made up", size), store)
    assert sheet is not None
    assert (overlaps(sheet), outside(sheet)) == ([], [])
    count = 5 if size == "print" else 4
    assert f"{count} of 7 cases, evenly along slope" in sheet.caption
    assert len(sheet.axes) == 2 * count
    assert sheet.title and sheet.drawn.shows(sheet.title)  # what it shows


def test_all_panels_have_one_scale(result: Result, store: Store) -> None:
    sheet = the_picture(result, Heading(), store)
    assert sheet is not None
    sheet.canvas.draw()  # type: ignore[attr-defined]
    points = [np.diff(ax.transData.transform([(0, 0), (1, 1)]), axis=0)[0] for ax in sheet.axes]
    assert np.ptp([p[0] for p in points]) < 1e-6 * points[0][0]  # pixels a metre
    assert all(p[1] == pytest.approx(p[0], rel=1e-6) for p in points)


def test_currents_and_gains_are_the_solvers(view: Seen, store: Store) -> None:
    solution = view.built.solver(store).solve(view.f_mhz * 1e6)
    _, along = current_along(solution, view.built.structure, 0)
    mine = view.amps[0][1:]  # the first is the feed
    assert np.abs(mine) / np.abs(mine).max() == pytest.approx(np.abs(along) / np.abs(along).max(), abs=1e-6)
    into = sum(view.amps[i][0] for i in range(1, len(view.amps)))  # half a segment from the feed
    assert abs(mine[0] - into) < 0.06 * np.abs(mine).max()
    bearing = view.built.layout.bearing
    gain = Pattern(solution).dbi(math.radians(30), np.array([bearing]))[0]
    feed_loss = gain - np.interp(math.radians(30), view.angle, view.dbi)
    assert 0 < feed_loss < 6  # coax, transformer and mismatch take some of it
    back = Pattern(solution).dbi(math.radians(30), np.array([bearing + math.pi]))[0]
    assert back - np.interp(math.pi - math.radians(30), view.angle, view.dbi) == pytest.approx(feed_loss, abs=0.02)


def test_a_full_wave_has_two_half_waves_of_opposite_phase(result: Result, store: Store) -> None:
    """A wire of two half-waves: the current turns round once (any antenna text, from memory)."""
    ways = np.real(seen(result.study.cases()[2].setup(), result.study.bands[1], store).amps[0])
    big = ways[np.abs(ways) > 0.2 * np.abs(ways).max()]
    assert big[0] > 0 and (np.diff(np.sign(big)) != 0).sum() == 1


def test_what_was_seen_is_stored(result: Result, store: Store, view: Seen) -> None:
    again = seen(result.study.cases()[2].setup(), result.study.bands[0], store)
    assert np.array_equal(again.dbi, view.dbi) and again.f_mhz == view.f_mhz


def test_current_is_drawn_along_the_wire(view: Seen) -> None:
    ends = view.paths[0][0], view.paths[0][-1]
    assert math.dist(*ends) == pytest.approx(view.built.layout.length, abs=0.02)
    assert frame_of([view]).radius(-100) == 0


def test_cases_are_picked_with_both_ends() -> None:
    assert evenly(10, 4) == [0, 3, 6, 9] and evenly(2, 5) == [0, 1]


def test_of_many_cases_lowest_and_highest_are_shown() -> None:
    from made_up_study import made_up_result, made_up_study

    axes = {"site.soil": ["average soil", "sea water", "poor soil"], "antenna.slope": ["20 deg", "30 deg", "40 deg"]}
    many = made_up_result(made_up_study(sweep=axes))
    cases, told = shown_cases(many, 4)
    assert len(cases) == 4 and told == "4 of 9 cases, from the lowest to the highest dip on 40 m"
    dips = many.frames["dips"][many.frames["dips"]["band"] == "40 m"]
    value = [float(many.of("dips", c)["dip_mhz"].iloc[0]) for c in cases]
    assert value == sorted(value) and (value[0], value[-1]) == (dips["dip_mhz"].min(), dips["dip_mhz"].max())


def test_animation_has_every_case_there_and_back_and_moves(result: Result, store: Store) -> None:
    data = figure.animate_picture(result, store)
    assert len(data) < 1.5e6
    with Image.open(io.BytesIO(data)) as gif:
        assert (gif.n_frames, gif.info["loop"]) == (12, 0)  # seven there, five back; for ever
    frames = figure.drawn(result, store)
    steps = [np.abs(a.astype(int) - b).mean() for a, b in zip(frames, frames[1:], strict=False)]
    assert min(steps) > 0.05
    shown = [figure._dips(result, case, band) for case in result.study.cases() for band in result.study.bands]
    once = sorted(result.frames["dips"]["dip_mhz"].dropna())  # none lost, none twice
    assert sorted(f for dips in shown for f in dips) == once
