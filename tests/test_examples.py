"""Examples in docstrings are run, so that what the help shows is what happens."""

import doctest
import importlib
import pkgutil

import pytest

import tautwire

FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
FACE = "tautwire.studies.face"  # tautwire itself, seen by another name in an editable install
MODULES = ["tautwire", *(m.name for m in pkgutil.walk_packages(tautwire.__path__, "tautwire.") if m.name != FACE)]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    failed, _ = doctest.testmod(importlib.import_module(name), optionflags=FLAGS)
    assert not failed, "see the captured output"


@pytest.mark.parametrize("name", tautwire.__all__)
def test_public_names_show_an_example_that_runs(name):
    thing = getattr(tautwire, name)
    assert any(test.examples for test in doctest.DocTestFinder().find(thing, name)), name
