"""The answer to "why did it move?" in words: causes in order, what to do, and what bearing has to do with it."""

import math

import numpy as np

from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.why.ranking import Explanation, Why

# thresholds from which something is said: chosen by hand
MOST = 3  # causes named
FAR_OFF = 0.015  # the set-up's own dip this far from where it was: it should be fitted first
TELLS_APART = 3.0  # odds from which a reading is worth naming
ALIKE = 0.4  # of the best one's chance: said to be as likely


def why_notes(setup: Setup, why: Why, dip_error: float) -> list[str]:
    """Sentences, the answer first."""
    if unmoved(why, dip_error):
        nothing = "Nothing needs to be explained: that is no more than a dip can be misread by."
        return [nothing, _seen(why), _bearing(setup)]
    lines: list[str] = []
    good = [e for e in why.explanations if e.explains and abs(e.change) > 0.05]
    if good:
        lines += _ranked(good)
        if all(e.pair for e in good):
            lines[0] = f"No single cause explains all bands; two together do. {lines[0]}"
        lines.append(_usual(good[0]))
    else:
        best = why.explanations[0]
        lines.append(
            f"No cause, and no two together, explain all bands. The nearest: {best.cause.name} "
            f"({best.cause.words(best.change)}). More may have changed, or the set-up is not the one that was measured."
        )
    lines.insert(1, _seen(why))
    lines.append(wire_advice(why))
    if good and good[0].cause is not why.wire_cause:
        lines.append(f"Or undo the likeliest cause: {good[0].cause.undo(good[0].change)}.")
    if why.apart and why.apart[0].odds > TELLS_APART:
        one = why.apart[0]
        lines.append(
            f"To tell the first two apart, read the dip on {one.band}: {one.first_hz / 1e6:.3f} MHz if it is the "
            f"first, {one.second_hz / 1e6:.3f} if the second."
        )
    elif len(why.shifts) == 1:
        lines.append(
            "One dip fits many causes; a dip on a second band, and the SWR at the dips, would tell them apart."
        )
    off = max(abs(math.log(b / s.was_hz)) for b, s in zip(why.base_hz, why.shifts, strict=True))
    if off > FAR_OFF:
        lines.append(
            f"The set-up itself puts a dip {off:.1%} from where it was; shifts are compared, not places, but a "
            f"fit to a sweep (tautwire fit) would make this surer."
        )
    lines.append(_bearing(setup))
    return lines


def unmoved(why: Why, dip_error: float) -> bool:
    """Whether nothing moved by more than reading errors."""
    return all(abs(math.log(s.now_hz / s.was_hz)) < dip_error for s in why.shifts) and not any(
        s.has_swr and abs(s.now_swr - s.was_swr) > 0.2 for s in why.shifts
    )


def _seen(why: Why) -> str:
    parts = []
    for s in why.shifts:
        khz = (s.now_hz - s.was_hz) / 1e3
        low = f", SWR {s.was_swr:.2f} to {s.now_swr:.2f}" if s.has_swr else ""
        parts.append(f"{s.band} {khz:+.0f} kHz ({s.was_hz / 1e6:.3f} to {s.now_hz / 1e6:.3f} MHz{low})")
    return "Seen: " + "; ".join(parts) + "."


def _ranked(good: list[Explanation]) -> list[str]:
    best = good[0]
    lines = [f"Likeliest: {best.cause.name}, {best.cause.words(best.change)}{_size(best)}."]
    others = [e for e in good[1 : MOST + 1] if e.chance > ALIKE * best.chance]
    for e in others:
        lines.append(f"As likely: {e.cause.name}, {e.cause.words(e.change)}{_size(e)}.")
    for e in [e for e in good[1 : MOST + 1] if e not in others]:
        lines.append(f"Less likely: {e.cause.name}, {e.cause.words(e.change)}{_size(e)}.")
    return lines


def _size(e: Explanation) -> str:
    return f": {abs(e.change):.1f} {'usual changes, both together' if e.pair else 'times a usual change'}"


def _usual(e: Explanation) -> str:
    """What a usual change is, by the example of the likeliest cause."""
    usual = "A usual change is what one set-up differs from the next by without anybody noticing"
    return f"{usual}." if e.pair else f"{usual}: for {e.cause.name}, {e.cause.words(math.copysign(1.0, e.change))}."


def wire_advice(why: Why) -> str:
    """How much wire brings the dips back, and what stays off."""
    shift = np.array([math.log(s.now_hz / s.was_hz) for s in why.shifts])
    if np.isnan(why.wire).any() or not np.any(why.wire):
        return "How the wire's length moves these dips could not be computed."
    c = float(-(shift @ why.wire) / (why.wire @ why.wire))
    left = shift + c * why.wire
    worst = int(np.abs(left).argmax())
    words = why.wire_cause.undo(-c)
    rest = abs(left[worst]) * why.shifts[worst].was_hz / 1e3
    if rest < 1 or len(why.shifts) == 1:
        return f"To bring the dip back with the wire: {words}."
    return f"To bring the dips back with the wire: {words}; {why.shifts[worst].band} then stays {rest:.0f} kHz off."


def _bearing(setup: Setup) -> str:
    if setup.nearby:
        return (
            "With conductors nearby in the set-up, turning the antenna round does matter; the ground itself has no "
            "preferred direction."
        )
    lies = " and ".join(
        [*(["coax"] if setup.coax is not None else []), *(["counterpoise"] if setup.counterpoise else [])]
    )
    return (
        f"Turning everything together makes no difference over level, even ground with nothing near. Turning the wire "
        f"and leaving the {lies} where it lies does: what counts is the angle between them."
    )
