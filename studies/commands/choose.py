"""tautwire choose FILE: which of many possible set-ups serves best."""

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import click

from tautwire.studies.commands.shared import (
    FILE,
    OWN_OUT,
    WORKERS,
    aligned,
    load_reports,
    progress_bar,
    results_folder,
    said,
    set_up_alone,
    tell_answer,
    write,
)
from tautwire.studies.reports.answers import as_typed, sentences, trust
from tautwire.studies.running.pool import Ask, asking_all, cores, lasting
from tautwire.studies.running.runner import known, pieces, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.cells import cell_text
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.result import Result, gather
from tautwire.studies.study.study import Case, Study
from tautwire.studies.wants.choose.candidates import Solved
from tautwire.studies.wants.choose.problem import Problem, read_problem
from tautwire.studies.wants.choose.search import Place, Progress
from tautwire.studies.wants.choose.want import answer, certainty, frames_of, in_turn, one_by_one, search
from tautwire.studies.wants.fit.fitted import FROM, with_fit
from tautwire.studies.wants.want import Frames

EXIT_STOPPED = 130  # as a shell says of what Ctrl-C ended


def side_by_side(
    problem: Problem, ask: Ask, store: Store, asked: list[tuple[Place, tuple[float, float]]]
) -> Iterator[tuple[int, Solved | str]]:
    """Candidates solved in worker processes, as they come."""
    tasks = [(problem, place, cell, store) for place, cell in asked]
    for i, done, fault in ask(answer, tasks, None):
        yield i, fault if done is None else done


def sure_side_by_side(problem: Problem, ask: Ask, store: Store, places: list[Place]) -> list[tuple[float, list[float]]]:
    """How sure candidates are, computed in worker processes."""
    nothing = float("nan"), [float("nan")] * len(problem.segments)
    found = asking_all(ask)(certainty, [(problem, place, store) for place in places])
    return [nothing if isinstance(sureness, str) else sureness for sureness in found]


def choose_case(case: Case, study: Study, store: Store, workers: int, progress: Progress) -> tuple[Frames, bool]:
    """The tables of a case, and whether Ctrl-C ended the search early."""
    problem, stopped = read_problem(study, case.raw), False
    with lasting(max(workers, 1), load_reports) as ask:
        alone = workers == 0
        many = one_by_one(problem, store) if alone else lambda asked: side_by_side(problem, ask, store, asked)
        found = search(problem, store, many, progress)
        try:
            found.run()
        except KeyboardInterrupt:
            if not found.candidates:
                raise
            stopped = True
        sure = in_turn(problem, store) if alone else lambda places: sure_side_by_side(problem, ask, store, places)
        return frames_of(found, sure, stopped), stopped


def choose(study: Study, store: Store, workers: int) -> Result:
    """All cases of a study that wants "choose"; after Ctrl-C the best so far of the case then searched."""
    with progress_bar("candidates solved") as tell:
        for case in study.cases():
            if known(case, study, store) is not None:
                continue
            frames, stopped = choose_case(case, study, store, workers, tell)
            if stopped:
                return gather(study, {case.index: frames}, {})
            store.put_json(next(p.key for p in pieces(case, study) if p.want.name == "choose"), frames)
    return run(study, store, workers)


def choices_text(result: Result) -> str:
    """The choices side by side as aligned text, a column each."""
    table = result.frames["choices"]
    left_out = {"choice", "why", "gives_up", "misses", *result.axis_columns}
    shown = [c for c in table if c not in left_out and table[c].notna().any()]
    lines = [("", *(f"choice {n}" for n in table["choice"]))]
    lines += [(str(c), *(cell_text(v) if isinstance(v, float) else str(v) for v in table[c])) for c in shown]
    return aligned(lines, "<>")


@click.command("choose")
@FILE
@FROM
@OWN_OUT
@WORKERS
def COMMAND(file: Path, fit: Path | None, out: Path | None, replace: bool, workers: int | None) -> None:
    """Choose among all set-ups that FILE's [choose] table allows: how long, how high, what to carry.

    Writes each choice as a study file ready to run. Ctrl-C ends the search and gives the best so far.
    """
    raw = set_up_alone(with_fit(load_tables(file), fit), "choose")
    study = read_study({**raw, "study": {**table_at(raw, "study"), "want": ["choose"]}}, file.stem)
    study = dataclasses.replace(study, file=str(file))
    with results_folder(study, "choose", out, replace) as made:
        result = choose(study, Store(), cores() if workers is None else workers)
        tell_answer(choices_text(result), *as_typed(result, sentences(result)), *trust(result))
        written = write(result, made, said("choose", file, from_=fit, out=out), store=Store())
    solved = result.frames["choices_solved"]["solved"].sum()
    click.echo(f"{solved} set-ups solved; {len(written)} files in {made.folder}")
    if result.frames["choices_solved"]["stopped"].any():
        raise click.exceptions.Exit(EXIT_STOPPED)
    if result.failed:
        raise click.exceptions.Exit(1)
