"""Labelled arrays and columnar files, by libraries that are installed only where they are wanted."""

import importlib
from typing import Any

from tautwire.model.errors import InputError

EXTRA = "pip install 'tautwire[arrays]'"


def library(name: str) -> Any:
    """A library of the extra "arrays". Raises InputError that says how to install it."""
    try:
        return importlib.import_module(name)
    except ImportError:
        raise InputError(name, "not installed", EXTRA) from None


def xarray() -> Any:
    """The library of labelled arrays. Raises InputError if it is not installed."""
    return library("xarray")
