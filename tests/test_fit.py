"""Fits to made-up sweeps: known truth within its stated confidence, noise and a wrong plane noticed."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fit_words import words_of
from lakeside import RAW, lakeside
from scipy.optimize import curve_fit

from tautwire.model.basics import reflection
from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import main
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.measurement import Sweep, write_s1p
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.fitted import with_fit
from tautwire.studies.wants.fit.fitting import BENCH, Fixture, Measured, Parameter, fit, scatter
from tautwire.studies.wants.fit.want import made_up_sweep
from tautwire.studies.wants.local_model import WireModel, radio_gamma, value_at, wire_impedance, with_value, with_values

F20, F40 = np.linspace(13e6, 15.4e6, 61), np.linspace(6.6e6, 7.8e6, 61)
LENGTH = Parameter("antenna.length", 20.4, 19.6, 21.2, 20.4, 0.2)
LEAKAGE = Parameter("transformer.leakage_inductance", 0.2e-6, 0.0, 0.4e-6, 0.2e-6, 0.05e-6)
LOSS = Parameter("coax.loss_scale", 1.0, 0.2, 3.0, 1.0, 0.5)
TRUTH = {"antenna.length": 20.21, "transformer.leakage_inductance": 0.26e-6, "coax.loss_scale": 1.4}


def sweeps(
    truth: dict[str, float], remember: Store, noise: float = 0.005, seed: int = 1, plane: str = "radio"
) -> list[Sweep]:
    rng = np.random.default_rng(seed)
    true = with_values(lakeside(), truth)
    return [made_up_sweep(true, f, plane, noise, rng, name, remember) for f, name in ((F40, "40m"), (F20, "20m"))]


def test_truth_comes_back_within_its_confidence(remember: Store) -> None:
    found = fit(
        lakeside(), [Measured(s) for s in sweeps(TRUTH, remember)], [LENGTH, LEAKAGE, LOSS], wires=WireModel(remember),
        cable={},
    )  # fmt: skip
    for p, value, sd in zip(found.parameters, found.estimate, found.sd, strict=True):
        assert abs(value - TRUTH[p.path]) < 3.5 * sd, p.path
        assert p.sd is not None and sd < 0.5 * p.sd
    assert found.rms == pytest.approx((0.005, 0.005), rel=0.2)
    assert value_at(found.setup, "antenna.length") == pytest.approx(20.21, abs=0.02)
    assert found.solved < 25
    assert any("Noise explains" in n for n in words_of(found))


def test_stated_confidence_is_right_on_average(remember: Store) -> None:
    """30 noises: errors over stated deviations have mean square 1 (chi-square with 60 degrees, 0.1 % to 99.9 %)."""
    truth = {k: v for k, v in TRUTH.items() if k != "antenna.length"}
    off = []
    for seed in range(30):
        found = fit(lakeside(), [Measured(s) for s in sweeps(truth, remember, 0.008, seed)], [LEAKAGE, LOSS],
                    wires=WireModel(remember), model_error=0, cable={})  # fmt: skip
        off += [(v - truth[p.path]) / s for p, v, s in zip(found.parameters, found.estimate, found.sd, strict=True)]
    assert 31.7 / 60 < np.mean(np.square(off)) < 99.6 / 60


def test_estimates_and_deviations_agree_with_scipy_curve_fit(remember: Store) -> None:
    """The same fit without priors by scipy.optimize.curve_fit, a general-purpose least-squares fit."""
    truth = {k: v for k, v in TRUTH.items() if k != "antenna.length"}
    measured = [Measured(s) for s in sweeps(truth, remember)]
    free = [Parameter(p.path, p.start, p.low, p.high) for p in (LEAKAGE, LOSS)]
    found = fit(lakeside(), measured, free, least_error=1e-6, wires=WireModel(remember), model_error=0, cable={})
    wires = {f.tobytes(): wire_impedance(lakeside().build().solver(remember), f) for f in (F40, F20)}

    def model(f: np.ndarray, leakage: float, loss: float) -> np.ndarray:
        here = with_values(lakeside(), {"transformer.leakage_inductance": leakage * 1e-6, "coax.loss_scale": loss})
        g = np.concatenate([radio_gamma(here, wires[x.tobytes()], x, "radio", 50.0) for x in (F40, F20)])
        return np.concatenate([g.real, g.imag])

    data = np.concatenate([m.data for m in measured])
    best, covariance = curve_fit(model, np.concatenate([F40, F20]), np.concatenate([data.real, data.imag]), [0.2, 1.0])
    assert found.estimate * [1e6, 1] == pytest.approx(best, rel=2e-3)
    # ours also counts how far neighbouring residuals hang together by chance, and weighs the sweeps by their noise
    assert found.sd * [1e6, 1] == pytest.approx(np.sqrt(np.diag(covariance)), rel=0.3)


def test_a_smooth_error_of_the_model_widens_the_confidence_by_as_much_as_it_moves_the_estimate(
    remember: Store,
) -> None:
    taken = sweeps({}, remember, 0.003)
    free = [Parameter(p.path, p.start, p.low, p.high) for p in (LEAKAGE, LOSS)]
    plain = fit(lakeside(), [Measured(s) for s in taken], free, wires=WireModel(remember), model_error=0, cable={})
    wide = fit(lakeside(), [Measured(s) for s in taken], free, wires=WireModel(remember), model_error=0.002, cable={})
    added = np.sqrt(wide.sd**2 - plain.sd**2)
    squares = np.zeros(2)
    for k, s in enumerate(taken):
        assert s.gamma is not None
        ramp = s.f_hz - s.f_hz.mean()
        for shape in (np.ones(len(ramp)), ramp / np.sqrt(np.mean(ramp**2))):
            for unit in (1, 1j):
                moved = list(taken)
                moved[k] = Sweep.from_gamma(s.f_hz, s.gamma + 0.002 * unit * shape, 50.0, "radio", s.name)
                there = fit(
                    lakeside(), [Measured(m) for m in moved], free, wires=WireModel(remember), model_error=0, cable={}
                )
                squares += (there.estimate - plain.estimate) ** 2
    assert added == pytest.approx(np.sqrt(squares), rel=0.15)


def test_swr_alone_is_enough_for_the_length(remember: Store) -> None:
    only = [Measured(Sweep(s.f_hz, s.swr, None, 50.0, "radio", s.name))
            for s in sweeps({"antenna.length": 20.7}, remember)]  # fmt: skip
    found = fit(lakeside(), only, [LENGTH], wires=WireModel(remember))
    assert found.estimate[0] == pytest.approx(20.7, abs=4 * found.sd[0])
    assert found.sd[0] < 0.02


def test_sweeps_with_different_wire_lengths_fit_together(remember: Store) -> None:
    """One at the set-up's length, one with the wire let out: the transformer is common to both."""
    a = sweeps({"transformer.leakage_inductance": 0.3e-6}, remember)[1]
    b = sweeps({"transformer.leakage_inductance": 0.3e-6, "antenna.length": 20.8}, remember)[1]
    both = [Measured(a), Measured(b, {"antenna.length": 20.8})]
    found = fit(lakeside(), both, [LEAKAGE], wires=WireModel(remember))
    assert found.estimate[0] == pytest.approx(0.3e-6, abs=4 * found.sd[0])
    with pytest.raises(InputError, match="fit.sweeps.change"):
        fit(lakeside(), both, [LENGTH], wires=WireModel(remember))


def test_wrong_plane_is_noticed_and_a_right_one_is_not(remember: Store) -> None:
    taken = sweeps({}, remember, plane="transformer")
    wrong = [Measured(Sweep.from_gamma(s.f_hz, s.gamma, 50.0, "radio", s.name)) for s in taken if s.gamma is not None]
    found = fit(lakeside(), wrong, [LENGTH, LEAKAGE], wires=WireModel(remember))
    assert found.other_plane < 0.1
    assert any("WRONG PLANE? Taken at the transformer instead of the radio" in n for n in words_of(found))
    right = fit(lakeside(), [Measured(s) for s in taken], [LENGTH, LEAKAGE], wires=WireModel(remember))
    assert not any("PLANE" in n for n in words_of(right))


def test_noise_is_measured_and_said(remember: Store) -> None:
    for noise in (0.005, 0.04):
        s = sweeps({}, remember, noise)[1]
        assert scatter(Measured(s)) == pytest.approx(noise, rel=0.35)
    found = fit(lakeside(), [Measured(s)], [LENGTH], wires=WireModel(remember))
    assert any("20m is noisy" in n for n in words_of(found))
    quiet = Measured(sweeps({}, remember, 0.0)[1])
    assert scatter(quiet) < 5e-4


def test_something_else_wrong_is_said(remember: Store) -> None:
    """Coax of another length: no leakage can make up for it."""
    odd = [Measured(s) for s in sweeps({"coax.length": 8.0}, remember)]
    words = words_of(fit(lakeside(), odd, [LEAKAGE], wires=WireModel(remember)))
    assert any("Something else differs from the set-up" in n for n in words)


def test_values_that_look_alike_are_named(remember: Store) -> None:
    """A longer wire and a thicker jacket both lower the dip: one narrow sweep of SWR cannot tell them apart."""
    s = sweeps({}, remember)[1]
    only = Measured(Sweep(s.f_hz, s.swr, None, 50.0, "radio", "20m"))
    jacket = Parameter("wire.jacket_er", 2.3, 1.2, 4.5)
    length = Parameter("antenna.length", 20.4, 19.6, 21.2)
    found = fit(lakeside(), [only], [length, jacket], wires=WireModel(remember))
    assert abs(found.correlation[0, 1]) > 0.95
    assert any("cannot tell apart: antenna.length and wire.jacket_er (" in n for n in words_of(found))
    stray = Parameter("transformer.winding_resistance", 0.06, 0.05, 0.07, 0.06, 1e-3)
    weak = words_of(fit(lakeside(), [only], [LENGTH, stray], wires=WireModel(remember)))
    assert any("hardly determine transformer.winding_resistance" in n for n in weak)


def test_values_move_by_path() -> None:
    setup = Setup.read({**RAW, "counterpoise": [{"length": "2 m"}, {"length": "3 m"}]})
    assert value_at(with_value(setup, "counterpoise.2.length", 3.5), "counterpoise.2.length") == 3.5
    assert value_at(with_value(setup, "counterpoise.length", 1.5), "counterpoise.1.length") == 1.5
    average = Setup.read({**RAW, "site": {"soil": "average soil"}})
    moved = with_value(average, "site.soil.er", 20.0)
    assert value_at(moved, "site.soil.er") == 20 and value_at(moved, "site.soil.sigma") == pytest.approx(5e-3)
    assert value_at(setup, "transformer.leakage_inductance") == pytest.approx(0.2e-6)
    with pytest.raises(InputError, match="counterpoise.3.length"):
        with_value(setup, "counterpoise.3.length", 1.0)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"radio.impedance": {"prior": "50 ohm"}}, "sd"),
        ({"antenna.lenght": {"sd": "20 cm"}}, "antenna.length"),
        ({"antenna.length": {"sd": "20 kg"}}, "length with its unit"),
        ({"antenna.layout": {"sd": 1}}, "a key with a quantity"),
        ({"antenna.length": 20}, "prior, sd, from and to"),
    ],
)
def test_parameters_are_checked_when_read(table: dict[str, Any], said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_study({**RAW, "fit": {"parameters": table}})


def test_fit_and_from_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], remember: Store) -> None:
    file, taken = tmp_path / "s.toml", tmp_path / "20m.s1p"
    write_s1p(sweeps({"antenna.length": 20.2}, remember)[1], taken)
    file.write_text(
        '[study]\nbands = ["20 m"]\n[site]\nsoil = "free space"\n[antenna]\nlayout = "sloper"\nlength = "20.4 m"\n'
        'feed_height = "1.2 m"\nslope = "30 deg"\n[wire]\ndiameter = "0.8 mm"\njacket = "0.3 mm"\n'
        '[coax]\nlength = "5 m"\n[fit]\nfree = "named"\n[fit.parameters]\n"antenna.length" = { sd = "20 cm" }\n'
    )
    main(["fit", str(file), str(taken), "--out", str(tmp_path / "out")])
    printed = capsys.readouterr().out
    assert re.search(r"fit best with length 20[.](19|20)\d* m ± 16 cm", printed)
    assert re.search(r"antenna.length +20.40 m ± 20 cm +20[.](19|20)\d* m +16 cm", printed)
    fitted = tomllib.loads((tmp_path / "out" / "fit.toml").read_text())
    assert float(fitted["antenna"]["length"].split()[0]) == pytest.approx(20.2, abs=0.06) and "fit_result" in fitted
    raw = with_fit(tomllib.loads(file.read_text()), tmp_path / "out" / "fit.toml")
    assert "antenna.length" in raw["spread"]["values"]
    assert raw["antenna"] == fitted["antenna"] and raw["study"] == {"bands": ["20 m"]} and "fit_result" not in raw
    assert (tmp_path / "out" / "fit.png").stat().st_size > 10_000
    both = tmp_path / "both.csv"
    lines = [
        f"{f / 1e6:.5f},{z.real:.3f},{z.imag:.3f}"
        for s in sweeps({}, remember)
        for f, z in zip(s.f_hz, s.z, strict=True)
    ]
    both.write_text("\n".join(["MHz,R,X", *lines]))
    main(["fit", str(file), str(both), "--out", str(tmp_path / "both")])
    shown = " ".join(capsys.readouterr().out.split())
    assert "Not fitted, as the study asks for none of these bands: both 1 (6.600 MHz to 7.800 MHz)." in shown
    write_s1p(Sweep.from_gamma(F20, np.full(len(F20), 0.01 + 0j)), tmp_path / "dummy.s1p")
    for arguments, said in (
        (["fit", str(file)], "fit.sweeps = none"),
        (["fit", str(file), str(tmp_path / "dummy.s1p")], "looks like a dummy load: reflection below 0.05"),
        (["fit", str(file), str(tmp_path / "no.s1p")], "readable"),
        (["predict", "--from", str(file)], "written by 'tautwire fit'"),
    ):
        with pytest.raises(SystemExit):
            main(arguments)
        told = capsys.readouterr()
        assert said in told.err + told.out and "Traceback" not in told.err


def test_a_cable_that_is_not_quite_as_typed_stays_within_the_confidence(remember: Store) -> None:
    """Z0 1.5 % and the length 1 % off, which are not fitted: estimates move, and their deviations know it."""
    right = lakeside()
    feed = right.feed_system()
    assert feed.coax is not None
    off = replace(feed, coax=replace(feed.coax, z0=feed.coax.z0 * 1.015), coax_length=feed.coax_length * 0.99)
    solver, taken = right.build().solver(remember), []
    for f in (F40, F20):
        taken.append(Sweep.from_gamma(f, reflection(off.impedances(wire_impedance(solver, f), f).radio)))
    exact = fit(right, [Measured(s) for s in taken], [LEAKAGE, LOSS], wires=WireModel(remember), cable={})
    known = fit(right, [Measured(s) for s in taken], [LEAKAGE, LOSS], wires=WireModel(remember))
    start = np.array([p.start for p in known.parameters])
    missed = np.abs(known.estimate - start)
    assert np.all(missed < 2 * known.sd) and np.any(missed > 2 * exact.sd)


def test_a_bench_with_strays_keeps_the_terminal_capacitance_inside_its_error() -> None:
    """Three resistors with strays drawn at random: what lies across them cannot be told from the terminal's own."""
    rng, f, off = np.random.default_rng(5), np.linspace(3e6, 30e6, 109), []
    path, plane = "transformer.terminal_capacitance", "transformer"
    true = with_values(lakeside(), {path: 3.2e-12, "transformer.core_scale": 1.1})
    free = [
        Parameter(path, 4e-12, 0.0, 9e-12, 4e-12, 1e-12),
        Parameter("transformer.core_scale", 1.0, 0.5, 2.0, 1.0, 0.2),
        LEAKAGE,
    ]
    for _ in range(6):
        bench = Fixture(BENCH.capacitance + 0.2e-12 * rng.standard_normal(), 30e-9 + 20e-9 * rng.standard_normal())
        measured = []
        for ohm in (1e3, 2.4e3, 4.7e3):
            gamma = radio_gamma(true, bench.impedance(ohm, f), f, plane, 50.0)
            gamma = gamma + 0.002 * (rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f)))
            measured.append(Measured(Sweep.from_gamma(f, gamma, 50.0, plane, f"{ohm:.0f} ohm"), load=ohm))
        found = fit(lakeside(), measured, free)
        assert 0.15e-12 < found.sd[0] < 0.35e-12
        off.append((found.estimate[0] - 3.2e-12) / found.sd[0])
    assert np.abs(off).max() < 3 and np.sqrt(np.mean(np.square(off))) < 1.6
