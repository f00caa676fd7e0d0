"""All figures of a result, the one picture first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from tautwire.studies.drawing.axes import in_lengths
from tautwire.studies.drawing.style import Heading, Sheet
from tautwire.studies.drawing.words import shared_words
from tautwire.studies.pictures.figure import the_picture
from tautwire.studies.wants.registry import want_named

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

    from tautwire.studies.running.store import Store
    from tautwire.studies.study.result import Result

PICTURE = "picture"  # file stem of the one picture


def picture_of(result: Result, size: str = "print", store: Store | None = None) -> Sheet | None:
    """The wire of every case and band with its current and pattern; None if no case was solved."""
    return the_picture(result, Heading("", shared_words(result.study), size), store) if result.frames else None


def each_figure(result: Result, store: Store | None = None) -> Iterator[tuple[str, Figure]]:
    """File stem and figure, at print size, as they are built: the picture, then those of each want."""
    picture = picture_of(result, store=store)
    if picture is not None:
        yield PICTURE, in_lengths(picture, result.study.lengths)
    stems = set()
    for name in result.study.spec.want:
        plots = want_named(name).plots(result)
        for stem, figure in plots.items() if isinstance(plots, Mapping) else plots:
            stems.add(stem)
            yield stem, in_lengths(figure, result.study.lengths)
    if result.frames and not {"layout", "choices_layout"} & stems:
        from tautwire.studies.wants.dips.figures import layout_figures

        yield from layout_figures(result.study).items()


def figures_of(result: Result, store: Store | None = None) -> dict[str, Figure]:
    """All of them."""
    return dict(each_figure(result, store))


def alternative(stem: str, figure: Figure) -> str:
    """The words for those who do not see a figure: its title and caption, else its name."""
    return (figure.alternative if isinstance(figure, Sheet) else "") or stem.replace("_", " ").replace("-", " ")
