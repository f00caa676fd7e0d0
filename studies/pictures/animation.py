"""The one picture as one quantity is swept, as a GIF: wire, current, pattern and dips move together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.drawing.axes import evenly
from tautwire.studies.drawing.gif import there_and_back
from tautwire.studies.drawing.style import AHEAD, INK, QUIET, RULE, TARGET, Heading, Look, style
from tautwire.studies.drawing.words import shared_words
from tautwire.studies.pictures.choice import shown_bands
from tautwire.studies.pictures.figure import MOST_BANDS, TABLE, case_name, numbers_of, picture_rows
from tautwire.studies.pictures.grid import sheet_of
from tautwire.studies.pictures.panel import frame_of
from tautwire.studies.pictures.seen import Seen, seen_bands
from tautwire.studies.study.findings import table_of
from tautwire.studies.wants.dips.animation import animated_axis

if TYPE_CHECKING:
    import numpy as np

    from tautwire.model.operating.bands import Band
    from tautwire.studies.drawing.style import Sheet
    from tautwire.studies.running.store import Store
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Case

SIZE = Look("animation", 8.0, 4.5, 10.5, 1.8, 100)
MOST_FRAMES, COLOURS = 16, 64
FOOT = 0.75  # inches for the dips


def animate_picture(result: Result, store: Store) -> bytes:
    """The GIF: one frame a case of the running axis (at most 16, evenly picked), there and back, to one scale.

    Other axes stay at their first value. Raises InputError without a numeric axis of two values or more, or where
    no case was solved.
    """
    return there_and_back(drawn(result, store), COLOURS)


def drawn(result: Result, store: Store) -> list[np.ndarray]:
    """The frames there, (height, width, 3) bytes each. Raises as animate_picture."""
    study, axis = result.study, animated_axis(result.study)
    bands, _ = shown_bands(study.bands, MOST_BANDS)
    others = [a.column for a in study.axes if a.column != axis.column]
    first = study.cases()[0].labels
    cases = [c for c in study.cases() if all(c.labels[k] == first[k] for k in others)]
    cases.sort(key=lambda c: c.labels[axis.column])
    cases = [cases[i] for i in evenly(len(cases), MOST_FRAMES)]
    rows: list[tuple[Case, list[Seen]]] = []
    for case in cases:
        try:
            rows.append((case, seen_bands(case, study, bands, store)))
        except SolveError:
            continue
    if not rows:
        raise InputError("--animate", study.name, "a study of which cases were solved")
    frame = frame_of([v for _, views in rows for v in views], study.lengths)
    result.frames[TABLE] = [row for case, views in rows for row in picture_rows(case.labels, views)]
    of_view = zip((id(v) for _, views in rows for v in views), table_of(result, TABLE), strict=True)
    words, names = numbers_of(result, dict(of_view))[0], [b.name for b in bands]
    kept = case_name([a for a in study.axes if a is not axis], cases[0])
    dips = [[_dips(result, case, band) for band in bands] for case, _ in rows]
    frames = []
    with style(SIZE):
        for k, (case, views) in enumerate(rows):
            title = f"{axis.name} {axis.value_text(case.labels[axis.column])}"
            heading = Heading(title, ", ".join(filter(None, (kept, shared_words(study)))), SIZE)
            sheet = sheet_of(views, names, [], heading, words, frame, FOOT)
            for i in range(len(bands)):
                _bar(sheet, i, bands, [f for row in dips for f in row[i]], dips[k][i])
            frames.append(sheet.pixels())
    return frames


def _dips(result: Result, case: Case, band: Band) -> list[float]:
    """MHz of the dips of a case."""
    rows = result.of("dips", case)
    return [float(f) for f in rows.loc[rows["band"] == band.name, "dip_mhz"].dropna()]


def _bar(sheet: Sheet, place: int, bands: list[Band], ever: list[float], now: list[float]) -> None:
    """The band at that place as a bar with the dip on it, and how far it walks in all."""
    look, wide, high, band = sheet.look, sheet.get_figwidth(), sheet.get_figheight(), bands[place]
    room, gap = wide / len(bands), 0.25
    left, low = place * room + gap, 3.6 * look.type / 72
    ax = sheet.add_axes((left / wide, low / high, (room - 2 * gap) / wide, 0.14 / high))
    edges = band.lower / 1e6, band.upper / 1e6
    x0, x1 = min([*ever, edges[0]]), max([*ever, edges[1]])
    ax.set_xlim(x0 - 0.03 * (x1 - x0), x1 + 0.03 * (x1 - x0))
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.axvspan(*edges, color=TARGET, lw=0)
    if ever:
        ax.plot([min(ever), max(ever)], [0.5, 0.5], color=QUIET, lw=look.line * 0.6, zorder=2)
    ax.plot(now, [0.5] * len(now), "o", color=AHEAD, mec=INK, ms=0.75 * look.type, zorder=3, clip_on=False)
    ax.set_xticks(edges, [f"{e:g}" for e in edges])
    ax.tick_params(length=2, pad=1, labelsize=look.small * 0.9, labelcolor=QUIET)
    for side in ax.spines.values():
        side.set_color(RULE)
    ax.set_title(f"dip on {band.name}", size=look.small, color=INK, pad=3)
