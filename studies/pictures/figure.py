"""The one picture: the same wire in every case and on every band, to one scale, with current and pattern on it."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from tautwire.model.errors import SolveError
from tautwire.studies.drawing.style import INK, QUIET, Heading, Look, Sheet, look_named, style
from tautwire.studies.pictures.choice import shown_bands, shown_cases
from tautwire.studies.pictures.panel import AHEAD, BACK, LOBE, LOBE_EDGE, Frame, frame_of, panel, scale_bar
from tautwire.studies.pictures.seen import Seen, seen
from tautwire.studies.running.store import Store
from tautwire.studies.study.cells import in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case

MOST_CASES, MOST_ALONE, MOST_BANDS = 5, 6, 4
NAME_LINES = 3
Row = list[Seen]


def the_picture(result: Result, heading: Heading, store: Store | None = None) -> Sheet | None:
    """A column a case, a row a band; None if no case was solved.

    Where not all fit, the caption says which are shown.
    """
    look = look_named(heading.size)
    alone = len(result.study.bands) == 1
    cases, fewer = shown_cases(result, MOST_ALONE if alone else MOST_CASES if look.name == "print" else 4)
    bands, without = shown_bands(result.study.bands, MOST_BANDS if look.name == "print" else 3)
    store = store or Store()
    rows: list[Row] = []
    kept = []
    for case in cases:
        try:
            rows.append([seen(case.setup(), band, store) for band in bands])
            kept.append(case)
        except SolveError:
            continue
    if not rows:
        return None
    for words in filter(None, (fewer, without)):
        heading = heading.then(words)
    names = [case_name(result, case) for case in kept]
    grid = [list(column) for column in zip(*rows, strict=True)]  # a row a band
    return _sheet(grid, names, [b.name for b in bands], heading, numbers_of(result))


def case_name(result: Result, case: Case) -> str:
    """A case's place on the axes, short."""
    return ", ".join(a.words(case.labels[a.column]) for a in result.study.axes)


def numbers_of(result: Result) -> Any:
    """What is written into a panel: the dip where dips are asked for, and gain at a low angle."""
    dips = any(w in result.study.spec.want for w in ("dips", "turns", "why", "fit"))

    def words(view: Seen) -> list[str]:
        low = f"{view.low_dbi:.0f} dBi at 15°".replace("-", "−")
        return [f"{view.f_mhz:.3f} MHz", low] if dips else [low, f"side {view.side_dbi:.0f} dBi".replace("-", "−")]

    return words
