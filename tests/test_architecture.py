"""Which module may import which: arrows run one way, so that any part can be read without what stands above it.

Imports inside functions count as well; those only for type checkers (`if TYPE_CHECKING:`) do not.
"""

import ast
import graphlib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILES = {
    "tautwire." + ".".join(f.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): f
    for top in ("model", "studies")
    for f in (ROOT / top).rglob("*.py")
}
Graph = dict[str, set[str]]


def imported(node: ast.AST) -> Iterator[str]:
    """Every module or name that code imports, with dots."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            yield from (alias.name for alias in child.names)
        elif isinstance(child, ast.ImportFrom):
            assert child.level == 0, "imports are absolute"
            yield from (f"{child.module}.{alias.name}" for alias in child.names)
        elif not (isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test)):
            yield from imported(child)


def module_of(name: str) -> str | None:
    """The module of ours that holds an imported name."""
    return name if name in FILES else next((m for m in (name.rpartition(".")[0],) if m in FILES), None)


NAMES = {module: set(imported(ast.parse(file.read_text(encoding="utf-8")))) for module, file in FILES.items()}
MODULES: Graph = {module: {m for n in names if (m := module_of(n))} for module, names in NAMES.items()}


def room(module: str) -> str:
    """The folder of a module: "studies.wants", "studies.wants.dips"; a file in model/ or studies/ is its own."""
    inner = module.split(".")[1:]
    return ".".join(inner[:2] if len(inner) <= 2 or FILES[module].name == "__init__.py" else inner[:-1])


def order(graph: Graph) -> list[str]:
    """Fails, naming the circle, if there is one."""
    try:
        return list(graphlib.TopologicalSorter(graph).static_order())
    except graphlib.CycleError as error:
        pytest.fail("import circle: " + " <- ".join(error.args[1]))


def test_the_test_sees_imports() -> None:
    assert len(FILES) > 100
    assert "tautwire.model.solve.engine" in MODULES["tautwire.model.solve.solver"]
    assert "tautwire.studies.wants.dips.figures" in MODULES["tautwire.studies.wants.dips.want"], "inside a function"
    with pytest.raises(pytest.fail.Exception, match="import circle"):
        order({"a": {"b"}, "b": {"a"}})


def test_the_model_does_not_know_the_studies() -> None:
    above = {(m, n) for m, seen in MODULES.items() if m.startswith("tautwire.model") for n in seen if ".studies" in n}
    assert not above


def test_one_module_imports_the_engine() -> None:
    assert {m for m, names in NAMES.items() if any(n.split(".")[0] == "PyNEC" for n in names)} == {
        "tautwire.model.solve.engine"
    }


def test_no_two_modules_import_each_other() -> None:
    assert len(order(MODULES)) == len(FILES)


def test_no_two_rooms_import_each_other() -> None:
    rooms: Graph = {}
    for module, seen in MODULES.items():
        rooms.setdefault(room(module), set()).update(room(m) for m in seen if room(m) != room(module))
    order(rooms)
    assert rooms["studies.study"] and not any(r.startswith("studies") for r in rooms["studies.study"])
