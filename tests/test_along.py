"""The uncertainty of cases on a blended axis: from the solved places, and how far that is off."""

from typing import Any

import numpy as np
import pytest

from tautwire.model.operating.bands import band_named
from tautwire.model.solve.neighbours import Sensitivity
from tautwire.studies.running.families import beside, nodes_of, solver_for
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.study import Study
from tautwire.studies.wants.spread.sampling import Asked, shifts_in
from tautwire.studies.wants.spread.values import uncertain

BAND = band_named("20 m")


def swept(path: str, start: str, stop: str, count: int) -> Study:
    raw: dict[str, Any] = {
        "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
        "coax": {"type": "RG-58", "length": "5 m"},
        "study": {"bands": ["20 m"]},
        "sweep": {path: {"from": start, "to": stop, "count": count}},
    }
    return read_study(raw)


@pytest.fixture
def made(monkeypatch) -> list[float]:
    """Frequencies at which currents were asked for what moves the feed."""
    found: list[float] = []
    plain = Sensitivity.__init__

    def counted(self: Sensitivity, solver: Any, f_hz: float) -> None:
        found.append(f_hz)
        plain(self, solver, f_hz)

    monkeypatch.setattr(Sensitivity, "__init__", counted)
    return found


def test_a_long_sweep_asks_the_solved_places_only(tmp_path, made) -> None:
    study = swept("antenna.slope", "20 deg", "50 deg", 24)
    result = run(study, Store(tmp_path), workers=0)
    gives = [row["dip_give_khz"] for row in sorted(result.rows("spread"), key=lambda r: r["slope_deg"])]
    assert len(made) == 2 * len(nodes_of(study.axes[0].numbers)) == 2 * 7  # at the dip and beside it
    assert np.abs(np.diff(gives, 2)).max() < 0.02 * max(gives)  # no steps where blending begins


@pytest.mark.parametrize(("path", "start", "stop"), [("antenna.slope", "15 deg", "60 deg"),
                                                      ("antenna.length", "18.5 m", "21 m")])  # fmt: skip
def test_blended_shifts_are_those_of_the_case_itself(path, start, stop, tmp_path) -> None:
    study, store = swept(path, start, stop, 10), Store(tmp_path)
    asked = Asked(uncertain, "usual")
    for case in study.cases()[3:5]:
        stands = beside(case, study)
        assert stands is not None
        setup, solver = case.setup(), solver_for(case, stands, store)
        values = uncertain(setup)
        blended, own = (shifts_in(BAND, setup, solver, values, how) for how in (asked, None))
        size = np.linalg.norm(own.curve[0])
        assert np.linalg.norm(blended.curve[0] - own.curve[0]) < 0.02 * size
        assert np.linalg.norm(blended.curve[1] - own.curve[1]) < 0.02 * size
        off, turning = np.linalg.norm(blended.curve[2:] - own.curve[2:]), np.linalg.norm(own.curve[2:])
        assert blended.f_hz == pytest.approx(own.f_hz, rel=1e-3)
        assert off < 0.05 * turning + size  # over a change of frequency of a few per cent


def test_where_the_dip_jumps_between_a_case_asks_its_own_currents(tmp_path, made) -> None:
    """From 13 to 19 m the 20 m dip leaves the window that is searched."""
    study, store = swept("antenna.length", "13 m", "20 m", 10), Store(tmp_path)
    asked = Asked(uncertain, "usual")
    case = next(c for c in study.cases() if not beside(c, study).is_solved and c.setup().antenna.length > 18)
    setup = case.setup()
    found = shifts_in(BAND, setup, solver_for(case, beside(case, study), store), uncertain(setup), asked)
    own = shifts_in(BAND, setup, solver_for(case, beside(case, study), store), uncertain(setup), None)
    assert len(made) == 2 * (6 + 1 + 1)
    assert np.array_equal(found.curve, own.curve)
