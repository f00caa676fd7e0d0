"""Every band's curve at any setting of the sliders, blended from solved settings; and how far that is from the solver.

At the nodes of a grid over the sliders' box each band's reflection coefficient is kept as a rational function of
frequency. In between, a few neighbouring nodes an axis are blended with Lagrange's polynomials, each read at the same
electrical length: at f l / l_node, where l is the wire's length. Resonances then hardly move from node to node, so
few nodes do. The page's script (explorer.js) repeats `Surface.reflection` and `Surface.radio` line by line.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.explorer.sliders import Controls, Setting, Slider
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

POINTS = 121  # frequencies a band
STENCIL = 6  # nodes blended on one axis
STENCIL_LENGTH = 4  # on an axis that changes the wire's length, so that nodes are read close to their own windows

Picked = tuple[int, ...]
AxisNodes = tuple[list[float], int]
"""the nodes of a slider, and how many of them are blended"""


def lagrange(nodes: Sequence[float], x: float, most: int) -> list[tuple[int, float]]:
    """(index, weight) of the at most `most` nodes around x."""
    n = len(nodes)
    size = min(most, n)
    cell = sum(v <= x for v in nodes[1:-1])
    first = min(max(cell - size // 2 + 1, 0), n - size)
    near = nodes[first : first + size]
    return [
        (first + i, math.prod((x - other) / (near[i] - other) for j, other in enumerate(near) if j != i))
        for i in range(size)
    ]


def blend(axes: Sequence[AxisNodes], place: Sequence[float]) -> list[tuple[int, float]]:
    """(flat index, weight) of the nodes around a place; the last axis runs fastest."""
    weighted = [(0, 1.0)]
    for (nodes, most), x in zip(axes, place, strict=True):
        weighted = [(index * len(nodes) + i, w * v) for index, w in weighted for i, v in lagrange(nodes, x, most)]
    return weighted


def grid(bands: Sequence[Band]) -> list[Real]:
    """The page's frequencies of each band, Hz."""
    return [np.linspace(*window(b), POINTS) for b in bands]


def six_digits(values: Real) -> Real:
    """As pages have them."""
    return np.array([float(f"{x:.6g}") for x in values])


def feed_node(raw: Raw, frequencies: list[Real]) -> dict[str, Any]:
    """Reference, transformer matrices and line constants on the page's frequencies."""
    feed = Setup.read(raw).feed_system()
    bands = []
    for f in frequencies:
        chain = np.eye(2) + np.zeros((len(f), 1, 1)) if feed.transformer is None else feed.transformer.chain(f)
        parts = [chain[:, i, j] for i in (0, 1) for j in (0, 1)]
        if feed.coax is not None:
            parts += feed.coax.propagation(f)
        bands.append([six_digits(column) for part in parts for column in (part.real, part.imag)])
    length = 0.0 if feed.coax is None else feed.coax_length
    return {"reference": feed.reference, "length": length, "bands": bands}


@dataclass
class Surface:
    """A grid of solved nodes over the box of some controls.

    axes: slider path -> its AxisNodes. wires: for each distinct wire problem, its Nodes in grid order. feeds: for each
    distinct feed, its feed nodes in the order of the feed sliders' grid. pick: combination of choices -> (wire, feed).
    """

    controls: Controls
    frequencies: list[Real]
    axes: dict[str, AxisNodes]
    wires: list[list[dict[str, Any]]]
    feeds: list[list[dict[str, Any]]]
    pick: dict[Picked, tuple[int, int]]

    def _axes(self, moves_wire: bool) -> list[Slider]:
        return [s for s in self.controls.sliders if s.moves_wire is moves_wire]

    def around(self, setting: Setting, moves_wire: bool) -> list[tuple[int, float]]:
        sliders = self._axes(moves_wire)
        return blend([self.axes[s.path] for s in sliders], [setting[s.path] for s in sliders])

    def reflection(self, setting: Setting, picked: Picked) -> list[Complex]:
        """Reflection coefficient at the wire's feed, at 2450 ohm, on the page's frequencies of each band."""
        wire, near = self.wires[self.pick[picked][0]], self.around(setting, True)
        length = sum(w * wire[i]["length"] for i, w in near)
        values = []
        for band, f in enumerate(self.frequencies):
            gamma: Complex = np.zeros(len(f), dtype=complex)
            for i, w in near:
                gamma += w * rational(wire[i]["bands"][band], f / 1e6 * length / wire[i]["length"])
            values.append(gamma)
        return values

    def radio(self, gamma: list[Complex], setting: Setting, picked: Picked) -> list[Complex]:
        """Reflection coefficient at the radio, at its own impedance, from that at the wire's feed."""
        feed, near = self.feeds[self.pick[picked][1]], self.around(setting, False)
        reference = sum(w * feed[i]["reference"] for i, w in near)
        length = setting.get("coax.length", feed[0]["length"])
        values = []
        for band, g in enumerate(gamma):
            columns = sum(w * np.array(feed[i]["bands"][band]) for i, w in near)
            parts = columns[0::2] + 1j * columns[1::2]  # type: ignore[index]
            v, i = _through(parts[:4], REFERENCE * (1 + g), 1 - g)
            if len(parts) > 4:
                cosh, sinh = np.cosh(parts[4] * length), np.sinh(parts[4] * length)
                v, i = _through((cosh, parts[5] * sinh, sinh / parts[5], cosh), v, i)
            values.append((v - reference * i) / (v + reference * i))
        return values


def _through(chain: Any, volts: Complex, amps: Complex) -> tuple[Complex, Complex]:
    a, b, c, d = chain
    return a * volts + b * amps, c * volts + d * amps


def rational(curve: list[list[float]], f_mhz: Real) -> Complex:
    """The barycentric rational form of a node's band at f_mhz (M,)."""
    support, re, im, weight_re, weight_im = map(np.array, curve)
    gap = f_mhz[:, None] - support
    gap[gap == 0] = 1e-12
    c = (weight_re + 1j * weight_im) / gap
    value: Complex = (c * (re + 1j * im)).sum(-1) / c.sum(-1)
    return value
