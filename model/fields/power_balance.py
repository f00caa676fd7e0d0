"""Where the power goes: what the soil takes, and the balance of all of it.

Power that the currents send into the soil, from the fields in the soil alone.

The field below the wires is a spectrum of plane waves with lateral wave number l, in directions phi; what crosses the
surface downward is, wave by wave (k = 1, u0 = sqrt(l^2 - 1), u1 = sqrt(l^2 - n2), real parts positive, rms currents),

    P = eta/(4 pi^2) sum over l dl dphi of  Im(u1)/|u0 + u1|^2 |T|^2  +  Im(u1 n2*)/|n2 u0 + u1|^2 |M|^2
    T = sum[ p.t e ]      M = sum[ (j l p_z + u0 p_l) e ]      e = exp(j l (x cos phi + y sin phi) - u0 z)

with p_l, p.t the parts of a moment along and across phi: transmitted electric field times magnetic field (TE, then TM).
Over layers u1 (TE) and u1/n2 (TM) become what the waves meet at the surface (Y of ground.py), and what crosses each
face below follows from the fields there, so that each layer's share is known. The waves that layers guide are sharp
peaks. Nothing here uses the impedance matrix or the reflected-field tables, so a power balance with it is a check of
both.

Low wires need l far beyond what is worth summing. There the integrand is that of the charges in front of their images
in the top layer, C |M|^2/l with u0 = l and C = -Im(n2)/|n2 + 1|^2, whose integral over all l is a double sum over
1/distance; only the difference from it is summed, up to CUT |n| or what MOST_WAVES affords. That cap is felt by wires
within a few centimetres of sea water only, where a few percent of the input may be missed. (Derived from a dipole's
plane-wave spectrum; Weyl's identity.)

Where the power goes that enters the wire, and where the radio's power goes: sky, soil, wire, choke, and the feed.

Each share is computed by itself: the sky from the far field, the soil from the field in the soil (power_balance.py),
wire and loads from I^2 R. Their sum need not be the input V I of the solved matrix; what it misses is the `error`, a
measure of the whole solution (in free space and over perfect ground it is the average-gain test). Shares and gains are
relative to the sum, since the far field depends on the currents less delicately than V I does: common practice, no
source.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from tautwire.model.basics import ETA0, Complex, Real, legendre, on_panels, wave_number
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.far_field import moments, radiated
from tautwire.model.soil.ground import Stack
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.segments import Segments
from tautwire.model.wires.structure import Structure

# --- Power that the currents send into the soil.


CUT = 10.0  # lateral wave numbers beyond CUT |n| are left to the charges; chosen by hand
DECAY = 8.0  # a wave is left out once it has fallen to exp(-DECAY): 2e-6 of the power (tests/benchmarks/mesh_error.py)
PHASE, NODES = 7.0, 8  # radians that a panel may span, Gauss points on it; chosen by hand
LEAST_LOSS = 1e-6  # loss tangent that a layer has at the least
LEAST_SPREAD = 1e-3  # least horizontal reach of the wires, in units of 1/k: a vertical wire has none of its own
MOST_WAVES = 150.0  # radians from the middle of the wires to their end at the highest wave number summed


def soil_power(solution: Solution, cut: float = CUT) -> float:
    """Power into the soil, W for 1 V at the feed; 0 in free space and over perfect ground.

    cut: wave numbers up to cut |n| are summed one by one.
    """
    return float(layer_powers(solution, cut).sum())


def layer_powers(solution: Solution, cut: float = CUT) -> Real:
    """Power into each layer of the soil, top to bottom, W for 1 V at the feed; one 0 without a soil."""
    ground, f = solution.ground, solution.f_hz
    if ground.is_free_space or ground.is_perfect:
        return np.zeros(1)
    found = downward(solution.segments, solution.current, wave_number(f), ground.stack(f), cut)
    found[0] += solution.contact_loss
    return found


def downward(seg: Segments, current: Complex, k: float, below: Stack | complex, cut: float = CUT) -> Real:
    """Power, W, that currents (N,) at segment centres leave in each layer below z = 0, top to bottom.

    k: wave number above, 1/m. below: relative permittivity, or layers with depths in m.
    """
    stack = _lossy(Stack.of(below).scaled(k))
    spectrum = _Spectrum(seg, current, k)
    enough = DECAY / spectrum.lowest
    limit = min(enough, _highest(stack, cut), max(3.0, MOST_WAVES / spectrum.spread(enough)))
    charge_loss = stack.kappa.imag / -2
    split = limit < enough and charge_loss > 0
    through = np.zeros(len(stack.n2) + 1)  # each upper face, and nothing at the end
    for lateral, u0, weight in _lines(spectrum, stack, limit):
        te, tm, charges = spectrum.power(lateral, u0, split)
        faces = stack.admittances(np.array(complex(lateral * lateral)))
        into = np.array([weight * tm / abs(u0 + faces[0][0]) ** 2, weight * te / abs(u0 + faces[0][1]) ** 2])
        passed = stack.passed(np.array(complex(lateral * lateral)), faces)
        for i, (face, share) in enumerate(zip(faces, passed, strict=True)):
            through[i] += float(into @ (np.imag(face) * share))
        if split:
            through[0] -= weight * charges * charge_loss / lateral
    through *= ETA0 * k * k / (4 * np.pi**2)
    if split:
        through[0] += ETA0 / k * charge_loss / (2 * np.pi) * image_energy(seg, current)
    return through[:-1] - through[1:]


def _lossy(stack: Stack) -> Stack:
    """The same with a little loss where layers have none, so that the waves they guide end in them."""
    if not stack.depth:
        return stack
    return Stack(tuple(n2 - 1j * max(n2.imag + LEAST_LOSS * n2.real, 0.0) for n2 in stack.n2), stack.depth)


def _highest(stack: Stack, cut: float) -> float:
    """The lateral wave number beyond which only the charges' own image in the top layer is left."""
    most, above = cut * abs(stack.index[0]), 0.0
    for n, depth in zip(stack.index[1:], stack.depth, strict=True):
        above += depth
        most = max(most, min(cut * abs(n), DECAY / (2 * above)), DECAY / (4 * stack.depth[0]))
    return most


class _Spectrum:
    """Plane-wave spectrum of a current; lengths in units of 1/k."""

    def __init__(self, seg: Segments, current: Complex, k: float):
        self._seg, self._current, self._k = seg, current, k
        self._points: dict[int, tuple[Real, Complex]] = {}
        self._longest = k * float(np.hypot(seg.vector[:, 0], seg.vector[:, 1]).max())
        ends = np.concatenate([seg.start, seg.end])
        self._ends = k * ends
        self.lowest = float(self._ends[:, 2].min())

    def _cloud(self, lateral: float) -> tuple[Real, Complex]:
        order = 3 + 2 * int(np.ceil(lateral * self._longest / 4))
        if order not in self._points:
            place, p = moments(self._seg, self._current, order)
            self._points[order] = self._k * place, p
        return self._points[order]

    def _active(self, place: Real, u: float) -> np.ndarray:
        return (place[:, 2] - self.lowest) * u < DECAY

    def spread(self, u: float) -> float:
        """How far conductors that still matter at u reach from their middle."""
        at = self._ends[self._active(self._ends, u), :2]
        reach = np.linalg.norm(at - (at.min(0) + at.max(0)) / 2, axis=1).max()
        return max(float(reach) + self._longest / 2, LEAST_SPREAD)

    def power(self, lateral: float, u0: complex, split: bool) -> tuple[float, float, float]:
        """|T|^2, |M|^2 and the charges' |M|^2, each integrated over phi."""
        place, p = self._cloud(lateral)
        keep = self._active(place, u0.real)
        place, p = place[keep], p[keep]
        place = place - [*(place[:, :2].min(0) + place[:, :2].max(0)) / 2, 0.0]
        reach = lateral * float(np.hypot(place[:, 0], place[:, 1]).max())
        count = int(2 * reach + 4 * np.cbrt(reach) + 16)
        phi = 2 * np.pi * np.arange(count) / count
        cos, sin = np.cos(phi), np.sin(phi)
        wave = np.exp(1j * lateral * (np.outer(cos, place[:, 0]) + np.outer(sin, place[:, 1])))
        x, y, z = (wave @ (p * np.exp(-u0 * place[:, 2])[:, None])).T
        te = np.abs(y * cos - x * sin) ** 2
        tm = np.abs(1j * lateral * z + u0 * (x * cos + y * sin)) ** 2
        charges = 0.0
        if split:
            x, y, z = (wave @ (p * np.exp(-lateral * place[:, 2])[:, None])).T
            charges = float((np.abs(1j * z + x * cos + y * sin) ** 2).mean() * lateral**2)
        return 2 * np.pi * float(te.mean()), 2 * np.pi * float(tm.mean()), 2 * np.pi * charges


def _lines(spectrum: _Spectrum, stack: Stack, limit: float) -> Iterator[tuple[float, complex, float]]:
    """l, u0 and the weight of l dl: through the waves that travel (l = sin t), then those that only decay (u0 real)."""
    near = min(0.4, *(1 / abs(np.sqrt(n2 + 1)) for n2 in stack.n2))
    if stack.depth:
        near = min(near, 0.5 * stack.depth[0])
    for t, dt in _rule(np.pi / 2, lambda t: 1.0, spectrum, [(np.pi / 2, near)]):
        yield np.sin(t), 1j * np.cos(t), np.sin(t) * np.cos(t) * dt
    sharp = [(0.0, near)]
    for n2 in stack.n2:
        root = np.sqrt(n2 - 1)
        sharp.append((float(root.real), max(abs(root.imag), 0.02 * abs(root), 0.01)))
    sharp += [(float(u.real), max(abs(u.imag), 1e-7)) for u in guided_waves(stack)]
    for u, du in _rule(limit, lambda u: u, spectrum, sharp):
        yield float(np.sqrt(1 + u * u)), complex(u), u * du


def _rule(
    end: float, decay: Callable[[float], float], spectrum: _Spectrum, sharp: list[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    x, w = legendre(NODES)
    for a, b in _panels(end, decay, spectrum, sharp):
        yield from zip((a + b) / 2 + (b - a) / 2 * x, w * (b - a) / 2, strict=True)


def guided_waves(stack: Stack) -> list[complex]:
    """u0 = sqrt(l^2 - 1) of the waves that layers guide with little loss: near minima of |u0 + Y| on the real axis.

    stack: depths in 1/k. The wave goes as exp(-j l rho - u0 z). Empty for a uniform soil.
    """
    if not stack.depth:
        return []
    top = max(1.0, max(n2.real for n2 in stack.n2))
    u = np.unique(np.concatenate([np.geomspace(1e-3, np.sqrt(top), 300), np.linspace(1e-3, np.sqrt(top), 300)]))
    found: list[complex] = []
    for which in (0, 1):

        def gap(v: Complex, which: int = which) -> Complex:
            return v + stack.admittances(v * v + 1)[0][which]

        size = np.abs(gap(u.astype(complex)))
        for i in np.flatnonzero((size[1:-1] < size[:-2]) & (size[1:-1] < size[2:])) + 1:
            v = complex(u[i])
            for _ in range(30):
                step = 1e-6 * abs(v)
                here, slope = gap(np.array([v]))[0], (gap(np.array([v + step])) - gap(np.array([v - step])))[0]
                move = here * 2 * step / slope
                v -= move
                if abs(move) < 1e-10 * abs(v):
                    break
            if np.isfinite(v) and 0 < v.real < np.sqrt(top) and abs(v.imag) < 0.5 * abs(v.real):
                found.append(v)
    return found


def _panels(
    end: float, decay: Callable[[float], float], spectrum: _Spectrum, sharp: list[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    """Panels from 0 to end: short where the phase turns fast, and near each sharp place (where, how sharp)."""
    stops = sorted({0.0, end, *(p for p, _ in sharp if 0 < p < end)})
    at = 0.0
    while at < end * (1 - 1e-12):
        width = PHASE / (2 * spectrum.spread(decay(at)) + 1)
        width = min([width, *(0.7 * (s + abs(at - p)) for p, s in sharp)])
        upto = min([stop for stop in stops if stop > at * (1 + 1e-12) + 1e-15] + [at + width])
        yield at, upto
        at = upto


@dataclass(frozen=True)
class _Charge:
    """Current slope along each segment, linear: dI/ds at its centre and its rate; A/m and A/m^2, (N,)."""

    slope: Complex
    rate: Complex


def image_energy(seg: Segments, current: Complex, points: int = 6) -> float:
    """Double integral of I'(s) I'*(s') / distance from s to the image of s' below z = 0, A^2/m.

    The inner integral is in closed form (a line of linear density); the outer by Gauss points on panels that are
    graded to the distance of the image.
    """
    length = seg.length
    first, middle, last = np.moveaxis(seg.current @ current, -1, 0)
    charge = _Charge((last - first) / length, 4 * (first + last - 2 * middle) / length**2)
    start, along = seg.mirrored.start, seg.mirrored.vector / length[:, None]
    total = 0.0
    for i in range(len(length)):
        edges = _to_both_ends(length[i], 2 * float(seg.centre[i, 2] - abs(seg.vector[i, 2]) / 2))
        s, ds = on_panels(edges, points)
        here = seg.centre[i] + seg.vector[i] * ((s / length[i] - 0.5)[:, None])
        mine = charge.slope[i] + charge.rate[i] * (s - length[i] / 2)
        gap = here[:, None] - start
        foot = np.einsum("pnd,nd->pn", gap, along)
        away = np.sqrt(np.maximum(np.einsum("pnd,pnd->pn", gap, gap) - foot**2, 1e-18))
        near, far = np.hypot(foot, away), np.hypot(length - foot, away)
        flat = np.arcsinh((length - foot) / away) + np.arcsinh(foot / away)
        ramp = far - near + (foot - length / 2) * flat
        potential = flat @ charge.slope.conj() + ramp @ charge.rate.conj()
        total += float((mine * ds @ potential).real)
    return total


def _to_both_ends(length: float, scale: float) -> Real:
    """Edges 0 to length, panels growing by 2.5 from scale at either end."""
    half, at, step = [0.0], 0.0, scale
    while at + step < length / 2:
        at += step
        half.append(at)
        step *= 2.5
    return np.array([*half, length / 2, *(length - h for h in reversed(half))])


# --- Where the power goes that enters the wire, and where the radio's power goes.


@dataclass(frozen=True)
class PowerBalance:
    """input: W into the wire for 1 V rms at the feed. sky, soil, wire, loads: fractions that add up to 1.

    loads: chokes and other lumped parts. error: sum of what was found over input, less 1.
    """

    input: float
    sky: float
    soil: float
    wire: float
    loads: float
    error: float

    @property
    def accounted(self) -> float:
        """Sum of all that was found, W for 1 V rms."""
        return self.input * (1 + self.error)


def power_balance(solution: Solution, structure: Structure) -> PowerBalance:
    """The balance of one solution; structure: what the solution is of, to tell its lumped loads from its wire loss."""
    amps2 = np.abs(solution.current) ** 2
    series = float(amps2 @ solution.load.real)
    lumped = float(
        sum(
            amps2[i] * complex(load.impedance(solution.f_hz)).real for i, load in solution.mesh.load_segments(structure)
        )
    )
    wire = max(series - lumped, 0.0) + solution.jacket_loss
    parts = np.array([radiated(solution), soil_power(solution), wire, lumped])
    entered = solution.admittance.real
    found = float(parts.sum())
    sky, soil, wire, loads = map(float, parts / found)
    return PowerBalance(entered, sky, soil, wire, loads, found / entered - 1)


@dataclass(frozen=True)
class PowerChain:
    """Fractions of the radio's forward power; they add up to 1. transformer: core and winding; choke: lumped loads.

    error: as in PowerBalance.
    """

    mismatch: float
    coax: float
    core: float
    winding: float
    choke: float
    wire: float
    soil: float
    sky: float
    error: float

    @property
    def transformer(self) -> float:
        return self.core + self.winding

    @property
    def antenna_efficiency(self) -> float:
        """Power into the sky over power into the wire."""
        into = self.sky + self.soil + self.wire + self.choke
        return self.sky / into if into > 0 else 0.0

    @property
    def feed_efficiency(self) -> float:
        """Power into the wire over the radio's forward power."""
        return self.sky + self.soil + self.wire + self.choke


def power_chain(
    solution: Solution, structure: Structure, feed: FeedSystem, balance: PowerBalance | None = None
) -> PowerChain:
    """From the radio to the sky. balance: that of the solution, if known already."""
    b = power_balance(solution, structure) if balance is None else balance
    split = feed.power_split(solution.impedance, solution.f_hz)
    into = float(split.wire)
    chain = PowerChain(
        mismatch=float(split.mismatch),
        coax=float(split.coax),
        core=float(split.core),
        winding=float(split.winding),
        choke=into * b.loads,
        wire=into * b.wire,
        soil=into * b.soil,
        sky=into * b.sky,
        error=b.error,
    )
    rounding = 1 - (chain.mismatch + chain.coax + chain.transformer + chain.feed_efficiency)
    return replace(chain, mismatch=chain.mismatch + rounding) if abs(rounding) < 1e-9 else chain
