"""Colours against published measures: WCAG contrast, and distance in CIE Lab under simulated colour blindness."""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from sight import SIGHT, lab, linear

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RAMP, ROLE_INKS, SOIL, TARGET

COLOURED = [s for s in SIGHT if s != "grey"]


def light_of(colour: str) -> np.ndarray:
    return linear(np.array(to_rgb(colour)))


def contrast(one: str, two: str) -> float:
    """WCAG 2.1 contrast ratio, 1 to 21."""
    light = sorted(float(light_of(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, two))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_the_measures_themselves() -> None:
    """Known points: black on white is 21:1 (WCAG 2.1); pure red is L*a*b* 53.24, 80.09, 67.20 (handbook value)."""
    assert contrast("black", "white") == pytest.approx(21)
    assert lab(light_of("red")) == pytest.approx([53.24, 80.09, 67.20], abs=0.1)
    for matrix in SIGHT.values():
        assert np.sum(matrix, axis=1) == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("sight", COLOURED)
def test_lines_are_told_apart(sight: str) -> None:
    seen = [lab(np.asarray(SIGHT[sight]) @ light_of(m.colour)) for m in CYCLE]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)) > 30


def test_lines_differ_in_more_than_colour() -> None:
    assert len({str(m.dash) for m in CYCLE}) == len({m.marker for m in CYCLE}) == len(CYCLE)


def test_contrast_of_lines_and_words() -> None:
    """WCAG 2.1: 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3)."""
    assert min(contrast(m.colour, "white") for m in CYCLE) >= 3
    words = {INK, QUIET, *ROLE_INKS.values()}
    assert min(contrast(w, ground) for w in words for ground in ("white", SOIL, TARGET)) >= 4.5


@pytest.mark.parametrize("sight", COLOURED)
def test_ramp_darkens_for_every_eye(sight: str) -> None:
    steps = [lab(np.asarray(SIGHT[sight]) @ light_of(RAMP(x)))[0] for x in np.linspace(0, 1, 15)]
    assert (np.diff(steps) < 0).all()
