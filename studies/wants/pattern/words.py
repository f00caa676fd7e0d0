"""What a study of patterns found, in sentences with numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from tautwire.studies.drawing.axes import running

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
ALIKE = 0.05  # dB that nobody can tell
TROUBLE = 3.0  # percent of power unaccounted for that is worth a sentence


def compass(degrees: float) -> str:
    """ "60° (NE)"."""
    return f"{degrees % 360:.0f}° ({COMPASS[round(degrees / 45) % 8]})"


def sentences(result: Result) -> list[str]:
    """A sentence or two a band: one case in full, several by what changes."""
    table = result.frames.get("pattern")
    if table is None or table.empty:
        return []
    out = []
    for band in result.study.bands:
        rows = table[table["band"] == band.name]
        if len(rows) == 1:
            out += _one(rows.iloc[0])
        elif len(rows) > 1:
            out += _many(result, band.name, rows)
    worst = table["balance_error_percent"].abs().max()
    if worst > TROUBLE:
        out.append(
            f"The power found in sky, soil, wire and choke differs from the solver's input by up to {worst:.1f} %: "
            "shares and gains are relative to what was found, the feed resistance may be off by as much."
        )
    return out


def _one(row: pd.Series) -> list[str]:
    if pd.isna(row["peak_bearing_deg"]):
        towards = "all round" if row["takeoff_deg"] < 89 else "straight up"
    else:
        towards = f"towards {compass(row['peak_bearing_deg'])}"
    sky, soil = 100 * row["share_sky"], 100 * row["share_soil"]
    feed = 100 * (row["share_transformer"] + row["share_coax"])
    metal = 100 * (row["share_wire"] + row["share_choke"])
    mismatch = 100 * row["share_mismatch"]
    return [
        f"{row['band']} at {row['f_mhz']:.3f} MHz: most gain is {row['peak_gain_dbi']:.1f} dBi at an elevation of "
        f"{row['takeoff_deg']:.0f}° {towards}; at {row['cut_elevation_deg']:.0f}° along the bearing of "
        f"{compass(row['bearing_deg'])} it is {row['forward_gain_dbi']:.1f} dBi, {_back(row['front_to_back_db'])}.",
        f"{row['band']}: of the radio's power {sky:.0f} % reaches the sky and {soil:.0f} % the soil; {metal:.0f} % "
        f"heats wire and choke, {feed:.0f} % transformer and coax, and {mismatch:.0f} % is reflected.",
    ]


def _back(db: float) -> str:
    if pd.isna(db):
        return "as behind"
    return f"{abs(db):.1f} dB {'more' if db >= 0 else 'less'} than behind"


def _many(result: Result, band: str, rows: pd.DataFrame) -> list[str]:
    def label(row: pd.Series) -> str:
        return result.study.words_of(dict(row))

    gains = rows["forward_gain_dbi"] + rows["peak_radio_gain_dbi"] - rows["peak_gain_dbi"]
    best, least = rows.loc[gains.idxmax()], rows.loc[gains.idxmin()]
    sky, low = rows.loc[rows["share_sky"].idxmax()], rows.loc[rows["share_sky"].idxmin()]
    cuts = rows["cut_elevation_deg"]
    at = f"at {cuts.iloc[0]:.0f}°" if cuts.max() - cuts.min() < 0.5 else "at each case's take-off angle"
    told = f"{band}: gain {at} along the bearing, feed losses and mismatch taken off, is "
    if gains.max() - gains.min() < ALIKE:
        out = [told + f"{gains.max():.1f} dBi in every case."]
    else:
        low_high = f"{gains.max():.1f} dBi, and least with {label(least)}, {gains.min():.1f} dBi."
        out = [told + f"best with {label(best)}, {low_high}"]
    axis = running(result.study.axes)
    if axis is not None and axis.numbers is not None and len(result.study.axes) == 1:
        rows = rows.sort_values(axis.column)
        a, b = rows.iloc[0], rows.iloc[-1]
        out.append(
            f"{band}: from {axis.value_text(a[axis.column])} to {axis.value_text(b[axis.column])} of {axis.name} "
            f"the take-off angle goes from {a['takeoff_deg']:.0f}° to {b['takeoff_deg']:.0f}° and the peak gain from "
            f"{a['peak_gain_dbi']:.1f} to {b['peak_gain_dbi']:.1f} dBi."
        )
    out.append(
        f"{band}: {100 * sky['share_sky']:.0f} % of the radio's power reaches the sky with {label(sky)}, "
        f"{100 * low['share_sky']:.0f} % with {label(low)}; the soil takes {100 * rows['share_soil'].min():.0f} to "
        f"{100 * rows['share_soil'].max():.0f} %."
    )
    return out
