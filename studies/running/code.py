"""Which code makes a stored thing, and its digest: a result of other code is not taken for this one's.

A module's code is its own text, the files beside it that it names, and the code of every module of ours that it
imports, inside functions too, but not what is only for type checkers. A want whose options it reads by name counts as
imported, unless it is its own. Code that draws or writes is left out: no stored number depends on it.
"""

import hashlib
import re
from functools import lru_cache
from importlib import metadata
from pathlib import Path

from tautwire.model import constants
from tautwire.model.solve.engine import engine_name

ROOTS = {"model": Path(constants.__file__).parent, "studies": Path(__file__).parents[1]}
LEFT_OUT = re.compile(r"tautwire\.studies\.(drawing|reports|commands|running)\b|.*\.figures$")
FOR_CHECKERS = re.compile(r"^if TYPE_CHECKING:\n(?:[ \t]+.*\n|\n)+", re.M)
IMPORT = re.compile(r"^[ \t]*(?:from +(tautwire[\w.]*) +import +(\([^)]*\)|.*)|import +(tautwire[\w.]*))", re.M)
OPTIONS = re.compile(r"""\boptions\[(?:"|')(\w+)(?:"|')\]""")
DATA = re.compile(r"""(?:"|')([\w-]+\.[a-z]+)(?:"|')""")


def _file(module: str) -> Path | None:
    """The file of a module of ours, such as "tautwire.model.solve.engine"; None if there is none."""
    _, top, *rest = [*module.split("."), ""][:2] + module.split(".")[2:]
    if top not in ROOTS:
        return None
    place = ROOTS[top].joinpath(*rest)
    return next((f for f in (place.with_suffix(".py"), place / "__init__.py") if rest and f.is_file()), None)


@lru_cache(maxsize=1024)
def _text_and_imports(module: str) -> tuple[bytes, tuple[str, ...]]:
    file = _file(module)
    assert file is not None, module
    raw = file.read_bytes()
    text = FOR_CHECKERS.sub("", raw.decode("utf-8"))
    wants = [f"tautwire.studies.wants.{name}." for name in OPTIONS.findall(text)]
    found = [f"{want}want" for want in wants if not module.startswith(want)]
    for data in sorted(set(DATA.findall(text))):
        if (beside := file.with_name(data)).is_file():
            raw += f"\n{data}\n".encode() + beside.read_bytes()
    for source, names, plain in IMPORT.findall(text):
        listed = re.findall(r"(\w+)(?:[ \t]+as[ \t]+\w+)?", re.sub(r"#.*", "", names))
        found += [plain or source, *(f"{source}.{name}" for name in listed if source)]
    return raw, tuple(m for m in dict.fromkeys(found) if _file(m) and not LEFT_OUT.match(m))


def modules_behind(*modules: str) -> list[str]:
    """These modules and every one of ours that they reach, sorted."""
    seen: set[str] = set()
    todo = list(modules)
    while todo:
        module = todo.pop()
        if module not in seen:
            seen.add(module)
            todo += _text_and_imports(module)[1]
    return sorted(seen)


@lru_cache(maxsize=256)
def code_digest(*modules: str) -> str:
    """Digest of the code behind these modules; of all files, templates and style too, if none is given."""
    text = hashlib.sha256()
    if modules:
        for module in modules_behind(*modules):
            text.update(f"\n{module}\n".encode() + _text_and_imports(module)[0])
    else:
        for root in ROOTS.values():
            for file in sorted(f for f in root.rglob("*") if f.is_file() and "__pycache__" not in f.parts):
                text.update(file.read_bytes())
    return text.hexdigest()[:16]


@lru_cache(maxsize=1)
def libraries() -> dict[str, str]:
    """The engine and the libraries on which the digits of a result depend: name -> version."""
    engine, _, version = engine_name().rpartition(" ")
    return {engine: version, **{name: metadata.version(name) for name in ("numpy", "scipy")}}
