"""Cautions, each short and shown once, where it matters. Local rules and licensed practice come before any of them."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """name: of the danger. words: one sentence or two. wants: the kinds of study that show it; () for all."""

    name: str
    words: str
    wants: tuple[str, ...] = ()


# Common practice, no source.
CAUTIONS = (
    Caution("power lines", "Keep wire and throw line well away from power lines, at least twice the wire's length."),
    Caution("throw lines", "Throw lines with nobody below or behind; weights swing back, loaded branches fall."),
    Caution("lightning", "Take the antenna down, and stay away from it, when thunder can be heard."),
    Caution("trip and strangle", "Mark wire and cords that people, riders or animals could run into."),
    Caution(
        "high voltage",
        "While transmitting, the wire, its far end, the transformer and at times the coax shield carry voltages that "
        "burn; keep people, animals and dry grass off them.",
    ),
    Caution(
        "RF exposure",
        "Distances are a calculation over flat bare ground with nobody in the field, of the set-up as described; they "
        "do not cover touch. Check them against the rules in force where you are, and add room.",
        ("exposure",),
    ),
    Caution("heat", "Cores and chokes can be hot enough to burn or crack; switch off before touching.", ("stress",)),
)
DEFERENCE = "Local rules and licensed practice come first."


def cautions_for(wants: Iterable[str]) -> list[Caution]:
    """The cautions that a study with these wants shows, in order, each once."""
    asked = set(wants)
    return [c for c in CAUTIONS if not c.wants or asked & set(c.wants)]


def caution_text(wants: Iterable[str]) -> str:
    """Those cautions as one paragraph."""
    return " ".join(["Before you put wire up or transmit:", *(c.words for c in cautions_for(wants)), DEFERENCE])


# for a card that fits a pocket
CARD_CAUTION = (
    "Keep clear of power lines; throw lines with nobody below; take it down before thunder. While you transmit the "
    f"wire's end carries voltages that burn: keep people off. {DEFERENCE}"
)
