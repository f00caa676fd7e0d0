"""Quasi-static images in the faces below a thin top layer: what a low wire over snow, ice or wet grass needs.

With a wave number l far above that of every layer only the faces count, k = (n2_below - n2_above)/(n2_below + n2_above)
each, and with e = exp(-2 l d) the stack reflects, from the bottom upwards,

    K = (k + e K')/(1 + k e K') = k + (1 - k^2) sum over m = 1, 2, .. of (-k)^(m-1) (e K')^m

so beside the top face's image, taken out everywhere (sommerfeld.py), there are images of falling strength: the same as
if the wires were raised, by d1, 2 d1 and so on. Over a thin layer they are nearly as singular as the first. The engine
gives each: over a perfect ground, the raised wires. (Series of images of layered media: Wait, Geo-Electromagnetism,
1982, from memory.)

Only a few are kept. The last stands for all deeper ones: it makes the sum right at SLOWEST, so that layers much thinner
than the wire is high need no more images than others.
"""

import itertools
import math
from dataclasses import replace

import numpy as np

from tautwire.model.arrays import Complex, Real
from tautwire.model.soil.stack import Stack

SLOWEST = 9.0  # 1/m; what varies more slowly along the wires is met by the points on a segment
ENOUGH = 1e-4  # of an image that may be left out; three to five images are usual
MOST = 6

Terms = dict[float, complex]  # by how far the wires are raised, m


def series(stack: Stack, count: int) -> Terms:
    """The first `count` images below the top face, those least far away first; exact coefficients.

    stack: depths in m.

    >>> [f"{x:.2f} m: {c.real:.3f}" for x, c in series(Stack((3.0, 9.0), (0.02,)), 3).items()]
    ['0.02 m: 0.375', '0.04 m: -0.094', '0.06 m: 0.023']
    """
    k = [(below - above) / (below + above) for above, below in itertools.pairwise((1.0, *stack.n2))]
    below: Terms = {0.0: k[-1]}
    for face, depth in zip(k[-2::-1], stack.depth[::-1], strict=True):
        once = {x + depth: c for x, c in below.items()}
        total, power = {0.0: face}, {0.0: 1 + 0j}
        for m in range(count):
            power = _product(power, once, count)
            for x, c in power.items():
                total[x] = total.get(x, 0j) + (1 - face * face) * (-face) ** m * c
        below = dict(sorted(total.items())[: count + 1])
    return {x: c for x, c in below.items() if x}


def _product(a: Terms, b: Terms, count: int) -> Terms:
    total: Terms = {}
    for (x, c), (y, d) in itertools.product(a.items(), b.items()):
        place = round(x + y, 7)
        total[place] = total.get(place, 0j) + c * d
    return dict(sorted(total.items())[: count + 1])


def with_images(stack: Stack, raised: tuple[float, ...]) -> Stack:
    """The same with the images that are taken out of its table; raised: by how far (m), as `needed` has them."""
    if not raised:
        return stack
    terms = series(stack, len(raised))
    last = raised[-1]
    others = sum(terms[x] * math.exp(-2 * SLOWEST * (x - last)) for x in raised[:-1])
    whole = complex(_static(stack, np.array(SLOWEST))) * math.exp(2 * SLOWEST * last)
    return replace(stack, images=tuple((x, terms[x]) for x in raised[:-1]) + ((last, whole - others),))


def needed(stacks: list[Stack], lowest: float) -> tuple[float, ...]:
    """By how far (m) wires are to be raised so that a table of the rest is smooth enough for points on a segment.

    stacks: the ground at the frequencies to be served, depths in m. lowest: height of the lowest wire, m. Empty for one
    soil, and where the second face is far below.
    """
    wave = np.geomspace(SLOWEST, max(5 / lowest, 2 * SLOWEST), 60)
    most: tuple[float, ...] = ()
    for stack in stacks if stacks[0].depth else ():
        for count in range(len(most), MOST + 1):
            most = tuple(series(stack, count)) if count else ()
            if float((np.abs(_left(with_images(stack, most), wave)) * np.exp(-2 * wave * lowest)).max()) < ENOUGH:
                break
    return most


def _static(stack: Stack, wave: Real) -> Complex:
    """What the faces below the top one add to the reflection of waves with a large wave number (1/m)."""
    k = [(below - above) / (below + above) for above, below in itertools.pairwise((1.0, *stack.n2))]
    value: Complex = np.full(np.shape(wave), k[-1], dtype=complex)
    for face, depth in zip(k[-2::-1], stack.depth[::-1], strict=True):
        echo = value * np.exp(-2 * wave * depth)
        value = (face + echo) / (1 + face * echo)
    return value - k[0]


def _left(stack: Stack, wave: Real) -> Complex:
    """The same less the images taken out."""
    return _static(stack, wave) - sum(c * np.exp(-2 * wave * x) for x, c in stack.images)
