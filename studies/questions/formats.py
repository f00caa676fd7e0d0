"""Answers in open formats: Touchstone files of any sweep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tautwire.model.errors import InputError
from tautwire.studies.study.files import writable
from tautwire.studies.study.measurement import Sweep, write_s1p

if TYPE_CHECKING:
    import pandas as pd

ENDS = {"radio": "radio", "wire": "feed"}


def write_touchstone(sweep: pd.DataFrame, path: str | Path, plane: str = "radio", z0: float = 50.0) -> Path:
    """Write a sweep as a Touchstone one-port file (.s1p).

    Parameters
    ----------
    sweep : pandas.DataFrame
        What `response` gives, or the rows of one case and band of a result's table "sweeps"; f_mhz must rise.
    path : str or Path
        File to write, ending in .s1p.
    plane : str
        "radio": what the radio sees; "wire": the impedance at the wire's end.
    z0 : float
        Reference impedance, ohm.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        For a table that is no sweep, frequencies that do not rise (choose one case and band), or a file that cannot be
        written.

    Examples
    --------
    >>> import tautwire, tempfile, pathlib
    >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
    >>> sweep = tautwire.response(setup, "20 m", points=11)
    >>> file = tautwire.write_touchstone(sweep, pathlib.Path(tempfile.mkdtemp()) / "park.s1p")
    >>> file.read_text().splitlines()[-1].split()[0]
    '14350000.0'
    """
    if plane not in ENDS:
        raise InputError("plane", repr(plane), f"one of {', '.join(ENDS)}")
    names = "f_mhz", f"{ENDS[plane]}_r_ohm", f"{ENDS[plane]}_x_ohm"
    if missing := [name for name in names if name not in sweep]:
        raise InputError("sweep", f"a table without {missing[0]}", "what `response` gives, or rows of the table sweeps")
    f, r, x = (sweep[name].to_numpy(float) for name in names)
    if not (f[1:] > f[:-1]).all():
        raise InputError("sweep", f"{len(f)} rows whose f_mhz does not rise", "the rows of one case and one band")
    path = Path(path)
    with writable(path):
        write_s1p(Sweep.from_impedance(f * 1e6, r + 1j * x, z0, name=path.stem), path)
    return path
