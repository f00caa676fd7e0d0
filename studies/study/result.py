"""What a study gave: tidy frames, the cases that failed, the marks on those outside validity."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tautwire.model.errors import InputError
from tautwire.studies.study.columns import COLUMNS, type_of, unit_of
from tautwire.studies.study.files import make_folder, writable
from tautwire.studies.study.study import Case, Study

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr
    from matplotlib.figure import Figure


# --- Labelled arrays and columnar files, by libraries that are installed only where they are wanted.


EXTRA = "pip install 'tautwire[arrays]'"


def library(name: str) -> Any:
    """A library of the extra "arrays". Raises InputError that says how to install it."""
    try:
        return importlib.import_module(name)
    except ImportError:
        raise InputError(name, "not installed", EXTRA) from None


def xarray() -> Any:
    """The library of labelled arrays. Raises InputError if it is not installed."""
    return library("xarray")


# --- What a study gave.


Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Failure:
    """A case that gave no answer. labels: its place on the axes. inputs: the set-up as texts."""

    labels: dict[str, Any]
    reason: str
    inputs: dict[str, Any] = field(repr=False)


def typed(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame of a table with every number of the types that columns.py lists, whatever its rows happen to hold."""
    whole = [c for c in frame if c in COLUMNS and type_of(c, table) == "float" and frame[c].dtype.kind in "iu"]
    return frame.astype(dict.fromkeys(whole, float)) if whole else frame


class Tables(MutableMapping[str, "pd.DataFrame"]):
    """Tables by name, kept as rows until a frame is asked for: to load pandas takes as long as all else that a stored
    answer needs."""

    def __init__(self, tables: Mapping[str, Rows | pd.DataFrame]) -> None:
        self._tables: dict[str, Rows | pd.DataFrame] = dict(tables)
        self._later: dict[str, Callable[[], pd.DataFrame]] = {}

    def later(self, name: str, make: Callable[[], pd.DataFrame]) -> None:
        """Make a table's frame when it is asked for; until then it has no rows."""
        self._tables[name], self._later[name] = [], make

    def _known(self, name: str) -> Rows | pd.DataFrame:
        if name in self._later:
            self._tables[name] = typed(name, self._later.pop(name)())
        return self._tables[name]

    def __getitem__(self, name: str) -> pd.DataFrame:
        table = self._known(name)
        if isinstance(table, list):
            import pandas as pd

            table = self._tables[name] = typed(name, pd.DataFrame(table))
        return table

    def rows(self, name: str) -> Rows:
        """A table's rows; none if there is no such table."""
        table = self._known(name) if name in self._tables else []
        return table if isinstance(table, list) else table.to_dict("records")

    def value(self, name: str, row: int, column: str) -> Any:
        """A cell. Raises LookupError if there is none."""
        table = self._known(name)
        return table[row][column] if isinstance(table, list) else table[column].iloc[row]

    def __setitem__(self, name: str, table: Rows | pd.DataFrame) -> None:
        self._later.pop(name, None)
        self._tables[name] = table

    def __delitem__(self, name: str) -> None:
        self._later.pop(name, None)
        del self._tables[name]

    def __contains__(self, name: object) -> bool:
        return name in self._tables

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)


SHOWN = "tautwire.studies.reports.page"
"""what shows a result to people; loaded by name, as reports stand above this module"""


@dataclass(repr=False)
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
    (['all_dips', 'dips', 'quality', 'spread', 'spread_parts', 'sweeps', 'wire_change'], [])
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

    def place(self, row: Mapping[str, Any]) -> tuple[str, ...]:
        """The band and the place on the axes that a row is about, as texts: rows of two tables that share it belong
        together."""
        return (str(row["band"]), *(str(row.get(column)) for column in self.axis_columns))

    def of(self, table: str, case: Case) -> pd.DataFrame:
        """A case's rows of a table; none if there is no such table."""
        import pandas as pd

        frame = self.frames.get(table, pd.DataFrame())
        for column, value in case.labels.items():
            frame = frame[frame[column] == value] if column in frame else frame
        return frame

    def to_xarray(self, table: str = "dips") -> xr.Dataset:
        """A table as labelled arrays: an axis for each swept quantity and for the band.

        Parameters
        ----------
        table : str
            Name of the table: "dips", "sweeps", "quality" ...

        Returns
        -------
        xarray.Dataset
            A variable per column over the swept axes, "band" if the table has it, and "row" where there are several
            rows for each of these. Cells that the table does not have are NaN, or "" of words. units and long_name are
            in the attributes, as CF has them. `dataset.to_dataframe()` is the table again.

        Raises
        ------
        InputError
            For a table that is not there, or without xarray (pip install 'tautwire[arrays]').

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> tables = {"study": {"bands": ["20 m"]}, **setup, "sweep": {"antenna.length": ["10.1 m", "10.3 m"]}}
        >>> dips = tautwire.run(tautwire.read_study(tables), workers=0).to_xarray()
        >>> dict(dips.sizes), dips.dip_mhz.attrs["units"], dips.length_m.values.tolist()
        ({'length_m': 2, 'band': 1}, 'MHz', [10.1, 10.3])
        """
        arrays, frame = xarray(), self._table(table)
        order = {axis.column: list(dict.fromkeys(axis.labels)) for axis in self.study.axes if axis.column in frame}
        if "band" in frame:
            order["band"] = list(dict.fromkeys(frame["band"]))
        order = order or {"row": []}
        named = [name for name in order if name in frame]
        row = frame.groupby(named).cumcount() if named else frame.index
        if not named or row.max() > 0:
            frame, order["row"] = frame.assign(row=row), list(range(int(row.max()) + 1))
        whole = arrays.Dataset.from_dataframe(frame.set_index(list(order)))
        whole = whole.reindex({name: values for name, values in order.items() if name != "row"})
        for name in [*whole.data_vars, *whole.coords]:
            if name in frame and (unit := unit_of(str(name))):
                whole[name].attrs["units"] = unit
            if name in COLUMNS:
                whole[name].attrs["long_name"] = COLUMNS[str(name)]
        whole.attrs |= {"Conventions": "CF-1.11", "title": self.study.spec.question or self.study.name}
        return whole

    def to_parquet(self, folder: str | Path) -> list[Path]:
        """Write every table as a Parquet file, with units and meanings in the schema's field metadata.

        Parameters
        ----------
        folder : str or Path
            Where to write <table>.parquet; made if it is not there. Files of the same names are replaced.

        Returns
        -------
        list of Path
            The files written.

        Raises
        ------
        InputError
            If the folder cannot be written, or without pyarrow (pip install 'tautwire[arrays]').

        Examples
        --------
        >>> import tautwire, tempfile, pandas
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> result = tautwire.run(tautwire.read_study({"study": {"bands": ["20 m"]}, **setup}), workers=0)
        >>> files = result.to_parquet(tempfile.mkdtemp())
        >>> pandas.read_parquet(next(f for f in files if f.stem == "dips"))["band"].tolist()
        ['20 m']
        """
        arrow, parquet, folder = library("pyarrow"), library("pyarrow.parquet"), Path(folder)
        make_folder(folder)
        written = []
        for name, frame in self.frames.items():
            if not len(frame.columns):
                continue
            table = arrow.Table.from_pandas(frame, preserve_index=False)
            fields = [
                field.with_metadata({"units": unit_of(field.name), "long_name": COLUMNS.get(field.name, "")})
                for field in table.schema
            ]
            written.append(folder / f"{name}.parquet")
            with writable(written[-1]):
                parquet.write_table(table.cast(arrow.schema(fields, table.schema.metadata)), written[-1])
        return written

    def _table(self, name: str) -> pd.DataFrame:
        if name not in self.frames:
            raise InputError("table", repr(name), f"one of {', '.join(self.frames)}")
        return self.frames[name]

    @property
    def answer(self) -> list[str]:
        """The answer in words, the verdict first, and how far to trust it."""
        words: list[str] = importlib.import_module(SHOWN).words(self)
        return words

    def figures(self) -> dict[str, Figure]:
        """Every figure by name, as matplotlib figures; nothing is shown or written.

        Returns
        -------
        dict of str to matplotlib.figure.Figure
            Those of the questions asked, and "picture", the wire with its current and pattern.

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> result = tautwire.run(tautwire.read_study({"study": {"bands": ["20 m"]}, **setup}), workers=0)
        >>> "swr" in result.figures()
        True
        """
        figures: dict[str, Figure] = importlib.import_module(SHOWN).figures_of(self)
        return figures

    def __repr__(self) -> str:
        tables = ", ".join(f"{name} ({len(self.rows(name))})" for name in self.frames)
        lost = f"; {len(self.failed)} failed" if self.failed else ""
        return f"<Result {self.study.name!r}: {self.study.count} cases{lost}; tables {tables}>"

    def _repr_html_(self) -> str:
        """For notebooks: verdict, the main table, and the main figure."""
        return str(importlib.import_module(SHOWN).html(self))

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
