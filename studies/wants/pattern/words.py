"""What a study of patterns found, in sentences with numbers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from tautwire.studies.drawing.axes import running

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result

COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
NOTICED = 0.5  # dB; less makes no headline
NULL = 8.0  # dB below the best direction, from which a direction is called a null
ALIKE = 0.05  # dB that nobody can tell
TROUBLE = 3.0  # percent of power unaccounted for that is worth a sentence


def compass(degrees: float) -> str:
    """ "60° (NE)"."""
    return f"{degrees % 360:.0f}° ({COMPASS[round(degrees / 45) % 8]})"


def sentences(result: Result) -> list[str]:
    """The finding, then a sentence or two a band: one case in full, several by what changes."""
    table = result.frames.get("pattern")
    if table is None or table.empty:
        return []
    lines = [*filter(None, [shore_words(result)]), *headline(result, table)]
    for band in result.study.bands:
        rows = table[table["band"] == band.name]
        if len(rows) == 1:
            lines += _one(rows.iloc[0])
        elif len(rows) > 1:
            lines += _many(result, band.name, rows)
    lines.append("Gains are from the radio, in text and plots: what mismatch, coax and transformer take is off.")
    worst = table["balance_error_percent"].abs().max()
    if worst > TROUBLE:
        lines.append(
            f"The power found in sky, soil, wire and choke differs from the solver's input by up to {worst:.1f} %: "
            "shares and gains are relative to what was found, the feed resistance may be off by as much."
        )
    return lines


def shore_words(result: Result) -> str:
    """How much shore, slope and hill add at the lowest elevation, and where most; "" on level ground."""
    gains = result.frames.get("pattern_gains")
    if gains is None or "around_db" not in gains or not gains["around_db"].notna().any():
        return ""
    low = gains[gains["elevation_deg"] == gains["elevation_deg"].min()]
    most, least = low.loc[low["around_db"].idxmax()], low.loc[low["around_db"].idxmin()]
    best = low.loc[low["forward_radio_gain_dbi"].idxmax()]

    def case(row: pd.Series) -> str:
        words = _case(result, row)
        return f"{row['band']}, {words}" if words else str(row["band"])

    gain = f"{best['forward_radio_gain_dbi']:.1f} dBi ({case(best)})"
    if len(low) == 1:
        return f"At {low['elevation_deg'].iloc[0]:g}° the terrain changes the gain by {most['around_db']:+.1f} dB."
    return (
        f"At {low['elevation_deg'].iloc[0]:g}° along the bearing the terrain adds {least['around_db']:+.1f} dB "
        f"({case(least)}) to {most['around_db']:+.1f} dB ({case(most)}); the highest gain there is {gain}."
    )


def _one(row: pd.Series) -> list[str]:
    if math.isnan(row["peak_bearing_deg"]):
        towards = "all round" if row["takeoff_deg"] < 89 else "straight up"
    else:
        towards = f"towards {compass(row['peak_bearing_deg'])}"
    sky, soil = 100 * row["share_sky"], 100 * row["share_soil"]
    feed = 100 * (row["share_transformer"] + row["share_coax"])
    metal = 100 * (row["share_wire"] + row["share_choke"])
    mismatch = 100 * row["share_mismatch"]
    return [
        f"{row['band']} at {row['f_mhz']:.3f} MHz: most gain is {row['peak_radio_gain_dbi']:.1f} dBi at an elevation "
        f"of {row['takeoff_deg']:.0f}° {towards}; at {row['cut_elevation_deg']:.0f}° the mean all round is "
        f"{row['around_radio_gain_dbi']:.1f} dBi, and along the bearing of {compass(row['bearing_deg'])} it is "
        f"{row['forward_radio_gain_dbi']:.1f} dBi, {_back(row['front_to_back_db'])}.",
        f"{row['band']}: of the radio's power {sky:.0f} % reaches the sky and {soil:.0f} % the soil; {metal:.0f} % "
        f"heats wire and choke, {feed:.0f} % transformer and coax, and {mismatch:.0f} % is reflected.",
    ]


def _back(db: float) -> str:
    if math.isnan(db):
        return "as behind"
    return f"{abs(db):.1f} dB {'more' if db >= 0 else 'less'} than behind"


def headline(result: Result, table: pd.DataFrame) -> list[str]:
    """What several cases differ by: over soils what reaches the sky, else the mean gain all round; none of one case."""
    cases = result.study.count
    if cases < 2:
        return []
    soils = any(a.path.startswith("site.soil") for a in result.study.axes) and len(result.study.axes) == 1
    column = "share_sky" if soils else "around_radio_gain_dbi"
    parts, widest = [], 0.0
    for band in dict.fromkeys(table["band"]):
        rows = table[table["band"] == band]
        best, least = rows.loc[rows[column].idxmax()], rows.loc[rows[column].idxmin()]
        ahead = best[column] - least[column]
        if soils:
            db = 10 * math.log10(best[column] / max(least[column], 1e-6))
            parts.append(
                f"on {band} {100 * best[column]:.0f} % with {_case(result, best)} against {100 * least[column]:.0f} % "
                f"with {_case(result, least)} ({db:.1f} dB)"
            )
            ahead = db
        else:
            parts.append(f"on {band} {_case(result, best)} leads {_case(result, least)} by {ahead:.1f} dB")
        widest = max(widest, ahead)
    if widest < NOTICED:
        what = "reaches the sky" if soils else "is radiated all round"
        return [f"Hardly any difference: what {what} differs by less than {NOTICED:g} dB on every band."]
    told = "Of the radio's power there reaches the sky" if soils else f"All round at {_at(table)}"
    return [f"{told}: {'; '.join(parts)}."]


def _case(result: Result, row: pd.Series) -> str:
    return result.study.words_of(dict(row))


def _at(rows: pd.DataFrame) -> str:
    cuts = rows["cut_elevation_deg"]
    return f"{cuts.iloc[0]:.0f}°" if cuts.max() - cuts.min() < 0.5 else "each case's take-off angle"


def _many(result: Result, band: str, rows: pd.DataFrame) -> list[str]:
    """A fair comparison: the mean all round, each one's best direction, the wanted one; then power and axis."""
    at = _at(rows)
    lines = [f"{band} at {at}: {'; '.join(_compared(result, rows))}."]
    axis = running(result.study.axes)
    if axis is not None and axis.numbers is not None and len(result.study.axes) == 1:
        rows = rows.sort_values(axis.column)
        a, b = rows.iloc[0], rows.iloc[-1]
        lines.append(
            f"{band}: from {axis.value_text(a[axis.column])} to {axis.value_text(b[axis.column])} of {axis.name} "
            f"the take-off angle goes from {a['takeoff_deg']:.0f}° to {b['takeoff_deg']:.0f}° and the peak gain from "
            f"{a['peak_radio_gain_dbi']:.1f} to {b['peak_radio_gain_dbi']:.1f} dBi."
        )
    sky, low = rows.loc[rows["share_sky"].idxmax()], rows.loc[rows["share_sky"].idxmin()]
    lines.append(
        f"{band}: {100 * sky['share_sky']:.0f} % of the radio's power reaches the sky with {_case(result, sky)}, "
        f"{100 * low['share_sky']:.0f} % with {_case(result, low)}; the soil takes "
        f"{100 * rows['share_soil'].min():.0f} to {100 * rows['share_soil'].max():.0f} %."
    )
    return lines


def _compared(result: Result, rows: pd.DataFrame) -> list[str]:
    """Best and least case by the mean all round, in each one's best direction, and along the bearing."""
    bearings = rows["bearing_deg"]
    along = f"along {compass(bearings.iloc[0])}" if bearings.max() - bearings.min() < 0.5 else "along each bearing"
    lines = []
    for what, column in (
        ("mean all round", "around_radio_gain_dbi"),
        ("best direction", "cut_peak_radio_gain_dbi"),
        (along, "forward_radio_gain_dbi"),
    ):
        best, least = rows.loc[rows[column].idxmax()], rows.loc[rows[column].idxmin()]
        if best[column] - least[column] < ALIKE:
            lines.append(f"{what} {best[column]:.1f} dBi in every case")
            continue
        null = least["cut_peak_radio_gain_dbi"] - least[column]
        sentence = f"{what} {best[column]:.1f} dBi with {_case(result, best)}, least {least[column]:.1f} dBi with "
        sentence += _case(result, least)
        if null > NULL:
            sentence += (
                f" (a null of it: {null:.0f} dB below its best direction, {compass(least['cut_peak_bearing_deg'])})"
            )
        lines.append(sentence)
    return lines
