"""What a fit found: values, what the data cannot tell apart, noise, a wrong reference plane, what was left out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from tautwire.studies.study.findings import (
    NOTHING,
    Finding,
    Name,
    Number,
    Row,
    Words,
    big,
    case_name,
    cell_words,
    convention,
    joined,
    rows_of,
    say,
)
from tautwire.studies.wants.fit.fitting import WORTH

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

# thresholds from which something is said: chosen by hand
ALIKE = 0.95  # correlation from which two values count as not told apart
SILENT = 0.8  # of the prior's sd left: the data said little
WEAK = 1.0  # strength of a direction below which the data say less than the prior
PART = 0.3  # weight in a direction from which a value is named
NOISY = 0.02  # scatter of gamma that is worth a word
UNEXPLAINED = 1.5  # times noise and error, from which more is left of a sweep than they account for
TERMINAL = "transformer.terminal_capacitance"
FINE = 0.01  # m: standard deviation below which a length is written to the millimetre
MOST_NAMED = 3  # values in the verdict
MOST_OTHERS = 2  # groups left out that are named besides the best
BETTER = 0.5  # squared misfit of the other plane over this one's, below which it fits far better
OTHER = {"radio": "transformer", "transformer": "radio"}
TABLES = ("fit", "fit_sweeps", "fit_correlation", "fit_directions", "fit_missing", "fit_instead", "fit_unused")

Tables = Mapping[str, Sequence[Row]]


def findings(result: Result) -> list[Finding]:
    """Of each case: the values or what speaks against them, then noise, ranges, and what the sweeps do not tell."""
    found: list[Finding] = []
    for case in result.study.cases():
        tables = {name: rows_of(result, name, case.labels) for name in TABLES}
        if tables["fit"]:
            place = case_name(result, case.labels)
            found += notes(tables, result.study.options["fit"].error,
                           say("{place}: ", place=place) if place.words else NOTHING)  # fmt: skip
    return found


def notes(tables: Tables, least_error: float, place: Words = NOTHING) -> list[Finding]:
    """The findings of one case from its rows; a doubt about all of it is the verdict. place: what it starts with."""
    doubts = [*_plane(tables), *_left_out(tables)]
    values = joined([_named_value(r) for r in tables["fit"][:MOST_NAMED]])
    best = say("The sweeps fit best with {values}.", values=values)
    first, *rest = [*doubts, best] if doubts else [best]
    found = [Finding(say("{place}{first}", place=place, first=first), "verdict", "doubt" if doubts else "values")]
    found += [Finding(words, "answer", "doubt" if words in doubts else "values") for words in rest]
    found += [*_unused(tables["fit_unused"]), *_noise(tables, least_error), *_apart(tables)]
    found += [Finding(words, "caution", "range end") for words in _bounds(tables["fit"])]
    found += [Finding(_value(r), "detail", "value", {"parameter": r["parameter"]}) for r in tables["fit"]]
    words = say("The standard deviations count noise, the solver's mesh and priors, not what the model leaves out "
                "(trees, slack).")  # fmt: skip
    found.append(Finding(words, "detail", "deviations"))
    for row in tables["fit"][:MOST_NAMED]:
        about = say("{name}, standard deviation {sd}", name=cell_words(row, "parameter"),
                    sd=quantity(row, "estimate_sd"))  # fmt: skip
        found.append(big(quantity(row, "estimate"), about))
    return found


def _unused(rows: Sequence[Row]) -> list[Finding]:
    """Sweeps of no band of the study."""
    ranges = [
        say("{sweep} ({low} to {high})", sweep=cell_words(r, "sweep"), low=r.number("sweep_from_mhz", "frequency"),
            high=r.number("sweep_to_mhz", "frequency"))
        for r in rows
    ]  # fmt: skip
    words = say("Not fitted, as the study asks for none of these bands: {ranges}.", ranges=joined(ranges))
    return [Finding(words, "caution", "unused")] if ranges else []


SIGNS = {"deg": "\u00b0", "uH": " \u00b5H", "ohm": " \u03a9"}
"""unit of a table -> as it is written after a number"""


def quantity(row: Row, column: str) -> Words:
    """A cell in its row's unit: with the digits that its standard deviation leaves, a length as the study's are
    typed."""
    sd = row.get("estimate_sd", math.nan)
    is_sd = column in ("estimate_sd", "prior_sd")
    if row["unit"] == "m":
        form = "two-digit length" if is_sd else "fine length" if sd < FINE else "length"
        return say("{value}", value=row.number(column, form))
    form = "two digits" if is_sd else "plain"
    if sd > 0:
        form = f"{min(max(1 - math.floor(math.log10(sd)), 0), 7)} decimals"
    unit = SIGNS.get(row["unit"], f" {row['unit']}" if row["unit"] else "")
    return say("{value}{unit}", value=row.number(column, form), unit=unit)


def _named_value(row: Row) -> Words:
    name = row["parameter"].rpartition(".")[2].replace("_", " ")
    return say("{name} {value} ± {sd}", name=name, value=quantity(row, "estimate"),
               sd=quantity(row, "estimate_sd"))  # fmt: skip


def _value(row: Row) -> Words:
    prior = NOTHING
    if not math.isnan(row["prior_sd"]):
        prior = say(" ± {sd}", sd=quantity(row, "prior_sd"))
    return say(
        "{name}: {value}, standard deviation {sd} (started from {start}{prior}).", name=cell_words(row, "parameter"),
        value=quantity(row, "estimate"), sd=quantity(row, "estimate_sd"), start=quantity(row, "start"),
        prior=prior,
    )  # fmt: skip


def _plane(tables: Tables) -> list[Words]:
    sweeps = tables["fit_sweeps"]
    if not sweeps or math.isnan(sweeps[0]["other_plane_ratio"]) or sweeps[0]["other_plane_ratio"] > BETTER:
        return []
    planes = sorted({r["plane"] for r in sweeps})
    return [say(
        "WRONG PLANE? Taken at the {then} instead of the {now}, the sweeps fit far better: the squared misfit falls to "
        "{share} of this fit's. Check where they were measured before using these values.",
        then=joined([OTHER[p] for p in planes]), now=joined(planes),
        share=sweeps[0].number("other_plane_ratio", "fine percent"),
    )]  # fmt: skip


def _left_out(tables: Tables) -> list[Words]:
    """Which values left out would explain what noise does not, how much, and the lines that free them."""
    groups: dict[str, list[Row]] = {}
    for row in tables["fit_missing"]:
        groups.setdefault(row["left_out"], []).append(row)
    if not groups:
        return []
    worth = [rows for rows in groups.values() if rows[0].si("explains_percent") > WORTH]
    if not worth:
        return [say(
            "Noise does not explain the residual, and freeing none of these would: {names}. The antenna may differ "
            "in a way that the set-up cannot describe.", names=joined(list(groups)),
        )]  # fmt: skip
    best, *others = worth
    name = best[0]["left_out"]
    words = say("LEFT OUT? {name} would explain {share} of what noise does not ({freed}).",
                name=name[:1].upper() + name[1:], share=best[0].number("explains_percent", "percent"),
                freed=_moved(best))  # fmt: skip
    if moved := [r for r in tables["fit_instead"] if r["left_out"] == name and r["parameter"] != TERMINAL]:
        words = say("{words} The fitted values would become {moved}.", words=words, moved=_moved(moved, " and "))
    out = [words]
    for rows in others[:MOST_OTHERS]:
        out.append(say("Less well: {name}, {share} ({freed}).", name=rows[0]["left_out"],
                       share=rows[0].number("explains_percent", "percent"), freed=_moved(rows)))  # fmt: skip
    lines = joined([_line(r) for r in best], "; ", "; ")
    return [*out, say("To free it, add to [fit.parameters]: {lines}", lines=lines)]


def _moved(rows: Sequence[Row], last: str = ", ") -> Words:
    each = [say("{name} {value}", name=cell_words(r, "parameter"), value=quantity(r, "estimate")) for r in rows]
    return joined(each, ", ", last)


def _line(row: Row) -> Words:
    quote = '"' if row["unit"] else ""
    prior, low, high = (
        say("{q}{value}{q}", q=quote, value=quantity(row, column)) for column in ("estimate", "lowest", "highest")
    )
    return say('"{name}" = { prior = {prior}, from = {low}, to = {high} }', name=cell_words(row, "parameter"),
               prior=prior, low=low, high=high)  # fmt: skip


def is_unexplained(row: Row, least_error: float) -> bool:
    """Whether more is left of a sweep than its noise and the analyser's error account for. row: of "fit_sweeps"."""
    return bool(row["residual_rms"] > UNEXPLAINED * max(row["noise"], least_error))


def _noise(tables: Tables, least_error: float) -> list[Finding]:
    found = []
    for row in tables["fit_sweeps"]:
        name = cell_words(row, "sweep")
        if row["noise"] > NOISY:
            words = say(
                "{name} is noisy: its points scatter by {noise} in reflection coefficient, so that an SWR of {two} may "
                "read {low} to {high}.", name=name, noise=row.number("noise", "thousandths"), two=convention("2"),
                low=row.number("noise", "rough SWR", "least SWR of 2"),
                high=row.number("noise", "rough SWR", "most SWR of 2"),
            )  # fmt: skip
            found.append(Finding(words, "caution", "noisy"))
        if is_unexplained(row, least_error):
            words = say(
                "{name}: the fit leaves {left} in reflection coefficient, {times} times what noise and analyser "
                "account for. Something else differs from the set-up, and the values may be off by more than their "
                "standard deviations say.", name=name, left=row.number("residual_rms", "thousandths"),
                times=_times(row, least_error),
            )  # fmt: skip
            found.append(Finding(words, "caution", "unexplained"))
    if not found and tables["fit_sweeps"]:
        most = max(tables["fit_sweeps"], key=lambda r: r["residual_rms"])
        noisiest = max(tables["fit_sweeps"], key=lambda r: r["noise"])
        words = say("Noise explains the residual: at most {left} in reflection coefficient, where points scatter by "
                    "{noise}.", left=most.number("residual_rms", "ten-thousandths"),
                    noise=noisiest.number("noise", "ten-thousandths"))  # fmt: skip
        found.append(Finding(words, "sure", "noise explains"))
    return found


def _times(row: Row, least_error: float) -> Number:
    if row["noise"] < least_error:
        return row.number("residual_rms", "whole", times=1 / least_error)
    cells = row.cell("residual_rms"), row.cell("noise")
    return Number(row["residual_rms"] / row["noise"], cells, "share", "whole")


def _bounds(rows: Sequence[Row]) -> list[Words]:
    ends = [
        r for r in rows
        if min(r["estimate"] - r["lowest"], r["highest"] - r["estimate"]) < 0.005 * (r["highest"] - r["lowest"])
    ]  # fmt: skip
    return [
        say("{name} ran into the end of its range, {value}: widen it or doubt it.", name=cell_words(r, "parameter"),
            value=quantity(r, "estimate")) for r in ends
    ]  # fmt: skip


def _apart(tables: Tables) -> list[Finding]:
    """Values left to the prior, pairs that look alike, and combinations that the data do not fix."""
    said: set[str] = set()
    silent: list[Name] = []
    lines: list[Words] = []
    for row in tables["fit"]:
        name = cell_words(row, "parameter")
        if row["estimate_sd"] > SILENT * row["prior_sd"]:
            silent.append(name)
            said.add(row["parameter"])
        elif math.isnan(row["prior_sd"]) and row["estimate_sd"] > row["scale"]:
            lines.append(say("The sweeps do not determine {name} within its range.", name=name))
            said.add(row["parameter"])
    if silent:
        words = say("The sweeps hardly determine {names}: {these} as the set-up has {them}.", names=joined(silent),
                    these="it stays" if len(silent) == 1 else "these stay",
                    them="it" if len(silent) == 1 else "them")  # fmt: skip
        lines.insert(0, words)
    if alike := [r for r in tables["fit_correlation"] if abs(r["correlation"]) > ALIKE]:
        pairs = [
            say("{one} and {other} ({r})", one=cell_words(r, "with_parameter"), other=cell_words(r, "parameter"),
                r=r.number("correlation", "signed hundredths")) for r in alike
        ]  # fmt: skip
        lines.append(say("The sweeps cannot tell apart: {pairs}. Trust what such a pair does together, not each alone "
                         "(in brackets: the correlation).", pairs=joined(pairs, "; ", "; ")))  # fmt: skip
        said |= {r[name] for r in alike for name in ("parameter", "with_parameter")}
    for number in dict.fromkeys(r["direction"] for r in tables["fit_directions"]):
        rows = [r for r in tables["fit_directions"] if r["direction"] == number and abs(r["weight"]) > PART]
        if len(rows) > 1 and rows[0]["strength"] < WEAK and not {r["parameter"] for r in rows} <= said:
            lines.append(say("A joint change of {names} hardly shows in the sweeps: fix one of them, or measure "
                             "another band.", names=joined([cell_words(r, "parameter") for r in rows])))  # fmt: skip
    return [Finding(words, "caution", "apart") for words in lines]
