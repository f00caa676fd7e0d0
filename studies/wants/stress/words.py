"""What a study of stress found: the power that is safe for the duty, the volts at the wire's end, heat and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    Finding,
    Number,
    Row,
    Words,
    band_name,
    big,
    by_band,
    cell_words,
    convention,
    joined,
    made_of,
    say,
    table_of,
    with_case,
)

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

CURIE_RISE = 110.0  # K above 20 C: the Curie point of common HF ferrites starts at some 130 C, from memory
ALIKE = 1.05  # ratio of heats that is none
HALF_WAY = math.log(2)  # of a time constant
OVERHEATS = "overheats"  # how every warning of too much heat starts


def findings(result: Result) -> list[Finding]:
    """The safe power and the volts at the end; a caution where something overheats; a sentence a band; then which band
    heats the core most, and why."""
    table = table_of(result, "stress")
    if not table:
        return []
    bands = by_band(result, table)
    volts = end_volts(result, table)
    found = [verdict] if (verdict := safe_power(result, table)) else []
    found += [Finding(volts, "answer" if found else "verdict", "volts"), *_safe_by_band(bands)]
    found += _overheats(table)
    for name, rows in sorted(bands.items(), key=lambda item: -max(r["end_peak_v"] for r in item[1])):
        found.append(Finding(_of_band(result, rows), "detail", "stress", {"band": name}))
    return [*found, *_why(result, [rows[0] for rows in bands.values()]), *_big(result, table)]


def safe_power(result: Result, rows: Sequence[Row]) -> Finding | None:
    """Whether the power is safe for the duty on the band and case where least is; None without a core and a choke."""
    worst = _least_safe(rows)
    if worst is None:
        return None
    limit, band, case = worst.number("safe_w", "power limit"), band_name(worst["band"]), _case(result, worst)
    if worst["safe_w"] < worst["power_w"]:
        words = say("{what}oo hot on a long over on {band}{case}: stay under {limit}.",
                    what="T" if _is_core(worst) else "Choke t", band=band, case=case, limit=limit)  # fmt: skip
        return Finding(words, "verdict", "too hot", {"band": worst["band"]})
    words = say("Cool enough on a long over with {power}; {band} allows least{case}: {limit}.",
                power=worst.number("power_w", "power"), band=band, case=case, limit=limit)  # fmt: skip
    return Finding(words, "verdict", "cool enough", {"band": worst["band"]})


def _case(result: Result, row: Row) -> Words:
    """The case; its power is said with the volts, and a safe power does not depend on it."""
    return with_case(result, row, without="radio.power")


def _least_safe(rows: Sequence[Row]) -> Row | None:
    """The row whose power is least safe; None where no power is known to be."""
    known = [row for row in rows if not math.isnan(row["safe_w"])]
    return min(known, key=lambda r: r["safe_w"] / r["power_w"], default=None)


def _safe_by_band(bands: dict[str, list[Row]]) -> list[Finding]:
    """The safe power of each band's worst case, in a box and where air moves over the core."""
    worst = [row for rows in bands.values() if (row := _least_safe(rows))]
    if not worst:
        return []
    words = joined([
        say("{limit} on {band}", limit=row.number("safe_w", "power limit"), band=band_name(row["band"]))
        for row in worst
    ])  # fmt: skip
    words = say("Highest safe power at this duty with the transformer in a box: {each}", each=words)
    if any(map(_is_core, worst)):
        air = joined([row.number("safe_in_air_w", "power limit") for row in worst])
        words = say("{words}; in moving air {air}", words=words, air=air)
    return [Finding(say("{words}.", words=words), "answer", "safe power")]


def _is_core(row: Row) -> bool:
    """Whether it is the core that sets the safe power, which then is greater where air moves over it."""
    return bool(row["safe_in_air_w"] > row["safe_w"])


def end_volts(result: Result, rows: Sequence[Row]) -> Words:
    worst = max(rows, key=lambda r: r["end_peak_v"])
    return say(
        "The wire's end carries up to {volts} peak with {power}, on {band}{case}: {warning}.",
        volts=worst.number("end_peak_v", "volts"), power=worst.number("power_w", "power"),
        band=band_name(worst["band"]), case=_case(result, worst), warning=cell_words(worst, "end_warning"),
    )  # fmt: skip


def _overheats(table: Sequence[Row]) -> list[Finding]:
    found = []
    for part, column, heat in (("transformer", "core_warning", "core_w"), ("choke", "choke_warning", "choke_w")):
        hot = [row for row in table if str(row[column]).startswith(OVERHEATS)]
        if not hot:
            continue
        row = max(hot, key=lambda r: r[heat])
        words = say(
            "The {part} overheats with {power} at a duty of {duty} on {bands}: use less power or shorter overs.",
            part=part, power=row.number("power_w", "power"), duty=row.number("duty", "plain"),
            bands=joined([band_name(name) for name in dict.fromkeys(r["band"] for r in hot)]),
        )  # fmt: skip
        found.append(Finding(words, "caution", "overheats"))
    return found


def _heat(result: Result, row: Row) -> Number:
    """Of the transformer, W."""
    return made_of("sum", "watts", (row, "core_w"), (row, "winding_w"), result=result)


def hottest(rows: Sequence[Row]) -> Row:
    return max(rows, key=lambda r: r["core_w"] + r["winding_w"])


def _of_band(result: Result, rows: Sequence[Row]) -> Words:
    """The greatest volts and heats of a band's cases."""
    top, hot = max(rows, key=lambda r: r["end_peak_v"]), hottest(rows)
    words = say(
        "{band}, {power}: {end} peak at the wire's end ({warning}), {feed} peak at the transformer, at most {amps} in "
        "the wire, {at} from the feed. The transformer turns {heat} on average into heat",
        band=band_name(top["band"]), power=top.number("power_w", "power"), end=top.number("end_peak_v", "volts"),
        warning=cell_words(top, "end_warning"), feed=top.number("feed_peak_v", "volts"),
        amps=top.number("max_a", "amps"), at=top.number("max_a_at", "length"), heat=_heat(result, hot),
    )  # fmt: skip
    if hot["core_warning"]:
        words = say(
            "{words}; left on, it ends up {rise} ({warning}; half way within {minutes}); flux {flux} ({saturated})",
            words=words, rise=_rise(hot), warning=cell_words(hot, "core_warning"),
            minutes=hot.number("core_minutes", "minutes", times=HALF_WAY), flux=hot.number("core_flux_t", "teslas"),
            saturated=cell_words(hot, "flux_warning"),
        )  # fmt: skip
    choke = max(rows, key=lambda r: r["choke_w"])
    if choke["choke_warning"]:
        words = say("{words}. The choke: {heat} ({warning})", words=words, heat=choke.number("choke_w", "watts"),
                    warning=cell_words(choke, "choke_warning"))  # fmt: skip
    return say("{words}.", words=words)


def _rise(row: Row) -> Words:
    """The range of the core's rise, no farther than ferrite has any permeability left."""
    most = convention("110 K")
    if row["core_rise_low_k"] >= CURIE_RISE:
        return say("more than {most} above the air, where ferrite loses its permeability", most=most)
    low, high = (row.number(column, "kelvins") for column in ("core_rise_low_k", "core_rise_high_k"))
    if row["core_rise_high_k"] >= CURIE_RISE:
        return say("{low} to more than {most} above the air", low=low, most=most)
    return say("{low} to {high} above the air", low=low, high=high)


def _why(result: Result, first: Sequence[Row]) -> list[Finding]:
    """Core heat of the hottest against the coolest band, split into its two factors. first: a row a band, of a case."""
    if len(first) < 2 or any(math.isnan(r["core_siemens"]) or not r["core_w"] > 0 for r in first):
        return []
    hot, cool = max(first, key=lambda r: r["core_w"]), min(first, key=lambda r: r["core_w"])
    if hot["core_w"] < ALIKE * cool["core_w"]:
        return [Finding(say("The core heats about alike on all bands."), "detail", "why it heats")]

    def ratio(column: str, function: str = "share") -> Number:
        return made_of(function, "times", (hot, column), (cool, column), result=result)

    words = say(
        "For the same power the core heats {heat} times as much on {hot} as on {cool}: its loss conductance is {loss} "
        "times as high and the voltage across it squared {volts} times",
        heat=ratio("core_w"), hot=band_name(hot["band"]), cool=band_name(cool["band"]), loss=ratio("core_siemens"),
        volts=ratio("core_v", "squared share"),
    )  # fmt: skip
    if not math.isnan(hot["mu_imag"]):
        mu = [row.number(column, "count") for column in ("mu_real", "mu_imag") for row in (cool, hot)]
        words = say("{words} (mu' {a} to {b}, mu'' {c} to {d})", words=words, a=mu[0], b=mu[1], c=mu[2], d=mu[3])
    if hot["f_mhz"] > cool["f_mhz"]:
        words = say("{words}. A core that is cool on {cool} can overheat on {hot}.", words=words,
                    cool=band_name(cool["band"]), hot=band_name(hot["band"]))  # fmt: skip
    else:
        words = say(
            "{words}. This core is hottest low down; where mu'' rises steeply with frequency, as in low-loss "
            "materials, a core that is cool on the fundamental can overheat on a high harmonic.", words=words,
        )  # fmt: skip
    return [Finding(words, "detail", "why it heats")]


def _big(result: Result, table: Sequence[Row]) -> list[Finding]:
    """The safe power, the volts at the end, the heat."""
    found = []
    if least := _least_safe(table):
        words = say("safe on a long over on {band}{case}", band=band_name(least["band"]), case=_case(result, least))
        found.append(big(least.number("safe_w", "power limit"), words))
    volts, hot = max(table, key=lambda r: r["end_peak_v"]), hottest(table)
    words = say("peak at the wire's end with {power} on {band}{case}", power=volts.number("power_w", "power"),
                band=band_name(volts["band"]), case=_case(result, volts))  # fmt: skip
    found.append(big(volts.number("end_peak_v", "volts"), words))
    words = say("of heat in the transformer with {power} on {band}{case}", power=hot.number("power_w", "power"),
                band=band_name(hot["band"]), case=_case(result, hot))  # fmt: skip
    return [*found, big(_heat(result, hot), words)]
