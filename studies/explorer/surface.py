"""Every band's curve at any setting of the sliders, and how the settings behind it are solved.

Every band's curve at any setting of the sliders, blended from solved settings; and how far that is from the solver.

At the nodes of a grid over the sliders' box each band's reflection coefficient is kept as a rational function of
frequency. In between, a few neighbouring nodes an axis are blended with Lagrange's polynomials, each read at the same
electrical length: at f l / l_node, where l is the wire's length. Resonances then hardly move from node to node, so
few nodes do. The page's script (explorer.js) repeats `Surface.reflection` and `Surface.radio` line by line.
"""

import itertools
import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tautwire.model.basics import Complex, Real, impedance, swr, swr_of
from tautwire.model.operating.bands import Band
from tautwire.model.solve.response import REFERENCE
from tautwire.studies.explorer.curves import Answer, Curves, Exact, answers, shape_of, wire_part
from tautwire.studies.explorer.sliders import Controls, Setting, Slider
from tautwire.studies.running.pool import Ask
from tautwire.studies.running.store import Store
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import window

# --- Every band's curve at any setting of the sliders, blended from solved settings.


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


# --- Solves the nodes of a surface, refines its grid where it is furthest from the solver, and measures what is left.


CHECKED = 25  # of a band's points are compared with the solver
SPACING = 0.025  # relative step of wire length between nodes to begin with
FEED_NODES = 9
PROBES = 4  # settings an axis that are compared with the solver before the grid is refined
FINAL = 12  # random settings compared with the solver at the end
TARGET = 0.005  # reflection coefficient; the grid is refined until the probes are this good
MOST_NODES = 2400
BELOW = 3.0  # SWR below which errors of the SWR are told

Progress = Callable[[str, int, int], None]
"""progress(what, done, total)"""


class Builder:
    """Solves what a surface needs and refines its grid."""

    def __init__(
        self, controls: Controls, store: Store, ask: Ask | None = None, progress: Progress | None = None
    ) -> None:
        self.controls, self.store, self.ask, self.progress = controls, store, ask, progress
        self.bands = controls.study.bands
        self.frequencies = grid(self.bands)
        self.nodes = {s.path: self._first_nodes(s) for s in controls.sliders}
        self.stencils = {s.path: self._stencil(s) for s in controls.sliders}
        self.margin = math.exp(sum(self._reach(s) for s in controls.sliders if s.moves_wire)) * 1.005
        self.random = np.random.default_rng(7)
        self.settled: set[str] = set()

    def _length(self, setting: Setting) -> float:
        picked = tuple(c.start for c in self.controls.choices)
        return shape_of(Setup.read(self.controls.raw(setting, picked)))[0]

    def _lengths(self, slider: Slider, values: Sequence[float]) -> Real:
        return np.array([self._length({**self.controls.start, slider.path: v}) for v in values])

    def _first_nodes(self, slider: Slider) -> list[float]:
        if not slider.moves_wire:
            return even(slider, FEED_NODES)
        few = 4 if sum(s.moves_wire for s in self.controls.sliders) < 3 else 3
        low, high = self._lengths(slider, [slider.low, slider.high])
        return even(slider, max(few, math.ceil(abs(math.log(high / low)) / SPACING) + 1))

    def _stencil(self, slider: Slider) -> int:
        return STENCIL if self._step(slider) < 1e-3 else STENCIL_LENGTH

    def _step(self, slider: Slider) -> float:
        """Greatest change of ln(wire length) from node to node along one axis."""
        return float(np.abs(np.diff(np.log(self._lengths(slider, self.nodes[slider.path])))).max())

    def _reach(self, slider: Slider) -> float:
        """Greatest ln(l/l_node) between a setting and a node it is blended from, along one axis."""
        return self._step(slider) * (self.stencils[slider.path] - 1)

    def _answers(self, what: str, groups: list[list[Raw]], answer: Answer) -> list[list[Any]]:
        tell = None if self.progress is None else lambda done, total: self.progress(what, done, total)  # type: ignore
        return answers(groups, answer, self.store, self.ask, tell)

    def surface(self, what: str = "solving settings") -> Surface:
        """The surface on the present grid."""
        sliders = self.controls.sliders
        combinations = list(self.controls.combinations())
        start = self.controls.start

        def settings(moves_wire: bool) -> Iterator[Setting]:
            axes = [s for s in sliders if s.moves_wire is moves_wire]
            for values in itertools.product(*(self.nodes[s.path] for s in axes)):
                yield {**start, **{s.path: v for s, v in zip(axes, values, strict=True)}}

        wire_of, first_wire = _distinct(combinations, lambda c: wire_part(self.controls.raw(start, c)))
        groups = [[self.controls.raw(s, c) for c in first_wire] for s in settings(True)]
        solved = self._answers(what, groups, Curves(self.bands, self.margin))
        wires = [[row[k] for row in solved] for k in range(len(first_wire))]
        feed_of, first_feed = _distinct(combinations, lambda c: self._feed_part(self.controls.raw(start, c)))
        feeds = [
            [feed_node(self.controls.raw(s, c), self.frequencies) for s in settings(False)] for c in first_feed
        ]  # fmt: skip
        pick = {c: (wire_of[c], feed_of[c]) for c in combinations}
        axes = {path: (nodes, self.stencils[path]) for path, nodes in self.nodes.items()}
        return Surface(self.controls, self.frequencies, axes, wires, feeds, pick)

    @staticmethod
    def _feed_part(raw: Raw) -> Any:
        return {k: raw.get(k) for k in ("coax", "transformer", "radio")}

    def probes(self, slider: Slider) -> list[tuple[Setting, Picked]]:
        """Settings halfway between nodes of one axis, at random nodes of the others; end cells always."""
        nodes = self.nodes[slider.path]
        cells = [0, len(nodes) - 2, *self.random.integers(0, len(nodes) - 1, PROBES - 2)]
        settings = []
        for cell in dict.fromkeys(map(int, cells)):
            setting = {s.path: float(self.random.choice(self.nodes[s.path])) for s in self.controls.sliders}
            settings.append(({**setting, slider.path: tidy((nodes[cell] + nodes[cell + 1]) / 2)}, self._any_choice()))
        return settings

    def anywhere(self, count: int) -> list[tuple[Setting, Picked]]:
        """Random settings of all sliders and choices."""
        return [
            (
                {s.path: tidy(float(self.random.uniform(s.low, s.high))) for s in self.controls.sliders},
                self._any_choice(),
            )
            for _ in range(count)
        ]

    def _any_choice(self) -> Picked:
        return tuple(int(self.random.integers(len(c.texts))) for c in self.controls.choices)

    def errors(self, surface: Surface, asked: list[tuple[Setting, Picked]], what: str) -> list[dict[str, float]]:
        """How far the surface is from the solver at each setting: reflection, swr (where it is below 3)."""
        raws = [self.controls.raw(s, c) for s, c in asked]
        exact = self._answers(what, [[raw] for raw in raws], Exact(self.bands, CHECKED))
        every = (POINTS - 1) // (CHECKED - 1)
        rows = []
        for raw, (setting, picked), (true,) in zip(raws, asked, exact, strict=True):
            feed, worst = Setup.read(raw).feed_system(), {"reflection": 0.0, "swr": 0.0}
            gamma = surface.reflection(setting, picked)
            radio = surface.radio(gamma, setting, picked)
            for f, g, r, (re, im) in zip(self.frequencies, gamma, radio, true, strict=True):
                truth = np.array(re) + 1j * np.array(im)
                z = impedance(truth, REFERENCE)
                right = swr(feed.impedances(z, f[::every]).radio, feed.reference)
                low = right < BELOW
                worst["reflection"] = max(worst["reflection"], float(np.abs(g[::every] - truth).max()))
                worst["swr"] = max(worst["swr"], float(np.abs(swr_of(r[::every]) - right)[low].max(initial=0.0)))
            rows.append(worst)
        return rows

    def build(self, target: float = TARGET) -> tuple[Surface, dict[str, Any]]:
        """The surface, refined until probes on every axis and then random settings are near target, and its errors.

        The errors told are those at the last random settings, which the grid was not refined for.
        """
        surface = self.surface()
        while axes := [s for s in self.controls.sliders if self._is_coarse(surface, s, target)]:
            surface = self._refined(axes)
        while True:
            asked = self.anywhere(FINAL)
            found = self.errors(surface, asked, "measuring the error")
            size = [e["reflection"] for e in found]
            worst = int(np.argmax(size))
            slider = self._least_settled(surface, *asked[worst])
            if size[worst] < 2 * target or slider is None:
                break
            surface = self._refined([slider])
        errors = {
            "settings": len(asked),
            "reflection": max(size),
            "typical": float(np.median(size)),
            "swr": max(e["swr"] for e in found),
            "below": BELOW,
        }
        return surface, errors

    def _has_room(self) -> bool:
        """Whether one axis more may be refined."""
        kinds = len({json.dumps(wire_part(self.controls.raw(self.controls.start, c)), sort_keys=True, default=str)
                     for c in self.controls.combinations()})  # fmt: skip
        count = math.prod(len(self.nodes[s.path]) for s in self.controls.sliders if s.moves_wire)
        return count * kinds * 2 <= MOST_NODES

    def _is_coarse(self, surface: Surface, slider: Slider, target: float) -> bool:
        if not slider.moves_wire or slider.path in self.settled:
            return False
        found = self.errors(surface, self.probes(slider), "comparing with the solver")
        if max(e["reflection"] for e in found) >= target and self._has_room():
            return True
        self.settled.add(slider.path)
        return False

    def _least_settled(self, surface: Surface, setting: Setting, picked: Picked) -> Slider | None:
        """The axis on which blending two nodes fewer changes most at a setting; None if there is no room."""
        right, change = surface.reflection(setting, picked), {}
        for slider in (s for s in self.controls.sliders if s.moves_wire):
            nodes, most = surface.axes[slider.path]
            fewer = replace(surface, axes={**surface.axes, slider.path: (nodes, max(min(most, len(nodes)) - 2, 2))})
            pairs = zip(right, fewer.reflection(setting, picked), strict=True)
            change[slider] = max(float(np.abs(a - b).max()) for a, b in pairs)
        return max(change, key=lambda s: change[s]) if change and self._has_room() else None

    def _refined(self, sliders: list[Slider]) -> Surface:
        for slider in sliders:
            nodes = self.nodes[slider.path]
            self.nodes[slider.path] = sorted(nodes + [tidy((a + b) / 2) for a, b in itertools.pairwise(nodes)])
        return self.surface("refining")


def even(slider: Slider, count: int) -> list[float]:
    """Evenly spaced values of a slider, both ends included."""
    return [tidy(v) for v in np.linspace(slider.low, slider.high, count)]


def tidy(value: float) -> float:
    """Nine digits, so that the same value is always written the same way."""
    return float(f"{value:.9g}")


def _distinct(combinations: list[Picked], part: Callable[[Picked], Any]) -> tuple[dict[Picked, int], list[Picked]]:
    """Which combinations give the same part: combination -> number, and the first combination of each number."""
    seen: dict[str, int] = {}
    number: dict[Picked, int] = {}
    first: list[Picked] = []
    for c in combinations:
        text = json.dumps(part(c), sort_keys=True, default=str)
        if text not in seen:
            seen[text] = len(first)
            first.append(c)
        number[c] = seen[text]
    return number, first
