"""Impedance on a Smith chart of our own drawing: rings of resistance and arcs of reactance, labelled in ohms.

A disc in the middle holds every impedance with SWR below 2 at the chart's own resistance.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from matplotlib.patheffects import withStroke

from tautwire.model.arrays import Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.model.reflection import reflection
from tautwire.studies.drawing.axes import Colours, band_title, groups, lines, running
from tautwire.studies.drawing.clear import Clear, around, corners
from tautwire.studies.drawing.style import INK, QUIET, TARGET, Heading, Look, Mark, Sheet, style
from tautwire.studies.study.study import Axis
from tautwire.studies.wants.dips.impedance import plane_named

RINGS = (0.2, 0.5, 1.0, 2.0, 5.0)
CENTRE = {"wire": 2450.0, "radio": 50.0}
"""plane -> ohm at the middle of the chart: 50 ohm, and 49 times that behind the transformer"""
ACROSS = {"print": 2, "talk": 2, "slide": 2}
GRID = "#c3cfca"


def smith_figure(
    sweeps: pd.DataFrame,
    bands: Sequence[Band],
    axes: Sequence[Axis] = (),
    heading: Heading = Heading(),
    *,
    plane: str = "wire",
    centre: float | None = None,
) -> Sheet:
    """A chart a band (the first four in print, the first two in talks).

    Thick where the curve is inside the band, with a dot at the lower edge and a square at the upper. sweeps: frame of
    want_dips. plane: "wire" or "radio"; centre: ohm in the middle, by default 2450 or 50. Raises InputError for an
    unknown plane or size.
    """
    prefix, words = plane_named(plane)
    z0 = centre or CENTRE[plane]
    axis = running(axes)
    colours = Colours(axis)
    name, part = groups(sweeps, axes)[0]
    with style(heading.size) as look:
        across = min(len(bands), ACROSS.get(look.name, 2))
        shown = bands[: across * (2 if look.name == "print" else 1)]
        down = -(-len(shown) // across)
        notes = [
            heading.caption,
            name,
            f"impedance {words} in Ω, {z0:g} Ω in the middle; in the band thick from dot to square, their MHz beside",
        ]
        if len(shown) < len(bands):
            notes.append(f"the first {len(shown)} of {len(bands)} bands")
        sheet = Sheet(look, 1.3 + 3.3 * down if look.name == "print" else None)
        mine = part[part["band"].isin([b.name for b in shown])]
        sheet.draws("sweeps", mine.index, "swr" if plane == "radio" else "swr_transformer")
        sheet.header(replace(heading, caption="; ".join(filter(None, notes))))
        grid: Any = sheet.subplots(down, across, squeeze=False)
        for ax in list(grid.flat)[len(shown) :]:
            ax.set_visible(False)
        for ax, band in zip(grid.flat, shown, strict=False):
            chart(ax, z0, look)
            ax.set_title(band_title(band), size=look.type if across > 2 else None)
            curves = lines(part[part["band"] == band.name], axis)
            for i, (value, curve) in enumerate(curves):
                ends = not colours.ramped or i in (0, len(curves) - 1)
                _trace(ax, curve, prefix, z0, band, colours.mark(value), look, ends)
        colours.key(sheet, list(grid.flat)[: len(shown)])
        sheet.place()
        for ax, band in zip(grid.flat, shown, strict=False):
            curves = lines(part[part["band"] == band.name], axis)
            _frequencies(ax, [_reflections(curve, prefix, z0) for _, curve in curves], band, look)
        return sheet


def _frequencies(ax: Axes, curves: Sequence[tuple[Real, Complex]], band: Band, look: Look) -> None:
    """MHz beside the first curve at the band's edges, where they stand clear."""
    clear = Clear(ax)
    clear.taken += [corners(text, -0.2 * look.small) for text in ax.texts]
    for f, g in curves:
        clear.line(np.column_stack(_xy(g[(f >= band.lower / 1e6) & (f <= band.upper / 1e6)])))
    f, g = curves[0]
    for at in (band.lower / 1e6, band.upper / 1e6):
        x, y = (float(np.interp(at, f, part)) for part in _xy(g))
        clear.write(f"{at:.6g}", around(x, y, 0.6 * look.small), must=False, size=look.small * 0.86, color=INK,
                    path_effects=[withStroke(linewidth=2.2, foreground="white")])  # fmt: skip


def chart(ax: Axes, z0: float, look: Look) -> None:
    """The grid, with z0 ohm in the middle."""
    ax.set_axis_off()
    ax.set_aspect("equal")
    ax.set_xlim(-1.22, 1.22)
    ax.set_ylim(-1.16, 1.16)
    ax.add_patch(Circle((0, 0), 1, facecolor="white", edgecolor=QUIET, lw=look.line * 0.7, zorder=0.5))
    ax.add_patch(Circle((0, 0), 1 / 3, facecolor=TARGET, edgecolor="none", zorder=0.6))
    thin: dict[str, Any] = {"color": GRID, "lw": look.line * 0.5, "zorder": 0.8}
    endless = np.concatenate([[0.0], np.geomspace(1e-3, 1e3, 300), [1e9]])
    ax.plot([-1, 1], [0, 0], color=QUIET, lw=look.line * 0.4, zorder=0.9)
    for r in RINGS:
        for sign in (1, -1):
            ax.plot(*_xy(reflection(r + 1j * sign * endless, 1.0)), **thin)
            ax.plot(*_xy(reflection(endless + 1j * sign * r, 1.0)), **thin)
            edge = complex(reflection(1j * sign * r, 1.0))
            turn = np.degrees(np.angle(edge))
            across = abs(edge.real) > 0.5
            words = ("+" if sign > 0 else "−") + _ohms(r * z0)
            ax.text(
                1.03 * edge.real, 1.03 * edge.imag, words, size=look.small * 0.86,
                color=QUIET, ha=("left" if edge.real > 0 else "right") if across else "center",
                va="center" if across else "bottom" if turn > 0 else "top",
            )  # fmt: skip
        g = float(reflection(r, 1.0).real)
        ax.text(
            g, -0.015, _ohms(r * z0), size=look.small * 0.86, color=QUIET, ha="right", va="top", zorder=0.95,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.7},
        )  # fmt: skip


def _xy(g: Any) -> tuple[Real, Real]:
    return np.real(g), np.imag(g)


def _ohms(x: float) -> str:
    return f"{x / 1000:.3g}k" if x >= 1000 else f"{x:.3g}"


def _reflections(curve: pd.DataFrame, prefix: str, z0: float) -> tuple[Real, Complex]:
    """Frequencies (n,), MHz, and reflection coefficients against z0 (ohm) of a sweep."""
    z = curve[f"{prefix}_r_ohm"].to_numpy(float) + 1j * curve[f"{prefix}_x_ohm"].to_numpy(float)
    return curve["f_mhz"].to_numpy(float), np.asarray(reflection(z, z0))


def _trace(
    ax: Axes, curve: pd.DataFrame, prefix: str, z0: float, band: Band, mark: Mark, look: Look, ends: bool
) -> None:
    f, g = _reflections(curve, prefix, z0)
    low, high = band.lower / 1e6, band.upper / 1e6
    ax.plot(*_xy(g), color=mark.colour, lw=look.line * 0.5, alpha=0.6, zorder=2)
    edges = [np.interp(e, f, g.real) + 1j * np.interp(e, f, g.imag) for e in (low, high)]
    inside = np.concatenate([edges[:1], g[(f > low) & (f < high)], edges[1:]])
    ax.plot(*_xy(inside), **mark.line, lw=look.line * 1.3, zorder=3)
    for edge, marker in zip(edges, "os", strict=True) if ends else ():
        ax.plot(edge.real, edge.imag, marker=marker, color=mark.colour, mec="white", mew=0.6, zorder=4)
