"""Sweeps made from a set-up whose true values are known, to test a fit or to rehearse one."""

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.solve.solver import Remember, compute_always
from tautwire.studies.study.measurement import MOST_GAMMA, Sweep, s1p_text
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.dips.reading import window
from tautwire.studies.wants.fit.want import FitSpec, parameters_of
from tautwire.studies.wants.local_model import radio_gamma, wire_impedance, with_values

POINTS = 101
NOISE = 0.005  # of each part of gamma


def made_up_sweep(
    setup: Setup,
    f_hz: Real,
    plane: str = "radio",
    noise: float = NOISE,
    rng: np.random.Generator | None = None,
    name: str = "made up",
    remember: Remember = compute_always,
) -> Sweep:
    """What an analyser at `plane` would read at f_hz (n,), Hz, with Gaussian noise on each part of gamma."""
    z = wire_impedance(setup.build().solver(remember), f_hz)
    gamma = radio_gamma(setup, z, f_hz, plane, setup.radio.impedance)
    if rng is not None:
        gamma = gamma + noise * (rng.standard_normal(len(f_hz)) + 1j * rng.standard_normal(len(f_hz)))
    gamma = gamma / np.maximum(np.abs(gamma) / MOST_GAMMA, 1)
    return Sweep.from_gamma(f_hz, gamma, setup.radio.impedance, plane, name)


def made_up(study: Study, seed: int, remember: Remember = compute_always) -> tuple[dict[str, bytes], dict[str, float]]:
    """Sweeps of every band of a study as .s1p files, name -> content, with values drawn from the priors of its
    [fit.parameters], and these true values (SI).

    remember: where matrices are kept.
    """
    spec: FitSpec = study.options["fit"]
    setup = Setup.read(study.raw)
    rng = np.random.default_rng(seed)
    truth = {}
    for p in parameters_of(setup, spec):
        value = p.start + p.scale * rng.standard_normal()
        truth[p.path] = float(np.clip(value, p.low, p.high))
    true = with_values(setup, truth)
    files = {}
    for band in study.bands:
        f = np.linspace(*window(band), POINTS)
        sweep = made_up_sweep(true, f, spec.plane, NOISE, rng, remember=remember)
        name = f"made-up-{band.name.replace(' ', '')}"
        files[f"{name}.s1p"] = s1p_text(sweep, name).encode()
    return files, truth
