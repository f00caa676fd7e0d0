"""The toolkit beside the plain loop one would script on the raw engine: time, accuracy, and how cost grows.

Run from the repository's root:  python tests/benchmarks/plain_loop.py
Writes results/benchmark/{time,accuracy,growth}.csv and summary.md. A script, not a test: it asserts nothing about time.

The plain loop: for every case, band and grid frequency a new engine context with the same segments as the toolkit's,
one source, printing off, in free space and over the engine's own ground type 2. It is run whole for one of the ten
angles and its time multiplied by ten. Both give the same 201-point sweeps.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import PyNEC
import tomli_w

from tautwire.model.operating.bands import Band
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import FOLDER_VARIABLE, Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.dips.reading import band_row, minima, swr_at_radio, the_dip, window

OUT = Path("results/benchmark")
POINTS = 201
BANDS = ["40 m", "20 m", "17 m", "15 m", "10 m"]
ANGLES = [f"{a} deg" for a in range(15, 65, 5)]
SOILS = ["average soil", "poor soil", "very poor soil", "very good soil", "wet ground", "sandy soil"]
WHOLE = 3  # the angle for which the plain loop is run whole
BASE: dict[str, Any] = {
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm"},  # bare: the engine knows no jackets
    "counterpoise": [{"length": "4 m", "height": "50 cm", "wire": {"diameter": "0.8 mm"}}],
}


def study(bands: list[str] = BANDS, angles: list[str] = ANGLES, **more: Any) -> Study:
    sweep = {"antenna.slope": angles, **more.pop("sweep", {})}
    head = {"name": "benchmark", "question": "How does the slope move the dips?", "bands": bands}
    return read_study({**BASE, **more, "study": head, "sweep": sweep})


def clocked(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """What work gives, wall seconds, processor seconds of this process and those it ends."""

    def used() -> float:
        own, children = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
        return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime

    wall, cpu = time.perf_counter(), used()
    answer = work()
    return answer, time.perf_counter() - wall, used() - cpu


def plain_impedance(legs: tuple, f_hz: float, ground: tuple[float, float] | None, conductivity: float) -> complex:
    """Feed impedance as the raw engine gives it: source on the wire's first segment, printing off."""
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for tag, (start, end, segments, radius) in enumerate(legs, 1):
        geometry.wire(tag, segments, *map(float, start), *map(float, end), radius, 1.0, 1.0)
    context.geometry_complete(0 if ground is None else 1)
    if ground is None:
        context.gn_card(-1, 0, 0, 0, 0, 0, 0, 0)
    else:
        context.gn_card(2, 0, *ground, 0, 0, 0, 0)
    context.pt_card(-1, 0, 0, 0)
    context.ld_card(5, 0, 0, 0, conductivity, 0, 0)
    context.fr_card(0, 1, f_hz / 1e6, 0)
    context.ex_card(0, 1, 1, 0, 1.0, 0, 0, 0, 0, 0)
    context.xq_card(0)
    return complex(context.get_input_parameters(0).get_impedance()[0])


def plain_loop(case: Case, bands: tuple[Band, ...], over_soil: bool) -> dict[str, np.ndarray]:
    """Band -> impedances at the grid frequencies of its window."""
    built = case.setup().build()
    solver, soil = built.solver(), built.ground
    ground = (soil.er, soil.sigma) if over_soil else None
    conductivity = built.structure.conductors[0].wire.conductivity
    out = {}
    for band in bands:
        f = np.linspace(*window(band), POINTS)
        legs = solver.parts(float(f[0])).mesh.legs
        out[band.name] = np.array([plain_impedance(legs, float(x), ground, conductivity) for x in f])
    return out


def grid_dip(case: Case, band: Band, z: np.ndarray) -> float:
    """The dip as the loop's user reads it: the lowest of the grid's SWR minima, Hz."""
    from tautwire.model.basics import swr

    feed, f = case.setup().feed_system(), np.linspace(*window(band), POINTS)
    level = swr(feed.impedances(z, f).radio, feed.reference)
    inner = np.flatnonzero((level[1:-1] <= level[:-2]) & (level[1:-1] < level[2:])) + 1
    return the_dip([(float(f[i]), float(level[i])) for i in inner], band)[0]


def fine_dip(case: Case, band: Band) -> float:
    """The dip with segments half as long, every grid frequency solved, Hz."""
    setup = case.setup()
    built = setup.build()
    solver = type(built.solver())(built.structure, built.ground, built.rules.finer(2))
    response, feed = solver.response(*window(band), tolerance=1e-5), setup.feed_system()
    found = minima(swr_at_radio(response, feed), np.linspace(response.lower, response.upper, 801))
    return the_dip(found, band)[0]


def commands_seconds(folder: Path) -> list[dict[str, Any]]:
    """The command line, its start, drawing and writing included: cold store, then again."""
    file = folder / "benchmark.toml"
    spec = study()
    file.write_text(tomli_w.dumps({**BASE, "study": spec.spec.model_dump(), "sweep": {"antenna.slope": ANGLES}}))
    env = {**os.environ, FOLDER_VARIABLE: str(folder / "command")}
    program = "from tautwire.studies.commands.cli import main; main()"
    command = [sys.executable, "-c", program, "run", str(file), "--out", str(folder / "out")]
    rows = []
    for what in ("tautwire run, cold store, plots and report", "tautwire run again"):
        _, wall, cpu = clocked(lambda: subprocess.run(command, env=env, check=True, capture_output=True))
        rows.append({"what": what, "wall_s": wall, "cpu_s": cpu})
    return rows


def growth(folder: Path) -> pd.DataFrame:
    """Cost of cold studies as one thing after another grows, all cores."""
    angles = ANGLES[::3]
    runs: list[tuple[str, str, Study]] = [
        *(("cases", str(n), study(angles=ANGLES[:n])) for n in (2, 5, 10)),
        *(("bands", str(n), study(bands=BANDS[:n], angles=angles)) for n in (1, 3, 5)),
        *(
            ("segments per wavelength", f"{n:g}", study(angles=angles, mesh={"segments_per_wavelength": n}))
            for n in (24.0, 36.0, 48.0)
        ),
        *(("soils", str(n), study(angles=angles, sweep={"site.soil": SOILS[:n]})) for n in (1, 6)),
    ]
    rows = []
    for axis, size, one in runs:
        store = folder / f"{axis}-{size}".replace(" ", "-")
        result, wall, cpu = clocked(lambda one=one, store=store: run(one, Store(store)))
        assert not result.failed
        segments = len(one.cases()[0].setup().build().solver().parts(one.bands[-1].upper).mesh.start)
        rows.append({"axis": axis, "size": size, "segments": segments, "wall_s": wall, "cpu_s": cpu})
        shutil.rmtree(store)
    return pd.DataFrame(rows)


def summary(times: pd.DataFrame, accuracy: pd.DataFrame, grown: pd.DataFrame) -> str:
    def table(frame: pd.DataFrame) -> str:
        cells = [[f"{v:.4g}" if isinstance(v, float) else str(v) for v in row] for row in frame.itertuples(index=False)]
        lines = [list(map(str, frame.columns)), ["---"] * len(frame.columns), *cells]
        return "\n".join("| " + " | ".join(line) + " |" for line in lines)

    wall = times.set_index("what").wall_s
    loops = {"ground type 2": wall.iloc[0], "free space": wall.iloc[1]}
    ratios = [
        f"- against the loop over {name}: {what}, {loop / wall[what]:.0f} times as fast"
        for name, loop in loops.items()
        for what in times.what[2:]
    ]
    cpu = times.set_index("what").cpu_s
    even = cpu.iloc[0] / (cpu["toolkit, cold store"] / (os.cpu_count() or 1))
    ratios.append(f"- by processor seconds shared evenly by all cores: cold store, {even:.0f} times ground type 2")
    soils = grown[grown.axis == "soils"]
    return "\n\n".join(
        [
            "# The toolkit and the plain loop on the raw engine",
            f"Ten slopes of a 20.1 m sloper, {len(BANDS)} bands, {POINTS} points a band's window; {os.cpu_count()} "
            "processor cores. The plain loop ran whole for one slope, on one core as such scripts do; its times are "
            "ten times that. On a machine busy with other work processor seconds (cpu_s) tell more than wall seconds.",
            table(times),
            "\n".join(ratios),
            "## Accuracy of the dip",
            "Against segments half as long, the exact soil, and the continuous response, kHz. The loop reads dips off "
            "its grid; its free space has no soil, its ground type 2 is the engine's.",
            table(accuracy),
            "## How cost grows (cold store, all cores)",
            table(grown),
            f"Six soils cost {soils.cpu_s.iloc[-1] / soils.cpu_s.iloc[0]:.2f} times one soil in processor time, "
            f"{soils.wall_s.iloc[-1] / soils.wall_s.iloc[0]:.2f} times in wall time.",
            "Made with\n\n    python tests/benchmarks/plain_loop.py",
        ]
    )


def main() -> None:
    whole = study()
    case = whole.cases()[WHOLE]
    rows, loops = [], {}
    for name, over_soil in (("plain loop, ground type 2", True), ("plain loop, free space", False)):
        loops[name], wall, cpu = clocked(lambda over_soil=over_soil: plain_loop(case, whole.bands, over_soil))
        rows.append({"what": name, "wall_s": wall * len(ANGLES), "cpu_s": cpu * len(ANGLES)})
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for what in ("toolkit, cold store", "toolkit, warm store"):
            result, wall, cpu = clocked(lambda: run(whole, Store(folder / "store")))
            assert not result.failed
            rows.append({"what": what, "wall_s": wall, "cpu_s": cpu})
        rows += commands_seconds(folder)
        grown = growth(folder)
    times = pd.DataFrame(rows)
    setup = case.setup()
    solver, feed = setup.build().solver(), setup.feed_system()
    accuracy = []
    for band in whole.bands:
        fine = fine_dip(case, band)
        own = band_row(band, solver.response(*window(band)), feed, 3.0)["dip_mhz"] * 1e6
        row = {"band": band.name, "fine_dip_mhz": fine / 1e6, "toolkit_khz": (own - fine) / 1e3}
        for name, z in loops.items():
            row[name.replace("plain loop, ", "") + "_khz"] = (grid_dip(case, band, z[band.name]) - fine) / 1e3
        accuracy.append(row)
    OUT.mkdir(parents=True, exist_ok=True)
    frames = {"time": times, "accuracy": pd.DataFrame(accuracy), "growth": grown}
    for name, frame in frames.items():
        frame.to_csv(OUT / f"{name}.csv", index=False, float_format="%.4g")
    (OUT / "summary.md").write_text(summary(*frames.values()) + "\n", encoding="utf-8")
    print(summary(*frames.values()))


if __name__ == "__main__":
    main()
