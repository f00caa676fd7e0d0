"""Texts of a study or a file name, written so that no program that opens a table or a summary acts on them."""

import re

import pandas as pd

ACTS = re.compile(r"\s*[=@]|\s*[+-](?=.*[|(!=])|[\t\r]")  # how a cell starts that spreadsheets take for a formula


def markdown(text: str) -> str:
    """A text whose HTML, links and pictures are shown, not followed."""
    return re.sub(r"([\[|])", r"\\\1", text.replace("&", "&amp;").replace("<", "&lt;"))


def cells(frame: pd.DataFrame) -> pd.DataFrame:
    """The table with an apostrophe before texts that a spreadsheet would compute ("=1+2"); "+5 cm" stays as it is."""
    words = [c for c in frame if not pd.api.types.is_numeric_dtype(frame[c])]
    return frame.assign(**{c: frame[c].map(_cell) for c in words}) if words else frame


def _cell(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and ACTS.match(value) else value
