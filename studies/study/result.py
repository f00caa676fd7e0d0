"""What a study gave: tidy frames, the cases that failed, the marks on those outside validity."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from tautwire.studies.study.study import Case, Study


@dataclass(frozen=True)
class Failure:
    """A case that gave no answer. labels: its place on the axes. inputs: the set-up as texts."""

    labels: dict[str, Any]
    reason: str
    inputs: dict[str, Any] = field(repr=False)


@dataclass
class Result:
    """What a study gave.

    Attributes
    ----------
    study : Study
        What was asked.
    frames : dict of str to pandas.DataFrame
        Table name ("dips", "sweeps", "quality" ...) -> its rows in case order, columns of the swept axes first.
    failed : list of Failure
        Cases without an answer: labels, reason, and inputs, the set-up as it was written.
    seconds : float
        Time it took, s.
    cached : int
        Cases that were read from the store.

    Examples
    --------
    >>> import tautwire
    >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
    >>> result = tautwire.run(tautwire.read_study({"study": {"bands": ["20 m"]}, **setup}), workers=0)
    >>> sorted(result.frames), result.failed
    (['all_dips', 'dips', 'quality', 'spread', 'spread_parts', 'sweeps'], [])
    """

    study: Study
    frames: dict[str, pd.DataFrame]
    failed: list[Failure]
    seconds: float = 0.0
    cached: int = 0

    @property
    def axis_columns(self) -> list[str]:
        return [axis.column for axis in self.study.axes]

    def of(self, table: str, case: Case) -> pd.DataFrame:
        """A case's rows of a table; none if there is no such table."""
        frame = self.frames.get(table, pd.DataFrame())
        for column, value in case.labels.items():
            frame = frame[frame[column] == value] if column in frame else frame
        return frame

    def marked(self) -> pd.DataFrame:
        """Rows of the quality frame that are outside validity."""
        quality = self.frames.get("quality", pd.DataFrame())
        return quality[quality["marks"] != ""] if "marks" in quality else quality


def gather(study: Study, answers: dict[int, dict[str, list[dict[str, Any]]]], failed: dict[int, str]) -> Result:
    """The result of the answered cases, in case order whatever order they were computed in."""
    cases: dict[int, Case] = {case.index: case for case in study.cases()}
    rows: dict[str, list[dict[str, Any]]] = {}
    for index in sorted(answers):
        for name, part in answers[index].items():
            rows.setdefault(name, []).extend({**cases[index].labels, **row} for row in part)
    frames = {name: pd.DataFrame(part) for name, part in rows.items()}
    if study.given:
        values = {axis.column: list(axis.labels) for axis in study.given}
        frames["cases"] = pd.DataFrame({study.axes[0].column: list(study.variants), **values})
    failures = [Failure(cases[i].labels, failed[i], cases[i].raw) for i in sorted(failed)]
    return Result(study, frames, failures)
