"""What each figure of a study of dips says, in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tautwire.studies.study.cells import short
from tautwire.studies.study.units import format_length
from tautwire.studies.wants.dips.words import headline, listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from tautwire.model.operating.bands import Band
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.setup import Built

MOST_NAMED = 4  # bands named one by one
GOOD = 2.0  # SWR that radios take without complaint; common practice, no source


def finding_of(result: Result, kind: str, bands: Sequence[Band]) -> str:
    """The finding of the figure of that kind (figures.KINDS) about these bands; "" for none."""
    dips = result.frames["dips"]
    dips = dips[dips["band"].isin([b.name for b in bands])]
    bands = [b for b in bands if (dips["band"] == b.name).any()]
    if not bands:
        return ""
    if kind == "swr":
        return _swr(result, dips, bands)
    if kind == "impedance":
        return _impedance(dips)
    if kind in ("smith", "smith_radio"):
        return _smith(result, bands, "radio" if kind == "smith_radio" else "transformer")
    if kind == "modes":
        return _modes(dips, bands)
    return short((headline(result, [b.name for b in bands]) or [""])[0])


def _swr(result: Result, dips: pd.DataFrame, bands: Sequence[Band]) -> str:
    worst = dips.loc[dips["swr_worst"].idxmax()]
    if result.study.count > 1:
        case = result.study.words_of(dict(worst))
        if worst["swr_worst"] <= GOOD:
            return f"The SWR stays below {GOOD:g} in every case; at worst {_most(worst)} with {case}"
        return f"The SWR is at worst {_most(worst)} with {case}"
    highest = dips.groupby("band")["swr_worst"].max()
    if len(bands) <= MOST_NAMED:
        return f"The SWR is at most {listed([f'{highest[b.name]:.1f} on {b.name}' for b in bands])}"
    return f"The SWR is at worst {_most(worst)}, and at best {highest.min():.1f}, on {highest.idxmin()}"


def _most(row: pd.Series) -> str:
    return f"{row['swr_worst']:.1f}, on {row['band']}"


def _impedance(dips: pd.DataFrame) -> str:
    known = dips.dropna(subset=["feed_r_ohm", "feed_x_ohm"])
    if known.empty:
        return "No dip: what the wire presents in and around the bands"
    r, x = (_span(known[c]) for c in ("feed_r_ohm", "feed_x_ohm"))
    return f"At its dips the wire presents {r} k\u03a9 with {x} k\u03a9 of reactance"


def _span(ohm: pd.Series) -> str:
    low, high = (f"{round(v / 1e3, 1) + 0.0:.1f}".replace("-", "\u2212") for v in (ohm.min(), ohm.max()))
    return low if low == high else f"{low} to {high}"


def _smith(result: Result, bands: Sequence[Band], where: str) -> str:
    sweeps, most = result.frames["sweeps"], {}
    for b in bands:
        rows = sweeps[(sweeps["band"] == b.name) & sweeps["f_mhz"].between(b.lower / 1e6, b.upper / 1e6)]
        most[b.name] = float(rows["swr" if where == "radio" else "swr_transformer"].max())
    name = max(most, key=lambda k: most[k])
    if len(most) == 1:
        return f"At the {where} the SWR in the band is at most {most[name]:.1f}"
    least = min(most, key=lambda k: most[k])
    return f"At the {where} the SWR is at most {most[least]:.1f} on {least} and {most[name]:.1f} on {name}"


def _modes(dips: pd.DataFrame, bands: Sequence[Band]) -> str:
    counts = {b.name: sorted({int(m) for m in dips[dips["band"] == b.name]["dip_mode"].dropna()}) for b in bands}
    changing = [name for name, modes in counts.items() if len(modes) > 1]
    if changing:
        return f"On {listed(changing)} the dip changes its number of half-waves on the way"
    told = [f"{modes[0]} on {name}" for name, modes in counts.items() if modes]
    if not told:
        return "No band has a dip of its own"
    return f"Half-waves on the wire at the dip: {listed(told[:6])}"


def layout_finding(built: Sequence[Built], lengths: str = "metric") -> str:
    """How long the wires are and how high they go. lengths: "metric" or "imperial"."""

    def span(metres: Sequence[float]) -> str:
        low, high = (format_length(m, lengths) for m in (min(metres), max(metres)))
        return low if low == high else f"{low} to {high}"

    wire = span([b.layout.length for b in built])
    tops = span([max(p[2] for p in b.layout.points) for b in built])
    if len(built) == 1:
        return f"{wire} of wire, {tops} up at its highest"
    return f"{wire} of wire hung {len(built)} ways: it needs {tops} of height"
