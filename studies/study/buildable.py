"""Which lengths of wire a layout can be built with, where other sizes of it are fixed."""

from collections.abc import Iterable

from tautwire.model.errors import InputError
from tautwire.studies.study.setup import Setup

STEPS = 14  # halvings: about a millimetre in 20 m


def buildable(setups: Iterable[Setup], low: float, high: float) -> tuple[float, float]:
    """The part of low..high (m of wire) with which every set-up can be built, found outwards from its own length.

    A set-up that has no length of its own, or cannot be built with any near it, does not narrow the range: whatever
    builds it then says why it cannot. Where none of the range can be built, its own length is what is left.
    """
    for setup in setups:
        own = setup.antenna.length
        if own is None or high <= low:
            continue
        start = min(max(own, low), high)
        if _fits(setup, start):
            low, high = _last_good(setup, start, low), _last_good(setup, start, high)
        elif _fits(setup, own):
            return own, own
    return low, high


def _fits(setup: Setup, metres: float) -> bool:
    antenna = setup.antenna.model_copy(update={"length": metres})
    try:
        setup.model_copy(update={"antenna": antenna}).build()
    except InputError:
        return False
    return True


def _last_good(setup: Setup, good: float, end: float) -> float:
    """The length nearest to end that can be built, searched from one that can."""
    if end == good or _fits(setup, end):
        return end
    bad = end
    for _ in range(STEPS):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if _fits(setup, middle) else (good, middle)
    return good
