"""What lets a computed array be kept and found again: keys, and the memory that keeps nothing."""

import hashlib
from collections.abc import Callable

import numpy as np

Arrays = dict[str, np.ndarray]
Remember = Callable[[str, Callable[[], Arrays]], Arrays]
"""remember(key, compute): the arrays stored under key, else those of compute()."""


def compute_always(key: str, compute: Callable[[], Arrays]) -> Arrays:
    """The memory that remembers nothing."""
    return compute()


def key_of(kind: str, *parts: object) -> str:
    """A key: the kind, and the hash of everything that the arrays are computed from."""
    return f"{kind}-{hashlib.sha256(repr(parts).encode()).hexdigest()}"
