"""The manual as one offline page: everything in it but the prose is read from the code."""

import re
from collections.abc import Mapping
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup, escape

from tautwire import __version__
from tautwire.studies.manual.keys import Key, all_keys
from tautwire.studies.manual.lists import LISTS, NOTES
from tautwire.studies.manual.reference import entries
from tautwire.studies.study.cautions import CAUTIONS, DEFERENCE
from tautwire.studies.wants.registry import WANTS


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
