"""All tests share a cache of their own, and `check`, which compares a number with an outside one and writes it down."""

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Generator
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import settings
from validation_table import FOLDER, Row, Table, text

from tautwire.studies.running.store import FOLDER_VARIABLE, Store

settings.register_profile("steady", derandomize=True, deadline=None)  # the same examples on every machine, busy or not
settings.load_profile("steady")
TABLE = Table()
Check = Callable[..., None]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--full", action="store_true", help="also the long validation runs")
    parser.addoption("--no-skips", action="store_true", help="a test that is skipped fails")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "full: run with --full only")
    if not hasattr(config, "workerinput"):  # the workers of a run share one store
        os.environ[FOLDER_VARIABLE] = tempfile.mkdtemp(prefix="tautwire-tests-")


def pytest_unconfigure(config: pytest.Config) -> None:
    if hasattr(config, "workerinput"):
        return
    shutil.rmtree(os.environ.pop(FOLDER_VARIABLE), ignore_errors=True)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--full"):
        long = [item for item in items if item.get_closest_marker("full")]
        items[:] = [item for item in items if item not in long]
        config.hook.pytest_deselected(items=long)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.skipped and not hasattr(report, "wasxfail") and item.config.getoption("--no-skips"):
        report.outcome, report.longrepr = "failed", f"skipped: {call.excinfo and call.excinfo.value}"
    return report


@pytest.fixture(scope="session")
def remember() -> Store:
    """A store for solvers, so that tests share the engine's matrices."""
    return Store(Path(os.environ[FOLDER_VARIABLE]))


@pytest.fixture(scope="session")
def full(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--full"))


@pytest.fixture
def check(request: pytest.FixtureRequest) -> Check:
    """check(what, source, expected, computed, rel= or abs=, unit): write the row, then assert it."""
    numbers = TABLE.rows

    def compare(
        what: str, source: str, expected: complex, computed: complex, *, rel: float = 0.0, abs: float = 0.0,
        unit: str = "", family: str | None = None,
    ) -> None:  # fmt: skip
        words = re.split(r":|\.\s", request.module.__doc__ or request.module.__name__)[0]
        off, allowed = float(_size(computed - expected)), rel * float(_size(expected)) + abs
        row = Row(family or words, what, source, text(expected), text(computed), off, allowed, unit)
        numbers.append(row)
        assert row.passed, f"{what}: {row.computed} {unit}, not {row.expected} within {allowed:.3g} ({source})"

    return compare


def _size(value: complex) -> float:
    return abs(complex(value))


@pytest.fixture(scope="session")
def series() -> Callable[[str, pd.DataFrame], None]:
    """series(name, frame): a table to be left in results/validation."""
    return TABLE.series.__setitem__


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if "validation" in report.keywords and (report.when == "call" or report.skipped):
        TABLE.verdicts[report.nodeid] = report.outcome


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """The table is written when all validation was asked for, not for a part of it."""
    config = session.config
    whole = config.getoption("markexpr") == "validation" and not config.getoption("keyword")
    whole = whole and not config.getoption("collectonly") and config.args == config.getini("testpaths")
    if whole and TABLE.rows and not hasattr(config, "workerinput"):
        TABLE.write(FOLDER, bool(config.getoption("--full")))
        verdicts = pd.DataFrame(sorted(TABLE.verdicts.items()), columns=["test", "outcome"])
        verdicts.to_csv(FOLDER / "verdicts.csv", index=False, lineterminator="\n")
