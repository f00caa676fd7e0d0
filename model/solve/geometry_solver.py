"""The solver for geometries of one's own: any wires, several sources, transmission lines."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tautwire.model.basics import Complex, Remember, compute_always
from tautwire.model.soil.ground import Ground
from tautwire.model.solve.response import SPANS, span_of
from tautwire.model.solve.solver import Solution, Solver, SpanParts, passive, solved
from tautwire.model.wires.geometry import Cut, Geometry
from tautwire.model.wires.mesh import MeshRules


@dataclass(frozen=True)
class OwnSolution(Solution):
    """As Solution, for the sources' volts. source_volts, source_amps (S,): of each source, in order; amps flow from the
    source into wire and lines. total: the port's admittance, S."""

    source_volts: Complex = field(default_factory=lambda: np.zeros(0, complex))
    source_amps: Complex = field(default_factory=lambda: np.zeros(0, complex))
    total: complex = 0j

    @property
    def admittance(self) -> complex:
        """Sum of conj(volts) amps, S: of one source of 1 V its admittance; of several that share a volt the port's."""
        return self.total


class GeometrySolver(Solver):
    """A geometry over one ground. Answers as `Solver` gives them, for the volts of the geometry's sources."""

    def __init__(
        self,
        geometry: Geometry,
        ground: Ground,
        rules: MeshRules = MeshRules(),  # noqa: B008
        remember: Remember = compute_always,
    ) -> None:
        self.geometry = geometry
        super().__init__(self._cut(SPANS[0].upper, ground, rules).structure, ground, rules, remember)

    def _cut(self, f_hz: float, ground: Ground, rules: MeshRules) -> Cut:
        return self.geometry.cut(f_hz, rules, not ground.is_free_space)

    def parts(self, f_hz: float) -> SpanParts:
        span = span_of(f_hz)
        if span not in self._parts:
            cut = self._cut(span.upper, self.ground, self.rules)
            self._parts[span] = SpanParts(cut.structure, self.ground, span, self.rules, self.remember, cut.mesh)
        return self._parts[span]

    def solve(self, f_hz: float) -> OwnSolution:
        """Currents for the sources' volts. Raises SolveError if the matrix cannot be solved."""
        parts, cut = self.parts(f_hz), self._cut(span_of(f_hz).upper, self.ground, self.rules)
        load, shares = parts.load(f_hz), cut.ports
        source_volts: Complex = np.array([complex(s.volts) for s in self.geometry.sources])
        z = parts.matrix(f_hz) + np.diag(load)
        volts: Complex = np.asarray(source_volts @ shares)
        if not self.geometry.lines:
            current = solved(z, volts, f_hz)
            amps: Complex = np.asarray(shares @ current)
        else:
            current, amps = self._with_lines(z, volts, cut, f_hz)
        total = complex(source_volts.conj() @ amps)
        losses = parts.local_losses(f_hz, current)
        return OwnSolution(f_hz, parts.mesh, parts.segments, current, load, self.ground, *losses,
                           source_volts=source_volts, source_amps=amps, total=passive(total, f_hz))  # fmt: skip

    def _with_lines(self, z: Complex, volts: Complex, cut: Cut, f_hz: float) -> tuple[Complex, Complex]:
        """Currents (N,) of the segments and (S,) of the sources. What flows into a line at a segment without a source
        comes from the segment: (Y + Y_lines) V is zero there."""
        shares, ends = cut.ports, [[cut.segment_at(*end) for end in x.ends] for x in self.geometry.lines]
        driven = np.flatnonzero(np.abs(shares).sum(axis=0))
        ports = np.unique(np.concatenate([driven, np.ravel(ends)]).astype(int))
        unit = np.eye(len(z))[:, ports].astype(complex)
        y_wires = np.linalg.solve(z, unit)
        y = y_wires[ports]
        for line, (a, b) in zip(self.geometry.lines, ends, strict=True):
            at = np.searchsorted(ports, [a, b])
            y[np.ix_(at, at)] += line.admittance(f_hz)
        free = ~np.isin(ports, driven)
        v = volts[ports].astype(complex)
        v[free] = np.linalg.solve(y[np.ix_(free, free)], -y[np.ix_(free, ~free)] @ v[~free])
        return y_wires @ v, shares[:, ports] @ (y @ v)

    def port_of_one_mesh(self, middle: float) -> Callable[[float], tuple[complex, complex]]:
        """As Solver's; with lines, or volts that are not real, slopes by difference."""
        if not self.geometry.lines and all(np.imag(s.volts) == 0 for s in self.geometry.sources):
            return super().port_of_one_mesh(middle)

        def port(f_hz: float) -> tuple[complex, complex]:
            step = 1e-5 * f_hz
            below, here, above = (self.solve(f).impedance for f in (f_hz - step, f_hz, f_hz + step))
            return here, (above - below) / (2 * step)

        return port
