"""Do the intervals hold what they say? Exact solves of random set-ups against the intervals of studies/wants/spread.

    python tests/benchmarks/calibration.py [--setups 24] [--samples 200] [--workers 2] [--out results/calibration]

Each set-up (sloper, V or L; named soils; with coax and with counterpoise) is drawn at random with one band. Its values
are then drawn from the usual spreads, each draw solved in full and read like any case, and counted against the
intervals. A second case (another slope or height, all else alike) has the same draws, and the differences of both are
counted too. Exact solves are kept in --keep and read from there the next time; --recheck solves some of them again.
"""

import argparse
import json
import math
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.running.store import digest
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.spread.intervals import held, spread_of
from tautwire.studies.wants.spread.values import Joint, uncertain, with_offsets

SOILS = ("average soil", "wet ground", "poor soil", "very dry ground", "sea water", "sandy soil")
NAMES = ("dip", "worst", "dip difference", "worst difference")
BANDS = ("40 m", "20 m", "15 m", "10 m")


def random_setup(number: int) -> tuple[dict, str]:
    """A set-up as texts and its band."""
    rng = np.random.default_rng([12, number])
    layout = ("sloper", "inverted V", "inverted L")[number % 3]
    antenna = {
        "layout": layout,
        "length": f"{rng.uniform(19.3, 20.3):.2f} m",
        "feed_height": f"{rng.uniform(0.8, 2):.2f} m",
    }
    if layout == "sloper":
        antenna["slope"] = f"{rng.uniform(12, 45):.0f} deg"
    elif layout == "inverted V":
        antenna |= {"apex_height": f"{rng.uniform(6, 8.5):.1f} m", "end_height": f"{rng.uniform(1, 3):.1f} m"}
    else:
        antenna["height"] = f"{rng.uniform(5, 9):.1f} m"
    raw = {
        "site": {"soil": str(rng.choice(SOILS))},
        "antenna": antenna,
        "wire": {"diameter": "0.8 mm", "jacket": f"{rng.uniform(0.2, 0.6):.2f} mm"},
        "coax": {"type": str(rng.choice(["RG-58", "RG-316", "RG-8X"])), "length": f"{rng.uniform(3, 15):.1f} m"},
    }
    if number % 2:
        raw["counterpoise"] = [{"length": f"{rng.uniform(1, 3):.1f} m", "height": "5 cm"}]
    return raw, BANDS[(number // 3) % 4]


def other_case(raw: dict) -> dict:
    """The same set-up hung otherwise: a slope 15 degrees steeper, or its highest point 1.5 m higher."""
    antenna = dict(raw["antenna"])
    key, unit, more = {"sloper": ("slope", "deg", 15), "inverted V": ("apex_height", "m", 1.5)}.get(
        antenna["layout"], ("height", "m", 1.5)
    )
    antenna[key] = f"{float(antenna[key].split()[0]) + more:g} {unit}"
    return {**raw, "antenna": antenna}


def exact(raw: dict, band_name: str, offsets: np.ndarray, keep: Path) -> tuple[float, float]:
    """Dip, Hz, and worst SWR across the band, solved in full, or as kept; NaN for what cannot be built."""
    setup, band = Setup.read(raw), band_named(band_name)
    values = uncertain(setup)
    told = sorted((v.path, f"{float(v.at(u)):.9g}") for v, u in zip(values, offsets, strict=True))
    file = keep / f"{digest('exact', raw, told, band_name)}.json"
    if not file.exists():
        file.write_text(json.dumps(solved(with_offsets(setup, values, offsets), band)))
    dip, worst = json.loads(file.read_text())
    return dip, worst


def solved(moved: Setup, band: Band) -> tuple[float, float]:
    try:
        response = moved.build().solver().response(*window(band))
        row = band_row(band, response, moved.feed_system(), 3.0)
    except (InputError, SolveError):
        return math.nan, math.nan
    return row["dip_mhz"] * 1e6, row["swr_worst"]


def one_setup(number: int, samples: int, keep: Path) -> dict:
    with threadpool_limits(1):
        raw, band_name = random_setup(number)
        setup, band = Setup.read(raw), band_named(band_name)
        joint = Joint.of(uncertain(setup))
        found = spread_of(setup, setup.build().solver(), band, joint)
        offsets = joint.draw(samples, seed=1000 + number)
        truth = np.array([exact(raw, band_name, u, keep) for u in offsets])
        told = found.at(offsets)
        again = other_case(raw)
        beside = Setup.read(again)
        second = spread_of(beside, beside.build().solver(), band, Joint.of(uncertain(beside)))
        moved = np.array([exact(again, band_name, u, keep) for u in offsets])
    row = {"set-up": number + 1, "layout": raw["antenna"]["layout"], "soil": raw["site"]["soil"], "band": band_name,
           "counterpoise": bool(raw.get("counterpoise")), "dip_mhz": found.base.dip[0] / 1e6,
           "dip_sd_khz": found.half_width("dip") / 1e3}  # fmt: skip
    for name, column in (("dip", 0), ("worst", 1), ("dip difference", 0), ("worst difference", 1)):
        kind = name.split()[0]
        apart = name != kind
        values = moved[:, column] - truth[:, column] if apart else truth[:, column]
        values = values[np.isfinite(values)]
        own = float(getattr(second.base, kind)[0] - getattr(found.base, kind)[0])
        samples = getattr(second.samples, kind) - getattr(found.samples, kind)
        if name == "dip difference":
            low, high = held(samples, 68, own)
            row["difference_khz"], row["difference_sd_khz"] = own / 1e3, (high - low) / 2e3
        for percent in (68, 95):
            low, high = held(samples, percent, own) if apart else found.interval(name, percent)
            row[f"{name}_{percent}"] = int(round(100 * np.mean((values >= low) & (values <= high))))
        row[f"{name}_solved"] = len(values)
    off = (told.dip - truth[:, 0]) / 1e3
    row["model_off_khz"] = float(np.nanmedian(np.abs(off)))
    return row


def rechecked(number: int, keep: Path) -> float:
    """Greatest difference, kHz, of two kept dips of a set-up from those solved now."""
    with threadpool_limits(1):
        raw, band_name = random_setup(number)
        setup = Setup.read(raw)
        joint = Joint.of(uncertain(setup))
        off = []
        for u in joint.draw(200, seed=1000 + number)[[3, 77]]:
            now, _ = solved(with_offsets(setup, joint.values, u), band_named(band_name))
            off.append(abs(now - exact(raw, band_name, u, keep)[0]) / 1e3)
    return float(np.nanmax(off))


def whole(rows: list[dict]) -> dict[str, float]:
    """Per cent of the samples of all set-ups that each interval holds."""
    names = [f"{name}_{percent}" for name in NAMES for percent in (68, 95)]
    weights = {n: np.array([r[n.split("_")[0] + "_solved"] for r in rows]) for n in names}
    return {n: float(np.average([r[n] for r in rows], weights=weights[n])) for n in names}


def report(rows: list[dict], command: str, seconds: float) -> str:
    """summary.md: what was counted, the shares over all set-ups, and a row a set-up."""
    share = whole(rows)
    columns = list(rows[0])
    cells = [[f"{r[c]:.3f}" if c == "dip_mhz" else f"{r[c]:.1f}" if isinstance(r[c], float) else str(r[c])
              for c in columns] for r in rows]  # fmt: skip
    lines = [
        "# Do the intervals hold what they say?",
        "",
        f"{len(rows)} random set-ups, {sum(r['dip_solved'] for r in rows)} exact solves of values drawn from the usual "
        "spreads, counted against the intervals that every answer carries.",
        "",
        f"* Dips: the 68 % interval holds {share['dip_68']:.1f} %, the 95 % interval {share['dip_95']:.1f} %.",
        f"* Highest SWR in the band: the 68 % interval holds {share['worst_68']:.1f} %, the 95 % interval "
        f"{share['worst_95']:.1f} %.",
        f"* Differences of dips: {share['dip difference_68']:.1f} and {share['dip difference_95']:.1f} %; of the "
        f"highest SWR: {share['worst difference_68']:.1f} and {share['worst difference_95']:.1f} %.",
        f"* Single set-ups: 68 % holds {span(rows, 'dip_68')} (dips) and {span(rows, 'worst_68')} (SWR), 95 % holds "
        f"{span(rows, 'dip_95')} and {span(rows, 'worst_95')}. Chance alone moves 68 % by 3.3 and 95 % by 1.5 either "
        "way with 200 samples (one standard deviation of a count, any text on statistics).",
        "",
        "dip_68 ... worst_95: per cent of samples inside. model_off_khz: median difference of a sample's dip from its "
        "exact solve.",
        "",
        "| " + " | ".join(columns) + " |",
        "|" + " --- |" * len(columns),
        *("| " + " | ".join(row) + " |" for row in cells),
        "",
        f"Made by `{command}` in {seconds:.0f} s.",
        "",
    ]
    return "\n".join(lines)


def span(rows: list[dict], name: str) -> str:
    return f"{min(r[name] for r in rows)} to {max(r[name] for r in rows)} %"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--setups", type=int, default=24)
    parser.add_argument("--samples", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("results/calibration"))
    parser.add_argument("--keep", type=Path, default=Path("/tmp/calibration"), help="where exact solves are kept")
    parser.add_argument("--recheck", action="store_true", help="solve two kept samples of each set-up again")
    given = parser.parse_args()
    given.keep.mkdir(parents=True, exist_ok=True)
    began = time.time()
    with ProcessPoolExecutor(given.workers) as pool:
        if given.recheck:
            for number, off in enumerate(pool.map(rechecked, range(given.setups), [given.keep] * given.setups)):
                print(number + 1, f"{off:.3f} kHz", flush=True)
            return
        rows = []
        for row in pool.map(
            one_setup, range(given.setups), [given.samples] * given.setups, [given.keep] * given.setups
        ):
            rows.append(row)
            print(json.dumps(row), f"{time.time() - began:.0f} s", flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    pd.DataFrame(rows).to_csv(given.out / "calibration.csv", index=False)
    command = f"python tests/benchmarks/calibration.py --setups {given.setups} --samples {given.samples}"
    (given.out / "summary.md").write_text(report(rows, command, time.time() - began))


if __name__ == "__main__":
    main()
