"""Feed impedance at one frequency from a mesh made for it: for many set-ups that differ little from each other.

solver.py prepares a whole span, which pays when a band is read; here each matrix is computed once at f, on a coarse
mesh. What a coarse mesh gets wrong it gets wrong alike for two set-ups, so their difference is right to a few per cent.
"""

import numpy as np

from tautwire.model.arrays import Complex
from tautwire.model.errors import SolveError
from tautwire.model.soil.ground import Ground
from tautwire.model.soil.layer_images import needed, with_images
from tautwire.model.soil.remainder import remainder_matrix, table_range
from tautwire.model.soil.soil_table import SoilTable, soil_table
from tautwire.model.soil.stack import Stack
from tautwire.model.solve.calibration import voltage_scale
from tautwire.model.solve.contact import ContactTerm
from tautwire.model.solve.engine import admittance, canonical, raised
from tautwire.model.solve.radius_correction import RadiusTerm, engine_legs
from tautwire.model.solve.solver import loads, symmetric_inverse
from tautwire.model.wires.mesh import MeshRules, mesh
from tautwire.model.wires.segments import Segments, joined_segments
from tautwire.model.wires.structure import Structure

FEW = 8, 6  # nodes of a soil table: a shift moves by 1e-3 of all shifts together at most, by 4e-5 usually


class OneFrequency:
    """Feed impedances at f_hz (Hz) of set-ups that share matrices and soil tables where they can."""

    def __init__(self, f_hz: float) -> None:
        self.f_hz = f_hz
        self._wires: dict[object, tuple[np.ndarray, np.ndarray]] = {}
        self._images: dict[object, np.ndarray] = {}
        self._tables: dict[object, SoilTable] = {}
        self._rests: dict[object, np.ndarray] = {}

    def impedance(self, structure: Structure, ground: Ground, rules: MeshRules) -> complex:
        """Feed impedance, ohm. Raises SolveError if it is not passive, InputError for wires that cannot be cut."""
        f = self.f_hz
        grid = mesh(structure, f, rules)
        parts = joined_segments(grid.start, grid.end)
        legs = engine_legs(grid, structure)
        free = canonical(legs, keep_height=False)
        if free not in self._wires:
            y = admittance(free, f, False)[None]
            scale = voltage_scale(y, parts, np.array([f]))
            self._wires[free] = symmetric_inverse(y / scale)[0], scale
        z_free, scale = self._wires[free]
        z = z_free + RadiusTerm(grid, parts, structure).at(f)
        if not ground.is_free_space:
            z = z + ContactTerm(grid, parts, structure).at(f, ground)
            high = canonical(legs, keep_height=True)

            def image(by: float = 0.0) -> Complex:
                wires = raised(high, by)
                if wires not in self._images:
                    self._images[wires] = symmetric_inverse(admittance(wires, f, True)[None] / scale)[0] - z_free
                return self._images[wires]

            if ground.is_perfect:
                z = z + image()
            else:
                bare = ground.stack(f)
                stack = with_images(bare, needed([bare], float(min(grid.start[:, 2].min(), grid.end[:, 2].min()))))
                under = high, stack
                if under not in self._rests:
                    self._rests[under] = remainder_matrix(self._table(ground, stack, parts), parts)
                z = z + ground.kappa(f) * image() + self._rests[under]
                z = sum((c * image(by) for by, c in stack.images), z)
        current = np.linalg.solve(z + np.diag(loads(structure, grid, f)), grid.feed.astype(complex))
        y_feed = complex(grid.feed @ current)
        if not (np.isfinite(y_feed) and y_feed.real > 0):
            raise SolveError(f"feed resistance is not positive at {f / 1e6:.6g} MHz")
        return 1 / y_feed

    def _table(self, ground: Ground, stack: Stack, parts: Segments) -> SoilTable:
        key = stack, *table_range(parts)
        if key not in self._tables:
            self._tables[key] = soil_table(self.f_hz, ground, *key[1:], FEW, tuple(by for by, _ in stack.images))
        return self._tables[key]
