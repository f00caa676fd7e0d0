"""Fitted set-ups as files: the set-up's tables as people write them, with the result of the fit beside them."""

from __future__ import annotations

import copy
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import tomli_w

from tautwire.model.errors import InputError
from tautwire.studies.logbook.logbook import LOG, read_logbook
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.parts import flat, table_at
from tautwire.studies.study.raw import FEET, Raw, changed, table_value, usual_of
from tautwire.studies.study.setup import Setup, opened
from tautwire.studies.study.units import FOOT, length, written
from tautwire.studies.wants.local_model import KEYS, quantity_kind

if TYPE_CHECKING:
    import pandas as pd

    from tautwire.studies.study.result import Result

RESULT, SPREAD = "fit_result", "spread"
PLACE = "tautwire.place"  # of a command's context: what --at was given
LEARNED = "tautwire.learned"  # likewise: place -> file of what is learned there, or None
FROM_LEARNED = ("run", "turns", "choose", "explore", "deck", "check")


def _of_place(context: click.Context, option: click.Parameter, place: str | None) -> None:
    """Takes for --from what is learned of a place of the logbook, or its last entry as typed: where nothing was read
    yet, and for commands that ask for what was typed or seen."""
    if place is not None:
        _alone(context, option, Path(place))
        book = read_logbook()
        for fault in book.faults:
            click.echo(fault, err=True)
        typed = book.at(place)[-1].path
        learned = context.meta.get(LEARNED) if context.info_name in FROM_LEARNED else None
        context.params["fit"] = (learned(place) if learned else None) or typed
        context.meta[PLACE] = place


def _alone(context: click.Context, option: click.Parameter, given: Path | None) -> Path | None:
    """The file of the option given, or that of the other one. Raises InputError if both --from and --at are given."""
    other: Path | None = context.params.get("fit")
    if given is not None and other is not None:
        raise InputError(option.opts[0], str(given), "--from or --at, not both")
    return given or other


_FILE = click.option(
    "--from", "fit", type=click.Path(path_type=Path), callback=_alone,
    help="A file written by 'tautwire fit', or an entry of the logbook: use its set-up.",
)  # fmt: skip
_PLACE = click.option(
    "--at",
    metavar="PLACE",
    expose_value=False,
    callback=_of_place,
    help="Start from what 'tautwire log' keeps of PLACE, and what all outings say of it.",
)


def FROM(command: Any) -> Any:
    """Options --from and --at of a command that can start from a set-up kept in a file."""
    return _FILE(_PLACE(command))


def fit_text(raw: Mapping[str, Any], result: Mapping[str, Any]) -> str:
    """A set-up (texts), its [spread] and the fit's result as TOML."""
    tables = {k: v for k, v in raw.items() if k in (*Setup.model_fields, SPREAD)}
    return (
        "# A set-up fitted to measurement by tautwire. Use it:  tautwire run STUDY --from THIS_FILE\n\n"
        + tomli_w.dumps({**tables, RESULT: dict(result)})
    )


def posterior(frames: Mapping[str, pd.DataFrame]) -> Raw:
    """What a fit leaves unsure, as a table [spread]: fitted values, and how they are off together.

    Values that change each time the antenna is hung (slope, heights, how the coax lies) are left out: the next time
    they have their usual spread again.
    """
    rows, pairs = frames["fit"], frames.get("fit_correlation")
    stay = [row for _, row in rows.iterrows() if not hung(row["parameter"])]
    names = {row["parameter"] for row in stay}
    values = {
        row["parameter"]: {"sd": written(row["estimate_sd"], quantity_kind(row["parameter"], "fit"), 4)} for row in stay
    }
    off = [
        [row["parameter"], row["with_parameter"], round(row["correlation"], 5)]
        for _, row in (() if pairs is None else pairs.iterrows()) if {row["parameter"], row["with_parameter"]} <= names
    ]  # fmt: skip
    return {"values": values, "correlation": off}


def fitted(result: Result) -> dict[str, Any]:
    """The set-up that a fit found, with what it leaves unsure, ready for `predict`, `run` and the others.

    Parameters
    ----------
    result : Result
        As `fit` gives it.

    Returns
    -------
    dict
        Tables of a study file: those of the set-up with the fitted values in place of the first guesses, and "spread"
        with their standard deviations and correlations. Values that change each time the antenna is hung (slope,
        heights) are not in "spread": they have their usual spread again.

    Raises
    ------
    InputError
        For a result that is not of a fit.

    Examples
    --------
    >>> import tautwire
    >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
    >>> tautwire.fitted(tautwire.run(tautwire.read_study({"study": {"bands": ["20 m"]}, **setup}), workers=0))
    Traceback (most recent call last):
    tautwire.model.errors.InputError: result = study: a result of tautwire.fit
    """
    if "fit" not in result.frames:
        raise InputError("result", result.study.name, "a result of tautwire.fit")
    new = result.study.raw
    for row in result.rows("fit"):
        path = row["parameter"]
        kind = quantity_kind(path, "fit")
        if path.startswith("site.soil."):
            new = changed(new, "site.soil", opened(table_value(new, "site.soil") or "average soil", path))
        feet = kind is length and FEET.search(str(table_value(new, path)))
        text = f"{row['estimate'] / FOOT:.6g} ft" if feet else written(row["estimate"], kind, 6)
        new = changed(new, path, text)
    return {**new, SPREAD: posterior(result.frames)}


def hung(path: str) -> bool:
    """Whether a value changes each time the antenna is hung."""
    usual = usual_of(path)
    return usual is not None and usual.hang


def _joined(fitted: Mapping[str, Any], own: Mapping[str, Any]) -> Raw:
    """A fit's [spread] and the study's own: what the user says of a value goes before what the fit says."""
    said = flat(
        {k: v for k, v in own.items() if k not in ("samples", "seed", "sobol", "exact", "correlation", "values")},
        KEYS,
        table=SPREAD,
    ) | flat(own.get("values", {}), KEYS, table=SPREAD)
    pairs = [p for p in fitted.get("correlation", []) if not {p[0], p[1]} & set(said)]
    rest = {k: v for k, v in own.items() if k in ("samples", "seed", "sobol", "exact")}
    values = {**fitted.get("values", {}), **said}
    return {**rest, "values": values, "correlation": [*pairs, *own.get("correlation", [])]}


def without(spread: Mapping[str, Any], paths: Collection[str]) -> Raw:
    """A fit's [spread] without what lies at or below these dotted keys."""

    def named(path: str) -> bool:
        return any(path == p or path.startswith(f"{p}.") for p in paths)

    values = {k: v for k, v in spread.get("values", {}).items() if not named(k)}
    pairs = [p for p in spread.get("correlation", []) if not (named(p[0]) or named(p[1]))]
    return {**spread, "values": values, "correlation": pairs}


def with_fit(raw: Mapping[str, Any], path: Path | None) -> Raw:
    """A study's tables with its set-up replaced by the fitted one in `path`; unchanged if path is None.

    Tables of the set-up that the fit file does not have (such as reel) stay as they are; so do [study], [sweep] and
    the rest. What the fit leaves unsure goes into [spread]. Raises InputError for a file that is not a fit.
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
    if SPREAD in fitted:
        new[SPREAD] = _joined(fitted[SPREAD], table_at(new, SPREAD))
    return new
