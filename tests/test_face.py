"""What `import tautwire` gives: names that load when used, a version, help that reads like a first page."""

import ast
import inspect
import pydoc
import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

import tautwire


def test_version_is_that_of_the_package():
    assert tautwire.__version__ == metadata.version("tautwire")


def test_the_citation_and_the_changes_name_this_version():
    root = Path(__file__).parent.parent
    assert f"\nversion: {tautwire.__version__}\n" in (root / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\n## {tautwire.__version__}\n" in (root / "CHANGELOG.md").read_text(encoding="utf-8")


def test_import_loads_nothing_else():
    seen = "import sys, tautwire; print(*[m for m in sys.modules if m.startswith('tautwire.') or m == 'numpy'])"
    out = subprocess.run([sys.executable, "-c", seen], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == ""


def test_type_checkers_see_the_names_that_python_gives():
    tree = ast.parse(Path(tautwire.__file__).read_text(encoding="utf-8"))
    typed = {
        name.name: step.module for step in ast.walk(tree) if isinstance(step, ast.ImportFrom) for name in step.names
    }
    given = tautwire._HOMES
    assert {name: typed[name] for name in given} == given
    assert sorted(given) == tautwire.__all__
    assert set(tautwire.__all__) <= set(dir(tautwire))


def test_unknown_names_are_refused():
    with pytest.raises(AttributeError, match="no attribute 'antenna'"):
        tautwire.antenna  # noqa: B018


@pytest.mark.parametrize(("bands", "told"), [("20 m", "'20 m': a list, such as"), (20, "20: a list")])
def test_bands_that_are_no_list_are_named_as_written(bands, told):
    setup = {"antenna": {"layout": "sloper", "length": "19.8 m"}, "coax": {"length": "5 m"}}
    with pytest.raises(tautwire.InputError, match=rf"^bands = {told}"):
        tautwire.predict(setup, bands=bands)


def test_help_names_everything_public_and_begins_with_an_example():
    page = re.sub(".\b", "", pydoc.render_doc(tautwire))
    assert "predict(setup, bands=" in page[:1200]
    for name in tautwire.__all__:
        assert re.search(rf"^ +(class )?{name}\(", page, re.M), name


@pytest.mark.parametrize("name", [n for n in tautwire.__all__ if n.islower()])
def test_functions_tell_parameters_result_and_errors(name):
    function = getattr(tautwire, name)
    page = inspect.getdoc(function)
    for heading in ("Parameters", "Returns", "Raises", "Examples"):
        assert f"\n{heading}\n-----" in page, heading
    for parameter in inspect.signature(function).parameters:
        assert re.search(rf"^{parameter} : ", page, re.M), parameter
