"""Columns by a function of the user's own: computed for every case and band, kept in the store under its code."""

import hashlib
import inspect
import math
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import Band
from tautwire.model.solve.solver import Solver
from tautwire.studies.study.columns import COLUMNS, TABLES
from tautwire.studies.study.result import Rows
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.solved import Solved, solved_of
from tautwire.studies.wants.want import Want

Function = Callable[[Band, Callable[[float], Solved]], Mapping[str, Any]]
PLAIN = (int, float, complex, str, bytes, bool, tuple, frozenset, type(None))
OURS = Path(__file__).parents[2]


@dataclass(frozen=True)
class OwnTable:
    """A table by a function(band, solve), named like it: a row per case and band.

    Raises InputError for what other processes could not import, or whose code cannot be read.
    """

    function: Function

    def __post_init__(self) -> None:
        f = self.function
        name = getattr(f, "__name__", repr(f))
        if not isinstance(f, FunctionType) or f.__closure__ or "." in f.__qualname__ or not name.isidentifier():
            raise InputError("own", name, "a function defined at the top of a module or script, without a lambda")
        if name in TABLES:
            raise InputError("own", name, "a name that no table of tautwire has")
        try:
            inspect.getsource(f)
        except (OSError, TypeError):
            raise InputError("own", name, "a function whose source can be read: its code is part of the key") from None

    @property
    def name(self) -> str:
        return str(getattr(self.function, "__name__", ""))

    @cached_property
    def code(self) -> str:
        """Digest of its source and of what it uses of the user's own: functions, modules, plain values."""
        text = hashlib.sha256()
        for part in _behind(self.function, set()):
            text.update(part.encode())
        return text.hexdigest()

    @property
    def want(self) -> Want:
        return Want(self.name, self.compute, by_band=True, depends=lambda study: self.code)

    def compute(self, setup: Setup, solver: Solver, study: Study) -> dict[str, Rows]:
        """Its rows of one case. A fault of the function is one of the case: SolveError."""
        feed, rows = setup.feed_system(), []
        taken = {axis.column for axis in study.axes} | {"band"}
        for band in study.bands:
            try:
                found = self.function(band, lambda f_hz: solved_of(solver, feed, f_hz))
            except (InputError, SolveError):
                raise
            except Exception as error:  # noqa: BLE001  whatever it is, it must not cost the other cases
                raise SolveError(f"{self.name}: {type(error).__name__}: {error}") from error
            rows.append({"band": band.name, **{k: self._value(k, v, taken) for k, v in _pairs(self.name, found)}})
        return {self.name: rows}

    def _value(self, column: str, value: Any, taken: set[str]) -> Any:
        if not re.fullmatch(r"[a-z][a-z0-9_]*", column) or column in taken or column in COLUMNS:
            allowed = "a name of small letters, digits and _, its unit at the end, that no column of tautwire has"
            raise InputError(f"{self.name}.column", repr(column), allowed)
        if isinstance(value, str | bool):
            return value
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise InputError(f"{self.name}.{column}", repr(value), "a number, a text, True or False") from None
        if math.isinf(number):
            raise InputError(f"{self.name}.{column}", repr(value), "a finite number, or NaN where there is none")
        return number


def _pairs(name: str, found: Any) -> list[tuple[str, Any]]:
    if not isinstance(found, Mapping) or not all(isinstance(k, str) for k in found):
        raise InputError(name, repr(found), "a mapping of column names to values")
    return list(found.items())


def _behind(function: FunctionType | Any, seen: set[str]) -> Iterator[str]:
    """Its source and defaults, and those of what it names that is neither tautwire's nor installed."""
    key = f"{function.__module__}.{function.__qualname__}"
    if key in seen:
        return
    seen.add(key)
    yield f"\n{key}\n{inspect.getsource(function)}{function.__defaults__!r}{function.__kwdefaults__!r}"
    for name in sorted(set(_names(function.__code__))):
        value = function.__globals__.get(name)
        if isinstance(value, FunctionType) and _own(getattr(value.__code__, "co_filename", "")):
            yield from _behind(value, seen)
        elif isinstance(value, ModuleType) and _own(getattr(value, "__file__", None) or ""):
            yield Path(str(value.__file__)).read_text(encoding="utf-8")
        elif isinstance(value, PLAIN) and value is not None:
            yield f"\n{name} = {value!r}"


def _names(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _names(inner)


def _own(file: str) -> bool:
    """Whether a file is the user's own: neither tautwire's nor installed."""
    if not file:
        return False
    path = Path(file)
    installed = [Path(sys.prefix).resolve(), Path(sys.base_prefix).resolve(), OURS]
    return not any(place in path.resolve().parents for place in installed) and "site-packages" not in path.parts
