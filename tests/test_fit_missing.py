"""A fit whose set-up differs in a value left out: the value is named, and with it freed the truth comes back."""

from typing import Any

import numpy as np
import pytest
from fit_words import words_of
from lakeside import RAW, lakeside

from tautwire.model.errors import InputError
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.measurement import Sweep, write_s1p
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.fit.fitting import Fit, Measured, Parameter, fit, missing
from tautwire.studies.wants.fit.want import FitSpec, made_up_sweep, measured_of
from tautwire.studies.wants.local_model import WireModel, radio_gamma, with_values

F = (np.linspace(6.6e6, 7.8e6, 61), np.linspace(13e6, 15.4e6, 61), np.linspace(27e6, 30.5e6, 61))
LENGTH = Parameter("antenna.length", 20.4, 19.6, 21.2, 20.4, 0.2)
TERMINAL = Parameter("transformer.terminal_capacitance", 4e-12, 0.0, 8e-12, 4e-12, 1e-12)
OTHER_CORE = {"magnetising_inductance": "8 uH", "loss_resistance": "250 ohm"}


def taken(true: Setup, remember: Store, noise: float = 0.003) -> list[Measured]:
    rng = np.random.default_rng(3)
    return [Measured(made_up_sweep(true, f, "radio", noise, rng, f"{f[0] / 1e6:.0f} MHz", remember)) for f in F]


def off(found: Fit, truth: float) -> float:
    return abs(dict(zip([p.path for p in found.parameters], found.estimate, strict=True))["antenna.length"] - truth)


def test_another_transformer_is_named_and_the_length_then_found(remember: Store) -> None:
    """8 uH and 250 ohm in place of the default core: the core is named, and with it freed the length is right."""
    raw: dict[str, Any] = {**RAW, "transformer": OTHER_CORE}
    true = with_values(Setup.read(raw), {"antenna.length": 20.21})
    measured = taken(true, remember)
    found = fit(lakeside(), measured, [LENGTH, TERMINAL], wires=WireModel(remember))
    assert off(found, 20.21) > 0.05, "this case must be one that goes wrong"
    tried = missing(found, wires=WireModel(remember))
    assert "core" in tried[0].name and tried[0].share > 0.95 > tried[1].share
    words = " ".join(words_of(found, tried))
    assert words.startswith("LEFT OUT? The transformer's core (magnetising inductance and loss) would explain")
    assert '"transformer.magnetising_inductance" = { prior = ' in words
    core = {p.path: (p, float(v)) for p, v in zip(tried[0].parameters, tried[0].estimate, strict=True)}
    assert core["transformer.magnetising_inductance"][1] == pytest.approx(8e-6, rel=0.15)
    assert core["transformer.loss_resistance"][1] == pytest.approx(250, rel=0.15)

    # as the lines to add would: both freed, started from what was found
    freed = [Parameter(p.path, v, p.low, p.high) for p, v in core.values()]
    again = fit(lakeside(), measured, [LENGTH, TERMINAL, *freed], wires=WireModel(remember))
    assert off(again, 20.21) < 0.05
    assert missing(again, wires=WireModel(remember)) == ()


def test_nothing_is_tried_where_noise_explains_the_rest(remember: Store) -> None:
    found = fit(lakeside(), taken(lakeside(), remember), [LENGTH, TERMINAL], wires=WireModel(remember))
    assert missing(found, wires=WireModel(remember)) == ()
    assert not any("LEFT OUT" in words for words in words_of(found))


def test_a_longer_coax_is_told_from_the_transformer(remember: Store) -> None:
    true = with_values(lakeside(), {"coax.length": 6.0})
    tried = missing(
        fit(lakeside(), taken(true, remember), [LENGTH, TERMINAL], wires=WireModel(remember)), wires=WireModel(remember)
    )
    assert tried[0].name == "the coax's length" and tried[0].share > 0.9
    assert tried[0].estimate[0] == pytest.approx(6.0, abs=0.1)


def test_sweeps_outside_the_bands_are_refused(tmp_path: Any, remember: Store) -> None:
    f = F[1]
    file = tmp_path / "twenty.s1p"
    write_s1p(Sweep.from_gamma(f, 0.3 * np.ones(len(f), dtype=complex)), file)
    options = {"sweeps": [str(file)], "parameters": {"antenna.length": {"sd": "20 cm"}}}
    for bands, refused in ((["20 m"], False), (["40 m", "10 m"], True)):
        study = {**RAW, "study": {"bands": bands, "want": ["fit"]}, "fit": options}
        if refused:
            with pytest.raises(InputError, match="twenty.*a sweep of the study's bands: 40 m, 10 m"):
                read_study(study)
        else:
            read_study(study)


def test_reactance_without_its_sign_still_finds_the_length(tmp_path: Any, remember: Store) -> None:
    """An analyser that shows |X|: the file is read for what it is, and the length found all the same."""
    true = with_values(lakeside(), {"antenna.length": 20.21})
    for heading, size in (("freq_mhz,r,x", np.abs), ("freq_mhz,r,|x|", np.abs), ("freq_mhz,swr", None)):
        files = []
        for m in taken(true, remember, 0.0)[:2]:
            z, file = m.sweep.z, tmp_path / f"{m.sweep.f_hz[0]:.0f}.csv"
            assert z is not None and (z.imag < 0).any() and (z.imag > 0).any()
            columns = [m.sweep.f_hz / 1e6, m.sweep.swr] if size is None else [m.sweep.f_hz / 1e6, z.real, size(z.imag)]
            rows = [",".join(f"{v:.6f}" for v in row) for row in zip(*columns, strict=True)]
            file.write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
            files.append({"file": str(file)})
        spec = FitSpec.model_validate({"sweeps": files})
        found = fit(lakeside(), measured_of(spec), [LENGTH], wires=WireModel(remember))
        assert off(found, 20.21) < 0.05, heading


def test_resistors_in_place_of_the_wire_tell_the_transformer(remember: Store) -> None:
    """Two made-up sweeps of a transformer that ends in 2.4 and 4.7 kohm: terminal, core and leakage come back."""
    truth = {"transformer.terminal_capacitance": 3.1e-12, "transformer.core_scale": 0.8,
             "transformer.leakage_inductance": 0.3e-6}  # fmt: skip
    f, rng = np.linspace(3e6, 30e6, 91), np.random.default_rng(5)
    measured = []
    for ohm in (2400.0, 4700.0):
        gamma = radio_gamma(with_values(lakeside(), truth), np.full(len(f), complex(ohm)), f, "transformer", 50.0)
        gamma = gamma + 0.003 * (rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f)))
        measured.append(Measured(Sweep.from_gamma(f, gamma, 50.0, "transformer", f"{ohm:g} ohm"), {}, ohm))
    core = Parameter("transformer.core_scale", 1.0, 0.5, 1.5)
    leakage = Parameter("transformer.leakage_inductance", 0.2e-6, 0.0, 1e-6)
    found = fit(lakeside(), measured, [LENGTH, TERMINAL, core, leakage], wires=WireModel(remember))
    values = dict(zip([p.path for p in found.parameters], zip(found.estimate, found.sd, strict=True), strict=True))
    for path, value in truth.items():
        estimate, sd = values[path]
        assert estimate == pytest.approx(value, rel=0.1) and abs(estimate - value) < 3 * sd, path
    assert values["transformer.terminal_capacitance"][1] < 0.2e-12
    assert values["antenna.length"][0] == pytest.approx(20.4, abs=0.01)  # nothing was seen of the wire
