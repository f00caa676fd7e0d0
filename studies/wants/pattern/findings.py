"""What each figure of a study of patterns says, in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tautwire.studies.study.cells import short
from tautwire.studies.wants.pattern.words import compass, headline

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result


def finding_of(result: Result, table: pd.DataFrame, kind: str) -> str:
    """The finding of "elevation", "azimuth", "power", "gain" or "solid". table: frame "pattern", not empty."""
    peak = table.loc[table["peak_radio_gain_dbi"].idxmax()]
    case = result.study.words_of(dict(peak))
    with_case = f" with {case}" if case else ""
    gain = f"{peak['peak_radio_gain_dbi']:.1f} dBi".replace("-", "\u2212")
    if kind == "shore":
        return _shore(result.frames["pattern_gains"])
    if kind == "power":
        return _power(result, table)
    if kind == "azimuth":
        told = headline(result, table)
        return short(told[0]) if told else _round(table)
    if kind == "elevation":
        return f"Most gain is {gain}, {peak['takeoff_deg']:.0f}\u00b0 up, on {peak['band']}{with_case}"
    if kind == "solid":
        up = table.groupby("band")["takeoff_deg"].agg(["min", "max"])
        spans = [f"{_span(row['min'], row['max'])} on {band}" for band, row in up.iterrows()]
        return short(f"The most goes up at {', '.join(spans)}")
    low, high = table["peak_radio_gain_dbi"].min(), table["peak_radio_gain_dbi"].max()
    return f"The peak gain changes by {high - low:.1f} dB, up to {gain} on {peak['band']}{with_case}"


def _shore(gains: pd.DataFrame) -> str:
    low = gains[gains["elevation_deg"] == gains["elevation_deg"].min()]
    most, best = low.loc[low["around_db"].idxmax()], low.loc[low["forward_radio_gain_dbi"].idxmax()]
    gain = f"{best['forward_radio_gain_dbi']:.1f} dBi".replace("-", "\u2212")
    return (
        f"At {most['elevation_deg']:g}\u00b0 the shore adds up to {most['around_db']:.1f} dB ({most['band']}); "
        f"highest gain {gain} ({best['band']})"
    )


def _span(low: float, high: float) -> str:
    return f"{low:.0f}\u00b0" if high - low < 1 else f"{low:.0f} to {high:.0f}\u00b0"


def _round(table: pd.DataFrame) -> str:
    """Of one case: where each band has its best direction."""
    told = [
        f"{compass(row['cut_peak_bearing_deg'])} on {row['band']}"
        for row in table.dropna(subset=["cut_peak_bearing_deg"]).to_dict("records")
    ]
    return (
        short(f"At the elevation shown most goes towards {', '.join(told)}") if told else "It radiates alike all round"
    )


def _power(result: Result, table: pd.DataFrame) -> str:
    low, high = table.loc[table["share_sky"].idxmin()], table.loc[table["share_sky"].idxmax()]
    names = [", ".join(filter(None, (str(r["band"]), result.study.words_of(dict(r))))) for r in (low, high)]
    return (
        f"{100 * low['share_sky']:.0f} % ({names[0]}) to {100 * high['share_sky']:.0f} % ({names[1]}) reaches the sky"
    )
