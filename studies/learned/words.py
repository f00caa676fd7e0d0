"""What is learned, in words."""

from __future__ import annotations

from collections.abc import Sequence

from tautwire.studies.learned.ahead import Step
from tautwire.studies.learned.posterior import Posterior, Predicted
from tautwire.studies.study.spread import usual_of

MOST_SUSPECTS = 3
WORTH, NARROWER = 0.05, 0.95  # least gain (nats) of a step worth saying; of a band's ± in it


def name_of(path: str) -> str:
    """A value's name for people.

    >>> name_of("coax.length"), name_of("wire.jacket")
    ('length of the coax', 'jacket thickness')
    """
    usual = usual_of(path)
    return path if usual is None else usual.name


def learned_words(posterior: Posterior, found: Sequence[Predicted], before: Sequence[Predicted]) -> list[str]:
    """How the dips' ± came down, and a warning where the readings do not fit what was typed."""
    outings = posterior.log.outings
    sites = len({o.place for o in outings})
    read = sum(len(o.dips) + len(o.sweeps) for o in outings)
    shrunk = ", ".join(
        f"{now.band.name} from ±{was.sd / 1e3:.0f} to ±{now.sd / 1e3:.0f} kHz"
        for now, was in zip(found, before, strict=True) if now.sd == now.sd and was.sd == was.sd
    )  # fmt: skip
    lines = [
        f"Learned from {_count(len(outings), 'outing')} at {_count(sites, 'place')} "
        f"({_count(read, 'reading')}): {shrunk}."
    ]
    if not posterior.fits:
        likely = ", ".join(name_of(path) for path, _ in posterior.suspects()[:MOST_SUSPECTS])
        lines.insert(0, (
            f"The readings do not fit what was typed (chance {posterior.chance:.1g}). Check what was typed, first: "
            f"{likely}; also what touches the wire's end, and how the coax lay."
        ))  # fmt: skip
    return lines


def step_words(steps: Sequence[Step]) -> str:
    """The most telling dip to read next, and the most telling thing to measure; empty if none is worth it."""
    said = []
    for reading in (True, False):
        best = next((s for s in steps if s.is_reading == reading and s.gain > WORTH), None)
        gains = [] if best is None else [(b, best.now[b], best.then[b]) for b in best.now]
        told = ", ".join(
            f"{b} from ±{now / 1e3:.0f} to ±{then / 1e3:.0f} kHz" for b, now, then in gains if then < NARROWER * now
        )
        said += [f"{best.what} ({told})"] if best is not None and told else []
    return f"Most telling next: {'; '.join(said)}." if said else ""


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
