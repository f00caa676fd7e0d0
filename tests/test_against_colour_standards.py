"""Colours against published measures: WCAG contrast, and distance in CIE Lab under simulated colour blindness."""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from tautwire.studies.drawing.style import CYCLE, INK, QUIET, RAMP, ROLE_INKS, SOIL, TARGET

# Machado, Oliveira, Fernandes 2009, "A physiologically-based model for simulation of color vision deficiency",
# severity 1.0; from memory. Each row adds up to 1: white stays white.
SIGHT = {
    "normal": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    """sRGB (IEC 61966-2-1) to linear light."""
    c = np.array(to_rgb(colour))
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b*, white point D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = to_xyz @ np.clip(light, 0, 1) / [0.9505, 1.0, 1.089]
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, two: str) -> float:
    """WCAG 2.1 contrast ratio, 1 to 21."""
    light = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, two))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_the_measures_themselves() -> None:
    """Known points: black on white is 21:1 (WCAG 2.1); pure red is L*a*b* 53.24, 80.09, 67.20 (handbook value)."""
    assert contrast("black", "white") == pytest.approx(21)
    assert lab(linear("red")) == pytest.approx([53.24, 80.09, 67.20], abs=0.1)
    for matrix in SIGHT.values():
        assert np.sum(matrix, axis=1) == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize("sight", SIGHT)
def test_lines_are_told_apart(sight: str) -> None:
    seen = [lab(np.asarray(SIGHT[sight]) @ linear(m.colour)) for m in CYCLE]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)) > 30


def test_lines_differ_in_more_than_colour() -> None:
    assert len({str(m.dash) for m in CYCLE}) == len({m.marker for m in CYCLE}) == len(CYCLE)


def test_contrast_of_lines_and_words() -> None:
    """WCAG 2.1: 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3)."""
    assert min(contrast(m.colour, "white") for m in CYCLE) >= 3
    words = {INK, QUIET, *ROLE_INKS.values()}
    assert min(contrast(w, ground) for w in words for ground in ("white", SOIL, TARGET)) >= 4.5


@pytest.mark.parametrize("sight", SIGHT)
def test_ramp_darkens_for_every_eye(sight: str) -> None:
    steps = [lab(np.asarray(SIGHT[sight]) @ linear(RAMP(x)))[0] for x in np.linspace(0, 1, 15)]
    assert (np.diff(steps) < 0).all()
