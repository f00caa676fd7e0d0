"""From SWR at every reel setting to a choice: the best turns for each segment, the fewest stops, and the words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.model.operating.reel import Reel
from tautwire.model.operating.stop_choice import Stops, best_stop_each, fewest_stops, neighbour_swr
from tautwire.studies.study.raw import lengths_of
from tautwire.studies.study.units import format_length
from tautwire.studies.wants.turns.chance import chance, gives
from tautwire.studies.wants.want import Rows

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study

COLUMN = "turns_out"
JUMP = 0.04  # a dip that moves more than this fraction a turn is another dip
FLAT = 1.6  # highest over lowest SWR over the settings, below which the wire hardly matters
TUNER_COLUMNS = (
    "worst_mhz", "radio_r_ohm", "radio_x_ohm", "coax_loss_db", "coax_matched_db", "transformer_loss_db",
)  # fmt: skip


def shift_khz(turns: Real, dip_mhz: Real, mode: Real | None = None) -> Real:
    """kHz a turn at each setting, from the dips one setting either side; NaN where a dip is missing or another one.

    mode: half-waves on the wire at each dip; dips of different modes are not compared.
    """
    values = np.full(len(turns), math.nan)
    for i in range(len(turns)):
        low, high = max(i - 1, 0), min(i + 1, len(turns) - 1)
        if mode is not None and not mode[low] == mode[i] == mode[high]:
            continue
        change = (dip_mhz[high] - dip_mhz[low]) / (turns[high] - turns[low])
        if abs(change) < JUMP * abs(dip_mhz[i]):
            values[i] = change * 1e3
    return values


def finish(result: Result) -> None:
    """Adds the tables "turns" (a row a segment) and "stops" (a row a stop), and kHz a turn to "turn_dips"."""
    table = result.frames.get("turn_swr")
    if table is None or table.empty:
        return
    study = result.study
    level = threshold(study)
    others = other_columns(result)
    dips = result.frames["turn_dips"]
    dips["shift_khz_per_turn"] = math.nan
    for _, rows in parts(dips, [*others, "band"]) if len(dips) else ():
        rows = rows.sort_values(COLUMN)
        if len(rows) > 1:
            mode = rows["dip_mode"].to_numpy(float) if "dip_mode" in rows else None
            moved = shift_khz(rows[COLUMN].to_numpy(float), rows["dip_mhz"].to_numpy(float), mode)
            dips.loc[rows.index, "shift_khz_per_turn"] = moved
    spread = result.frames.get("spread")
    best: Rows = []
    stops: Rows = []
    for labels, rows in parts(table, others):
        shifts = where(dips, labels)
        one, two = _choose(rows, shifts, level, None if spread is None else where(spread, labels))
        best += [{**labels, **row} for row in one]
        stops += [{**labels, **row} for row in two]
    result.frames["turns"], result.frames["stops"] = best, stops


def threshold(study: Study) -> float:
    """The SWR below which a segment counts as served. Raises InputError if it is not above 1."""
    own = study.options["turns"].threshold
    level = study.spec.swr_threshold if own is None else own
    if not 1 < level < math.inf:
        raise InputError("turns.threshold", level, "a finite SWR above 1")
    return float(level)


def other_columns(result: Result) -> list[str]:
    """The axes besides the turns."""
    return [a.column for a in result.study.axes if a.column != COLUMN]


def parts(table: pd.DataFrame, columns: list[str]) -> Iterator[tuple[dict[str, Any], pd.DataFrame]]:
    """The table parted by the columns, each part with their values."""
    if not columns:
        yield {}, table
        return
    for _, rows in table.groupby([table[c].map(str) for c in columns], sort=False):
        yield {c: rows[c].iloc[0] for c in columns}, rows


def where(table: pd.DataFrame, labels: dict[str, Any]) -> pd.DataFrame:
    """Rows with these values."""
    for column, value in labels.items() if len(table) else ():  # an empty table has no columns
        table = table[table[column].map(str) == str(value)]
    return table


def _choose(rows: pd.DataFrame, dips: pd.DataFrame, level: float, spread: pd.DataFrame | None) -> tuple[Rows, Rows]:
    """The rows of "turns" and of "stops" for one turn table. A stop is the one of its kind that most likely works."""
    names = list(dict.fromkeys(rows["segment"]))
    matrix = rows.pivot(index=COLUMN, columns="segment", values="swr_worst")[names].sort_index()
    turns, values = matrix.index.to_numpy(float), matrix.to_numpy(float)
    metres = rows.groupby(COLUMN)["wire_m"].first()
    at, lowest = best_stop_each(values)
    beside = neighbour_swr(values, at) if len(turns) > 1 else np.full(len(at), math.nan)
    stops = fewest_stops(values, level)
    bands = [str(b) for b in rows.drop_duplicates("segment").set_index("segment").loc[names, "band"]]
    give = {i: gives(spread, bands, COLUMN, turns[i]) for i in stops.chosen}  # of the stop itself
    likely = {i: _likeliest(i, stops, metres.to_numpy(float), values, level, give[i]) for i in stops.chosen}
    cells = rows.set_index([COLUMN, "segment"])
    shift = dips.set_index([COLUMN, "band"])["shift_khz_per_turn"] if len(dips) else {}
    best = []
    for j, name in enumerate(names):
        here = turns[at[j]]
        cell = cells.loc[(here, name)]
        serving = stops.serving[j]
        best.append({
            "segment": name,
            "band": cell["band"],
            COLUMN: here,
            "wire_m": float(metres[here]),
            "swr_best": float(cell["swr_best"]),
            "swr_worst": float(lowest[j]),
            "swr_neighbour": float(beside[j]),
            "shift_khz_per_turn": float(shift.get((here, cell["band"]), math.nan)) if len(dips) else math.nan,
            "served": bool(lowest[j] <= level),
            "stop_turns": math.nan if serving is None else float(turns[likely[serving][0]]),
            "stop_swr_worst": math.nan if serving is None else float(values[likely[serving][0], j]),
            "at_range_end": bool(at[j] in (0, len(turns) - 1)),
            **{k: float(cell[k]) for k in TUNER_COLUMNS},
        })  # fmt: skip
    chosen = []
    for i in stops.chosen:
        served, (at_stop, works) = _served_by(stops, i), likely[i]
        chosen.append({
            COLUMN: turns[at_stop],
            "wire_m": float(metres[turns[at_stop]]),
            "segments": "; ".join(names[j] for j in served),
            "swr_worst": float(values[at_stop, served].max()),
            "chance": works,
        })  # fmt: skip
    return best, chosen


def _served_by(stops: Stops, i: int) -> list[int]:
    return [j for j, s in enumerate(stops.serving) if s == i]


def _likeliest(i: int, stops: Stops, wire: Real, swr: Real, level: float, give: Real | None) -> tuple[int, float]:
    """Of the settings that serve what stop i does, the one that most likely works, and how likely (nan: not known)."""
    served = _served_by(stops, i)
    if give is None:
        return i, math.nan
    works = chance(wire, swr[:, served], level, give[served])
    fit = np.flatnonzero((swr[:, served] <= level).all(axis=1))
    best = max(fit, key=lambda k: (round(float(works[k]), 2), -swr[k, served].max()))
    return int(best), float(works[best])


def _chance_words(works: float) -> str:
    """ "; works with 83 % of set-ups hung like this one"."""
    return "" if math.isnan(works) else f"; works with {100 * works:.0f} % of set-ups hung like this one"


def sentences(result: Result) -> list[str]:
    """The stops, what one turn does, and what cannot be served, in words."""
    table = result.frames.get("turns")
    if table is None or table.empty:
        return []
    level = threshold(result.study)
    others, told = other_columns(result), result.study.length_text
    lines = []
    for labels, rows in parts(table, others):
        stops = where(result.frames["stops"], labels)
        place = f"{result.study.words_of(labels)}: " if labels else ""
        served = int(rows["served"].sum())
        if served:
            words = "One stop serves" if len(stops) == 1 else f"{len(stops)} stops serve"
            which = f"all {served}" if served == len(rows) else f"{served} of {len(rows)}"
            lines.append(f"{place}{words} {which} wanted segments with SWR up to {level:g}:")
            for _, stop in stops.iterrows():
                lines.append(
                    f"  {stop[COLUMN]:g} turns out ({told(stop['wire_m'])}): {stop['segments'].replace(';', ',')}; "
                    f"SWR at worst {stop['swr_worst']:.2f}{_chance_words(stop['chance'])}."
                )
        else:
            lines.append(f"{place}No wanted segment can be served with SWR up to {level:g}.")
        lines += _shift_words(rows)
        lines += [unserved_words(row, level, told) for _, row in rows[~rows["served"]].iterrows()]
        lines += _flat_words(where(result.frames["turn_swr"], labels))
        ends = rows[rows["at_range_end"]]
        if len(ends):
            lines.append(f"At the end of the range tried, so more or fewer turns may be better: {_names(ends)}.")
    lines += left_out(result.study, result.frames["turn_swr"][COLUMN].to_numpy(float))
    if doubt := turn_doubt(result.study):
        lines.append(doubt)
    if result.study.options["turns"].stray != "none":
        lines.append("The wire still wound is taken into account by a rough estimate; shorting it is the sure way.")
    return lines


def _reel_told(study: Study) -> tuple[Reel, Callable[[float], str]]:
    """The reel, and what tells lengths as its own are typed."""
    case = study.cases()[0]
    spec = case.setup().reel
    assert spec is not None, "a want of turns is refused without a reel"
    how = lengths_of({"reel": case.raw["reel"]})
    return spec.reel(), lambda metres: format_length(metres, how)


def reel_words(study: Study) -> str:
    """What is on the reel: "22.00 m of wire, 73 turns of 30.0 cm"."""
    reel, told = _reel_told(study)
    longest, shortest = (float(reel.length_per_turn(n)) for n in (0, reel.turns))
    turn = told(longest) if reel.turn_length else f"{told(shortest)} to {told(longest)}"
    return f"{told(reel.wire_length)} of wire, {reel.turns:.0f} turns of {turn}"


def turn_doubt(study: Study) -> str:
    """What speaks against the reel's turn_length by its core; "" for nothing."""
    reel, told = _reel_told(study)
    low, high = reel.core_turns
    if not reel.turn_length or 0.98 * low <= reel.turn_length <= 1.02 * high:
        return ""
    limit = f"at least {told(low)}" if reel.turn_length < low else f"at most {told(high)}"
    return (
        f"reel.turn_length is {told(reel.turn_length)}, but a turn round a core of {told(reel.core_diameter)} takes "
        f"{limit}: measure a turn again. All lengths here rest on {told(reel.turn_length)}."
    )


def left_out(study: Study, tried: Real) -> list[str]:
    """Which settings asked for the layout cannot be built with."""
    spec = study.options["turns"]
    lines = []
    for asked, end, what in ((spec.first, tried.min(), "little"), (spec.last, tried.max(), "much")):
        beyond = 0 if asked is None else (end - asked if what == "little" else asked - end)
        if beyond >= spec.step - 1e-6:
            edge = end - spec.step if what == "little" else end + spec.step
            low, high = sorted((asked, edge))
            which = f"{low:g}" if low == high else f"{low:g} to {high:g}"
            lines.append(f"{which} turns are left out: too {what} wire for the layout's heights.")
    return lines


def _names(rows: pd.DataFrame) -> str:
    return ", ".join(rows["segment"])


def _shift_words(rows: pd.DataFrame) -> list[str]:
    known = rows[rows["band"] != ""].dropna(subset=["shift_khz_per_turn"]).drop_duplicates("band")
    if known.empty:
        return []
    parts = [f"{row['band']} {row['shift_khz_per_turn']:+.0f}" for _, row in known.iterrows()]
    return [f"One more turn out moves the dips by, kHz: {', '.join(parts)}."]


def _flat_words(table: pd.DataFrame) -> list[str]:
    """Segments whose SWR the wire hardly changes."""
    lines = []
    for name, rows in table.groupby("segment", sort=False):
        low, high = rows["swr_worst"].min(), rows["swr_worst"].max()
        if len(rows) > 2 and rows["wire_m"].max() > 1.2 * rows["wire_m"].min() and high < FLAT * low:
            lines.append(
                f"{name}: the SWR is {low:.1f} to {high:.1f} at every setting tried, so coax and counterpoise "
                f"set it rather than the wire, and much of the current runs there."
            )
    return lines


def unserved_words(row: Any, level: float, told: Callable[[float], str]) -> str:
    """What a tuner would have to do for a segment that no setting serves."""
    extra = row["coax_loss_db"] - row["coax_matched_db"]
    x = row["radio_x_ohm"]
    return (
        f"{row['segment']}: no setting comes below {level:g}. The best, {row[COLUMN]:g} turns ({told(row['wire_m'])}), "
        f"has SWR {row['swr_worst']:.2f} at worst; a tuner at the radio would meet {row['radio_r_ohm']:.0f} "
        f"{'+' if x >= 0 else '-'} j{abs(x):.0f} ohm at {row['worst_mhz']:.3f} MHz, and coax and transformer would "
        f"still take {row['coax_loss_db'] + row['transformer_loss_db']:.1f} dB ({extra:.1f} dB of it from the SWR on "
        f"the coax)."
    )
