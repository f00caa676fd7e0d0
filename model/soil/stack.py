"""Level soil layers at one frequency, and the plane waves they reflect.

Lengths in units of 1/k, time factor e^{+jwt}; l: lateral wave number; u_i = sqrt(l^2 - n2_i), real part positive; layer
1 on top. With W_i = u_i (TE) or u_i/n2_i (TM), and Y what the waves meet below, from the bottom upwards

    g = (W_i - Y)/(W_i + Y) exp(-2 u_i d_i)         Y = W_i (1 - g)/(1 + g)         R = (u0 - Y)/(u0 + Y)

Only decaying exponentials: stable for any depth. R less that of a half space like layer 1, r = (u0 - W_1)/(u0 + W_1),
is

    R - r = g (1 - r^2)/(1 + r g)

without cancellation, and falls as exp(-2 u_1 d_1). (Recursion of stratified media: Wait, Electromagnetic Waves in
Stratified Media, 1962, ch. 2, from memory.)
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tautwire.model.arrays import Complex, Real


@dataclass(frozen=True)
class Stack:
    """Soil at one frequency. n2 (L): complex relative permittivity, top to bottom. depth (L - 1): of all but the last.

    depth in m as a ground gives it; `scaled(k)` gives it in units of 1/k, in which `extra` and `reflection` work.
    images: further images that a split table leaves out beside the top layer's, (raised by, coefficient) each
    (layer_images.py).
    """

    n2: tuple[complex, ...]
    depth: tuple[float, ...] = ()
    images: tuple[tuple[float, complex], ...] = ()

    @classmethod
    def of(cls, medium: "Stack | complex") -> "Stack":
        """A stack as it is, or a half space of this relative permittivity."""
        return medium if isinstance(medium, Stack) else cls((complex(medium),))

    @property
    def top(self) -> complex:
        """n2 of the layer that the air touches."""
        return self.n2[0]

    @property
    def kappa(self) -> complex:
        """Quasi-static image of a charge close above the top layer, (n2 - 1)/(n2 + 1)."""
        return (self.top - 1) / (self.top + 1)

    @cached_property
    def index(self) -> tuple[complex, ...]:
        """Refractive index sqrt(n2) of each layer."""
        return tuple(complex(np.sqrt(n2)) for n2 in self.n2)

    def scaled(self, k: float) -> "Stack":
        """The same with depths in units of 1/k."""
        images = tuple((k * raised, c) for raised, c in self.images)
        return Stack(self.n2, tuple(k * d for d in self.depth), images)

    def reflection(self, lam: Complex, u0: Complex) -> tuple[Complex, Complex]:
        """Rtm, Rte at lateral wave numbers lam, with u0 = sqrt(lam^2 - 1) as the caller has it; shape of lam."""
        square = lam * lam
        tm, te = self.admittances(square)[0]
        return (u0 - tm) / (u0 + tm), (u0 - te) / (u0 + te)

    def extra(self, lam: Complex, u0: Complex, u1: Complex) -> tuple[Complex, Complex]:
        """What the layers below the first add to Rtm and Rte of a half space like the first; shape of lam.

        u1: sqrt(lam^2 - n2) of the first layer. Zero for a uniform soil.
        """
        if not self.depth:
            return np.zeros_like(lam), np.zeros_like(lam)
        square = lam * lam
        below = self.admittances(square, first=1)[0]
        echo = np.exp(-2 * self.depth[0] * u1)
        sums = []
        for w, y in zip((u1 / self.top, u1), below, strict=True):
            g = (w - y) / (w + y) * echo
            r = (u0 - w) / (u0 + w)
            sums.append(g * (1 - r * r) / (1 + r * g))
        return sums[0], sums[1]

    def admittances(self, square: Complex, first: int = 0) -> list[tuple[Complex, Complex]]:
        """Y of TM and TE waves at the upper face of each layer from number `first` on; square: lam^2, any shape."""
        u = _root(square - self.n2[-1])
        admittance = [(u / self.n2[-1], u)]
        for n2, depth in zip(self.n2[-2::-1][: len(self.depth) - first], self.depth[::-1], strict=False):
            u = _root(square - n2)
            echo = np.exp(-2 * depth * u)
            tm, te = admittance[-1]
            admittance.append((_seen(u / n2, tm, echo), _seen(u, te, echo)))
        return admittance[::-1]

    def passed(self, square: Complex, faces: list[tuple[Complex, Complex]]) -> list[tuple[Real, Real]]:
        """Squared field at the upper face of each layer over that at the first, TM (magnetic) and TE (electric).

        square: lam^2, any shape; faces: the admittances there.
        """
        tm: Real = np.ones(np.shape(square))
        te = tm
        coefficients: list[tuple[Real, Real]] = [(tm, te)]
        for n2, depth, (y_tm, y_te) in zip(self.n2, self.depth, faces[1:], strict=False):
            u = _root(square - n2)
            tm, te = tm * _carried(u / n2, y_tm, u, depth), te * _carried(u, y_te, u, depth)
            coefficients.append((tm, te))
        return coefficients


def _carried(w: Complex, y: Complex, u: Complex, depth: float) -> Real:
    """Squared field at the lower face of a layer over that at its upper one."""
    g = (w - y) / (w + y)
    return np.abs(np.exp(-u * depth) * (1 + g) / (1 + g * np.exp(-2 * u * depth))) ** 2


def _root(square: Complex) -> Complex:
    """Square root with a real part of 0 or more."""
    u: Complex = np.sqrt(square)
    return np.where(u.real < 0, -u, u)


def _seen(w: Complex, y: Complex, echo: Complex) -> Complex:
    g = (w - y) / (w + y) * echo
    return w * (1 - g) / (1 + g)
