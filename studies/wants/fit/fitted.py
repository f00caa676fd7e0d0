"""Fitted set-ups as files: the set-up's tables as people write them, with the result of the fit beside them."""

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
import tomli_w

from tautwire.model.errors import InputError
from tautwire.studies.logbook.logbook import LOG, entries
from tautwire.studies.study.files import load_tables, put_text
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.setup import Setup

RESULT = "fit_result"


def _of_place(context: click.Context, option: click.Parameter, place: str | None) -> None:
    """Takes the last entry of a place of the logbook for --from."""
    if place is not None:
        _alone(context, option, Path(place))
        context.params["fit"] = entries(place)[-1].path


def _alone(context: click.Context, option: click.Parameter, given: Path | None) -> Path | None:
    """Raises InputError if both --from and --at are given."""
    if given is not None and context.params.get("fit") is not None:
        raise InputError(option.opts[0], str(given), "--from or --at, not both")
    return given


_FILE = click.option(
    "--from", "fit", type=click.Path(path_type=Path), callback=_alone,
    help="A file written by 'tautwire fit', or an entry of the logbook: use its set-up.",
)  # fmt: skip
_PLACE = click.option(
    "--at",
    metavar="PLACE",
    expose_value=False,
    callback=_of_place,
    help="Start from the last entry of 'tautwire log PLACE'.",
)


def FROM(command: Any) -> Any:
    """Options --from and --at of a command that can start from a set-up kept in a file."""
    return _FILE(_PLACE(command))


def write_fit(raw: Mapping[str, Any], result: Mapping[str, Any], path: Path) -> None:
    """Write a set-up (texts) and the fit's result as TOML. Raises InputError if the file cannot be written."""
    tables = {k: v for k, v in raw.items() if k in Setup.model_fields}
    text = (
        "# A set-up fitted to measurement by tautwire. Use it:  tautwire run STUDY --from THIS_FILE\n\n"
        + tomli_w.dumps({**tables, RESULT: dict(result)})
    )
    put_text(path, text)


def with_fit(raw: Mapping[str, Any], path: Path | None) -> Raw:
    """A study's tables with its set-up replaced by the fitted one in `path`; unchanged if path is None.

    Tables of the set-up that the fit file does not have (such as reel) stay as they are; so do [study], [sweep] and
    the rest. Raises InputError for a file that is not a fit.
    """
    new = copy.deepcopy(dict(raw))
    if path is None:
        return new
    fitted = load_tables(path)
    if RESULT not in fitted and LOG not in fitted:
        raise InputError("--from", path, f"a file written by 'tautwire fit' or 'tautwire log' ([{RESULT}] or [{LOG}])")
    for name in Setup.model_fields:
        if name in fitted:
            new[name] = fitted[name]
    return new
