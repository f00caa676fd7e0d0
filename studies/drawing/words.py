"""Titles and captions: what was asked, and the set-up that all cases share, in words."""

from collections.abc import Callable
from typing import Any

from tautwire.studies.drawing.style import Heading, Look
from tautwire.studies.study.cells import in_words
from tautwire.studies.study.findings import Drawn
from tautwire.studies.study.raw import table_value
from tautwire.studies.study.study import Study

SPOKEN = (
    ("antenna.layout", "{}"),
    ("antenna.length", "{} of wire"),
    ("antenna.slope", "slope {}"),
    ("antenna.height", "height {}"),
    ("antenna.apex_height", "apex at {}"),
    ("antenna.end_height", "far end at {}"),
    ("antenna.feed_height", "feed at {}"),
    ("counterpoise.length", "counterpoise {}"),
    ("coax.length", "coax {}"),
    ("site.soil", "{}"),
)


def _spoken(value: Any) -> str:
    return in_words(value).replace("_", " ").replace(" deg", "°")


def shared_words(study: Study) -> str:
    """The main figures of the set-up that are the same in every case: "sloper, 20.1 m of wire, feed at 1.2 m".

    What a study that wants "choose" lets vary is left out.
    """
    cases = study.cases()
    vary = study.options["choose"].vary if "choose" in study.spec.want else ()
    free = {path for path, _ in SPOKEN for key in vary if f"{path}.".startswith(f"{key}.")}
    first, parts = cases[0].raw, []
    for path, form in SPOKEN:
        if path in free:
            continue
        try:
            value = table_value(first, path)
            same = all(table_value(c.raw, path) == value for c in cases)
        except (IndexError, ValueError):
            continue
        if value is not None and same:
            parts.append(form.format(_spoken(value)))
    if all(table_value(c.raw, "site.soil") is None for c in cases) and "site.soil" not in free:
        parts.append("average soil")
    return ", ".join(parts)


def title_of(study: Study) -> str:
    return study.spec.question or study.name


def heading_of(study: Study, size: str | Look = "print", title: Callable[[Drawn], str] | None = None) -> Heading:
    """What stands above a figure of all cases of a study: what it says, else what was asked; then the set-up."""

    def said(drawn: Drawn) -> str:
        return (title(drawn) if title else "") or title_of(study)

    return Heading(said, shared_words(study), size)
