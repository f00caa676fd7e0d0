"""Three numbers that answer a study's question, each with what it is, and one caution: for a slide read from afar."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pandas as pd

from tautwire.studies.reports.answers import main_want

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

MOST = 3
Numbers = list[tuple[str, str]]  # the number with its unit, and what it is


def big_numbers(result: Result) -> Numbers:
    """At most three, the main want's first, the worst case first; of several cases, how far the dips move is one."""
    wants = sorted(result.study.spec.want, key=lambda name: (name != main_want(result), name == "dips"))
    told = {name: NUMBERS[name](result) for name in wants if name in NUMBERS}
    dips = told.pop("dips", [])
    others = [number for numbers in told.values() for number in numbers]
    kept = MOST - (len(dips) > 0 and result.study.count > 1)
    return [*others[:kept], *dips, *others[kept:]][:MOST]


def one_caution(result: Result) -> str:
    """What the answer must not be shown without: what failed or overheats, else what its kind of answer rests on."""
    if result.failed:
        return f"{len(result.failed)} of {result.study.count} cases could not be solved."
    if marked := result.marked():
        return f"{len(marked)} answers lie outside the model's validity: {marked[0]['marks']}."
    stress = result.frames.get("stress")
    if stress is not None and not stress.empty and (hot := stress[stress["core_warning"] == "overheats"]).size:
        row = hot.loc[hot["core_w"].idxmax()]
        bands = " and ".join(dict.fromkeys(hot["band"]))
        return (
            f"The transformer overheats with {row['power_w']:g} W at a duty of {row['duty']:g} on {bands}: less power, "
            "or shorter overs."
        )
    if "target" in result.frames:
        return "Angles are geometry of mirror-like layers; they do not say that a band is open."
    if "fit" in result.frames:
        return "Values fit the sweeps, not the tape measure: what the model leaves out hides in them."
    if "why" in result.frames:
        return "The likeliest cause need not be the true one: look before you cut."
    if "exposure" in result.frames:
        return "Distances are calculated for flat bare ground: check them against the rules in force, and add room."
    spread = result.frames.get("spread", pd.DataFrame())
    if not spread.empty and spread["dip_give_khz"].notna().any():
        known = spread.groupby("band", sort=False)[["dip_give_khz", "dip_mhz"]].median().dropna()
        part = float((known["dip_give_khz"] / known["dip_mhz"]).median()) / 1e3
        there = f"{part * known['dip_mhz'].iloc[0] * 1e3:.0f} kHz on {known.index[0]}"
        return (
            f"What is usually not known of such a set-up moves its dips by some {100 * part:.1f} % either way: {there}."
        )
    return "This is a calculation, not a measurement: read the SWR at low power before you trust it."


def _minus(text: str) -> str:
    return text.replace("-", "\u2212")


def _case(result: Result, row: Any) -> str:
    words = result.study.words_of({str(k): v for k, v in dict(row).items()})
    return f", {words}" if words else ""


def _dips(result: Result) -> Numbers:
    table = result.frames.get("dips", pd.DataFrame())
    if table.empty:
        return []
    out: Numbers = []
    if result.study.count == 1:
        rows = table.dropna(subset=["dip_mhz"]).sort_values("swr_worst", ascending=False)
        for row in rows.head(MOST).to_dict("records"):
            out.append(
                (f"{row['swr_worst']:.1f}", f"highest SWR on {row['band']}; it dips at {row['dip_mhz']:.3f} MHz")
            )
        return out
    moves = []
    for band in result.study.bands:
        known = table[(table["band"] == band.name) & table["dip_mhz"].notna()]["dip_mhz"]
        if len(known) > 1:
            khz, wide = float(known.max() - known.min()) * 1e3, (band.upper - band.lower) / 1e3
            moves.append((khz / wide, khz, wide, band.name))
    for _, khz, wide, name in sorted(moves, reverse=True)[: MOST - 1]:
        out.append((f"{khz:.0f} kHz", f"the {name} dip moves, in a band of {wide:.0f} kHz"))
    worst = table.loc[table["swr_worst"].idxmax()]
    return [*out, (f"{worst['swr_worst']:.1f}", f"highest SWR: {worst['band']}{_case(result, worst)}")]


def _stress(result: Result) -> Numbers:
    table = result.frames.get("stress", pd.DataFrame())
    if table.empty:
        return []
    volts = table.loc[table["end_peak_v"].idxmax()]
    heat = table.loc[(table["core_w"] + table["winding_w"]).idxmax()]
    watts = heat["core_w"] + heat["winding_w"]
    warned = f": {heat['core_warning']}" if heat["core_warning"] else ""
    return [
        (
            f"{float(f'{volts.end_peak_v:.2g}'):.0f} V",
            f"peak at the wire's end on {volts['band']}{_case(result, volts)}",
        ),
        (f"{watts:.2g} W", f"of heat in the transformer on {heat['band']}{warned}"),
    ]


def _exposure(result: Result) -> Numbers:
    from tautwire.studies.wants.exposure.want import keep_away

    table = result.frames.get("exposure", pd.DataFrame())
    if table.empty:
        return []
    far = table.assign(far=[keep_away(row) for row in table.to_dict("records")]).sort_values("far", ascending=False)
    out = []
    for row in far.drop_duplicates("band").head(MOST).to_dict("records"):
        least = "" if row["complete"] else "more than "
        out.append(
            (f"{least}{row['far']:.1f} m", f"stay clear of every part on {row['band']} with {row['power_w']:g} W")
        )
    return out


def _shield(result: Result) -> Numbers:
    table = result.of("shield", result.study.cases()[0]) if "shield" in result.frames else pd.DataFrame()
    if table.empty:
        return []
    built = table[table["variant"] == "as built"]
    worst = built.loc[built["shield_max_a"].idxmax()]
    out = [(f"{worst['shield_max_a']:.2f} A", f"at most on the shield, on {worst['band']}")]
    chokes = table[(table["band"] == worst["band"]) & table["choke_at_m"].notna() & (table["variant"] != "as built")]
    if chokes.empty:
        return out
    best = chokes.loc[chokes["shield_max_a"].idxmin()]
    return [
        *out,
        (f"{best['choke_at_m']:.3g} m", "from the transformer: where a choke leaves least"),
        (
            f"{best['shield_max_a']:.2f} A",
            f"left on the shield; the dip moves {_minus(f'{best.dip_shift_khz:+.0f}')} kHz",
        ),
    ]


def _target(result: Result) -> Numbers:
    """The farthest regions first: they are the hardest."""
    table = result.frames.get("target_best", pd.DataFrame())
    if table.empty:
        return []
    best = table.sort_values("region_radio_gain_dbi", ascending=False).drop_duplicates("region")
    order = best.sort_values(["hops", "elevation_low_deg"], ascending=[False, True])
    return [
        (
            _minus(f"{row['region_radio_gain_dbi']:.0f} dBi"),
            f"{row['region']}, best on {row['band']}{_case(result, row)}",
        )
        for row in order.head(MOST).to_dict("records")
    ]


def _pattern(result: Result) -> Numbers:
    table = result.frames.get("pattern", pd.DataFrame())
    if table.empty:
        return []
    spread = []
    for band, rows in table.groupby("band", sort=False):
        low, high = rows.loc[rows["share_sky"].idxmin()], rows.loc[rows["share_sky"].idxmax()]
        spread.append((high["share_sky"] / max(low["share_sky"], 1e-6), str(band), low, high))
    spread.sort(key=lambda entry: -entry[0])
    out = []
    for _, band, low, high in spread[:MOST]:
        if len(table) == table["band"].nunique():
            out.append((f"{100 * high['share_sky']:.0f} %", f"of the radio's power reaches the sky on {band}"))
        else:
            span = f"{100 * low['share_sky']:.0f} to {100 * high['share_sky']:.0f} %"
            case = result.study.words_of({str(k): v for k, v in dict(high).items()})
            out.append((span, f"of the power reaches the sky on {band}, most with {case}"))
    return out


def _turns(result: Result) -> Numbers:
    table, stops = (result.frames.get(name, pd.DataFrame()) for name in ("turns", "stops"))
    if table.empty or stops.empty:
        return []
    return [
        (f"{len(stops)}", "stop on the reel" if len(stops) == 1 else "stops on the reel"),
        (f"{int(table['served'].sum())} of {len(table)}", "segments served without a tuner"),
        (f"{stops['swr_worst'].max():.1f}", "highest SWR at these stops"),
    ]


def _why(result: Result) -> Numbers:
    table, bands = (result.frames.get(name, pd.DataFrame()) for name in ("why", "why_bands"))
    if table.empty:
        return []
    best = table.iloc[0]
    left = bands[bands["cause"] == best["cause"]]["off_khz"].abs().max()
    return [
        (f"{int(table['explains'].sum())}", f"of {len(table)} causes explain all bands; likeliest: {best['cause']}"),
        (f"{abs(best['usual_changes']):.1f}", f"times a usual change is enough: {best['change']}"),
        (f"{left:.0f} kHz", "is what it leaves unexplained"),
    ]


def _fit(result: Result) -> Numbers:
    table = result.frames.get("fit", pd.DataFrame())
    rows = table.head(MOST).to_dict("records")
    return [
        (
            f"{row['estimate']:.4g} {row['unit']}".strip(),
            f"{_name(row['parameter'])}, give or take {row['estimate_sd']:.1g}",
        )
        for row in rows
    ]


def _name(path: str) -> str:
    table, _, key = path.rpartition(".")
    return f"{key.replace('_', ' ')} of the {table.replace('.', ' ').replace('antenna', 'wire')}"


def _choose(result: Result) -> Numbers:
    from tautwire.studies.wants.choose.problem import read_problem

    table = result.frames.get("choices", pd.DataFrame())
    if table.empty:
        return []
    best, problem = table.iloc[0], read_problem(result.study, result.study.cases()[0].raw)
    told = [knob.words(best[knob.column]).removeprefix(f"{knob.label} ") for knob in problem.knobs]
    named = [knob.label or "the way to hang it" for knob in problem.knobs]
    return [*zip(told, named, strict=True), (f"{best['swr_highest']:.1f}", "highest SWR of choice 1")][:MOST]


NUMBERS: dict[str, Callable[[Result], Numbers]] = {
    "dips": _dips, "stress": _stress, "exposure": _exposure, "shield": _shield, "target": _target, "pattern": _pattern,
    "turns": _turns, "why": _why, "fit": _fit, "choose": _choose,
}  # fmt: skip
