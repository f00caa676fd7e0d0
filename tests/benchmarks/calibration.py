"""Do the intervals hold what they say? Exact solves of random set-ups against the intervals of studies/wants/spread.

    python tests/benchmarks/calibration.py [--setups 24] [--samples 40] [--out results/calibration]

Each set-up (sloper, V or L; named soils; with coax and with counterpoise) is drawn at random with one band. Its values
are then drawn from the usual spreads, each draw solved in full and read like any case, and counted against the
intervals. For every second set-up another case (another slope or height, all else alike) has the same draws, and the
differences of both are counted too. A set-up whose give or take an answer would withhold is listed, and left out of the
shares over all. Exact solves are kept in --keep and read from there the next time; --recheck solves some of them again.
"""

import argparse
import json
import math
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band, band_named
from tautwire.studies.running.store import digest
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.spread.sampling import Spread, held, spread_of
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
        row = {"set-up": number + 1, "layout": raw["antenna"]["layout"], "soil": raw["site"]["soil"],
               "band": band_name, "counterpoise": bool(raw.get("counterpoise")), "withheld": bool(found.withheld),
               "dip_mhz": found.base.dip[0] / 1e6, "dip_give_khz": found.half_width("dip") / 1e3}  # fmt: skip
        for column, name in enumerate(NAMES[:2]):
            row |= counted(name, truth[:, column], lambda percent, name=name: found.interval(name, percent))
        row["model_off_khz"] = float(np.nanmedian(np.abs(told.dip - truth[:, 0]))) / 1e3
        row["centre_off_khz"] = float(np.nanmedian(told.dip - truth[:, 0])) / 1e3
        if number % 4 in (0, 3):  # every second, with and without a counterpoise
            row |= compared(raw, band, found, offsets, truth, keep)
    return row


def compared(raw: dict, band: Band, found: Spread, offsets: np.ndarray, truth: np.ndarray, keep: Path) -> dict:
    """Of the difference between a set-up and its other case."""
    again = other_case(raw)
    setup = Setup.read(again)
    second = spread_of(setup, setup.build().solver(), band, Joint.of(uncertain(setup)))
    moved = np.array([exact(again, band.name, u, keep) for u in offsets])
    row: dict = {"difference_withheld": bool(found.withheld or second.withheld)}
    for column, (name, kind) in enumerate(zip(NAMES[2:], NAMES[:2], strict=True)):
        own = float(getattr(second.base, kind)[0] - getattr(found.base, kind)[0])
        samples = getattr(second.samples, kind) - getattr(found.samples, kind)
        row |= counted(name, moved[:, column] - truth[:, column], lambda p, s=samples, o=own: held(s, p, o))
        if kind == "dip":
            low, high = held(samples, 68, own)
            row |= {"difference_khz": own / 1e3, "difference_give_khz": (high - low) / 2e3}
    return row


def counted(name: str, values: np.ndarray, interval: Callable[[float], tuple[float, float]]) -> dict:
    """How many of the values that exist lie in the 68 and 95 % intervals."""
    values = values[np.isfinite(values)]
    row = {f"{name}_solved": len(values)}
    for percent in (68, 95):
        low, high = interval(percent)
        row[f"{name}_{percent}"] = int(np.sum((values >= low) & (values <= high)))
    return row


def rechecked(number: int, keep: Path) -> float:
    """Greatest difference, kHz, of two kept dips of a set-up from those solved now."""
    with threadpool_limits(1):
        raw, band_name = random_setup(number)
        setup = Setup.read(raw)
        joint = Joint.of(uncertain(setup))
        off = []
        for u in joint.draw(64, seed=1000 + number)[[3, 37]]:
            now, _ = solved(with_offsets(setup, joint.values, u), band_named(band_name))
            off.append(abs(now - exact(raw, band_name, u, keep)[0]) / 1e3)
    return float(np.nanmax(off))


def whole(rows: list[dict], name: str, percent: int) -> tuple[float, float, float, int, int]:
    """Per cent of the samples of all set-ups that an interval holds, two standard deviations of it, both ways; samples
    and set-ups. The deviation is of set-ups, as the samples of one share its error, or the binomial one if greater."""
    key = "difference_withheld" if "difference" in name else "withheld"
    kept = [r for r in rows if f"{name}_solved" in r and not r[key]]
    inside, of = (np.array([r[f"{name}_{what}"] for r in kept]) for what in (percent, "solved"))
    share = inside.sum() / of.sum()
    each = np.std(inside / of, ddof=1) / math.sqrt(len(kept)) if len(kept) > 1 else 0.0
    error = max(each, math.sqrt(share * (1 - share) / of.sum()))
    return 100 * share, 200 * error, 100 * float(np.min(inside / of)), int(of.sum()), len(kept)


def report(rows: list[dict], command: str, seconds: float) -> str:
    """summary.md: what was counted, the shares over all set-ups, and a row a set-up."""
    words = {"dip": "dips", "worst": "highest SWR in the band", "dip difference": "differences of dips",
             "worst difference": "differences of the highest SWR"}  # fmt: skip
    lines = [
        "# Do the intervals hold what they say?",
        "",
        "Values of random set-ups drawn from the usual spreads, solved in full, and counted against the intervals that "
        f"answers print. {sum(r['withheld'] for r in rows)} of {len(rows)} set-ups are left out of the shares, as "
        "their answers withhold the interval.",
        "",
        "| interval of | 68 % holds | 95 % holds | fewest in one set-up | samples | set-ups |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for name in NAMES:
        (a, da, least, of, count), (b, db, lowest, _, _) = (whole(rows, name, p) for p in (68, 95))
        shares = f"{a:.1f} ± {da:.1f} % | {b:.1f} ± {db:.1f} % | {least:.0f} and {lowest:.0f} %"
        lines.append(f"| {words[name]} | {shares} | {of} | {count} |")
    columns = list(max(rows, key=len))
    lines += [
        "",
        "±: two standard deviations of such a count, from the scatter between set-ups or binomial, whichever is more.",
        f"Chance alone moves one set-up's 68 % by {2 * binomial(68, rows):.0f} and its 95 % by "
        f"{2 * binomial(95, rows):.0f} either way (two standard deviations).",
        "",
        "dip_68 and so on: samples inside, of those solved. model_off_khz, centre_off_khz: median difference of a "
        "sample's dip from its exact solve, without and with its sign.",
        "",
        "| " + " | ".join(columns) + " |",
        "|" + " --- |" * len(columns),
        *("| " + " | ".join(cell(r.get(c, ""), c) for c in columns) + " |" for r in rows),
        "",
        f"Made by `{command}` in {seconds:.0f} s of processor time, without exact solves that were kept.",
        "",
    ]
    return "\n".join(lines)


def cell(value: object, column: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    return f"{value:.{3 if column == 'dip_mhz' else 1}f}" if isinstance(value, float) else str(value)


def binomial(percent: float, rows: list[dict]) -> float:
    """Standard deviation of a share counted in one set-up, per cent."""
    return math.sqrt(percent * (100 - percent) / max(r["dip_solved"] for r in rows))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--setups", type=int, default=24)
    parser.add_argument("--samples", type=int, default=40)
    parser.add_argument("--out", type=Path, default=Path("results/calibration"))
    parser.add_argument("--keep", type=Path, default=Path("/tmp/calibration"), help="where exact solves are kept")
    parser.add_argument("--recheck", action="store_true", help="solve two kept samples of each set-up again")
    given = parser.parse_args()
    given.keep.mkdir(parents=True, exist_ok=True)
    began = time.process_time()
    if given.recheck:
        for number in range(given.setups):
            print(number + 1, f"{rechecked(number, given.keep):.3f} kHz", flush=True)
        return
    rows = []
    for number in range(given.setups):
        rows.append(one_setup(number, given.samples, given.keep))
        print(json.dumps(rows[-1]), f"{time.process_time() - began:.0f} s", flush=True)
    given.out.mkdir(parents=True, exist_ok=True)
    pd.DataFrame(rows).to_csv(given.out / "calibration.csv", index=False)
    command = f"python tests/benchmarks/calibration.py --setups {given.setups} --samples {given.samples}"
    (given.out / "summary.md").write_text(report(rows, command, time.process_time() - began))


if __name__ == "__main__":
    main()
