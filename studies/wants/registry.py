"""What a study can be asked for, by name. To add a want: write wants/<name>/want.py with a `Want` called WANT, and list
the name here.
"""

import importlib

from tautwire.model.errors import InputError, did_you_mean
from tautwire.studies.wants.want import Want

WANTS = ("choose", "dips", "exposure", "fit", "pattern", "shield", "spread", "stress", "target", "turns", "why")
"""Names of all wants; the module of each is loaded when asked for."""


def want_named(name: str) -> Want:
    """The want of that name. Raises InputError with the nearest name."""
    if name not in WANTS:
        raise InputError("study.want", repr(name), f"one of {', '.join(WANTS)}{did_you_mean(name, WANTS)}")
    want = importlib.import_module(f"tautwire.studies.wants.{name}.want").WANT
    assert isinstance(want, Want)
    return want
