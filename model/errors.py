"""The two ways a model can refuse: bad input, and a solve that cannot be trusted."""

import difflib
from collections.abc import Iterable

MOST_SHOWN = 160  # characters of a value in a message


class InputError(ValueError):
    """A value that is not allowed.

    Parameters
    ----------
    field : str
        The dotted name of the input.
    value : object
        What was given.
    allowed : str
        What would be right.

    Examples
    --------
    >>> print(InputError("antenna.slope", "'95 deg'", "from -90 to 90 degrees"))
    antenna.slope = '95 deg': from -90 to 90 degrees
    """

    def __init__(self, field: str, value: object, allowed: str) -> None:
        self.field, self.value, self.allowed = field, value, allowed
        super().__init__(f"{_shortened(field)} = {_shortened(value)}: {printable(allowed)}")

    def __reduce__(self) -> tuple[type, tuple[str, object, str]]:
        return type(self), (self.field, self.value, self.allowed)


def _shortened(value: object) -> str:
    """Text that fits a line, without what would break it."""
    text = str(value)
    text = text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}..."
    return printable(text)


def printable(text: str) -> str:
    """The text in one line without what a terminal would act on: control and invisible characters as escapes.

    >>> print(printable("a\\x1b[31m"))
    a\\x1b[31m
    """
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def nearest(word: str, known: Iterable[str], count: int = 1, cutoff: float = 0.6) -> list[str]:
    """Up to `count` of the known words that are most like `word`, the most alike first.

    cutoff: least likeness, from 0 (any) to 1 (equal): difflib's ratio.

    >>> nearest("slopper", ["vertical", "sloper"])
    ['sloper']
    """
    return difflib.get_close_matches(word, list(known), n=count, cutoff=cutoff)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """ "; did you mean '...'?" with the nearest of the known words, or nothing if none is near.

    >>> did_you_mean("slopper", ["sloper", "vertical"])
    "; did you mean 'sloper'?"
    """
    near = nearest(word, known)
    return f"; did you mean '{near[0]}'?" if near else ""


class SolveError(RuntimeError):
    """The engine gave no usable answer for a valid input.

    Examples
    --------
    >>> raise SolveError("the wires' matrix is singular at 14 MHz")
    Traceback (most recent call last):
    tautwire.model.errors.SolveError: the wires' matrix is singular at 14 MHz
    """
