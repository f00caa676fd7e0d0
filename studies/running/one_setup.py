"""Questions about one set-up, without a study file: its dips, and its impedance and SWR over a band."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from tautwire.model.errors import InputError, SolveError
from tautwire.model.operating.bands import band_named
from tautwire.model.solve.response import span_of
from tautwire.studies.running.runner import run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.parts import as_written
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import columns_of
from tautwire.studies.wants.give_or_take import with_give
from tautwire.studies.wants.local_model import wire_impedance

if TYPE_CHECKING:
    import pandas as pd

BANDS = ("40 m", "20 m", "15 m", "10 m")
MOST_POINTS = 100_000


def predicted(
    setup: Mapping[str, Any],
    bands: Iterable[str] = BANDS,
    region: int | str = 1,
    timeout: float | None = None,
    spread: bool = True,
) -> Result:
    """What a study of this one set-up gives; its case may have failed. Raises InputError.

    timeout: seconds for it, in processes that can be stopped; None computes in this process, however long it takes.
    spread: whether its dips carry their uncertainty. A table [spread] may stand beside the set-up's.
    """
    Setup.read({k: v for k, v in setup.items() if k != "spread"})  # a set-up and nothing else
    listed = list(bands) if isinstance(bands, Iterable) and not isinstance(bands, str) else bands
    head = {"name": "predict", "bands": listed, "region": region, "spread": spread}
    study = read_study({**setup, "study": head})
    return run(study, workers=0) if timeout is None else run(study, timeout=timeout)


def predict(setup: Mapping[str, Any], bands: Iterable[str] = BANDS, region: int | str = 1) -> pd.DataFrame:
    """Where the SWR of one set-up dips on each band, and what the radio sees there.

    Parameters
    ----------
    setup : mapping
        Tables of a study file that describe the set-up: "antenna" is needed, and "coax" or "counterpoise" as return
        conductor; "site", "wire", "transformer", "radio" and the others have defaults. Quantities are texts with
        their units: "20.5 m", "66 ft", "25 deg".
    bands : iterable of str
        Bands such as "20 m", or ranges of your own such as "13.9-14.4 MHz".
    region : int or str
        ITU region 1, 2 or 3, or "US"; decides the edges of the bands.

    Returns
    -------
    pandas.DataFrame
        A row a band. Among its columns are dip_mhz (MHz), dip_swr, width_2to1_khz (kHz), swr_worst, feed_r_ohm and
        feed_x_ohm (ohm, at the wire's end), dip_loss_db (dB) and dip_give_khz (kHz: 68 % of set-ups hung like this
        one dip within so much of it). All are described in
        `tautwire.studies.study.columns.COLUMNS`. Where a band has no dip, dip_mhz is NaN.

    Raises
    ------
    InputError
        For a value that is not allowed; the message names its key, the value, and what to write instead.
    SolveError
        Where the engine gives no usable answer.

    Examples
    --------
    >>> import tautwire
    >>> setup = {
    ...     "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
    ...     "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    ...     "coax": {"type": "RG-58", "length": "5 m"},
    ... }
    >>> tautwire.predict(setup, bands=["20 m"])[["band", "dip_mhz", "dip_loss_db"]].round(1)
       band  dip_mhz  dip_loss_db
    0  20 m     14.2          1.3
    """
    with as_written(keys={"study.bands": "bands", "study.region": "region"}):
        result = predicted(setup, bands, region)
    if result.failed:
        raise SolveError(result.failed[0].reason)
    return with_give(result, result.frames["dips"])


def response(setup: Mapping[str, Any], band: str, region: int | str = 1, points: int = 201) -> pd.DataFrame:
    """Impedance and SWR of one set-up over a band, or over any range.

    Parameters
    ----------
    setup : mapping
        Tables of a study file that describe the set-up, as for `predict`.
    band : str
        A band such as "20 m", or a range of your own such as "13.5-14.8 MHz" or "1.8-30 MHz", within 1.8 to 54 MHz.
    region : int or str
        ITU region 1, 2 or 3, or "US"; decides the edges of the band.
    points : int
        Number of frequencies, evenly spaced, both edges included; 2 to 100 000. The solver is asked at a few
        frequencies whatever their number: a rational function is put through its answers.

    Returns
    -------
    pandas.DataFrame
        A row a frequency. Columns: band, f_mhz (MHz); feed_r_ohm, feed_x_ohm: impedance at the wire's end (ohm);
        radio_r_ohm, radio_x_ohm: at the radio (ohm); swr: at the radio; swr_transformer: at the transformer's primary.

    Raises
    ------
    InputError
        For a value that is not allowed; the message names its key, the value, and what to write instead.
    SolveError
        Where the engine gives no usable answer.

    Notes
    -----
    Meshes change at 4.6, 15.9 and 31.5 MHz. A range that crosses one of them has a step there, some 0.002 of the
    reflection coefficient.

    Examples
    --------
    >>> import tautwire
    >>> setup = {
    ...     "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
    ...     "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    ...     "coax": {"type": "RG-58", "length": "5 m"},
    ... }
    >>> sweep = tautwire.response(setup, "13.0-15.0 MHz", points=401)
    >>> lowest = sweep.loc[sweep["swr"].idxmin()]
    >>> print(f"SWR {lowest['swr']:.1f} at {lowest['f_mhz']:.1f} MHz")
    SWR 1.2 at 14.2 MHz
    """
    import pandas as pd

    if not isinstance(points, int) or not 2 <= points <= MOST_POINTS:
        raise InputError("points", repr(points), f"a whole number from 2 to {MOST_POINTS}")
    asked = band_named(band, region, one_mesh=False)
    f_hz = np.linspace(asked.lower, asked.upper, points)
    with as_written(setup):
        read = Setup.read(setup)
        feed, solver = read.feed_system(), read.build().solver(Store())
        if span_of(asked.lower) == span_of(asked.upper):
            z = solver.response(asked.lower, asked.upper).impedance(f_hz)
        else:
            z = wire_impedance(solver, f_hz)
        return pd.DataFrame({"band": asked.name, **columns_of(f_hz, z, feed)})
