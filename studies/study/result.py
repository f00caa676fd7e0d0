"""What a study gave: tidy frames, the cases that failed, the marks on those outside validity."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, MutableMapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from tautwire.studies.study.study import Case, Study

if TYPE_CHECKING:
    import pandas as pd

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Failure:
    """A case that gave no answer. labels: its place on the axes. inputs: the set-up as texts."""

    labels: dict[str, Any]
    reason: str
    inputs: dict[str, Any] = field(repr=False)


class Tables(MutableMapping[str, "pd.DataFrame"]):
    """Tables by name, kept as rows until a frame is asked for: to load pandas takes as long as all else that a stored
    answer needs."""

    def __init__(self, tables: Mapping[str, Rows | pd.DataFrame]) -> None:
        self._tables: dict[str, Rows | pd.DataFrame] = dict(tables)

    def __getitem__(self, name: str) -> pd.DataFrame:
        table = self._tables[name]
        if isinstance(table, list):
            import pandas as pd

            table = self._tables[name] = pd.DataFrame(table)
        return table

    def rows(self, name: str) -> Rows:
        """A table's rows; none if there is no such table."""
        table = self._tables.get(name, [])
        return table if isinstance(table, list) else table.to_dict("records")

    def value(self, name: str, row: int, column: str) -> Any:
        """A cell. Raises LookupError if there is none."""
        table = self._tables[name]
        return table[row][column] if isinstance(table, list) else table[column].iloc[row]

    def __setitem__(self, name: str, table: Rows | pd.DataFrame) -> None:
        self._tables[name] = table

    def __delitem__(self, name: str) -> None:
        del self._tables[name]

    def __contains__(self, name: object) -> bool:
        return name in self._tables

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)


@dataclass
class Result:
    """What a study gave.

    Attributes
    ----------
    study : Study
        What was asked.
    frames : mapping of str to pandas.DataFrame
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
    frames: Tables
    failed: list[Failure]
    seconds: float = 0.0
    cached: int = 0

    def __post_init__(self) -> None:
        if not isinstance(self.frames, Tables):
            self.frames = Tables(self.frames)

    def rows(self, table: str) -> Rows:
        """A table's rows as dicts, in case order; none if there is no such table."""
        return self.frames.rows(table)

    @property
    def axis_columns(self) -> list[str]:
        return [axis.column for axis in self.study.axes]

    def of(self, table: str, case: Case) -> pd.DataFrame:
        """A case's rows of a table; none if there is no such table."""
        import pandas as pd

        frame = self.frames.get(table, pd.DataFrame())
        for column, value in case.labels.items():
            frame = frame[frame[column] == value] if column in frame else frame
        return frame

    def marked(self) -> Rows:
        """Rows of the quality table that are outside validity."""
        return [row for row in self.rows("quality") if row.get("marks")]


def gather(study: Study, answers: dict[int, dict[str, Rows]], failed: dict[int, str]) -> Result:
    """The result of the answered cases, in case order whatever order they were computed in."""
    cases: dict[int, Case] = {case.index: case for case in study.cases()}
    rows: dict[str, Rows] = {}
    for index in sorted(answers):
        for name, part in answers[index].items():
            rows.setdefault(name, []).extend({**cases[index].labels, **row} for row in part)
    if study.given:
        columns = {study.axes[0].column: study.variants, **{axis.column: axis.labels for axis in study.given}}
        rows["cases"] = [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
    failures = [Failure(cases[i].labels, failed[i], cases[i].raw) for i in sorted(failed)]
    return Result(study, Tables(rows), failures)
