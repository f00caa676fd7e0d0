"""A wire that hangs through: straight legs as parabolas of the same wire length."""

import math
from dataclasses import replace

import numpy as np

from tautwire.model.arrays import Real
from tautwire.model.errors import InputError
from tautwire.model.wires.layout import Layout, Point

PIECES = 6  # straight pieces a leg is drawn with
MOST = 0.2  # deepest sag over the leg's length; beyond it the parabola is no longer a good catenary
NEWTON = 20  # steps at most; some five do


def sagged(layout: Layout, depth: float, pieces: int = PIECES) -> Layout:
    """The layout with its longest leg hanging `depth` (m) below its chord in the middle; 0 changes nothing.

    One pull along the wire: other legs sag as the square of their horizontal span. Wire length, slopes of the chords
    and the feed stay, so every end comes a little nearer. A catenary with little sag is a parabola (any statics text).
    Raises InputError for a negative depth or one above a fifth of the leg.
    """
    spans = [math.hypot(q[0] - p[0], q[1] - p[1]) for p, q in zip(layout.points, layout.points[1:], strict=False)]
    widest = max(spans)
    if not 0 <= depth <= MOST * widest:
        raise InputError("antenna.sag", f"{depth:g} m", f"from 0 to {MOST * widest:.3g} m for this wire")
    if depth == 0:
        return layout
    points: list[Point] = [layout.points[0]]
    for p, q, span in zip(layout.points, layout.points[1:], spans, strict=False):
        leg = _hanging(np.subtract(q, p), depth * (span / widest) ** 2, pieces)
        start = np.array(points[-1])
        points += [(float(x), float(y), float(z)) for x, y, z in start + leg]
    return replace(layout, points=tuple(points))


def _hanging(chord: Real, depth: float, pieces: int) -> Real:
    """Offsets (pieces, 3), m, from the start of a leg along `chord` (3,) whose drawn length is the chord's."""
    t = np.linspace(0, 1, pieces + 1)[:, None]
    drop = 4 * depth * t * (1 - t) * np.array([0.0, 0.0, -1.0])
    length = float(np.linalg.norm(chord))
    scale = 1.0
    for _ in range(NEWTON if depth >= 1e-6 * length else 0):  # the length is convex in scale: it falls to the root
        piece = np.diff(scale * t * chord + drop, axis=0)
        size = np.linalg.norm(piece, axis=1)
        change = float((size.sum() - length) / (piece @ chord / size).sum() * pieces)
        scale -= change
        if abs(change) < 1e-12:
            break
    return np.asarray((scale * t * chord + drop)[1:])
