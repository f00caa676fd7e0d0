"""What a fit says, in words: values, what the data cannot tell apart, noise, a wrong reference plane."""

import json
import math
from collections.abc import Iterable, Sequence

import numpy as np

from tautwire.model.reflection import swr_of
from tautwire.studies.study.quantities import CUSTOMARY, quantity_text, written
from tautwire.studies.wants.fit.fitting import LEAST_ERROR, Fit, unexplained
from tautwire.studies.wants.fit.missing import WORTH, Missing
from tautwire.studies.wants.fit.search import Parameter
from tautwire.studies.wants.local_model import quantity_kind

# thresholds from which something is said: chosen by hand
ALIKE = 0.95  # correlation from which two values count as not told apart
SILENT = 0.8  # of the prior's sd left: the data said little
WEAK = 1.0  # strength of a direction below which the data say less than the prior
NOISY = 0.02  # scatter of gamma that is worth a word
TERMINAL = "transformer.terminal_capacitance"
MOST_OTHERS = 2  # groups left out that are named besides the best
BETTER = 0.5  # squared misfit of the other plane over this one's, below which it fits far better


def fit_notes(found: Fit, least_error: float = LEAST_ERROR, left_out: Sequence[Missing] = ()) -> list[str]:
    """One sentence for each thing worth knowing, the values first, unless something is amiss.

    left_out: what was tried beside them."""
    doubts = [*_plane(found), *_noise(found, least_error), *left_out_words(left_out)]
    values = [_value(found, i) for i in range(len(found.parameters))]
    values.append(
        "The standard deviations count noise, the solver's mesh and priors, not what a model leaves out (trees, slack)."
    )
    lines = doubts + values if left_out or _plane(found) else values + doubts
    lines += _bounds(found)
    lines += _apart(found)
    return lines


def left_out_words(tried: Sequence[Missing]) -> list[str]:
    """Which values left out of the fit would explain what noise does not, how much, and the lines that free them."""
    if not tried:
        return []
    worth = [m for m in tried if m.share > WORTH]
    if not worth:
        return [
            f"None of the values left out explains more than {WORTH:.0%} of that: tried were "
            f"{_list(m.name for m in tried)}. What differs may be nothing the set-up describes."
        ]
    best, *others = worth
    out = [f"LEFT OUT? {best.name[:1].upper()}{best.name[1:]} would explain {best.share:.0%} of that ({_freed(best)})."]
    if moved := [_moved(path, value) for path, value in best.others.items() if path != TERMINAL]:
        out[0] += f" The fitted values would become {_list(moved)}."
    out += [f"Less well: {m.name}, {m.share:.0%} ({_freed(m)})." for m in others[:MOST_OTHERS]]
    lines = "; ".join(_line(p, float(v)) for p, v in zip(best.parameters, best.estimate, strict=True))
    out.append(f"To free it, add to [fit.parameters]: {lines}")
    return out


def _freed(m: Missing) -> str:
    return ", ".join(_moved(p.path, float(v)) for p, v in zip(m.parameters, m.estimate, strict=True))


def _moved(path: str, value: float) -> str:
    return f"{path} {quantity_text(value, quantity_kind(path, 'fit'))}"


def _line(p: Parameter, value: float) -> str:
    kind = quantity_kind(p.path, "fit")

    def text(si: float) -> str:
        return json.dumps(written(si * CUSTOMARY[kind].factor, kind, 4), ensure_ascii=False)

    return f'"{p.path}" = {{ prior = {text(value)}, from = {text(p.low)}, to = {text(p.high)} }}'


def _value(found: Fit, i: int) -> str:
    p = found.parameters[i]
    kind = quantity_kind(p.path, "fit")
    sd = float(found.sd[i])
    known = "" if p.sd is None else f" give or take {quantity_text(p.sd, kind, 2)}"
    digits = 4
    if found.estimate[i] and sd > 0:
        digits = max(2, min(6, 2 + math.ceil(math.log10(abs(found.estimate[i]) / sd))))
    return (
        f"{p.path}: {quantity_text(float(found.estimate[i]), kind, digits)}, "
        f"standard deviation {quantity_text(sd, kind, 2)} (started from {quantity_text(p.start, kind)}{known})."
    )


def _plane(found: Fit) -> list[str]:
    if math.isnan(found.other_plane) or found.other_plane > BETTER:
        return []
    planes = sorted({m.sweep.plane for m in found.measured})
    other = {"radio": "transformer", "transformer": "radio"}
    now, then = " and ".join(planes), " and ".join(other[p] for p in planes)
    return [
        f"WRONG PLANE? Taken at the {then} instead of the {now}, the sweeps fit far better: the squared misfit falls "
        f"to {found.other_plane:.1%} of this fit's. Check where they were measured before using these values."
    ]


def _noise(found: Fit, least_error: float) -> list[str]:
    lines = []
    for m, noise, left in zip(found.measured, found.scatter, found.rms, strict=True):
        name = m.sweep.name
        if noise > NOISY:
            low, high = (swr_of(max(1 / 3 + s * 2 * noise, 0)) for s in (-1, 1))
            lines.append(
                f"{name} is noisy: its points scatter by {noise:.3f} in reflection coefficient, so that an SWR of 2 "
                f"may read {low:.1f} to {high:.1f}."
            )
        if unexplained(m, left, least_error):
            least = max(noise, least_error)
            lines.append(
                f"{name}: the fit leaves {left:.3f} in reflection coefficient, {left / least:.0f} times what noise and "
                f"analyser account for; something else differs from the set-up, and the values may be off by more "
                f"than their standard deviations say."
            )
    if not lines:
        lines.append(
            f"Noise explains what the fit leaves: {max(found.rms):.4f} in reflection coefficient at the most, against "
            f"a scatter of {max(found.scatter):.4f}."
        )
    return lines


def _bounds(found: Fit) -> list[str]:
    lines = []
    for p, value in zip(found.parameters, found.estimate, strict=True):
        if min(value - p.low, p.high - value) < 0.005 * (p.high - p.low):
            kind = quantity_kind(p.path, "fit")
            lines.append(
                f"{p.path} ran into the end of its range, {quantity_text(float(value), kind)}: widen it or doubt it."
            )
    return lines


def _apart(found: Fit) -> list[str]:
    """Values left to the prior, pairs that look alike, and combinations that the data do not fix."""
    names = [p.path for p in found.parameters]
    lines, said, silent = [], set(), []
    for i, p in enumerate(found.parameters):
        if p.sd is not None and found.sd[i] > SILENT * p.sd:
            silent.append(p.path)
            said.add(i)
        elif p.sd is None and found.sd[i] > p.scale:
            lines.append(f"The sweeps do not determine {p.path} within its range.")
            said.add(i)
    if silent:
        rest = "its value rests" if len(silent) == 1 else "their values rest"
        lines.insert(0, f"The sweeps say next to nothing about {', '.join(silent)}: {rest} on what was known before.")
    for i in range(len(names)):
        for k in range(i):
            if abs(found.correlation[i, k]) > ALIKE:
                lines.append(
                    f"The sweeps cannot tell {names[k]} and {names[i]} apart (correlation "
                    f"{found.correlation[i, k]:+.2f}): trust what they do together, not each alone."
                )
                said |= {i, k}
    for weights, strength in found.directions:
        parts = np.flatnonzero(np.abs(weights) > 0.3)
        if strength < WEAK and len(parts) > 1 and not set(map(int, parts)) <= said:
            lines.append(
                f"A joint change of {_list(names[i] for i in parts)} hardly shows in the sweeps: fix one of them, or "
                f"measure another band."
            )
    return lines


def _list(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
