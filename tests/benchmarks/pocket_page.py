"""Build results/pocket, the ready pocket page: exact solves of random slopers, a fitted formula a band, fresh checks.

    python tests/benchmarks/pocket_page.py [--work FOLDER] [--settings 2048]

Exact solves are kept in FOLDER, so that a build that was stopped goes on. One process: about
25 minutes for 2048 settings.
"""

import argparse
import os
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from tautwire.model.basics import Complex, Real
from tautwire.model.solve.solver import Arrays
from tautwire.studies.explorer.sliders import Controls
from tautwire.studies.explorer.surface import POINTS
from tautwire.studies.learned.outing import off_values
from tautwire.studies.pocket.fitted import exact, fit, form_of, random_places
from tautwire.studies.pocket.page import slope_places
from tautwire.studies.pocket.ready import (
    HIGH,
    LOW,
    BandError,
    compared,
    error_words,
    fitted_surface,
    ready_controls,
    ready_data,
    ready_files,
    ready_model,
    setting_of,
)
from tautwire.studies.pocket.slopes import slopes_of
from tautwire.studies.running.store import Store
from tautwire.studies.study.setup import Setup

ROOT = Path(__file__).parents[2]
TRAINED, CHECKED = 1, 2  # seeds of settings fitted to and of fresh ones
DEGREES = (5.0, 4.0, 8.0, 4.0, 6.0)
SPEEDS = {"40 m": (1.5, 1.04), "20 m": (1.5, 1.04), "15 m": (1.6, 1.04), "10 m": (1.4, 1.04)}
EVERY = 3  # of the frequencies are fitted to
KEEP_EVERY = 10


def places(seed: int, count: int, most: int) -> Real:
    """Random places (count, 4) of the box, heights evenly in their logarithm."""
    low, high = np.array(LOW), np.array(HIGH)
    low[2], high[2] = np.log(low[2]), np.log(high[2])
    found = low + (high - low) * random_places(seed, most, 4)[:count]
    found[:, 2] = np.exp(found[:, 2])
    return found


def setup_at(made: Controls, place: Real) -> Setup:
    raw = made.raw(setting_of(place), tuple(c.start for c in made.choices))
    return Setup.read({k: v for k, v in raw.items() if k in Setup.model_fields})


def gathered(path: Path, solve: Callable[[int], Complex], count: int) -> Complex:
    """solve(0) to solve(count - 1), kept in the file and gone on with from there."""
    rows = list(np.load(path)["gamma"][:count]) if path.exists() else []
    began = time.monotonic()
    for i in range(len(rows), count):
        rows.append(solve(i))
        if (i + 1) % KEEP_EVERY == 0 or i + 1 == count:
            new = path.with_name(path.stem + ".part.npz")
            np.savez(new, gamma=np.array(rows))
            os.replace(new, path)
            print(f"{path.name}: {i + 1} of {count}, {time.monotonic() - began:.0f} s", flush=True)
    return np.array(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path, default=Path.home() / ".cache" / "tautwire-pocket")
    parser.add_argument("--settings", type=int, default=2048)
    parser.add_argument("--checks", type=int, default=100)
    parser.add_argument("--out", type=Path, default=ROOT / "results" / "pocket")
    given = parser.parse_args()
    with threadpool_limits(1):
        build(given.work, given.settings, given.checks, given.out)


def build(work: Path, settings: int, checks: int, out: Path) -> None:
    work.mkdir(parents=True, exist_ok=True)
    made = ready_controls()
    bands = made.study.bands
    soil: dict[str, Arrays] = {}
    trained, fresh = places(TRAINED, settings, 2048), places(CHECKED, checks, 128)
    gamma = gathered(work / "average.npz", lambda i: exact(setup_at(made, trained[i]), bands, soil), settings)
    check = gathered(work / "average-check.npz",
                     lambda i: exact(setup_at(made, fresh[i]), bands, soil, POINTS), checks)  # fmt: skip
    forms = []
    probe = fitted_surface(made, ())
    for b, band in enumerate(bands):
        f = np.linspace(probe.frequencies[b][0], probe.frequencies[b][-1], gamma.shape[2])[::EVERY] / 1e6
        ends = np.array(LOW), np.array(HIGH)
        began = time.monotonic()
        kept = work / f"form-{band.name.replace(' ', '-')}-{settings}.npy"
        if kept.exists():
            form = form_of(np.load(kept), f, ends, DEGREES, SPEEDS[band.name])
        else:
            form = fit(f, trained, gamma[:, b, ::EVERY], ends, DEGREES, SPEEDS[band.name])
            np.save(kept, form.coefficients)
        form = form.rounded()
        error = np.abs(form.at(probe.frequencies[b] / 1e6, fresh) - check[:, b])
        print(f"{band.name}: {form.coefficients.size} coefficients, reflection off by {np.median(error.max(1)):.4f}, "
              f"at most {error.max():.4f}; {time.monotonic() - began:.0f} s", flush=True)  # fmt: skip
        forms.append(form)
    surface = fitted_surface(made, forms)
    errors: list[BandError] = []
    for b, band in enumerate(bands):
        f = surface.frequencies[b]
        found = BandError(band, 0, [])
        for place, right in zip(fresh, check[:, b], strict=True):
            one = compared(band, setup_at(made, place).feed_system(), f, right[None], forms[b].at(f / 1e6, place[None]))
            found = BandError(band, found.settings + 1, found.errors + one.errors, found.lost + one.lost,
                              found.extra + one.extra, max(found.swr, one.swr))  # fmt: skip
        errors.append(found)
    print(error_words([e.row() for e in errors]))
    lengths, slopes = slope_places(made), []
    for x in lengths:
        setup = setup_at(made, np.array([x, *[made.start[p] for p in list(setting_of(LOW))[1:]]]))
        values = off_values(setup)
        slopes.append(slopes_of(setup, setup.build().solver(Store()), bands, values))
    model = ready_model(surface, values, lengths, slopes)
    files = ready_files(ready_data(model, errors, Store()), model)
    out.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (out / name).write_bytes(content)
    table = pd.DataFrame([e.row() for e in errors])
    table.to_csv(out / "errors.csv", index=False, float_format="%.4g")
    size = sum(len(c) for c in files.values()) / 1e6
    text = ["# The ready pocket page", "", error_words([e.row() for e in errors]), "",
            f"{size:.2f} MB in all. Serve this folder from any static host, or open index.html.", "",
            f"Made by `python tests/benchmarks/pocket_page.py --settings {settings} --checks {checks}`.",
            "",]  # fmt: skip
    (out / "summary.md").write_text("\n".join(text))


if __name__ == "__main__":
    main()
