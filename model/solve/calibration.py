"""Make the engine's free-space matrix obey reciprocity and energy.

The engine sets a source's field at one point of its segment. Where neighbours differ in length, the voltage that really
acts along the segment differs from the one asked for, by up to 5 % at the short segments of the feed. The currents are
right; only the voltage of each column is off by a factor s_j. Two laws give the factors without a model of the cause:
reciprocity (Y_ij/s_j must equal Y_ji/s_i) fixes their ratios, and radiated = delivered power fixes their level. The
same factors serve the matrix over a perfect ground, so that the difference of the two, the image, stays exact where it
is small.
"""

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.constants import MU0
from tautwire.model.frequencies import wave_number
from tautwire.model.quadrature import legendre
from tautwire.model.wires.segments import MIRROR, Segments, shape, shape_slope

GAUSS = 2  # points a segment; the kernel sin(kR)/R is smooth even at R = 0, so more change the power by 4e-5 at most


def voltage_scale(y: Complex, segments: Segments, f_hz: Real) -> Real:
    """s (N,): the voltage that acts on each segment when the engine is asked for 1 V in free space.

    y (K, N, N): the engine's Y of lossless wires at f_hz (K,), Hz. The factors hardly depend on frequency; one set for
    all keeps the impedances smooth in frequency, which the interpolation in smooth_matrices.py relies on.
    """
    size = np.abs(y)
    flipped = size.transpose(0, 2, 1)
    weight = size * flipped
    weight = weight / weight.sum(axis=(1, 2), keepdims=True)
    ratio = (weight * np.log(flipped / size)).sum(axis=0)  # log(s_i/s_j), weighted
    weight = weight.sum(axis=0)
    laplacian = np.diag(weight.sum(axis=1)) - weight
    level = weight.sum() / len(weight) ** 2  # it knows ratios only: of all solutions the one of mean 0
    scale = np.exp(np.linalg.solve(laplacian + level, ratio.sum(axis=1)))
    levels = []
    for one, f in zip(y, f_hz, strict=True):
        delivered = np.diag(one).real * scale
        radiated = (one.conj() * (radiation_resistance(segments, float(f)) @ one)).sum(axis=0).real
        levels.append(float(radiated @ delivered) / float(delivered @ delivered))
    return scale * np.mean(levels)


def asymmetry(y: Complex) -> float:
    """Greatest difference between Y (K, N, N) and its transpose, relative to the greatest entry, over all K."""
    return float((np.abs(y - y.transpose(0, 2, 1)).max(axis=(1, 2)) / np.abs(y).max(axis=(1, 2))).max())


def radiation_resistance(segments: Segments, f_hz: float, perfect_ground: bool = False) -> Real:
    """R (N, N), ohm, real and symmetric, with I^H R I the power that currents I (N,) at the segment centres radiate.

    Watts for rms amps, twice the watts for amplitudes; in free space, or over a perfect ground into the half space
    above it. Loss is not in it: it is the real part of the impedance matrix of perfect conductors.

    R = w mu0/(4 pi) sum over wire pairs of (t.t' J J' - J_s J'_s'/k^2) sin(kR)/R: the real part of the mixed-potential
    reaction integral (Harrington, Field Computation by Moment Methods, 1968, ch. 4, from memory).
    """
    k = wave_number(f_hz)
    x, w = legendre(GAUSS)
    length = segments.length
    n = len(length)
    current = np.einsum("sg,nsm->ngm", shape(x), segments.current).reshape(-1, n)
    slope = np.einsum("sg,nsm->ngm", shape_slope(x), segments.current)
    divergence = (slope * (2 / length)[:, None, None]).reshape(-1, n)
    position = (segments.centre[:, None] + segments.vector[:, None] * x[None, :, None] / 2).reshape(-1, 3)
    weight = np.outer(length / 2, w).ravel()
    tangent = np.repeat(segments.vector / length[:, None], GAUSS, axis=0)
    current, divergence = current * weight[:, None], divergence * weight[:, None]

    def reaction(kernel: Real, direction: Real, sign: float) -> Real:
        """kernel: sin(kR)/R."""
        moments: Real = current.T @ ((tangent @ direction.T) * kernel) @ current
        return moments - sign / k**2 * (divergence.T @ kernel @ divergence)

    total = reaction(_kernel(k, position, position), tangent, 1.0)
    if perfect_ground:  # the image: horizontal current and charge change sign
        total = total + reaction(_kernel(k, position, position * MIRROR), -tangent * MIRROR, -1.0)
    return f_hz * MU0 / 2 * total


def _kernel(k: float, a: Real, b: Real) -> Real:
    """sin(kR)/R between points a (M, 3) and b (M', 3), m."""
    square = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1) - 2 * a @ b.T  # rounding changes the kernel by 1e-13
    kr = k * np.sqrt(np.maximum(square, 1e-18))
    return np.asarray(k * np.sin(kr) / kr)
