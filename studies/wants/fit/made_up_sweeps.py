"""Sweeps made from a set-up whose true values are known, to test a fit or to rehearse one."""

from pathlib import Path

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.solve.solver import Remember, compute_always
from tautwire.studies.study.files import writable
from tautwire.studies.study.measurement import MOST_GAMMA, Sweep, write_s1p
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


def made_up(
    study: Study, seed: int, folder: Path, remember: Remember = compute_always
) -> tuple[tuple[Path, ...], dict[str, float]]:
    """Sweeps of every band of a study, written as .s1p, with values drawn from the priors of its [fit.parameters].

    remember: where matrices are kept. Gives the paths and the true values (SI).
    Raises InputError if the folder cannot be written.
    """
    spec: FitSpec = study.options["fit"]
    setup = Setup.read(study.raw)
    rng = np.random.default_rng(seed)
    truth = {}
    for p in parameters_of(setup, spec):
        value = p.start + p.scale * rng.standard_normal()
        truth[p.path] = float(np.clip(value, p.low, p.high))
    true = with_values(setup, truth)
    paths = []
    with writable(folder, "folder"):
        folder.mkdir(parents=True, exist_ok=True)
        for band in study.bands:
            f = np.linspace(*window(band), POINTS)
            sweep = made_up_sweep(true, f, spec.plane, NOISE, rng, remember=remember)
            paths.append(folder / f"made-up-{band.name.replace(' ', '')}.s1p")
            write_s1p(sweep, paths[-1])
    return tuple(paths), truth
