"""What a transmitter does to the parts: volts, amps, flux and heat, each with a band of warning.

Voltage along the wires is the scalar potential of their charge and of its quasi-static image in the soil, at the wire's
surface (mixed potentials as in near_field.py, thin-wire kernel). In the open it is the voltage a probe would show to
good approximation; at the open end it holds within some 20 %, as the last centimetres crowd charge that the segments
do not resolve. Watts of heat are averages, so they follow the duty; volts, amps and flux are those of the full power.
"""

import math
from dataclasses import dataclass

import numpy as np

from tautwire.model.basics import C0, ETA0, Complex, Real, legendre, wave_number
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.ferrite import Core
from tautwire.model.solve.solver import Solution
from tautwire.model.wires.segments import shape
from tautwire.model.wires.structure import Structure

PLACES = 201  # along a conductor
POINTS = 6  # Gauss points for what retardation changes

# Warning bands: (from this value on, words). Judgements of ours and common practice, no source: nothing changes
# sharply at a border.
VOLTS_BANDS = (
    (0.0, "low, yet RF can burn"),
    (50.0, "burns on touch"),
    (300.0, "burns on touch; dry insulators and out of reach"),
    (1000.0, "may arc over damp or thin insulation"),
)
RISE_BANDS = ((0.0, "cool"), (15.0, "warm"), (40.0, "hot: check by touch after switching off"), (80.0, "overheats"))
FLUX_BANDS = (
    (0.0, "far from saturation"),
    (0.02, "loss grows beyond the small-signal figure"),
    (0.1, "too close to saturation to be trusted"),
)
CHOKE_BANDS = ((0.0, "cool"), (1.0, "warm"), (3.0, "hot for one ring"), (10.0, "overheats a ring"))

# Still air takes 5 to 15 W/(m2 K) from a warm body, radiation included: common engineering range, no source.
AIR = (5.0, 15.0)
FERRITE_DENSITY, FERRITE_HEAT = 4800.0, 750.0  # kg/m3, J/(kg K): typical of ferrite, from memory


def band(value: float, bands: tuple[tuple[float, str], ...]) -> str:
    """The words for a value; bands start at their first figure."""
    return [words for start, words in bands if value >= start or start == 0][-1]


@dataclass(frozen=True)
class Stress:
    """A frequency and power. Volts and amps rms of the full power, watts average.

    wire_w: power into the wire's feed, full. end_v, feed_v: at the wire's open end and at the transformer's secondary;
    end_peak_v, feed_peak_v: their crests. primary_v, core_v: across the primary and across the magnetising branch.
    max_a, max_a_at: greatest current in the wire and where, m from the feed. core_flux_t: peak, tesla.
    core_w, winding_w, coax_w, choke_w, conductor_w: heat. core_rise_low_k, core_rise_high_k: rise of the core's
    temperature in the end, in moving air and in a box; core_minutes: time constant. core_siemens: conductance that
    stands for core loss, so that core heat = duty core_siemens core_v^2. mu_real, mu_imag: of the core. What needs a
    core is nan without one.
    """

    wire_w: float
    end_v: float
    end_peak_v: float
    feed_v: float
    feed_peak_v: float
    primary_v: float
    core_v: float
    max_a: float
    max_a_at: float
    core_flux_t: float
    core_w: float
    winding_w: float
    coax_w: float
    choke_w: float
    conductor_w: float
    core_rise_low_k: float
    core_rise_high_k: float
    core_minutes: float
    core_siemens: float
    mu_real: float
    mu_imag: float


def stress(solution: Solution, structure: Structure, feed: FeedSystem, power_w: float, duty: float) -> Stress:
    """Stress for power_w (W) into the feed system, as with a tuner at the radio: nothing is reflected.

    duty: average over full power, 0 to 1. Raises InputError for a power outside the feed's range.
    """
    z, f = solution.impedance, solution.f_hz
    split = feed.power_split(z, f)
    full = power_w / max(1 - float(split.mismatch), 1e-6)  # forward power that makes power_w go in
    levels = feed.levels(z, f, min(full, 1e5))
    scale = math.sqrt(float(levels.wire_watts) / solution.admittance.real)
    amps, volts = solution.current * scale, potential(solution) * scale
    mine = np.flatnonzero(solution.mesh.conductor == 0)
    top = mine[np.abs(amps[mine]).argmax()]
    end = abs(end_potential(solution, volts, amps))
    heat = np.abs(amps) ** 2 * solution.load.real * duty
    choke_w = choke_heat(solution, structure) * scale**2 * duty
    low, high, minutes = core_rise(feed, float(levels.core_watts + levels.winding_watts) * duty)
    transformer = feed.transformer
    siemens = 0.0 if transformer is None else float(transformer.magnetising_admittance(f).real)
    core = None if transformer is None else transformer.magnetising
    mu = complex(core.material.permeability(f) * core.scale) if isinstance(core, Core) else complex(math.nan, math.nan)
    return Stress(
        wire_w=float(levels.wire_watts),
        end_v=end,
        end_peak_v=end * math.sqrt(2),
        feed_v=float(levels.wire_volts),
        feed_peak_v=float(levels.wire_volts) * math.sqrt(2),
        primary_v=float(levels.primary_volts),
        core_v=float(levels.wire_volts) / (1.0 if transformer is None else transformer.turns_ratio),
        max_a=float(np.abs(amps[top])),
        max_a_at=float(solution.mesh.along[top]),
        core_flux_t=math.nan if levels.core_flux is None else float(levels.core_flux),
        core_w=float(levels.core_watts) * duty,
        winding_w=float(levels.winding_watts) * duty,
        coax_w=float(levels.coax_watts) * duty,
        choke_w=choke_w,
        conductor_w=float(heat.sum()) - choke_w,
        core_rise_low_k=low,
        core_rise_high_k=high,
        core_minutes=minutes,
        core_siemens=siemens,
        mu_real=mu.real,
        mu_imag=-mu.imag,
    )


def choke_heat(solution: Solution, structure: Structure) -> float:
    """Heat in all lumped loads, W for 1 V rms at the feed."""
    found = solution.mesh.load_segments(structure)
    return float(sum(abs(solution.current[i]) ** 2 * load.impedance(solution.f_hz).real for i, load in found))


def core_rise(feed: FeedSystem, watts: float) -> tuple[float, float, float]:
    """Temperature rise (K) of a ring that turns watts into heat, best and worst cooled, and its time constant, minutes.

    Rise = W/(h A): A is the bare ring's surface, h the range AIR; nan without a ring. The heat capacity is that of the
    ferrite alone.
    """
    core = None if feed.transformer is None else feed.transformer.magnetising
    if not isinstance(core, Core):
        return math.nan, math.nan, math.nan
    s = core.shape
    height = s.height * s.stack
    area = math.pi * (s.outer + s.inner) * height + math.pi / 2 * (s.outer**2 - s.inner**2)
    mass = FERRITE_DENSITY * math.pi / 4 * (s.outer**2 - s.inner**2) * height
    middle = math.sqrt(AIR[0] * AIR[1]) * area
    return watts / (AIR[1] * area), watts / (AIR[0] * area), mass * FERRITE_HEAT / middle / 60


def current_along(solution: Solution, structure: Structure, conductor: int) -> tuple[Real, Complex]:
    """Current for 1 V at the feed (A) at PLACES places (m) along a conductor, up to its open end.

    Quadratic along each segment, as the solver has it. The segments that hold the source lie in the other conductors
    and are left out.
    """
    mine = own_segments(solution, conductor)
    length = structure.conductors[conductor].length
    middle, size = solution.mesh.along[mine], solution.mesh.length[mine]
    at = np.linspace(middle[0], length, PLACES)
    which = np.clip(np.searchsorted(middle - size / 2, at, side="right") - 1, 0, len(mine) - 1)
    amps = solution.segments.current[mine[which]] @ solution.current
    return at, np.einsum("ps,sp->p", amps, shape((at - middle[which]) / (size[which] / 2)))


def own_segments(solution: Solution, conductor: int) -> np.ndarray:
    """Indices of a conductor's segments but for those that hold the source."""
    return np.flatnonzero((solution.mesh.conductor == conductor) & (solution.mesh.feed == 0))


def charge(solution: Solution) -> Complex:
    """Charge per metre (N, 2) at each segment's middle and its slope along the segment, C/m and C/m2, for 1 V.

    From continuity, q = (j/w) dI/ds, with the current quadratic along a segment.
    """
    seg, w = solution.segments, 2 * math.pi * solution.f_hz
    amps = seg.current @ solution.current
    first = (amps[:, 2] - amps[:, 0]) / seg.length
    second = 4 * (amps[:, 0] - 2 * amps[:, 1] + amps[:, 2]) / seg.length**2
    return np.asarray(1j / w * np.stack([first, second], axis=1))


def potential(solution: Solution) -> Complex:
    """Scalar potential (N,) at the middle of each segment, volts for 1 V at the feed."""
    seg, ground = solution.segments, solution.ground
    q = charge(solution)
    total: Complex = _kernel(solution, seg.centre, seg.vector, solution.mesh.radius) @ _stack(q)
    if not ground.is_free_space:
        image = seg.mirrored
        total = total - ground.kappa(solution.f_hz) * _kernel(
            solution, image.centre, image.vector, 0 * seg.length
        ) @ _stack(q)
    return np.asarray(total)


def _stack(q: Complex) -> Complex:
    return q.T.reshape(-1)


def _kernel(solution: Solution, centre: Real, vector: Real, radius: Real) -> Complex:
    """Potential (N, 2 N) at the segments' middles of unit charge per metre, and of unit slope, on segments given.

    The static part of exp(-jkR)/R in closed form, the rest by Gauss points.
    """
    k, length = wave_number(solution.f_hz), np.linalg.norm(vector, axis=1)
    gap = solution.segments.centre[:, None] - centre
    p = np.einsum("ijx,jx->ij", gap, vector) / length
    d = np.sqrt(np.maximum((gap**2).sum(-1) - p**2, 0) + radius**2)
    d = np.maximum(d, 1e-9)
    h = length / 2
    even = np.arcsinh((h - p) / d) + np.arcsinh((h + p) / d)
    odd = np.hypot(h - p, d) - np.hypot(h + p, d) + p * even
    x, w = legendre(POINTS)
    s = h[:, None] * x
    r = np.sqrt((p[..., None] - s) ** 2 + d[..., None] ** 2)
    late = np.expm1(-1j * k * r) / r * (w * h[:, None])
    unit = ETA0 * C0 / (4 * math.pi)  # 1/(4 pi eps0)
    parts: Complex = np.concatenate([even + late.sum(-1), odd + (late * s).sum(-1)], axis=1)
    return unit * parts


def end_potential(solution: Solution, volts: Complex, amps: Complex) -> complex:
    """Potential at the wire's open end, from volts and amps at its last segment's middle.

    Along a good conductor dV/ds = -j w A - Z I; A and V are tied by the current and the charge of the last half
    segment, so the change over it is small: V falls off by k L I Zc/2 with Zc = V/(c q).
    """
    last = int(np.flatnonzero(solution.mesh.conductor == 0)[-1])
    k, half = wave_number(solution.f_hz), float(solution.segments.length[last]) / 2
    q = charge(solution)[last, 0] * (amps[last] / solution.current[last])
    zc = volts[last] / (C0 * q)
    return complex(volts[last] - 1j * k * half * zc * amps[last] / 2)
