"""What lies under the antenna: level layers, and the soils they are made of.

Level soil layers at one frequency, and the plane waves they reflect.

Lengths in units of 1/k, time factor e^{+jwt}; l: lateral wave number; u_i = sqrt(l^2 - n2_i), real part positive; layer
1 on top. With W_i = u_i (TE) or u_i/n2_i (TM), and Y what the waves meet below, from the bottom upwards

    g = (W_i - Y)/(W_i + Y) exp(-2 u_i d_i)         Y = W_i (1 - g)/(1 + g)         R = (u0 - Y)/(u0 + Y)

Only decaying exponentials: stable for any depth. R less that of a half space like layer 1, r = (u0 - W_1)/(u0 + W_1),
is

    R - r = g (1 - r^2)/(1 + r g)

without cancellation, and falls as exp(-2 u_1 d_1). (Recursion of stratified media: Wait, Electromagnetic Waves in
Stratified Media, 1962, ch. 2, from memory.)
"""

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy
from numpy.typing import ArrayLike

from tautwire.model.basics import EPS0, Complex, Real
from tautwire.model.errors import InputError, did_you_mean

# --- Level soil layers at one frequency.


@dataclass(frozen=True)
class Stack:
    """Soil at one frequency. n2 (L): complex relative permittivity, top to bottom. depth (L - 1): of all but the last.

    depth in m as a ground gives it; `scaled(k)` gives it in units of 1/k, in which `extra` and `reflection` work.
    images: further images that a split table leaves out beside the top layer's, (raised by, coefficient) each
    (soil_table.py).
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


# --- What lies under the antenna: soils, constant or changing with frequency, layers of them, free space, metal.


P527 = "ITU-R P.527-3 (1992), figure 1, low-frequency values, from memory"
P527_WATER = "ITU-R P.527-4 (2017), water by salinity and temperature"
GEOSCI = "GeoSci.xyz, electromagnetics, typical values"
HANDBOOK = "common handbook soil classes, from memory"
SNOW = "er = 1 + 1.7 s + 0.7 s^2, s: density in g/cm3 (Tiuri et al. 1984, IEEE J. Oceanic Eng. 9), from memory"
ICE = "er 3.2 of fresh-water ice at HF; conductivity near 0 degrees C, from memory"
LONGMIRE_SMITH = "Longmire and Smith 1975, a universal impedance for soils, from memory"
DEEPEST = 30.0  # m, greatest depth of a layer
THINNEST = 1e-4  # m; a thinner layer is left out


class Ground(ABC):
    """A flat ground that fills z < 0. Frozen dataclasses, so that equal grounds share stored results.

    name: as people call it. source: where its figures come from.
    """

    name: str
    source: str

    @property
    def is_free_space(self) -> bool:
        return False

    @property
    def is_perfect(self) -> bool:
        return False

    @abstractmethod
    def n2(self, f_hz: ArrayLike) -> Complex:
        """Complex relative permittivity er - j sigma/(w eps0) of what the air touches; f_hz: Hz, any shape."""

    @abstractmethod
    def words(self) -> str:
        """Its constants in a few words."""

    def stack(self, f_hz: float) -> Stack:
        """Its layers at f_hz (Hz), depths in m."""
        return Stack((complex(self.n2(f_hz)),))

    def kappa(self, f_hz: float) -> complex:
        """Quasi-static image of a charge: (n2 - 1)/(n2 + 1); 0 in free space, 1 over perfect ground."""
        if self.is_perfect:
            return 1 + 0j
        n2 = complex(self.n2(f_hz))
        return (n2 - 1) / (n2 + 1)

    def kappa_slope(self, f_hz: float) -> complex:
        """d kappa/df, 1/Hz."""
        if self.is_perfect:
            return 0j
        n2, step = complex(self.n2(f_hz)), 1e-4 * f_hz
        slope = (complex(self.n2(f_hz + step)) - complex(self.n2(f_hz - step))) / (2 * step)
        return 2 / (n2 + 1) ** 2 * slope

    def constants(self, f_hz: float) -> tuple[float, float]:
        """er and sigma (S/m) of what the air touches, at f_hz (Hz)."""
        n2 = complex(self.n2(f_hz))
        return n2.real, -n2.imag * 2 * math.pi * f_hz * EPS0

    def check(self, lower: float, upper: float) -> None:
        """Raises InputError if the ground is not known from lower to upper, Hz."""
        return


@dataclass(frozen=True)
class UniformGround(Ground):
    """One soil of the same constants at every frequency.

    er: relative permittivity (1 or more). sigma: conductivity, S/m (0 or more; inf is a perfect conductor).
    Raises InputError outside those ranges.
    """

    er: float
    sigma: float
    name: str = "custom soil"
    source: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.er) and 1 <= self.er <= 100):
            raise InputError("soil.er", self.er, "relative permittivity from 1 to 100")
        if not self.sigma >= 0:
            raise InputError("soil.sigma", self.sigma, "conductivity of 0 S/m or more")
        if self.er == 1 and 0 < self.sigma < math.inf:
            raise InputError("soil.er", self.er, "above 1 for a conducting soil")

    @property
    def is_free_space(self) -> bool:
        return self.er == 1 and self.sigma == 0

    @property
    def is_perfect(self) -> bool:
        return math.isinf(self.sigma)

    def n2(self, f_hz: ArrayLike) -> Complex:
        """er - j sigma/(w eps0); ITU-R P.527 eq. (1)."""
        f = np.asarray(f_hz, dtype=float)
        return self.er - 1j * self.sigma / (2 * np.pi * f * EPS0)

    def kappa_slope(self, f_hz: float) -> complex:
        if self.is_perfect:
            return 0j
        n2 = complex(self.n2(f_hz))
        return 2 / (n2 + 1) ** 2 * (self.er - n2) / f_hz

    def words(self) -> str:
        return f"εr {self.er:.4g}, {self.sigma * 1e3:.4g} mS/m"


SALTIEST, COLDEST, HOTTEST = 40.0, 0.0, 40.0  # g/kg, degrees C: as far as the formulas below are meant to go


def water(salinity: float, celsius: float = 15.0, name: str = "") -> UniformGround:
    """Water by its salinity (g of salt a kg) and temperature (degrees C), at frequencies far below 1 GHz.

    ITU-R P.527-4 (06/2017): static permittivity and conductivity of sea water. Raises InputError outside 0 to 40 g/kg
    and 0 to 40 degrees.

    >>> sea = water(35, 15)
    >>> round(sea.er, 1), round(sea.sigma, 2)
    (73.2, 4.29)
    """
    s, t = salinity, celsius
    if not 0 <= s <= SALTIEST:
        raise InputError("soil.salinity", f"{s:g} g/kg", f"from 0 to {SALTIEST:g} g/kg: 35 is the ocean, 0.2 a lake")
    if not COLDEST <= t <= HOTTEST:
        raise InputError("soil.temperature", f"{t:g} degrees C", f"from {COLDEST:g} to {HOTTEST:g} degrees C")
    er = 77.66 + 103.3 * (300 / (t + 273.15) - 1)
    er *= math.exp(-3.56417e-3 * s + 4.74868e-6 * s**2 + 1.15574e-5 * t * s)
    s35 = 2.903602 + 8.607e-2 * t + 4.738817e-4 * t**2 - 2.991e-6 * t**3 + 4.3047e-9 * t**4
    r15 = s * (37.5109 + 5.45216 * s + 1.4409e-2 * s**2) / (1004.75 + 182.283 * s + s**2)
    a0 = (6.9431 + 3.2841 * s - 9.9486e-2 * s**2) / (84.85 + 69.024 * s + s**2)
    a1 = 49.843 - 0.2276 * s + 1.98e-3 * s**2
    sigma = s35 * r15 * (1 + a0 * (t - 15) / (a1 + t))
    return UniformGround(er, sigma, name or f"water of {s:g} g/kg at {t:g} °C", P527_WATER)


@dataclass(frozen=True)
class Typical:
    """Between what the constants of a kind of ground usually lie: er, and sigma in S/m, each (least, most)."""

    er: tuple[float, float]
    sigma: tuple[float, float]
    source: str = GEOSCI

    def middle(self, name: str) -> UniformGround:
        """A ground of the geometric means."""
        er, sigma = (math.sqrt(a * b) for a, b in (self.er, self.sigma))
        return UniformGround(er, sigma, name, f"middle of {self.source}")

    def words(self) -> str:
        """The two ranges.

        >>> TYPICAL["clay"].words()
        'εr 5 to 40, 2 to 1000 mS/m'
        """
        parts = [f"{a:g}" if a == b else f"{a:g} to {b:g}" for a, b in (self.er, (1e3 * x for x in self.sigma))]
        return f"εr {parts[0]}, {parts[1]} mS/m"


TYPICAL: dict[str, Typical] = {
    "fresh water": Typical((80, 80), (0.5e-3, 0.5e-3)),
    "sea water": Typical((80, 80), (3.0, 3.0)),
    "ice": Typical((3, 4), (0.01e-3, 0.01e-3)),
    "dry sand": Typical((3, 5), (0.01e-3, 0.01e-3)),
    "saturated sand": Typical((20, 30), (0.1e-3, 1e-3)),
    "limestone": Typical((4, 8), (0.5e-3, 2e-3)),
    "shale": Typical((5, 15), (1e-3, 0.1)),
    "silt": Typical((5, 30), (1e-3, 0.1)),
    "clay": Typical((5, 40), (2e-3, 1.0)),
    "granite": Typical((4, 6), (0.01e-3, 1e-3)),
}
"""typical ranges of named grounds, as the source gives them; the waters' one conductivity is no range"""


# a_n of Longmire and Smith, n = 1 to 13
_STRENGTHS = np.array([3.4e6, 2.74e5, 2.58e4, 3.38e3, 526, 133, 27.2, 12.5, 4.80, 2.17, 0.98, 0.392, 0.173])


@dataclass(frozen=True)
class MoistGround(Ground):
    """A soil told by its water, with the permittivity and conductivity that such soils have against frequency.

    moisture: share of the volume that is water, 0.005 to 0.6. With p in per cent,

        er = 5 + sum a_n/(1 + (f/f_n)^2)      sigma = s0 + 2 pi eps0 sum a_n f_n (f/f_n)^2/(1 + (f/f_n)^2)
        s0 = 8e-3 (p/10)^1.54 S/m             f_n = (p/10)^1.28 10^(n-1) Hz

    (Longmire and Smith 1975, from memory): 13 relaxations, so causal by construction. A mean of many soils: salt and
    clay move the conductivity of one soil by several times either way.

    >>> er, sigma = MoistGround(0.1).constants(10e6)
    >>> round(er, 1), round(sigma * 1e3, 1)
    (20.0, 15.0)
    """

    moisture: float
    name: str = "moist soil"
    source: str = LONGMIRE_SMITH

    def __post_init__(self) -> None:
        if not 0.005 <= self.moisture <= 0.6:
            raise InputError("soil.moisture", f"{self.moisture:.4g}", "water by volume from 0.5 % to 60 %")

    def n2(self, f_hz: ArrayLike) -> Complex:
        """Written as 13 relaxations a_n/(1 + j f/f_n), the same thing."""
        f, p = np.asarray(f_hz, dtype=float), 10 * self.moisture
        fn = p**1.28 * 10.0 ** np.arange(13)
        relaxed = (_STRENGTHS / (1 + 1j * f[..., None] / fn)).sum(-1)
        return 5 + relaxed - 1j * 8e-3 * p**1.54 / (2 * np.pi * f * EPS0)

    def words(self) -> str:
        return f"{self.moisture * 100:g} % water by volume"


@dataclass(frozen=True)
class TabledGround(Ground):
    """A soil known at some frequencies. rows: (Hz, er, sigma in S/m), two or more, frequency rising.

    Between rows er and ln sigma follow a monotone cubic in ln f (Fritsch and Carlson; scipy's PchipInterpolator).
    Matrices of a span are interpolated from a few fixed frequencies; where these lie outside the table, its first or
    last row stands. Raises InputError for rows out of order or range.
    """

    rows: tuple[tuple[float, float, float], ...]
    name: str = "soil by table"
    source: str = ""

    def __post_init__(self) -> None:
        f = [r[0] for r in self.rows]
        if len(f) < 2 or not f[0] > 0 or any(b <= a for a, b in zip(f, f[1:], strict=False)):
            raise InputError("soil.table", f, "two or more frequencies above 0 Hz, each once")
        for hz, er, sigma in self.rows:
            if not 1 < er <= 1e4:
                raise InputError("soil.table", f"er {er:g} at {hz / 1e6:g} MHz", "relative permittivity above 1")
            if not 0 < sigma < math.inf:
                raise InputError("soil.table", f"{sigma:g} S/m at {hz / 1e6:g} MHz", "conductivity above 0")

    @cached_property
    def _curves(self) -> Any:
        f, er, sigma = np.array(self.rows).T
        return scipy.interpolate.PchipInterpolator(np.log(f), np.stack([er, np.log(sigma)], axis=1))

    def n2(self, f_hz: ArrayLike) -> Complex:
        f = np.asarray(f_hz, dtype=float)
        known: Real = np.clip(f, self.rows[0][0], self.rows[-1][0])
        curves = self._curves(np.log(known))
        return curves[..., 0] - 1j * np.exp(curves[..., 1]) / (2 * np.pi * f * EPS0)

    def check(self, lower: float, upper: float) -> None:
        low, high = self.rows[0][0], self.rows[-1][0]
        if lower < low * (1 - 1e-9) or upper > high * (1 + 1e-9):
            allowed = f"frequencies within its table, {low / 1e6:g} to {high / 1e6:g} MHz"
            raise InputError("soil.table", f"{(lower if lower < low else upper) / 1e6:g} MHz", allowed)

    def words(self) -> str:
        f, er, sigma = np.array(self.rows).T
        return f"εr {er[0]:g} to {er[-1]:g}, {sigma[0] * 1e3:g} to {sigma[-1] * 1e3:g} mS/m"


@dataclass(frozen=True)
class Layer:
    """A soil of one depth (m)."""

    soil: Ground
    depth: float

    def __post_init__(self) -> None:
        if not 0 <= self.depth <= DEEPEST:
            raise InputError("soil.depth", f"{self.depth:g} m", f"from 0 to {DEEPEST:g} m; the last layer has none")


@dataclass(frozen=True)
class LayeredGround(Ground):
    """Level layers, top to bottom, on a soil without end. A layer of no depth is left out.

    layers: one or more. Raises InputError where free space, a perfect conductor or layers stand for a layer.
    """

    layers: tuple[Layer, ...]
    bottom: Ground
    name: str = "layered soil"
    source: str = ""

    def __post_init__(self) -> None:
        for soil in (*(layer.soil for layer in self.layers), self.bottom):
            if soil.is_free_space or soil.is_perfect or isinstance(soil, LayeredGround):
                raise InputError("soil", repr(soil.name), "a real soil as a layer; sea water stands for a conductor")

    @cached_property
    def _kept(self) -> tuple[Layer, ...]:
        return tuple(layer for layer in self.layers if layer.depth >= THINNEST)

    @property
    def top(self) -> Ground:
        """The soil that the air touches."""
        return self._kept[0].soil if self._kept else self.bottom

    def n2(self, f_hz: ArrayLike) -> Complex:
        return self.top.n2(f_hz)

    def kappa_slope(self, f_hz: float) -> complex:
        return self.top.kappa_slope(f_hz)

    def stack(self, f_hz: float) -> Stack:
        soils = (*(layer.soil for layer in self._kept), self.bottom)
        return Stack(tuple(complex(s.n2(f_hz)) for s in soils), tuple(layer.depth for layer in self._kept))

    def check(self, lower: float, upper: float) -> None:
        for soil in (*(layer.soil for layer in self.layers), self.bottom):
            soil.check(lower, upper)

    def words(self) -> str:
        over = [f"{layer.depth * 100:.3g} cm of {_called(layer.soil)} over" for layer in self.layers]
        return " ".join([*over, _called(self.bottom)])


def _called(soil: Ground) -> str:
    return soil.name if soil.name in GROUNDS else soil.words()


FREE_SPACE = UniformGround(1.0, 0.0, "free space")
PERFECT = UniformGround(1.0, math.inf, "perfect ground")


def _by_name(grounds: Sequence[Ground]) -> dict[str, Ground]:
    return {g.name: g for g in grounds}


GROUNDS: dict[str, Ground] = _by_name(
    (
        FREE_SPACE,
        PERFECT,
        water(35, 15, "sea water"),
        water(15, 15, "brackish water"),  # of a fjord
        water(0.2, 15, "lake water"),
        water(0.02, 15, "fresh water"),  # 3 mS/m: soft water
        UniformGround(30, 1e-2, "wet ground", P527),
        UniformGround(15, 1e-3, "medium dry ground", P527),
        UniformGround(3, 1e-4, "very dry ground", P527),
        UniformGround(20, 30.3e-3, "very good soil", HANDBOOK),
        UniformGround(13, 5e-3, "average soil", HANDBOOK),
        UniformGround(13, 2e-3, "poor soil", HANDBOOK),
        UniformGround(5, 1e-3, "very poor soil", HANDBOOK),
        UniformGround(10, 2e-3, "sandy soil", HANDBOOK),
        UniformGround(1.57, 2e-6, "dry snow", SNOW),
        UniformGround(2.5, 1e-4, "wet snow", SNOW),
        UniformGround(3.2, 1e-5, "ice", ICE),
        *(
            TYPICAL[n].middle(n)
            for n in ("dry sand", "saturated sand", "limestone", "shale", "silt", "clay", "granite")
        ),
    )
)


def _over(name: str, *layers: tuple[str, float], bottom: str) -> LayeredGround:
    return LayeredGround(tuple(Layer(GROUNDS[n], d) for n, d in layers), GROUNDS[bottom], name, "depths: our choice")


STACKS: dict[str, Ground] = _by_name(
    (
        _over("snow over soil", ("dry snow", 0.3), bottom="average soil"),
        _over("ice over water", ("ice", 0.3), bottom="fresh water"),
        _over("sand over clay", ("very dry ground", 0.4), bottom="wet ground"),
    )
)


def ground_named(name: str) -> Ground:
    """The ground of that name (any case). Raises InputError with the nearest names."""
    key = " ".join(name.lower().replace("_", " ").replace("-", " ").split())
    known = {**GROUNDS, **STACKS}
    if key in known:
        return known[key]
    raise InputError("soil", repr(name), f"one of {', '.join(known)}{did_you_mean(key, known)}")
