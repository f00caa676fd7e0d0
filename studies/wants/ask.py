"""How wants have several things done: one after the other here, or side by side by what the caller hands in."""

from collections.abc import Callable, Sequence
from typing import Any

AskMany = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], Sequence[Any]]
"""a function and the arguments of each call -> what each call gives, or words (str) why it gives nothing"""


def in_turn(function: Callable[..., Any], tasks: Sequence[tuple[Any, ...]]) -> list[Any]:
    """Tasks done here, one after the other."""
    return [function(*task) for task in tasks]
