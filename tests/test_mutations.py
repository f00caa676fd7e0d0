"""Mutated study files, measurements and stores: read, or refused in one line that names key and remedy.

Some hundreds here; tests/benchmarks/faults.py tries thousands. What was found stands as plain tests in test_mistakes.py
and test_sweep_files.py.
"""

from collections import Counter
from pathlib import Path

import mutations
from test_sweep_files import FORMS


def test_studies(tmp_path: Path) -> None:
    found = mutations.try_studies(tmp_path, seed=1, count=200)
    assert mutations.faults(found) == []
    assert Counter(a.kind for a in found)[mutations.READ] > 20, "some mutations leave a sound study"


def test_measurements(tmp_path: Path) -> None:
    found = mutations.try_sweeps(tmp_path, seed=1, count=200, files=[(f.file, f.content) for f in FORMS])
    assert mutations.faults(found) == []
    assert Counter(a.kind for a in found)[mutations.READ] > 20


def test_a_fault_is_seen_as_one() -> None:
    """The judge itself: what is no InputError, has no remedy, no key or no end."""

    def raising(error: Exception) -> mutations.Answer:
        def read() -> None:
            raise error

        return mutations.answer(read, lambda e: e.field != "?")

    wrong = mutations.InputError
    assert raising(KeyError("dips")).kind == "traceback"
    assert raising(wrong("a", 1, "")).kind == "no remedy"
    assert raising(wrong("?", 1, "a length")).kind == "no key"
    assert raising(wrong("a", 1, "a length")).kind == mutations.REFUSED
    assert mutations.answer(_forever, lambda e: True, limit=1).kind == "hang"


def _forever() -> None:
    while True:
        pass
