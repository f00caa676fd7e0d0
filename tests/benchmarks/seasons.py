"""Does what is learned of an antenna hold? Seasons simulated with exact solves on a finer mesh.

    python tests/benchmarks/seasons.py [--antennas 24] [--outings 12] [--sweeps] [--out results/learned]

An antenna is drawn (a third inside the usual spreads, a third with every value two standard deviations off, a third
with leaves at the end), hung at four sites by turns, each time as that site is typed but a little off, and read on 40
and 20 m with the errors of a reading by eye. Before each outing its dips are predicted on four bands from all earlier
ones, and counted against the exact ones. --wrong: the cable is 7 m long, and typed as 5. Exact solves are kept in
--keep.
"""

import argparse
import json
import math
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from tautwire.model.basics import size_of
from tautwire.model.operating.bands import band_named
from tautwire.studies.learned.outing import LEAVES, Dip, Outing, layer_of, moved, off_values
from tautwire.studies.learned.posterior import Local, Log, learned, predict
from tautwire.studies.running.store import Store, digest
from tautwire.studies.study.measurement import Sweep
from tautwire.studies.study.raw import ONE_SIDED
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.spread.values import Uncertain

BANDS = tuple(band_named(name) for name in ("40 m", "20 m", "15 m", "10 m"))
READ = ("40 m", "20 m")
GROUPS = ("inside", "two sd", "leaves")
SITES = (("average soil", "30 deg", "1.2 m"), ("wet ground", "20 deg", "1.0 m"),
         ("poor soil", "40 deg", "1.5 m"), ("sandy soil", "25 deg", "0.9 m"))  # fmt: skip
FINER = 1.4
READING, SIZE = 0.0015, 0.03  # of the frequency, of |reflection|: by eye, at the flat bottom of a dip
NOISE, SMOOTH = 0.005, 0.004  # of a sweep: white, and level and slope over a band
SEED = 20


def typed(site: int) -> Setup:
    soil, slope, height = SITES[site]
    return Setup.read({
        "site": {"soil": soil}, "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
        "antenna": {"layout": "sloper", "length": "19.8 m", "slope": slope, "feed_height": height},
        "coax": {"type": "RG-58", "length": "5 m", "height": "2 cm"},
    })  # fmt: skip


def drawn(values: tuple[Uncertain, ...], layer: str, group: str, rng: np.random.Generator) -> dict[str, float]:
    """What is off of one layer: path -> x."""
    out = {}
    for one in (v for v in values if layer_of(v.path) == layer):
        x = float(np.clip(rng.standard_normal(), -2, 2))
        if group == "two sd":
            x = math.copysign(2.0, x)
        out[one.path] = abs(x) if one.law == ONE_SIDED else x
        if one.path == LEAVES:
            out[one.path] = rng.uniform(0.7, 1.7) / 0.125 if group == "leaves" else abs(x)
    return out


def exact(site: int, x: dict[str, float], keep: Path, length: float = 5.0) -> dict:
    """Dips (Hz), |reflection| there and sweeps of each band, solved in full or as kept."""
    file = keep / f"{digest('season', SITES[site], sorted(x.items()), FINER, length)}.json"
    if not file.exists():
        setup = typed(site)
        values = {v.path: v for v in off_values(setup)}
        for path, off in x.items():
            setup = moved(setup, values[path], off)
        if length != 5.0:
            setup = setup.model_copy(update={"coax": setup.coax.model_copy(update={"length": length})})
        feed = setup.feed_system()
        z0, speed = (float(values[f"coax.{name}_scale"].at(x[f"coax.{name}_scale"])) for name in ("z0", "velocity"))
        cable = replace(feed.coax, z0=feed.coax.z0 * z0, velocity_factor=feed.coax.velocity_factor * speed)
        feed = replace(feed, coax=cable)
        built = setup.build()
        solver = replace(built, rules=built.rules.finer(FINER)).solver()
        found = {}
        for band in BANDS:
            response = solver.response(*window(band))
            row = band_row(band, response, feed, 3.0)
            f = np.linspace(band.lower - 0.02 * band.lower, band.upper + 0.02 * band.upper, 41)
            z = feed.impedances(response.impedance(f), f).radio
            g = (z - 50) / (z + 50)
            found[band.name] = {"f": row["dip_mhz"] * 1e6, "swr": row["dip_swr"], "at": f.tolist(),
                                "re": g.real.tolist(), "im": g.imag.tolist()}  # fmt: skip
        file.write_text(json.dumps(found))
    return json.loads(file.read_text())


def read(truth: dict, site: int, number: int, sweeps: bool, rng: np.random.Generator) -> Outing:
    """What was typed, and read by eye or swept."""
    dips, swept = [], []
    for name in READ:
        there = truth[name]
        noise, size = rng.standard_normal(2)
        waves = rng.standard_normal((41, 4))
        if sweeps:
            t = np.linspace(-1, 1, 41) * math.sqrt(3)
            smooth = SMOOTH * (waves[0, 0] + 1j * waves[0, 1] + t * (waves[0, 2] + 1j * waves[0, 3]))
            g = np.array(there["re"]) + 1j * np.array(there["im"]) + smooth
            g = g + NOISE * (waves[:, 0] + 1j * waves[:, 1])
            g = g / np.maximum(np.abs(g), 1)
            swr = (1 + np.abs(g)) / np.maximum(1 - np.abs(g), 1e-9)
            swept.append(Sweep(np.array(there["at"]), swr, g, 50.0, "radio", name))
        elif math.isfinite(there["f"]):
            g = float(np.clip(size_of(there["swr"]) + SIZE * size, 0, 0.98))
            dips.append(Dip(band_named(name), there["f"] * (1 + READING * noise), (1 + g) / (1 - g)))
    return Outing(f"site {site}", str(number), typed(site), tuple(dips), tuple(swept))


def season(number: int, outings: int, sweeps: bool, wrong: bool, keep: Path, draws: int) -> list[dict]:
    group = GROUPS[number % 3]
    rng = np.random.default_rng([SEED, number])
    values = off_values(typed(0))
    antenna = drawn(values, "antenna", group, rng)
    soils = [drawn(values, "site", group, rng) for _ in SITES]
    store, rows, log = Store(), [], []
    for i in range(outings):
        site = i % len(SITES)
        x = antenna | soils[site] | drawn(values, "hang", group, rng)
        truth = exact(site, x, keep, 7.0 if wrong else 5.0)
        began = time.process_time()
        known = learned(Log(log, BANDS, store))
        spent = time.process_time() - began
        next_one = read(truth, site, i, sweeps, rng)
        found = predict(known, replace(next_one, dips=(), sweeps=()), BANDS, draws)
        local = Local.of(next_one, BANDS, BANDS, store)
        k = len(local.values)
        floor = np.zeros((1, len(local.keys)))
        floor[0, :k] = [antenna.get(v.path, 0.67 if v.law == ONE_SIDED else 0.0) for v in local.values]
        usual = known.usual
        best = known.cells[int(known.weights.argmax())].cell
        for band, one in zip(BANDS, found, strict=True):
            at_floor, _ = local.models[band.name].dips(*local.split(band, floor))
            everything = floor.copy()
            everything[0, :k] = [x[v.path] for v in local.values]
            model, _ = local.models[band.name].dips(*local.split(band, everything))
            true = truth[band.name]["f"]
            rows.append({
                "antenna": number, "group": group, "outing": i + 1, "band": band.name, "true_mhz": true / 1e6,
                "dip_mhz": one.middle / 1e6, "give_khz": one.sd / 1e3, "off_khz": (one.middle - true) / 1e3,
                "in_68": bool(one.interval(68)[0] <= true <= one.interval(68)[1]),
                "in_95": bool(one.interval(95)[0] <= true <= one.interval(95)[1]),
                "floor_khz": (float(at_floor[0]) - true) / 1e3, "model_khz": (float(model[0]) - true) / 1e3,
                "misfit": usual.misfit, "readings": known.readings, "seconds": spent, "fits": known.fits,
                "suspects": " ".join(path for path, _ in known.suspects()[:3]),
                "cell": f"{best.model:g} {best.spread:g} {best.leaves:g}",
            })  # fmt: skip
        log.append(next_one)
    return rows


def rms(values: pd.Series) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """A row a group, stretch of outings and band."""
    out = []
    stretches = (("1", 1, 1), ("2", 2, 2), ("3 to 5", 3, 5), ("6 to 8", 6, 8), ("9 to 12", 9, 12))
    for group in (*GROUPS, "all"):
        for label, first, last in stretches:
            for band in BANDS:
                part = rows[(rows.outing >= first) & (rows.outing <= last) & (rows.band == band.name)]
                part = part[np.isfinite(part.off_khz)]
                if group != "all":
                    part = part[part.group == group]
                if part.empty:
                    continue
                floor = rows[(rows.band == band.name) & ((rows.group == group) | (group == "all"))].floor_khz.dropna()
                out.append({
                    "group": group, "outings": label, "band": band.name, "n": len(part), "rms_khz": rms(part.off_khz),
                    "give_khz": rms(part.give_khz), "floor_khz": rms(floor), "in_68_percent": 100 * part.in_68.mean(),
                    "in_95_percent": 100 * part.in_95.mean(), "model_rms_khz": rms(part.model_khz.dropna()),
                })  # fmt: skip
    return pd.DataFrame(out)


def noticed(rows: pd.DataFrame) -> str:
    """How often something was taken for wrongly typed, by group, and what was suspected first."""
    one = rows[(rows.band == "20 m") & (rows.outing > 1)]
    parts = []
    for group in GROUPS:
        mine = one[one.group == group]
        if mine.empty:
            continue
        last = mine[mine.outing == mine.outing.max()]
        ever = mine.groupby("antenna").fits.min()
        parts.append(f"{group}: {(~last.fits).sum()} of {len(last)} after outing {mine.outing.max() - 1}, "
                     f"{(~ever.astype(bool)).sum()} at some time")  # fmt: skip
    return "Taken for wrongly typed: " + "; ".join(parts) + "."


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--antennas", type=int, default=24)
    parser.add_argument("--first", type=int, default=0, help="number of the first antenna; others than 0.. are fresh")
    parser.add_argument("--outings", type=int, default=12)
    parser.add_argument("--sweeps", action="store_true")
    parser.add_argument("--wrong", action="store_true")
    parser.add_argument("--draws", type=int, default=512)
    parser.add_argument("--out", type=Path, default=Path("results/learned"))
    parser.add_argument("--keep", type=Path, default=Path("/tmp/seasons"), help="where exact solves are kept")
    given = parser.parse_args()
    given.keep.mkdir(parents=True, exist_ok=True)
    given.out.mkdir(parents=True, exist_ok=True)
    rows = []
    with threadpool_limits(1):
        for number in range(given.first, given.first + given.antennas):
            began = time.process_time()
            rows += season(number, given.outings, given.sweeps, given.wrong, given.keep, given.draws)
            print(number, GROUPS[number % 3], f"{time.process_time() - began:.1f} s", flush=True)
    name = ("sweeps" if given.sweeps else "dips") + ("-wrong" if given.wrong else "")
    table = pd.DataFrame(rows)
    table.to_csv(given.out / f"{name}.csv", index=False, float_format="%.5g")
    counted = summary(table)
    counted.to_csv(given.out / f"{name}-summary.csv", index=False, float_format="%.4g")
    spent = table[table.outing == given.outings].seconds.mean()
    command = f"python tests/benchmarks/seasons.py --antennas {given.antennas} --outings {given.outings}"
    command += " --sweeps" * given.sweeps + " --wrong" * given.wrong
    text = [
        f"# What is learned of an antenna, {name}",
        "",
        f"{given.antennas} antennas of {given.outings} outings over {len(SITES)} sites, {len(table)} predictions, none "
        f"left out. {' and '.join(READ)} were read each time; the others never. kHz; rms_khz: of predicted less exact; "
        "give_khz: the ± stated (68 %); floor_khz: rms with the antenna known exactly, site and hanging as typed; "
        "model_rms_khz: rms of the local model with everything known.",
        "",
        noticed(table),
        f"One update after {given.outings - 1} outings takes {spent:.1f} s of processor time.",
        "",
        "| " + " | ".join(counted) + " |",
        "|" + " --- |" * len(counted.columns),
        *("| " + " | ".join(f"{v:.0f}" if isinstance(v, float) else str(v) for v in row) + " |"
          for row in counted.itertuples(index=False)),
        "",
        f"Made by `{command}`.",
        "",
    ]  # fmt: skip
    (given.out / f"{name}.md").write_text("\n".join(text))
    print("\n".join(text))


if __name__ == "__main__":
    main()
