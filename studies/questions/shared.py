"""What the questions share: a study or its tables taken alike, one case solved by all cores."""

from collections.abc import Callable, Mapping
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.running.pool import Ask
from tautwire.studies.running.runner import Progress, ahead, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import ALONE, read_study
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.want import Frames

LONG = 1800.0  # seconds for a question that is one case and many solves
Asked = Study | Mapping[str, Any]
"""a study, or the tables of a study file"""


def tables_of(study: Asked) -> Raw:
    """The tables of a study file that a study was read from, or that are given."""
    if isinstance(study, Study):
        return dict(study.tables)
    if not isinstance(study, Mapping):
        raise InputError("study", repr(study), "a study, or a mapping with the tables of a study file")
    return dict(study)


def asking_for(raw: Raw, want: str, options: Mapping[str, Any], name: str) -> Study:
    head = {**table_at(raw, "study"), "want": [want]}
    return read_study({**raw, "study": head, want: dict(options), **ALONE}, name)


def one_case(
    study: Study,
    want: str,
    compute: Callable[[Setup, Ask], Frames],
    store: Store,
    workers: int | None,
    timeout: float,
    meanwhile: Callable[[], object] | None,
    progress: Progress | None,
) -> Result:
    """A question about a set-up alone, its many solves side by side."""
    ahead(study, want, store, compute, meanwhile, workers)
    return run(study, store, workers and 1, timeout, progress=progress)
