"""What a search for the best set-up found, in words: the best, why it wins, what it gives up, which wish to drop."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import tomli_w

from tautwire.studies.study.findings import (
    NOTHING,
    Finding,
    Name,
    Row,
    Words,
    big,
    by_case,
    case_name,
    cell_words,
    joined,
    made_of,
    rows_of,
    say,
    table_of,
)
from tautwire.studies.wants.choose.candidates import Knob, Problem, read_problem

if TYPE_CHECKING:
    from tautwire.studies.study.result import Result

columns_of_aims = {"gain": "radio_gain_dbi", "loss": "feed_loss_db", "heat": "heat_in_core_w", "shield": "shield_max_a"}
"""aim -> its column"""
AIM_WORDS = {
    "swr": ("highest SWR", "", "swr_highest", 2),
    "gain": ("gain from the radio", " dBi", "radio_gain_dbi", 1),
    "loss": ("loss in the feed", " dB", "feed_loss_db", 2),
    "heat": ("heat in the core", " W", "heat_in_core_w", 2),
    "shield": ("current on the shield", " A", "shield_max_a", 3),
}
FORMS_OF = {"swr": "SWR", "gain": "dBi", "loss": "fine dB", "heat": "watts", "shield": "amps"}
DIFFERENCES = {"gain": "dB"}  # how a difference is written where that is not as its values are
WISHES = {
    "SWR": ("SWR", "hundredths"), "highest": ("the highest point", "length"), "wire": ("wire out", "length"),
    "heat": ("heat in the core", "watts"),
}  # fmt: skip
"""wish -> what it limits, and how that is written"""
SAME = {"swr": 0.05, "gain": 0.2, "loss": 0.05, "heat": 0.05, "shield": 0.005}  # smaller differences are none


def aim_value(name: str, value: float) -> float:
    """An aim as people read it: a gain is searched with its sign turned."""
    return -value if name == "gain" else value


def choice_words(problem: Problem, row: Row) -> Words:
    """What a candidate is: all that was allowed to vary."""
    return joined([_knob(knob, row) for knob in problem.knobs], ", ", ", ")


def choice_text(problem: Problem, row: Mapping[str, Any], lengths: str) -> str:
    """The same as text, of any row with the columns of the knobs."""
    return choice_words(problem, Row(row, "choices", 0)).text(lengths)


def _knob(knob: Knob, row: Row) -> Words:
    value = cell_words(row, knob.column) if knob.is_words else row.number(knob.column, knob.form)
    return say("{label} {value}", label=Name(knob.label, "study"), value=value) if knob.label else say("{v}", v=value)


def leads(
    problem: Problem, row: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]
) -> Iterator[tuple[str, bool, int]]:
    """Each aim in which a row of "choices" beats all others, or another beats it: aim, whether the row wins, and the
    place of the best other in rows."""
    others = [i for i, r in enumerate(rows) if r is not row]
    for name in (*problem.spec.aims, *(() if "swr" in problem.spec.aims else ("swr",))):
        if name not in AIM_WORDS or not others:
            continue
        column, sign = AIM_WORDS[name][2], -1 if name == "gain" else 1
        best = min(others, key=lambda i: sign * rows[i][column])
        lead = sign * (rows[best][column] - row[column])
        if abs(lead) > SAME[name]:
            yield name, lead > 0, best


def wins_and_losses(problem: Problem, rows: list[dict[str, Any]]) -> None:
    """Adds to each row in words where it beats all others shown ("why") and where another beats it ("gives_up")."""
    for row in rows:
        why, gives_up = [], []
        for name, wins, other in leads(problem, row, rows):
            words, unit, column, digits = AIM_WORDS[name]
            if wins:
                why.append(f"{words} {row[column]:.{digits}f}{unit}")
            else:
                by = abs(rows[other][column] - row[column])
                gives_up.append(f"{words} {by:.{digits}f}{unit.replace('dBi', 'dB')} {_worse(name)}")
        row["why"] = "; ".join(why) or ("least cost of all aims together" if row is rows[0] else "")
        row["gives_up"] = "; ".join(gives_up)


def _worse(name: str) -> str:
    return "less" if name == "gain" else "more"


def study_files(result: Result) -> dict[str, str]:
    """Each choice as a study file ready to run: name -> TOML."""
    table = result.frames.get("choices")
    texts: dict[str, str] = {}
    for case in result.study.cases() if table is not None else ():
        problem = read_problem(result.study, case.raw)
        for row in result.of("choices", case).to_dict("records"):
            stem = "-".join(["choice", *([] if result.study.count == 1 else [str(case.index + 1)]), str(row["choice"])])
            texts[f"{stem}.toml"] = _study_file(problem, row, stem)
    return texts


def _study_file(problem: Problem, row: dict[Any, Any], stem: str) -> str:
    spec = problem.study.spec
    head = {
        "name": f"{spec.name[:40]}-{stem}",
        "question": f"What does choice {row['choice']} of {spec.name} do?",
        "bands": list(spec.bands),
        "region": spec.region,
        "want": ["dips", *(["pattern"] if "gain" in problem.spec.aims else [])],
        "swr_threshold": problem.swr,
    }
    choice = choice_text(problem, row, problem.study.lengths)
    comment = f"# Choice {row['choice']} of {spec.name}: {choice}.\n# tautwire run {stem}.toml\n\n"
    return comment + tomli_w.dumps({"study": head, **problem.candidate(problem.place_of(row))})


def findings(result: Result) -> list[Finding]:
    """Of every case: the best, how likely it holds, the alternatives, and what cannot be had."""
    if not (table := table_of(result, "choices")):
        return []
    found: list[Finding] = []
    for labels, rows in by_case(result, "choices", result.axis_columns):
        case = next(c for c in result.study.cases() if all(c.labels[k] == v for k, v in labels.items()))
        found += _of_case(result, read_problem(result.study, case.raw), rows, labels)
    return found + _big(result, table)


def verdict(result: Result, problem: Problem, best: Row) -> Words:
    """The best of a case, and the SWR and other aims that it has."""
    case = case_name(result, best)
    words = say(
        "{place}{choose} {choice}: SWR at most {swr}",
        place=say("{c}: ", c=case) if case.words else NOTHING,
        choose="Nothing keeps every limit; the nearest is" if best["misses"] else "Choose",
        choice=choice_words(problem, best),
        swr=best.number("swr_highest", "SWR"),
    )
    for name in problem.spec.aims:
        if name != "swr" and name in FORMS_OF:
            words = say("{words}, {aim} {value}", words=words, aim=AIM_WORDS[name][0],
                        value=best.number(AIM_WORDS[name][2], FORMS_OF[name]))  # fmt: skip
    return say("{words}.", words=words)


def _of_case(result: Result, problem: Problem, rows: list[Row], labels: dict[str, Any]) -> list[Finding]:
    best, *others = rows
    found = [Finding(verdict(result, problem, best), "verdict", "choice", labels)]
    if stopped := _stopped(result, labels):
        found.append(Finding(stopped, "caution", "stopped", labels))
    if math.isfinite(best["chance_percent"]):
        words = say(
            "In {chance} of similar installations (lengths, heights, soil, jacket, transformer a little different) the "
            "SWR stays at or below {limit} in every segment.",
            chance=best.number("chance_percent", "chance"), limit=Name(f"{problem.swr:g}", "study"),
        )  # fmt: skip
        found.append(Finding(words, "sure", "chance", labels))
    for row in others:
        parts = [choice_words(problem, row)]
        for name, wins, other in leads(problem, row, rows):
            aim, _, column, _ = AIM_WORDS[name]
            if wins:
                parts.append(say("best {aim} ({value})", aim=aim, value=row.number(column, FORMS_OF[name])))
            else:
                by = made_of("apart", DIFFERENCES.get(name, FORMS_OF[name]), (row, column), (rows[other], column),
                             result=result)  # fmt: skip
                parts.append(say("{aim} {by} {worse}", aim=aim, by=by, worse=_worse(name)))
        words = say("Alternative: {parts}.", parts=joined(parts, "; ", "; "))
        found.append(Finding(words, "answer", "alternative", labels))
    for wish in rows_of(result, "wishes", labels):
        limited, form = WISHES[wish["wish"]]
        what = say("the limit on {limited} (missed by {by})", limited=limited, by=wish.number("missed_by", form))
        if wish["rest_holds_without"]:
            words = say("Drop {what}, and every other limit is kept.", what=what)
        else:
            words = say("Dropping {what} alone is not enough.", what=what)
        found.append(Finding(words, "next", "wish", labels))
    return found


def _stopped(result: Result, labels: dict[str, Any]) -> Words:
    """What to say of a search that was stopped."""
    row = next(iter(rows_of(result, "choices_solved", labels)), None)
    if row is None or not row["stopped"]:
        return NOTHING
    return say(
        "This is the best so far: the search was stopped after {solved} of {allowed} solves. What is solved is kept, "
        "so the same command goes on from here.",
        solved=row.number("solved", "count"), allowed=row.number("allowed", "count"),
    )  # fmt: skip


def _big(result: Result, table: list[Row]) -> list[Finding]:
    best = table[0]
    problem = read_problem(result.study, result.study.cases()[0].raw)
    out = []
    for knob in problem.knobs[:2]:
        value = cell_words(best, knob.column) if knob.is_words else best.number(knob.column, knob.form)
        out.append(big(value, say("{label}", label=Name(knob.label or "the way to hang it", "study"))))
    return [*out, big(best.number("swr_highest", "rough SWR"), say("highest SWR of the best choice"))]
