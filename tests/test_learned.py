"""What is learned from outings: the model near a set-up, the joint posterior, predictions, the logbook replayed.

Truths are solved in full; the lakeside set-up in free space, where that is quick.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from lakeside import RAW, lakeside

from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.commands.cli import main
from tautwire.studies.learned.nearby import nearby
from tautwire.studies.learned.outing import GRID, LEAVES, Cell, Dip, Kinds, Outing, layer_of, moved, off_values
from tautwire.studies.learned.place import (
    Tracked,
    hang_of,
    learned_file,
    log_of,
    next_steps,
    outing_of,
    record_words,
    step_words,
    track,
    widening,
)
from tautwire.studies.learned.posterior import Log, Posterior, learned, part_of, predict
from tautwire.studies.logbook.logbook import add, entries
from tautwire.studies.running.one_setup import predicted
from tautwire.studies.running.store import Store
from tautwire.studies.study.raw import ONE_SIDED, changed
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.fit.fitted import with_fit

BANDS = (band_named("40 m"), band_named("20 m"))
TWENTY = BANDS[1]


def exact(setup: Setup, remember: Store, bands: Sequence[Band] = BANDS) -> list[Dip]:
    """The dips of a set-up, solved in full."""
    solver = setup.build().solver(remember)
    rows = [band_row(b, solver.response(*window(b)), setup.feed_system(), 3.0) for b in bands]
    return [Dip(b, row["dip_mhz"] * 1e6, row["dip_swr"]) for b, row in zip(bands, rows, strict=True)]


def off_by(setup: Setup, x: dict[str, float]) -> Setup:
    for one in off_values(setup):
        if one.path in x:
            setup = moved(setup, one, x[one.path])
    return setup


ANTENNA = {"antenna.length": 1.5, "wire.jacket": 1.2, "transformer.terminal_capacitance": -1.0}
HANGS = [{"antenna.slope": 0.8, "coax.height": -0.7}, {"antenna.slope": -1.0, "coax.height": 0.5},
         {"antenna.feed_height": 1.0, "coax.height": 0.9}]  # fmt: skip


@pytest.fixture(scope="module")
def outings(remember: Store) -> list[Outing]:
    """Three outings of one antenna that is not quite what was typed, and a fourth to be predicted."""
    every = [*HANGS, {"antenna.slope": 0.4, "coax.height": -0.3}]
    return [
        Outing(f"place {i}", str(i), lakeside(), tuple(exact(off_by(lakeside(), ANTENNA | hang), remember)))
        for i, hang in enumerate(every)
    ]


@pytest.fixture(scope="module")
def after(outings: list[Outing], remember: Store) -> Posterior:
    return learned(Log(outings[:3], BANDS, remember))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_model_near_a_set_up_meets_full_solves(seed: int, remember: Store) -> None:
    values = off_values(lakeside())
    model = nearby(lakeside(), TWENTY, values, remember)
    draw = np.random.default_rng(seed).normal(size=len(values)).clip(-1.5, 1.5)
    x = {v.path: abs(u) if v.law == ONE_SIDED else u for v, u in zip(values, draw, strict=True)}
    x |= {"coax.type.z0": 0.0, "coax.type.velocity_factor": 0.0}  # of these a set-up cannot have its own
    (true,) = exact(off_by(lakeside(), x), remember, [TWENTY])
    at, size = model.dips(np.array([[x[v.path] for v in values]]), np.zeros(1))
    assert at[0] == pytest.approx(true.f_hz, rel=1.5e-3)
    assert (1 + size[0]) / (1 - size[0]) == pytest.approx(true.swr, abs=0.05)


def test_what_can_only_be_more_follows_half_a_normal_law() -> None:
    kinds, cell = Kinds(np.array([0, 1, 2, 3])), Cell(2.8, 1.5, 6.0)
    z = np.array([[-1.0, -1.0, -1.0, -1.0], [0.3, 0.3, 0.3, 0.3], [2.0, 2.0, 2.0, 2.0]])
    x = kinds.off(z, cell)
    assert x[:, 0] == pytest.approx(1.5 * z[:, 0]) and x[:, 3] == pytest.approx(2.8 * z[:, 3])
    assert np.stack([kinds.hidden(row, cell) for row in x]) == pytest.approx(z, abs=1e-6)
    draws = kinds.off(np.random.default_rng(1).normal(size=(20000, 4)), cell)
    # mean and second moment of |N(0, s)|: s sqrt(2/pi) and s^2 (any text on statistics)
    assert draws[:, 2].mean() == pytest.approx(6 * np.sqrt(2 / np.pi), rel=0.02)
    assert np.mean(draws[:, 1] ** 2) == pytest.approx(1.5**2, rel=0.03)


def test_a_linear_log_is_conditioned_as_the_textbook_says(after: Posterior) -> None:
    """Mean and covariance of a cell against conditioning the joint normal law directly (Bishop, Pattern Recognition
    and Machine Learning, section 2.3.1, from memory)."""
    found = after.usual
    shared = np.concatenate([line.shared for line in found.lines])
    own = np.zeros((len(shared), sum(line.own.shape[1] for line in found.lines)))
    row = column = 0
    for line in found.lines:
        n, h = line.own.shape
        own[row : row + n, column : column + h] = line.own
        row, column = row + n, column + h
    seen = np.concatenate(found.targets)
    across = shared @ np.eye(shared.shape[1])
    whole = shared @ shared.T + own @ own.T + np.eye(len(seen))
    mean = across.T @ np.linalg.solve(whole, seen)
    covariance = np.eye(shared.shape[1]) - across.T @ np.linalg.solve(whole, across)
    assert found.mean == pytest.approx(mean, abs=1e-8)
    assert found.covariance == pytest.approx(covariance, abs=1e-8)
    assert found.misfit == pytest.approx(float(seen @ np.linalg.solve(whole, seen)), rel=1e-6)


def test_outings_elsewhere_make_the_next_one_surer(after: Posterior, outings: list[Outing], remember: Store) -> None:
    ahead = Outing("elsewhere", "next", lakeside())
    before = predict(learned(Log([], BANDS, remember)), ahead, BANDS)
    for was, now, true in zip(before, predict(after, ahead, BANDS), outings[3].dips, strict=True):
        assert abs(now.middle - true.f_hz) < 2.5 * now.sd
        assert now.sd < 0.5 * was.sd
        assert abs(now.middle - true.f_hz) < abs(was.middle - true.f_hz)
    assert after.fits and after.weights.sum() == pytest.approx(1) and len(after.cells) == len(GRID)


def test_a_hanging_that_was_read_is_known_better_than_the_next(after: Posterior, outings: list[Outing]) -> None:
    (same,) = predict(after, outings[0], [TWENTY])
    (anew,) = predict(after, Outing("elsewhere", "next", lakeside()), [TWENTY])
    assert same.sd < 0.8 * anew.sd
    assert abs(same.middle - outings[0].dips[1].f_hz) < 2 * same.sd + 0.0015 * 14e6


def test_readings_that_do_not_fit_are_noticed(after: Posterior, outings: list[Outing], remember: Store) -> None:
    """The third outing's 20 m dip read 0.7 MHz too low: a slip that no value of the set-up makes on one band alone."""
    dips = outings[2].dips
    slip = replace(outings[2], dips=(dips[0], replace(dips[1], f_hz=dips[1].f_hz - 0.7e6)))
    wrong = learned(Log([*outings[:2], slip], BANDS, remember))
    assert after.fits and after.chance > 0.05
    assert not wrong.fits and wrong.suspects()[0][1] > after.suspects()[0][1]


def test_layers_and_what_goes_along() -> None:
    assert [layer_of(p) for p in ("coax.length", "site.soil.sigma", "coax.height", LEAVES)] == [
        "antenna", "site", "hang", "hang"]  # fmt: skip
    here = lakeside()
    longer = Setup.read(changed(RAW, "antenna.length", "19 m"))
    assert part_of(here, "antenna.length", "a") == part_of(longer, "antenna.length", "b"), "wire let out is one wire"
    other = Setup.read(changed(RAW, "coax.type", "RG-174"))
    assert part_of(here, "coax.loss_scale", "a") != part_of(other, "coax.loss_scale", "a")
    assert part_of(here, "site.soil.er", "a") != part_of(here, "site.soil.er", "b"), "a soil stays where it is"


def test_the_next_reading_that_tells_most(after: Posterior) -> None:
    steps = next_steps(after, Outing("elsewhere", "next", lakeside()), BANDS)
    assert steps[0].gain == max(s.gain for s in steps) > 0
    for step in steps:
        assert all(step.then[b] <= step.now[b] * 1.001 for b in step.now)
    reading = next(s for s in steps if s.what == "read 20 m")
    assert reading.then["20 m"] < 0.0015 * 14.2e6 * 1.1


def test_the_track_record_predicts_each_outing_from_those_before(outings: list[Outing], remember: Store) -> None:
    record = track(Log(outings[:3], BANDS, remember))
    assert [(one.number, one.band) for one in record] == [(i, b.name) for i in range(3) for b in BANDS]
    assert record[-1].sd_hz < 0.6 * record[1].sd_hz
    assert widening([Tracked(0, "20 m", 14.2e6, 14.2e6, 2e4)] * 4) == pytest.approx(np.sqrt(6 / 10))
    assert "3 of the last 3" in record_words([Tracked(0, "20 m", 14.2e6, 14.19e6, 2e4)] * 3)


@pytest.fixture
def logbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TAUTWIRE_LOG", str(tmp_path / "log"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_logbook_is_read_as_outings(logbook: Path) -> None:
    known = {"spread": {"values": {"antenna.length": {"sd": "1 cm"}, "wire.jacket": {"sd": "0.01 mm"}},
                        "correlation": [["wire.jacket", "antenna.length", -0.8]]}}  # fmt: skip
    add(
        {"place": "Pine", "date": "2026-05-01", "dips": [{"band": "20 m", "frequency": "14.1 MHz"}]},
        {**RAW, **known},
        [],
    )
    shorter = changed(RAW, "antenna.length", "20 m")
    add({"place": "Pine", "date": "2026-05-01", "dips": [{"band": "20 m", "frequency": "14.3 MHz"}]}, shorter, [])
    add({"place": "Pine", "date": "2026-05-02", "dips": [{"band": "40 m", "frequency": "7.1 MHz"}]}, RAW, [])
    first, pairs = outing_of(entries("Pine")[0])
    assert first.dips == (Dip(TWENTY, 14.1e6),) and first.known is not None
    assert first.known["antenna.length"].sd == pytest.approx(0.01) and pairs == {
        ("wire.jacket", "antenna.length"): -0.8
    }
    hangs = [hang_of(e.tables, e.log.date) for e in entries("Pine")]
    assert hangs[0] == hangs[1] != hangs[2]
    log = log_of(entries("Pine"), [band_named("15 m")], Store())
    assert [b.name for b in log.bands] == ["40 m", "20 m", "15 m"] and len(log.hangs) == 2
    keys = {k[2]: k for k in log.shared if len(k) == 4 and k[3] in (0.01, pytest.approx(0.01 / 0.3))}
    i, j = log.shared[keys["antenna.length"]], log.shared[keys["wire.jacket"]]
    assert np.linalg.inv(log.precision)[i, j] == pytest.approx(-0.8, abs=1e-3)


def dip_in(said: str) -> float:
    """MHz of the 20 m dip in the table that predict prints."""
    row = next(line.split() for line in said.splitlines() if line.strip().startswith("20 m "))
    return float(row[2])


def test_predict_at_a_new_place_says_what_was_learned(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for day, mhz in (("2026-05-01", "14.0 MHz"), ("2026-05-09", "14.02 MHz")):
        add({"place": "Pine", "date": day, "dips": [{"band": "20 m", "frequency": mhz}]}, RAW, [])
    add({"place": "Ridge", "date": "2026-05-10"}, RAW, [])
    main(["predict", "--at", "Ridge", "--bands", "20 m"])
    said = capsys.readouterr().out
    assert "Learned from 3 outings at 2 places (2 readings): 20 m from" in said and "Track record" in said
    dip = dip_in(said)
    assert dip == pytest.approx(14.01, abs=0.04)
    main(["predict", "--at", "Ridge", "--bands", "20 m", "--no-spread"])
    typed = dip_in(capsys.readouterr().out)
    assert abs(typed - 14.01) > abs(dip - 14.01)


def test_other_commands_start_from_what_is_learned(logbook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for day, mhz in (("2026-05-01", "14.0 MHz"), ("2026-05-09", "14.02 MHz")):
        add({"place": "Pine", "date": day, "dips": [{"band": "20 m", "frequency": mhz}]}, RAW, [])
    path = learned_file("Pine")
    assert path is not None and path == learned_file("Pine"), "the same log gives the same file"
    raw = with_fit({}, path)
    assert raw["reel"] == RAW["reel"] and raw["antenna"]["slope"] == "30 deg", "how it hangs is as typed"
    assert float(raw["transformer"]["terminal_capacitance"].split()[0]) < 4, "what brings the dip up"
    found = predicted(raw, ["20 m"])
    assert found.rows("dips")[0]["dip_mhz"] == pytest.approx(14.01, abs=0.05)
    typed = predicted(RAW, ["20 m"]).rows("spread")[0]["dip_give_khz"]
    assert found.rows("spread")[0]["dip_give_khz"] < 0.6 * typed
    (logbook / "s.toml").write_text('[study]\nbands = ["20 m"]\n[antenna]\nlayout = "sloper"\n', encoding="utf-8")
    main(["check", "s.toml", "--at", "Pine"])
    assert "is valid" in capsys.readouterr().out


def test_an_entry_without_a_set_up_keeps_what_a_fit_knew(logbook: Path) -> None:
    known = {"values": {"antenna.length": {"sd": "1 cm"}}, "correlation": []}
    add({"place": "Pine", "date": "2026-05-01"}, {**RAW, "spread": known, "fit_result": {"notes": []}}, [])
    main(["log", "Pine", "--dip", "14.1 MHz"])
    outing, _ = outing_of(entries("Pine")[-1])
    assert outing.known is not None and outing.known["antenna.length"].sd == pytest.approx(0.01)


def test_it_asks_whether_leaves_touch_the_end_where_that_matters(outings: list[Outing], remember: Store) -> None:
    """Leaves of 1 pF at every end, not typed: the next look is there."""
    values = {v.path: v for v in off_values(lakeside())}
    leafy = [off_by(lakeside(), ANTENNA | hang | {LEAVES: size}) for hang, size in zip(HANGS, (8, 3, 12), strict=True)]
    assert values[LEAVES].measure
    read = [Outing(f"place {i}", str(i), lakeside(), tuple(exact(s, remember))) for i, s in enumerate(leafy)]
    known = learned(Log(read, BANDS, remember))
    steps = next_steps(known, Outing("elsewhere", "next", lakeside()), BANDS)
    looks = [s for s in steps if not s.is_reading]
    assert looks[0].what == values[LEAVES].measure and looks[0].gain > 0.1
    assert values[LEAVES].measure in step_words(steps)
