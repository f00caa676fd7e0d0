"""Wires over soil at a frequency: the impedance matrix, the currents, the feed impedance.

(Zfree + kappa Zimage + Zrest + diag(Zload)) I = V        kappa = (n2 - 1)/(n2 + 1)

Zfree and Zimage come from the engine and do not know the soil; Zrest, the smooth remainder of the exact Sommerfeld
field, comes from soil_table.py. Over a thin layer further images, of raised wires, join the first
(soil_table.py). Zload holds conductor loss and lumped loads. Each is kept at the nodes of
a span (response.py) and, through `remember`, may be stored and shared between solvers.

One thread for linear algebra, so that the last digits of a result do not depend on the number of cores.

The order in which a sum over threads is added up depends on their number. Cases are solved side by side in processes,
which is faster than threads inside a small matrix anyway. The limit holds for the whole process, from the import of the
solver on: a limit that ended with each call would end in the middle of another thread's call.
"""

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self

import numpy as np
from threadpoolctl import threadpool_limits

from tautwire.model.basics import Arrays, Complex, Real, Remember, compute_always, key_of
from tautwire.model.errors import SolveError
from tautwire.model.soil.ground import Ground, LayeredGround
from tautwire.model.soil.soil_table import needed, remainder_matrices, table_range, with_images
from tautwire.model.solve.corrections import ContactTerm, RadiusTerm, asymmetry, engine_legs, voltage_scale
from tautwire.model.solve.engine import admittances, canonical, engine_name, raised
from tautwire.model.solve.response import REFERENCE, Response, SoilMatrices, Span, WireMatrices, respond, span_of
from tautwire.model.wires.mesh import Mesh, MeshRules, mesh
from tautwire.model.wires.segments import Segments, joined_segments, leg_segments
from tautwire.model.wires.structure import Structure

# --- One thread for linear algebra.


_LIMIT = threadpool_limits(1)


# --- Wires over soil at a frequency.


UNSETTLED = 0.01  # error of a response's reflection coefficient that is no answer


@dataclass(frozen=True)
class Solution:
    """Currents for 1 V at the feed.

    f_hz: Hz. mesh, segments: the wires (N segments). current (N,): A at segment centres, positive from segment
    start to end. load (N,): series impedance of each segment, ohm. ground: what is below. jacket_loss, contact_loss: W
    for 1 V rms, lost in the jackets and, by charge that crowds to the underside, in the soil close to the wires.
    """

    f_hz: float
    mesh: Mesh
    segments: Segments
    current: Complex
    load: Complex
    ground: Ground
    jacket_loss: float = 0.0
    contact_loss: float = 0.0

    @property
    def admittance(self) -> complex:
        """Feed admittance, siemens."""
        return complex(self.mesh.feed @ self.current)

    @property
    def impedance(self) -> complex:
        """Feed impedance, ohm."""
        return 1 / self.admittance


def loads(structure: Structure, grid: Mesh, f_hz: float) -> Complex:
    """Series impedance of each segment (N,), ohm: skin effect, lumped loads."""
    per_metre = np.array([c.wire.impedance_per_metre(f_hz) for c in structure.conductors])
    z: Complex = per_metre[grid.conductor] * grid.length
    for index, load in grid.load_segments(structure):
        z[index] += load.impedance(f_hz)
    return z


class SpanParts:
    """The matrices of one structure over one ground, smooth over one span."""

    def __init__(
        self,
        structure: Structure,
        ground: Ground,
        span: Span,
        rules: MeshRules,
        remember: Remember,
        grid: Mesh | None = None,
    ) -> None:
        self.span, self.ground, self.structure = span, ground, structure
        self.mesh = mesh(structure, span.upper, rules) if grid is None else grid
        self.segments = joined_segments(self.mesh.start, self.mesh.end)
        c = self.segments.centre
        self._apart = np.linalg.norm(c[:, None] - c, axis=-1)
        self._image_apart = self.segments.image_distance(c)
        self._legs = engine_legs(self.mesh, structure)
        self._radius = RadiusTerm(self.mesh, self.segments, structure)
        self._contact = ContactTerm(self.mesh, self.segments, structure)
        self._remember = remember
        self.lowest = float(min(self.mesh.start[:, 2].min(), self.mesh.end[:, 2].min()))
        self.others = 0.0
        """m, up to where soil tables must reach for other structures that share them"""
        self._raised: dict[float, WireMatrices] = {}

    def over(self, ground: Ground, *known: str) -> Self:
        """The same wires over another ground of the same kind (free space, perfect, soil); what these attributes hold
        is computed once for all grounds."""
        for name in known:
            getattr(self, name)
        other = copy(self)
        other.ground = ground
        for of_ground in ("rest", "raised"):
            other.__dict__.pop(of_ground, None)
        return other

    @cached_property
    def raised(self) -> tuple[float, ...]:
        """By how far the wires are raised for the images that a thin layer needs beside the first, m."""
        if not isinstance(self.ground, LayeredGround):
            return ()
        return needed([self.ground.stack(f) for f in (self.span.lower, self.span.upper)], self.lowest)

    def _engine(self, nodes: Real, perfect: bool, by: float = 0.0) -> Complex:
        """The engine's Y at the nodes (K,), (K, N, N), siemens; by: how much higher the wires are, m."""
        legs = raised(canonical(self._legs, keep_height=perfect), by)
        key = key_of("wires", engine_name(), legs, nodes.tolist(), perfect)
        return self._remember(key, lambda: {"y": admittances(legs, nodes, perfect)})["y"]

    @cached_property
    def _free_nodes(self) -> tuple[Complex, Real]:
        """Calibrated Y (K, N, N) in free space at the span's nodes, siemens, and the voltage scale (N,)."""
        nodes = self.span.nodes
        y, legs = self._engine(nodes, perfect=False), canonical(self._legs, keep_height=False)
        key = key_of("volts", engine_name(), legs, nodes.tolist())
        scale = self._remember(key, lambda: {"scale": voltage_scale(y, leg_segments(legs), nodes)})["scale"]
        return y / scale, scale

    @cached_property
    def _image_engine(self) -> tuple[Complex, Real]:
        """The engine's Y (K, N, N) over a perfect ground, siemens, and the nodes (K,), Hz."""
        # over a perfect ground a low wire's resistance is a small difference of free and image: spare no node there
        nodes = self.span.nodes if self.ground.is_perfect else self.span.image_nodes
        return self._engine(nodes, perfect=True), nodes

    @property
    def _image_nodes(self) -> tuple[Complex, Real]:
        """Calibrated Y (K, N, N) over a perfect ground, siemens, and the nodes (K,), Hz."""
        y, nodes = self._image_engine
        return y / self._free_nodes[1], nodes

    @cached_property
    def asymmetry(self) -> float:
        """What calibration leaves of the asymmetry of Y, in free space and, with a ground, over a perfect one."""
        free = asymmetry(self._free_nodes[0])
        return free if self.ground.is_free_space else max(free, asymmetry(self._image_nodes[0]))

    @cached_property
    def raw_free(self) -> WireMatrices:
        """The engine's Z in free space, before calibration: smoother than `free` where wires change."""
        nodes = self.span.nodes
        return WireMatrices.through(nodes, np.linalg.inv(self._engine(nodes, perfect=False)), self._apart)

    @cached_property
    def raw_image(self) -> WireMatrices:
        """What a perfect ground adds to raw_free."""
        y, nodes = self._image_engine
        free = np.array([self.raw_free.at(float(f)) for f in nodes])
        return WireMatrices.through(nodes, np.linalg.inv(y) - free, self._image_apart)

    @cached_property
    def free(self) -> WireMatrices:
        return WireMatrices.through(self.span.nodes, symmetric_inverse(self._free_nodes[0]), self._apart)

    @cached_property
    def image(self) -> WireMatrices:
        y, nodes = self._image_nodes
        free = np.array([self.free.at(float(f)) for f in nodes])
        return WireMatrices.through(nodes, symmetric_inverse(y) - free, self._image_apart)

    def raw_image_raised(self, by: float) -> WireMatrices:
        """What a perfect ground adds to raw_free of wires higher by so many metres."""
        nodes = self.span.image_nodes
        free = np.array([self.raw_free.at(float(f)) for f in nodes])
        y = self._engine(nodes, True, by)
        return WireMatrices.through(nodes, np.linalg.inv(y) - free, self._image_distance(by))

    def _image_distance(self, by: float) -> Real:
        """(N, N) from centres to images of wires higher by so many metres, m."""
        return self.segments.image_distance(self.segments.centre + [0.0, 0.0, 2 * by])

    def image_raised(self, by: float) -> WireMatrices:
        """What a perfect ground adds to wires higher by so many metres."""
        if by not in self._raised:
            self._raised[by] = self._new_image_raised(by)
        return self._raised[by]

    def _new_image_raised(self, by: float) -> WireMatrices:
        nodes = self.span.image_nodes
        free = np.array([self.free.at(float(f)) for f in nodes])
        z = symmetric_inverse(self._engine(nodes, True, by) / self._free_nodes[1]) - free
        return WireMatrices.through(nodes, z, self._image_distance(by))

    def _images(self, f_hz: float) -> tuple[tuple[float, complex], ...]:
        """By how far wires are raised (m) for the further images of the ground at f_hz, and the images' strength."""
        return with_images(self.ground.stack(f_hz), self.raised).images

    @cached_property
    def rest(self) -> SoilMatrices:
        nodes = self.span.soil_nodes(isinstance(self.ground, LayeredGround))
        legs = canonical(self._legs, keep_height=True)
        seg = leg_segments(legs)
        reach = table_range(seg, self.others)
        stacks = [self.ground.stack(float(f)) for f in nodes]
        key = key_of("rest", legs, nodes.tolist(), stacks, self.raised, reach)

        def compute() -> Arrays:
            return {"z": remainder_matrices(seg, nodes, self.ground, self._remember, self.raised, reach)}

        z = self._remember(key, compute)["z"] * self.ground.n2(nodes)[:, None, None]
        return SoilMatrices.through(nodes, z, self._image_apart)

    def load(self, f_hz: float) -> Complex:
        """Series impedance of each segment (N,), ohm."""
        return loads(self.structure, self.mesh, f_hz)

    def wires(self, f_hz: float) -> Complex:
        """Z (N, N) of the wires and their jackets alone: no loads, no ground; ohm."""
        return self.free.at(f_hz) + self._radius.at(f_hz)

    def matrix(self, f_hz: float) -> Complex:
        """Z (N, N) without loads, ohm."""
        z = self.wires(f_hz)
        if self.ground.is_free_space:
            return z
        z = z + self._contact.at(f_hz, self.ground)
        if self.ground.is_perfect:
            return z + self.image.at(f_hz)
        z = z + self.ground.kappa(f_hz) * self.image.at(f_hz) + self.rest.at(f_hz) / self.ground.n2(f_hz)
        return sum((c * self.image_raised(by).at(f_hz) for by, c in self._images(f_hz)), z)

    def local_losses(self, f_hz: float, current: Complex) -> tuple[float, float]:
        """W that currents (N,), A rms, leave in the jackets, and in the soil by charge that crowds to the underside."""

        def lost(z: Complex | complex) -> float:
            return float((current.conj() @ z @ current).real) if np.ndim(z) else 0.0

        return lost(self._radius.at(f_hz)), lost(self._contact.at(f_hz, self.ground))

    def with_slope(self, f_hz: float) -> tuple[Complex, Complex]:
        """Z with loads and dZ/df, (N, N) each, ohm and ohm/Hz."""
        z, slope = self.free.with_slope(f_hz)
        z, slope = z + self._radius.at(f_hz), slope + self._radius.slope(f_hz)
        z, slope = z + self._contact.at(f_hz, self.ground), slope + self._contact.slope(f_hz, self.ground)
        if self.ground.is_perfect:
            image, image_slope = self.image.with_slope(f_hz)
            z, slope = z + image, slope + image_slope
        elif not self.ground.is_free_space:
            image, image_slope = self.image.blended(f_hz)
            rest, rest_slope = self.rest.blended(f_hz)
            n2, kappa, kappa_slope = (
                complex(self.ground.n2(f_hz)),
                self.ground.kappa(f_hz),
                self.ground.kappa_slope(f_hz),
            )
            n2_slope = kappa_slope * (n2 + 1) ** 2 / 2
            rest, rest_slope = rest / n2, (rest_slope - n2_slope / n2 * rest) / n2
            blend_slope = kappa * image_slope + kappa_slope * image + rest_slope
            soil, soil_slope = self.image.travelled(f_hz, kappa * image + rest, blend_slope)
            z, slope = z + soil, slope + soil_slope
            z, slope = self._with_raised(f_hz, z, slope)
        step = 1e-4 * f_hz
        above, below = self.load(f_hz + step), self.load(f_hz - step)
        every = np.arange(len(z))
        z[every, every] += self.load(f_hz)
        slope[every, every] += (above - below) / (2 * step)
        return z, slope

    def _with_raised(self, f_hz: float, z: Complex, slope: Complex) -> tuple[Complex, Complex]:
        """Z and its slope with the further images over a thin layer."""
        if not self.raised:
            return z, slope
        step = 1e-4 * f_hz
        here, above, below = (self._images(x) for x in (f_hz, f_hz + step, f_hz - step))
        for (by, c), (_, more), (_, less) in zip(here, above, below, strict=True):
            image, image_slope = self.image_raised(by).with_slope(f_hz)
            z, slope = z + c * image, slope + c * image_slope + (more - less) / (2 * step) * image
        return z, slope


def symmetric_inverse(y: Complex) -> Complex:
    """Inverse of each Y (K, N, N), made symmetric."""
    z: Complex = np.linalg.inv(y)
    return (z + z.transpose(0, 2, 1)) / 2


def solved(z: Complex, volts: Complex, f_hz: float) -> Complex:
    """Z I = V solved for I; (..., N, N) and (N,). Raises SolveError if Z is singular."""
    try:
        current: Complex = np.linalg.solve(z, volts[:, None])[..., 0]
    except np.linalg.LinAlgError as error:
        raise SolveError(f"the wires' matrix is singular at {f_hz / 1e6:.6g} MHz") from error
    return current


def passive(y: complex, f_hz: float) -> complex:
    """y, unless it is not a number or gives power: then SolveError."""
    if not np.isfinite(y) or y.real <= 0:
        raise SolveError(f"feed resistance is not positive at {f_hz / 1e6:.6g} MHz")
    return y


class Solver:
    """One structure over one ground, at any frequency from 1.6 to 60 MHz.

    remember: where engine and soil results are kept (default: nowhere beyond this object).
    """

    by_itself = True
    """whether its answers hang on this structure and ground alone, not on others that they are blended between"""
    likes: Any = None
    """what is known of those others, for who asks more of them than matrices"""

    def __init__(
        self,
        structure: Structure,
        ground: Ground,
        rules: MeshRules = MeshRules(),
        remember: Remember = compute_always,
    ) -> None:
        self.structure, self.ground, self.rules = structure, ground, rules
        self.remember = remember
        self._parts: dict[Span, SpanParts] = {}
        self._responses: dict[tuple[float, ...], tuple[float, Response]] = {}

    def parts(self, f_hz: float) -> SpanParts:
        span = span_of(f_hz)
        if span not in self._parts:
            self._parts[span] = SpanParts(self.structure, self.ground, span, self.rules, self.remember)
        return self._parts[span]

    def solve(self, f_hz: float) -> Solution:
        """Currents for 1 V at the feed. Raises SolveError if the matrix cannot be solved."""
        parts = self.parts(f_hz)
        load = parts.load(f_hz)
        current = solved(parts.matrix(f_hz) + np.diag(load), parts.mesh.feed.astype(complex), f_hz)
        losses = parts.local_losses(f_hz, current)
        solution = Solution(f_hz, parts.mesh, parts.segments, current, load, self.ground, *losses)
        passive(solution.admittance, f_hz)
        return solution

    def impedance(self, f_hz: float) -> complex:
        """Feed impedance, ohm."""
        return self.solve(f_hz).impedance

    def port(self, f_hz: float) -> tuple[complex, complex]:
        """Feed impedance, ohm, and its slope, ohm/Hz, from one solve: Y = v Z^-1 v, so Y' = - v Z^-1 Z' Z^-1 v.

        Raises SolveError as solve does.
        """
        return self.port_of_one_mesh(f_hz)(f_hz)

    def port_of_one_mesh(self, middle: float) -> Callable[[float], tuple[complex, complex]]:
        """`port` from the one span that holds `middle` (Hz), also a little beyond its edges, where `port` itself would
        change to another mesh."""
        parts = self.parts(middle)
        feed = parts.mesh.feed.astype(complex)

        def port(f_hz: float) -> tuple[complex, complex]:
            z, slope = parts.with_slope(f_hz)
            current, adjoint = solved(np.stack([z, z.T]), feed, f_hz)
            y = passive(complex(feed @ current), f_hz)
            return 1 / y, complex(adjoint @ slope @ current) / y**2

        return port

    def response(self, lower: float, upper: float, tolerance: float = 1e-3, reference: float = REFERENCE) -> Response:
        """Continuous feed impedance over a band inside one span, Hz. Raises SolveError if it does not settle.

        One that is known to a smaller tolerance serves again.
        """
        asked = lower, upper, reference
        if asked not in self._responses or self._responses[asked][0] > tolerance:
            response = respond(self.port, lower, upper, tolerance, reference)
            if not response.error < UNSETTLED:
                allowed = f"from {lower / 1e6:.6g} to {upper / 1e6:.6g} MHz"
                raise SolveError(
                    f"the response {allowed} is not known to better than {response.error:.2g} of reflection"
                )
            self._responses[asked] = tolerance, response
        return self._responses[asked][1]

    def kept(self, kind: str, f_hz: float, compute: Callable[[], float]) -> float:
        """compute(), a figure of the wires in free space at f_hz, from the store if it is there."""
        parts, wires = self.parts(f_hz), [(c.role, c.wire.jacket_log) for c in self.structure.conductors]
        key = key_of(kind, engine_name(), parts.mesh.legs, parts.mesh.feed.tolist(), wires, f_hz)
        return float(self.remember(key, lambda: {"figure": np.array(compute())})["figure"])

    def quality(self, f_hz: float) -> dict[str, float]:
        """Figures that tell whether the solve is inside the model's validity (see mesh.Mesh.quality)."""
        parts = self.parts(f_hz)
        share = float(parts.mesh.length[parts.mesh.feed != 0].min() / self.rules.feed_segment)
        figures = {**parts.mesh.quality(f_hz), "feed_segment_share": share, "y_asymmetry": parts.asymmetry}
        return {**figures, "blend_error": self.blend_error(f_hz)}

    def blend_error(self, f_hz: float) -> float:
        """0: the matrices at f_hz were solved (see neighbours.py for others)."""
        return 0.0
