"""The manual as one offline page: everything in it but the prose is read from the code."""

import inspect
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup, escape

import tautwire
from tautwire import __version__
from tautwire.studies.manual.keys import Key, all_keys
from tautwire.studies.manual.lists import LISTS, NOTES
from tautwire.studies.study.findings import CAUTIONS, DEFERENCE
from tautwire.studies.wants.want import WANTS

# --- The Python reference of the manual, from the docstrings (numpydoc's form) of what `import tautwire` gives.


HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}\n", re.M)
ITEM = re.compile(r"^(\S.*)\n((?:[ ]{4}.*\n|\n)*)", re.M)
LISTED = ("Parameters", "Attributes", "Returns", "Raises")


@dataclass(frozen=True)
class Section:
    """A section of a docstring. items: name and words of each entry of a listed one; text: of any other.

    heading: "" for what stands before the first one.
    """

    heading: str
    text: str
    items: tuple[tuple[str, str], ...] = ()

    @property
    def is_code(self) -> bool:
        return self.heading == "Examples"


@dataclass(frozen=True)
class Entry:
    """A public name, or a method of one, with dots. call: how it is called."""

    name: str
    call: str
    sections: tuple[Section, ...]


def sections(doc: str) -> Iterator[Section]:
    """The sections of a docstring.

    >>> [s.heading for s in sections("Does it.\\n\\nParameters\\n----------\\nx : int\\n    A number.\\n")]
    ['', 'Parameters']
    """
    first, *rest = HEADING.split(doc.strip() + "\n")
    yield Section("", first.strip())
    for heading, body in zip(rest[::2], rest[1::2], strict=True):
        found = ITEM.findall(body) if heading in LISTED else []
        items = tuple((name.strip(), " ".join(words.split())) for name, words in found)
        yield Section(heading, body.strip(), items)


def call_of(thing: Any) -> str:
    """ "(setup, band, region=1)": parameters with their defaults, without types."""
    try:
        parameters = inspect.signature(thing).parameters.values()
    except ValueError:  # an exception has none of its own
        return "(message)"
    shown = []
    for p in parameters:
        default = "" if p.default is p.empty else f"={p.default!r}"
        default = "=..." if "<" in default else default
        if not p.name.startswith("_") and p.name != "self":
            shown.append(p.name + default)
    return f"({', '.join(shown)})"


def entries() -> Iterator[Entry]:
    """Every public name, functions first, each class followed by its documented methods."""
    for name in sorted(tautwire.__all__, key=lambda n: (n[0].isupper(), n)):
        thing = getattr(tautwire, name)
        yield Entry(name, call_of(thing), tuple(sections(inspect.getdoc(thing) or "")))
        if inspect.isclass(thing):
            for method, value in vars(thing).items():
                doc = inspect.getdoc(value) or ""
                if not method.startswith("_") and inspect.isfunction(value) and "\nExamples\n" in doc:
                    yield Entry(f"{name}.{method}", call_of(value), tuple(sections(doc)))


# --- The manual as one offline page.


def anchor(path: str) -> str:
    """The name of a key's place in the page."""
    return "key-" + path.replace("*", "any")


def coded(words: str) -> Markup:
    """Words with what stands between backticks as code.

    >>> coded("a name of `tautwire list bands`, or <own>")
    Markup('a name of <code>tautwire list bands</code>, or &lt;own&gt;')
    """
    return Markup(re.sub(r"`([^`]+)`", r"<code>\1</code>", str(escape(words))))


def tables() -> dict[str, list[Key]]:
    """Table of a study file -> its keys, the set-up's first."""
    sections: dict[str, list[Key]] = {}
    for key in all_keys():
        sections.setdefault(key.table, []).append(key)
    return sections


def manual_page(commands: Mapping[str, str]) -> str:
    """The manual as HTML. commands: of the command line -> what each does."""
    folder = resources.files("tautwire.studies.manual")
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    facts: dict[str, Any] = {
        "version": __version__,
        "style": Markup((folder / "manual.css").read_text(encoding="utf-8")),
        "tables": tables(),
        "wants": WANTS,
        "lists": {name: make(1) for name, make in LISTS.items()},
        "notes": NOTES,
        "reference": list(entries()),
        "commands": commands,
        "cautions": CAUTIONS,
        "deference": DEFERENCE,
        "anchor": anchor,
    }
    environment.filters["coded"] = coded
    return environment.get_template("manual.html.j2").render(facts)
