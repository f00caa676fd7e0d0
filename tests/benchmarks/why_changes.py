"""Does `why` find what was changed? Fifteen changes, one or two at once, read on three and on four bands with SWR;
and fifteen more that nothing in `why` was chosen by.

    python tests/benchmarks/why_changes.py [--changes 15] [--out results/why-changes]

The set-up before and the changed one are solved in full on a finer mesh; dips are read to 5 kHz and SWR to 0.05.
Counted is the rank of the cause put in (of a pair: that the pair, or both its causes, come first), where causes whose
chance is at least 0.6 of the best one's (a score within 1, as the log of a chance) are tied with it.
"""

import argparse
import math
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from tautwire.model.operating.bands import band_named
from tautwire.studies.running.store import Store
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import band_row, window
from tautwire.studies.wants.why.causes import causes
from tautwire.studies.wants.why.ranking import Shift, Why, explain

RAW: dict[str, Any] = {
    "site": {"soil": "average soil"}, "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg", "feed_height": "1.2 m"},
    "coax": {"type": "RG-58", "length": "5 m", "height": "2 cm"},
    "reel": {"wire_length": "22 m", "turn_length": "40 cm"},
}  # fmt: skip
CHANGES: list[dict[str, float]] = [
    {"wire out": 1.0}, {"slope": -1.5}, {"soil": 1.0}, {"wet wire": 1.2}, {"foliage touching the end": 1.0},
    {"height of the coax": 1.5}, {"length of the coax": 2.0}, {"core of the transformer": -1.0},
    {"box of the transformer": 1.0}, {"bearing of the wire against the coax": 1.5}, {"height of the feed": 1.5},
    {"wire out": 0.5, "bearing of the wire against the coax": 1.5}, {"slope": 1.5, "wire out": 0.5},
    {"height of the coax": 1.0, "foliage touching the end": 0.8}, {"wet wire": 1.0, "wire out": -1.0},
]  # fmt: skip
FRESH: list[dict[str, float]] = [
    {"length of the coax": -1.5}, {"soil": -1.5}, {"slope": 2.0}, {"foliage touching the end": 1.5}, {"wire out": -3.0},
    {"height of the coax": -1.0}, {"core of the transformer": 1.5}, {"box of the transformer": -0.8}, {"sag": 1.5},
    {"height of the feed": -1.5}, {"slope": -1.0, "box of the transformer": 0.8}, {"wire out": 2.0, "soil": 1.0},
    {"foliage touching the end": 1.0, "bearing of the wire against the coax": -1.5},
    {"length of the coax": 1.5, "wire out": 1.0}, {"core of the transformer": 1.0, "height of the coax": 1.0},
]  # fmt: skip
"""Chosen before `why` was tried on any of them, and not used for choosing anything in it."""
BANDS = ("40 m", "20 m", "15 m", "10 m")
TIED = 0.6


def read(setup: Setup) -> dict[str, tuple[float, float]]:
    """Band -> dip (Hz) and SWR, as read."""
    built = setup.build()
    solver = replace(built, rules=built.rules.finer(1.4)).solver()
    out = {}
    for name in BANDS:
        band = band_named(name)
        row = band_row(band, solver.response(*window(band)), setup.feed_system(), 3.0)
        if math.isfinite(row["dip_mhz"]):
            out[name] = round(row["dip_mhz"] / 0.005) * 5e3, max(1.0, round(row["dip_swr"] / 0.05) * 0.05)
    return out


def rank(why: Why, change: dict[str, float]) -> tuple[int, bool]:
    """Rank of what was changed, from 1, ties with the best being 1; and whether it explains all."""
    best = why.explanations[0].chance
    names = list(change)
    for i, e in enumerate(why.explanations, 1):
        if all(name in e.cause.name for name in names) and e.count == len(names):
            return (1 if e.chance >= TIED * best else i), e.explains
    return 99, False


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--changes", type=int, default=len(CHANGES))
    parser.add_argument("--out", type=Path, default=Path("results/why-changes"))
    given = parser.parse_args()
    store, lines, first = Store(), [], {(k, n): 0 for k in (False, True) for n in (3, 4)}
    setup = Setup.read(RAW)
    with threadpool_limits(1):
        before, every = read(setup), {c.name: c for c in causes(setup)}
        for change in CHANGES[: given.changes] + FRESH[: given.changes]:
            after = setup
            for name, size in change.items():
                after = every[name].apply(after, size)
            now, began, cells = read(after), time.process_time(), []
            for count in (3, 4):
                shifts = [Shift(b, *before[b][:1], *now[b][:1], before[b][1], now[b][1])
                          for b in BANDS[:count] if b in before and b in now]  # fmt: skip
                why = explain(setup, shifts, remember=store)
                place, explains = rank(why, change)
                first[change in FRESH, count] += place == 1
                cells.append(f"{place}{'' if explains else ' (not enough)'} | {why.explanations[0].cause.name}")
            what = "; ".join(f"{name} {size:+g}" for name, size in change.items())
            lines.append(f"| {what} | {' | '.join(cells)} | {time.process_time() - began:.0f} |")
            print(lines[-1], flush=True)
    n = min(given.changes, len(CHANGES))
    text = [
        "# Does why find what was changed?", "",
        f"{n} changes; the truth comes first, or is tied with the first, in {first[False, 3]} on three bands and "
        f"{first[False, 4]} on four. {n} fresh ones (the last of the table): {first[True, 3]} and {first[True, 4]}.",
        "",
        "| change, in usual changes | rank, 3 bands | first | rank, 4 bands | first | s |", "|" + " --- |" * 6,
        *lines, "",
        "Made by `python tests/benchmarks/why_changes.py`.", "",
    ]  # fmt: skip
    given.out.mkdir(parents=True, exist_ok=True)
    (given.out / "summary.md").write_text("\n".join(text))


if __name__ == "__main__":
    main()
