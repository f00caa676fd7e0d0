"""Quality figures of each case and band, and the words that mark one outside the model's validity."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..model.solver import Solver
    from .study import Study

# figure -> (lowest, highest allowed, words when outside)
LIMITS: dict[str, tuple[float, float, str]] = {
    "max_length_wavelengths": (0.0, 0.1, "segments longer than a tenth of a wavelength"),
    "min_length_radii": (4.0, float("inf"), "segments shorter than four wire radii"),
    "min_height_radii": (1.5, float("inf"), "a wire within one and a half radii of the soil"),
    "max_neighbour_ratio": (0.0, 2.5, "neighbouring segments differ in length by more than 2.5"),
    "y_asymmetry": (0.0, 0.05, "the engine's matrix breaks reciprocity by more than 5 %"),
}


def marks(figures: dict[str, float]) -> list[str]:
    """Words for each figure outside its limits; empty if the case is inside the model's validity."""
    return [
        words
        for name, (low, high, words) in LIMITS.items()
        if name in figures and not low <= figures[name] <= high
    ]  # fmt: skip


def quality_rows(solver: Solver, study: Study) -> list[dict[str, Any]]:
    """One row a band: the solver's quality figures at the band's top, and `marks` ("" inside validity)."""
    rows = []
    for band in study.bands:
        figures = solver.quality(band.upper)
        rows.append({"band": band.name, **figures, "marks": "; ".join(marks(figures))})
    return rows
