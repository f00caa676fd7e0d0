"""What a search for the best set-up found, in words: the best, why it wins, what it gives up, which wish to drop."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import tomli_w

from tautwire.studies.wants.choose.problem import Problem, read_problem

if TYPE_CHECKING:
    import pandas as pd

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
SAME = {"swr": 0.05, "gain": 0.2, "loss": 0.05, "heat": 0.05, "shield": 0.005}  # smaller differences are none


def aim_value(name: str, value: float) -> float:
    """An aim as people read it: a gain is searched with its sign turned."""
    return -value if name == "gain" else value


def choice_words(problem: Problem, row: dict[str, Any]) -> str:
    """What a candidate is: all that was allowed to vary, in words."""
    return ", ".join(k.words(row[k.column]) for k in problem.knobs)


def wins_and_losses(problem: Problem, rows: list[dict[str, Any]]) -> None:
    """Adds to each row in words where it beats all others shown ("why") and where another beats it ("gives_up")."""
    for row in rows:
        others = [r for r in rows if r is not row]
        why, gives_up = [], []
        for name in (*problem.spec.aims, *(() if "swr" in problem.spec.aims else ("swr",))):
            if name not in AIM_WORDS or not others:
                continue
            words, unit, column, digits = AIM_WORDS[name]
            sign = -1 if name == "gain" else 1
            best = min(sign * r[column] for r in others)
            lead = best - sign * row[column]
            if lead > SAME[name]:
                why.append(f"{words} {row[column]:.{digits}f}{unit}")
            elif lead < -SAME[name]:
                gives_up.append(f"{-lead:.{digits}f}{unit.replace('dBi', 'dB')} of {words}")
        row["why"] = "; ".join(why) or ("least cost of all aims together" if row is rows[0] else "as an alternative")
        row["gives_up"] = "; ".join(gives_up) or "nothing of note"


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
    comment = f"# Choice {row['choice']} of {spec.name}: {choice_words(problem, row)}.\n# tautwire run {stem}.toml\n\n"
    return comment + tomli_w.dumps({"study": head, **problem.candidate(problem.place_of(row))})


def sentences(result: Result) -> list[str]:
    """The best, the others, the certainty, and what cannot be had."""
    table = result.frames.get("choices")
    if table is None or table.empty:
        return []
    lines = []
    groups = table.groupby(result.axis_columns, sort=False) if result.axis_columns else [((), table)]
    for key, rows in groups:
        labels = dict(zip(result.axis_columns, key if isinstance(key, tuple) else (key,), strict=True))
        case = next(c for c in result.study.cases() if all(c.labels[k] == v for k, v in labels.items()))
        problem = read_problem(result.study, case.raw)
        head = f"{', '.join(f'{k} {v}' for k, v in labels.items())}: " if labels else ""
        lines += _of_case(result, problem, rows, labels, head)
    return lines


def finding(result: Result) -> str:
    """The best of the first case in one line."""
    table = result.frames.get("choices")
    if table is None or table.empty:
        return ""
    case = result.study.cases()[0]
    problem, best = read_problem(result.study, case.raw), result.of("choices", case).to_dict("records")[0]
    words = choice_words(problem, best)
    if best["misses"]:
        return f"Nothing keeps every wish; nearest is {words}"
    return f"Choose {words}: SWR at most {best['swr_highest']:.1f}" + "".join(
        f", {w} {best[c]:.{d}f}{u}" for w, u, c, d in _further(problem)
    )


def _of_case(result: Result, problem: Problem, rows: pd.DataFrame, labels: dict[str, Any], head: str) -> list[str]:
    best, *others = rows.to_dict("records")
    early = _stopped(result, labels)
    names = ", ".join(s.name for s in problem.segments)
    held = not best["misses"]
    lines = [
        f"{head}{'Choose' if held else 'Nothing keeps every wish; nearest is'} {choice_words(problem, best)}: "
        f"SWR at most {best['swr_highest']:.2f} across {names}"
        + "".join(f", {w} {best[c]:.{d}f}{u}" for w, u, c, d in _further(problem))
        + "."
        + early
    ]
    chance = best["chance_percent"]
    if math.isfinite(chance):
        lines.append(
            f"With what is usually not known (lengths, heights, soil, jacket, transformer) it stays at or below "
            f"{problem.swr:g}:1 everywhere with a chance of {chance:.0f} %."
        )
    for row in others:
        lines.append(f"Or {choice_words(problem, row)}: {row['why']}; gives up {row['gives_up']}.")
    wishes = result.frames.get("wishes")
    if not held and wishes is not None:
        for wish in _rows(wishes, labels).to_dict("records"):
            if wish["rest_holds_without"]:
                lines.append(
                    f"Drop the wish about {wish['wish']} (missed by {wish['missed_by']:.2g}) and the rest can be had."
                )
            else:
                lines.append(f"The wish about {wish['wish']} is missed by {wish['missed_by']:.2g}, and not it alone.")
    return lines


def _stopped(result: Result, labels: dict[str, Any]) -> str:
    """What to say of a search that was stopped."""
    row = _rows(result.frames["choices_solved"], labels).iloc[0]
    if not row["stopped"]:
        return ""
    return (
        f" This is the best so far: the search was stopped after {row['solved']} of {row['allowed']} solves; what is "
        "solved is kept, so the same command goes on from here."
    )


def _rows(table: pd.DataFrame, labels: dict[str, Any]) -> pd.DataFrame:
    for column, value in labels.items():
        table = table[table[column] == value]
    return table


def _further(problem: Problem) -> list[tuple[str, str, str, int]]:
    return [AIM_WORDS[name] for name in problem.spec.aims if name != "swr" and name in AIM_WORDS]
