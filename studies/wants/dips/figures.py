"""The figures that belong to a study of dips: which ones its axes call for, with titles and captions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tautwire.studies.drawing.axes import evenly, running
from tautwire.studies.drawing.layout import layout_figure, layout_grid
from tautwire.studies.drawing.words import heading_of
from tautwire.studies.study.cells import in_words
from tautwire.studies.wants.dips.category import category_figure
from tautwire.studies.wants.dips.dip import dip_figure
from tautwire.studies.wants.dips.findings import layout_title, title_of_kind
from tautwire.studies.wants.dips.impedance import impedance_figure
from tautwire.studies.wants.dips.modes_figure import modes_figure
from tautwire.studies.wants.dips.smith import smith_figure
from tautwire.studies.wants.dips.swr import swr_figure

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.model.operating.bands import Band
    from tautwire.studies.drawing.style import Heading, Look, Sheet
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Axis, Case, Study


def layout_figures(study: Study, size: str | Look = "print") -> dict[str, Sheet]:
    """ "layout", and "layout_last" if the last case hangs or lies otherwise; a grid of side views for variants."""
    cases = study.cases()
    heading = heading_of(study, size)

    def under_title(*shown: Case) -> Heading:
        layouts = [(case.index, case.setup().build().layout) for case in shown]
        cells = [(i, x.length, max(p[2] for p in x.points)) for i, x in layouts]
        return replace(heading, title=layout_title(study.lengths, cells), setups=tuple(i for i, _ in layouts))

    if study.variants:
        firsts: dict[Any, Case] = {}
        for case in cases:
            firsts.setdefault(case.labels[study.axes[0].column], case)
        hung = [(in_words(k), c.setup().build()) for k, c in firsts.items()]
        title = replace(under_title(*firsts.values()), caption="")
        return {"layout": layout_grid(hung, title, lengths=study.lengths)}
    first, last = cases[0].setup().build(), cases[-1].setup().build()
    if first.structure == last.structure:
        return {"layout": layout_figure(first, under_title(cases[0]), lengths=study.lengths)}
    return {
        stem: layout_figure(built, under_title(case).under(study.words_of(case.labels)), lengths=study.lengths)
        for stem, built, case in (("layout", first, cases[0]), ("layout_last", last, cases[-1]))
    }


PLOTTED = {
    "swr": "SWR at the radio", "dip": "where each band dips", "impedance": "", "smith": "", "smith_radio": "",
    "modes": "",
}  # fmt: skip
KINDS = tuple(PLOTTED)
MOST_WORDS = 12  # cases named in a figure; half as many on a slide


def _fewer(axis: Axis, dips: pd.DataFrame, most: int) -> tuple[tuple[Axis], list[Any]]:
    """The axis with so many of its words, from the lowest dip of the first band to the highest, and those words."""
    first = dips[dips["band"] == dips["band"].iloc[0]].sort_values("dip_mhz")
    kept = [first[axis.column].iloc[i] for i in evenly(len(first), most)]
    texts = tuple(t for t in axis.texts if in_words(t) in kept)
    return (replace(axis, texts=texts),), kept


def dip_figure_of(
    result: Result, kind: str, size: str | Look = "print", bands: Sequence[Band] | None = None
) -> Sheet | None:
    """One of KINDS from the tables of want_dips; None without rows, or "dip" of a single case.

    bands: only these. "dip" runs along the axis with numbers, or compares words.
    """
    study = result.study
    dips, sweeps = result.frames.get("dips"), result.frames.get("sweeps")
    if dips is None or sweeps is None or dips.empty or sweeps.empty:
        return None
    shown = [b for b in bands or study.bands if (sweeps["band"] == b.name).any()]
    heading = heading_of(study, size, title_of_kind(result, kind)).under(PLOTTED[kind])
    axes, known = study.axes, result.frames.get("all_dips")
    if len(axes) == 1 and axes[0].numbers is None and len(axes[0].texts) > MOST_WORDS:
        axes, kept = _fewer(axes[0], dips, MOST_WORDS if size == "print" else MOST_WORDS // 2)
        dips, sweeps = (t[t[axes[0].column].isin(kept)] for t in (dips, sweeps))
        known = known if known is None else known[known[axes[0].column].isin(kept)]
        told = f"{len(kept)} of {len(study.axes[0].texts)} cases, from the lowest to the highest dip on {shown[0].name}"
        heading = heading.then(told)
    axis, spec = running(axes), study.spec
    if kind == "swr":
        return swr_figure(
            sweeps, dips, shown, axes, heading, region=spec.region, threshold=spec.swr_threshold
        )  # fmt: skip
    if kind == "impedance":
        return impedance_figure(sweeps, dips, shown, axes, heading)
    if kind == "modes":
        return None if known is None or study.count < 2 else modes_figure(known, shown, axes, heading)
    if kind in ("smith", "smith_radio"):
        return smith_figure(sweeps, shown, axes, heading, plane="radio" if kind == "smith_radio" else "wire")
    if axis is not None and axis.numbers is not None and len(axis.numbers) > 1:
        return dip_figure(dips, sweeps, shown, axes, heading)
    return category_figure(dips, sweeps, shown, axes, heading) if study.count > 1 else None


def dip_figures(
    result: Result, size: str | Look = "print", bands: Sequence[Band] | None = None
) -> Iterator[tuple[str, Sheet]]:
    """Every figure of KINDS that there is, as it is built."""
    for kind in KINDS:
        if (sheet := dip_figure_of(result, kind, size, bands)) is not None:
            yield kind, sheet


def plots(result: Result) -> Iterator[tuple[str, Sheet]]:
    """File stem and figure, print size, as they are built."""
    yield from layout_figures(result.study).items()
    yield from dip_figures(result)
