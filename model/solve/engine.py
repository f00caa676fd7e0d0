"""The only door to the compiled NEC-2 engine: admittance matrices in free space and over a perfect ground.

The engine's own finite ground is not used: it is wrong for long low wires (tests/test_against_nec2.py shows it).
"""

import math
import threading
from collections.abc import Sequence
from contextlib import nullcontext, suppress
from functools import lru_cache
from importlib import metadata

import numpy as np
import PyNEC

from tautwire.model.basics import Complex, Real
from tautwire.model.errors import SolveError

Leg = tuple[tuple[float, float, float], tuple[float, float, float], int, float]
"""A straight run of equal segments: start (m), end (m), number of segments, radius (m)."""

MHZ = 1e6
ONE_AT_A_TIME = threading.Lock()  # nothing says that the engine may be called from several threads


@lru_cache(maxsize=1)
def engine_name() -> str:
    """Name and version of the installed engine, part of every stored result's key."""
    for name in ("PyNEC", "pynec-accel"):
        try:
            return f"{name} {metadata.version(name)}"
        except metadata.PackageNotFoundError:
            continue
    return "unknown engine"


def canonical(legs: Sequence[Leg], keep_height: bool) -> tuple[Leg, ...]:
    """The same wires moved to a standard place: first start above the origin (and at z = 0 unless keep_height),
    first sideways step along +x. Y does not change, so wires that differ by such a move are solved once.
    """
    x0, y0, z0 = legs[0][0]
    z_shift = 0.0 if keep_height else z0
    cos, sin = 1.0, 0.0
    for _, end, *_ in legs:
        reach = math.hypot(end[0] - x0, end[1] - y0)
        if reach > 1e-6:
            cos, sin = (end[0] - x0) / reach, (end[1] - y0) / reach
            break

    def move(p: tuple[float, float, float]) -> tuple[float, float, float]:
        x, y = p[0] - x0, p[1] - y0
        return round(x * cos + y * sin, 9), round(y * cos - x * sin, 9), round(p[2] - z_shift, 9)

    return tuple((move(start), move(end), n, round(radius, 9)) for start, end, n, radius in legs)


def raised(legs: Sequence[Leg], by: float) -> tuple[Leg, ...]:
    """The same wires, higher by so many metres."""

    def up(p: tuple[float, float, float]) -> tuple[float, float, float]:
        return p[0], p[1], round(p[2] + by, 9)

    return tuple((up(start), up(end), n, radius) for start, end, n, radius in legs)


# The engine formats a line of text, some 4 us, for every current it returns: three quarters of a solve. Asked for its
# receiving format it gathers the same currents and formats one line at most. That format is for plane waves only: with
# a voltage source the engine raises an error, but after the currents are gathered, and they are what is wanted. Where
# they are not there, the usual format is asked for. tests/test_engine.py compares the two.

RECEIVING, USUAL = (1, 0, 1, 10**6), (-2, 0, 0, 0)  # print cards, for all segments


def _context(legs: Sequence[Leg], f_hz: float, perfect_ground: bool) -> PyNEC.nec_context:
    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for tag, (start, end, segments, radius) in enumerate(legs, 1):
        geometry.wire(tag, segments, *map(float, start), *map(float, end), radius, 1.0, 1.0)
    context.geometry_complete(1 if perfect_ground else 0)
    context.gn_card(1 if perfect_ground else -1, 0, 0, 0, 0, 0, 0, 0)
    context.fr_card(0, 1, f_hz / MHZ, 0)  # the card takes MHz
    return context


def admittance(legs: Sequence[Leg], f_hz: float, perfect_ground: bool = False) -> Complex:
    """Short-circuit admittance matrix Y (N, N), siemens: column j holds the currents at the segment centres for
    1 V on segment j; segments in the order of `legs`. Raises SolveError if the engine gives no finite answer.
    """
    with ONE_AT_A_TIME:
        try:
            y = _short_circuit(legs, f_hz, perfect_ground, RECEIVING)
            if y is None:
                y = _short_circuit(legs, f_hz, perfect_ground, USUAL)
        except RuntimeError as error:
            raise SolveError(f"the engine refused the wires at {f_hz / MHZ:.6g} MHz: {error}") from error
    if y is None:
        raise SolveError(f"the engine returned nothing at {f_hz / MHZ:.6g} MHz")
    if not np.isfinite(y).all():
        raise SolveError(f"the engine returned numbers that are not finite at {f_hz / MHZ:.6g} MHz")
    return y


def _short_circuit(
    legs: Sequence[Leg], f_hz: float, perfect_ground: bool, card: tuple[int, int, int, int]
) -> Complex | None:
    """Y (N, N) by one print card, or None where the engine does not give a current for each segment by it."""
    places = [(tag, segment) for tag, leg in enumerate(legs, 1) for segment in range(1, leg[2] + 1)]
    y = np.empty((len(places), len(places)), dtype=complex)
    context = _context(legs, f_hz, perfect_ground)
    context.pt_card(*card)
    for column, (tag, segment) in enumerate(places):
        context.ex_card(0, tag, segment, 0, 1.0, 0, 0, 0, 0, 0)
        with suppress(RuntimeError) if card is RECEIVING else nullcontext():
            context.xq_card(0)
        result = context.get_structure_currents(column)
        if result is None or len(currents := result.get_current()) != len(places):
            return None
        y[:, column] = currents
    return y


def admittances(legs: Sequence[Leg], f_hz: Real, perfect_ground: bool = False) -> Complex:
    """`admittance` at each frequency of f_hz (K,), Hz: (K, N, N), siemens."""
    return np.array([admittance(legs, float(f), perfect_ground) for f in f_hz])
