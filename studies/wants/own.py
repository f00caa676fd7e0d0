"""One antenna solved at one frequency, and columns by functions of the user's own of it."""

from __future__ import annotations

import hashlib
import inspect
import math
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from tautwire.model.basics import Real
from tautwire.model.errors import InputError, SolveError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.far_field import far_field, gain
from tautwire.model.fields.near_field import NearField
from tautwire.model.fields.power_balance import PowerBalance, power_balance, power_chain
from tautwire.model.operating.bands import Band
from tautwire.model.solve.geometry_solver import OwnSolution
from tautwire.model.solve.solver import Solution, Solver
from tautwire.studies.study.columns import COLUMNS, TABLES
from tautwire.studies.study.result import Rows, xarray
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.want import Want

if TYPE_CHECKING:
    import xarray as xr


# --- One antenna solved at one frequency: everything that the solver knows of it, as labelled arrays.


LEAST_DBI = -60.0
WIRE_SHARES = ("sky", "soil", "wire", "loads")
RADIO_SHARES = ("mismatch", "coax", "core", "winding", "choke", "wire", "soil", "sky")


@dataclass(frozen=True)
class Solved:
    """An antenna solved at one frequency; made by `solve`.

    Attributes
    ----------
    f_hz : float
        Frequency, Hz.
    impedance : complex
        At the wire's feed, ohm. Of several sources that share a volt: of the port that they are.
    source_impedances : tuple of complex
        Volts over amps of each source, ohm.

    Notes
    -----
    Amplitudes are rms, for 1 V at the feed, or for `power_w` watts into it where a method takes it. The arrays are
    xarray's (pip install 'tautwire[arrays]'), with units and long_name in their attributes.

    Examples
    --------
    >>> import tautwire
    >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
    >>> solved = tautwire.solve(setup, "14.1 MHz")
    >>> solved.currents().sizes["segment"] == solved.matrix().sizes["source"]
    True
    """

    f_hz: float
    solution: Solution = field(repr=False)
    solver: Solver = field(repr=False)
    names: Sequence[str] = field(repr=False)
    along: Real = field(repr=False)
    feed: FeedSystem | None = field(default=None, repr=False)

    @property
    def impedance(self) -> complex:
        return self.solution.impedance

    @property
    def source_impedances(self) -> tuple[complex, ...]:
        s = self.solution
        if isinstance(s, OwnSolution):
            return tuple(complex(v / i) for v, i in zip(s.source_volts, s.source_amps, strict=True))
        return (s.impedance,)

    def _scale(self, power_w: float | None) -> float:
        """Volts at the feed for so many watts into it."""
        if power_w is None:
            return 1.0
        if not 0 < power_w < math.inf:
            raise InputError("power_w", power_w, "above 0 W")
        return math.sqrt(power_w / self.solution.admittance.real)

    def currents(self, power_w: float | None = None) -> xr.Dataset:
        """Currents of all segments, A rms, complex, positive from a segment's start to its end.

        Parameters
        ----------
        power_w : float, optional
            Watts into the feed; 1 V at the feed if left out.

        Returns
        -------
        xarray.Dataset
            current (segment). Coordinates of each segment's middle: conductor (name), along (m from its start), east,
            north, height, length (m).

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> currents = tautwire.solve(setup, "14.1 MHz").currents(power_w=10)
        >>> wire = currents.where(currents.conductor == "wire", drop=True)
        >>> middle = abs(wire.current).argmax("segment")
        >>> 4 < float(wire.along[middle]) < 6.5
        True
        """
        current = self.solution.current * self._scale(power_w)
        return xarray().Dataset(
            {"current": ("segment", current, {"units": "A", "long_name": "current, rms"})},
            coords=self._segments("segment"),
            attrs={"f_hz": self.f_hz},
        )

    def _segments(self, name: str) -> dict[str, Any]:
        grid = self.solution.mesh
        east, north, height = grid.centre.T
        metres = {"along": self.along, "east": east, "north": north, "height": height, "length": grid.length}
        return {
            name: np.arange(len(grid.along)),
            "conductor": (name, np.array(self.names)),
            **{k: (name, v, {"units": "m"}) for k, v in metres.items()},
        }

    def matrix(self) -> xr.Dataset:
        """The impedance matrix that was solved: (z + diag(series)) current = feed.

        Returns
        -------
        xarray.Dataset
            z (segment, source), ohm; series (segment), ohm: metal loss and lumped parts; feed (segment): volts for
            1 V at the feed. Coordinates as in `currents`.

        Examples
        --------
        >>> import numpy as np, tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> solved = tautwire.solve(setup, "14.1 MHz")
        >>> m = solved.matrix()
        >>> current = np.linalg.solve(m.z.values + np.diag(m.series.values), m.feed)
        >>> bool(np.allclose(current, solved.currents().current))
        True
        """
        z = self.solver.parts(self.f_hz).matrix(self.f_hz)
        ohm = {"units": "ohm"}
        return xarray().Dataset(
            {
                "z": (("segment", "source"), z, {**ohm, "long_name": "impedance matrix without loads"}),
                "series": ("segment", self.solution.load, {**ohm, "long_name": "series impedance of each segment"}),
                "feed": ("segment", self.solution.mesh.feed, {"units": "V"}),
            },
            coords={**self._segments("segment"), "source": np.arange(len(z))},
            attrs={"f_hz": self.f_hz},
        )

    def far_field(self, elevation_deg: ArrayLike, azimuth_deg: ArrayLike, power_w: float | None = None) -> xr.Dataset:
        """Far field and gain over a grid of directions.

        Parameters
        ----------
        elevation_deg : array_like
            Elevations (E,), degrees above the horizon.
        azimuth_deg : array_like
            Azimuths (A,), degrees clockwise from north.
        power_w : float, optional
            Watts into the feed; 1 V at the feed if left out.

        Returns
        -------
        xarray.Dataset
            e_theta, e_phi (elevation, azimuth), V: r E exp(jkr); theta grows from the zenith down, phi anticlockwise
            seen from above. gain_dbi: power gain over the power into the wire, dBi, -60 where there is less.

        Raises
        ------
        InputError
            For a direction below the horizon, unless in free space.

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> field = tautwire.solve(setup, "14.1 MHz").far_field(range(5, 90, 5), [0, 90])
        >>> float(field.gain_dbi.sel(azimuth=0).idxmax("elevation")) < 45
        True
        """
        up, around = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (elevation_deg, azimuth_deg))
        where = np.radians(up)[:, None], np.radians(around)[None, :]
        theta, phi = (x * self._scale(power_w) for x in far_field(self.solution, *where))
        dbi = 10 * np.log10(np.maximum(gain(self.solution, *where, self._balance().accounted), 10 ** (LEAST_DBI / 10)))
        dims = "elevation", "azimuth"
        return xarray().Dataset(
            {
                "e_theta": (dims, theta, {"units": "V", "long_name": "r E_theta, rms"}),
                "e_phi": (dims, phi, {"units": "V", "long_name": "r E_phi, rms"}),
                "gain_dbi": (dims, dbi, {"units": "dBi", "long_name": "gain over the power into the wire"}),
            },
            coords={
                "elevation": ("elevation", up, {"units": "degree"}),
                "azimuth": ("azimuth", around, {"units": "degree", "long_name": "clockwise from north"}),
            },
            attrs={"f_hz": self.f_hz},
        )

    def near_field(self, points: ArrayLike, power_w: float | None = None) -> xr.Dataset:
        """Electric and magnetic field at places close to the wires, over the soil.

        Parameters
        ----------
        points : array_like
            Places (M, 3), m: east, north, up. 1 cm or more above soil, 5 cm or more from any conductor.
        power_w : float, optional
            Watts into the feed; 1 V at the feed if left out.

        Returns
        -------
        xarray.Dataset
            e (point, axis), V/m rms, and h (point, axis), A/m rms, complex; axis: east, north, up.

        Raises
        ------
        InputError
            For places in the soil or too close to a conductor.

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> field = tautwire.solve(setup, "14.1 MHz").near_field([[3, 0, 1.5], [6, 0, 1.5]], power_w=10)
        >>> size = (abs(field.e) ** 2).sum("axis") ** 0.5
        >>> bool(size[0] > size[1])
        True
        """
        places = np.atleast_2d(np.asarray(points, dtype=float))
        if places.ndim != 2 or places.shape[1] != 3:
            raise InputError("points", f"an array of shape {places.shape}", "shape (M, 3): east, north, up")
        found = NearField.of(self.solution, power_w).at(places)
        dims = "point", "axis"
        return xarray().Dataset(
            {
                "e": (dims, found.e, {"units": "V m-1", "long_name": "electric field, rms"}),
                "h": (dims, found.h, {"units": "A m-1", "long_name": "magnetic field, rms"}),
            },
            coords={
                "axis": ["east", "north", "up"],
                **{n: ("point", x, {"units": "m"}) for n, x in zip(("east", "north", "height"), places.T, strict=True)},
            },
            attrs={"f_hz": self.f_hz},
        )

    def _balance(self) -> PowerBalance:
        return power_balance(self.solution, self.solver.parts(self.f_hz).structure)

    def power(self, of: str = "wire") -> xr.DataArray:
        """Where the power goes.

        Parameters
        ----------
        of : str
            "wire": shares of the power into the wire (sky, soil, wire, loads); "radio": of the radio's forward power
            (mismatch, coax, core, winding, choke, wire, soil, sky), of a set-up only.

        Returns
        -------
        xarray.DataArray
            Shares (where), which add up to 1. attrs: input_w, W into the wire for 1 V rms at its feed; error, what the
            shares, each computed alone, had to be scaled by: a measure of the whole solution.

        Raises
        ------
        InputError
            For another word, or "radio" of a geometry of one's own.

        Examples
        --------
        >>> import tautwire
        >>> setup = {"antenna": {"layout": "vertical", "length": "10.3 m"}, "counterpoise": [{"length": "2 m"}]}
        >>> shares = tautwire.solve(setup, "14.1 MHz").power()
        >>> bool(shares.sel(where="sky") > 0.2), abs(shares.attrs["error"]) < 0.02
        (True, True)
        """
        balance = self._balance()
        if of == "wire":
            shares: dict[str, float] = {name: getattr(balance, name) for name in WIRE_SHARES}
        elif of == "radio" and self.feed is not None:
            chain = power_chain(self.solution, self.solver.parts(self.f_hz).structure, self.feed, balance)
            shares = {name: getattr(chain, name) for name in RADIO_SHARES}
        else:
            raise InputError("of", repr(of), "'wire', or 'radio' of a set-up")
        about = {"units": "1", "long_name": f"share of the power {'into the wire' if of == 'wire' else 'of the radio'}"}
        return xarray().DataArray(
            list(shares.values()),
            dims="where",
            coords={"where": list(shares)},
            name="share",
            attrs={**about, "input_w": balance.input, "error": balance.error, "f_hz": self.f_hz},
        )


def solved_of(solver: Solver, feed: FeedSystem, f_hz: float) -> Solved:
    """A set-up's solver at f_hz, Hz, as Solved."""
    solution, structure = solver.solve(f_hz), solver.structure
    names = [structure.name(i) for i in solution.mesh.conductor]
    return Solved(f_hz, solution, solver, names, solution.mesh.along, feed)


# --- Columns by a function of the user's own: computed for every case and band, kept in the store under its code.


Function = Callable[[Band, Callable[[float], Solved]], Mapping[str, Any]]
PLAIN = (int, float, complex, str, bytes, bool, tuple, frozenset, type(None))
OURS = Path(__file__).parents[2]


@dataclass(frozen=True)
class OwnTable:
    """A table by a function(band, solve), named like it: a row per case and band.

    Raises InputError for what other processes could not import, or whose code cannot be read.
    """

    function: Function

    def __post_init__(self) -> None:
        f = self.function
        name = getattr(f, "__name__", repr(f))
        if not isinstance(f, FunctionType) or f.__closure__ or "." in f.__qualname__ or not name.isidentifier():
            raise InputError("own", name, "a function defined at the top of a module or script, without a lambda")
        if name in TABLES:
            raise InputError("own", name, "a name that no table of tautwire has")
        try:
            inspect.getsource(f)
        except (OSError, TypeError):
            raise InputError("own", name, "a function whose source can be read: its code is part of the key") from None

    @property
    def name(self) -> str:
        return str(getattr(self.function, "__name__", ""))

    @cached_property
    def code(self) -> str:
        """Digest of its source and of what it uses of the user's own: functions, modules, plain values."""
        text = hashlib.sha256()
        for part in _behind(self.function, set()):
            text.update(part.encode())
        return text.hexdigest()

    @property
    def want(self) -> Want:
        return Want(self.name, self.compute, by_band=True, depends=lambda study: self.code)

    def compute(self, setup: Setup, solver: Solver, study: Study) -> dict[str, Rows]:
        """Its rows of one case. A fault of the function is one of the case: SolveError."""
        feed, rows = setup.feed_system(), []
        taken = {axis.column for axis in study.axes} | {"band"}
        for band in study.bands:
            try:
                found = self.function(band, lambda f_hz: solved_of(solver, feed, f_hz))
            except (InputError, SolveError):
                raise
            except Exception as error:  # noqa: BLE001  whatever it is, it must not cost the other cases
                raise SolveError(f"{self.name}: {type(error).__name__}: {error}") from error
            rows.append({"band": band.name, **{k: self._value(k, v, taken) for k, v in _pairs(self.name, found)}})
        return {self.name: rows}

    def _value(self, column: str, value: Any, taken: set[str]) -> Any:
        if not re.fullmatch(r"[a-z][a-z0-9_]*", column) or column in taken or column in COLUMNS:
            allowed = "a name of small letters, digits and _, its unit at the end, that no column of tautwire has"
            raise InputError(f"{self.name}.column", repr(column), allowed)
        if isinstance(value, str | bool):
            return value
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise InputError(f"{self.name}.{column}", repr(value), "a number, a text, True or False") from None
        if math.isinf(number):
            raise InputError(f"{self.name}.{column}", repr(value), "a finite number, or NaN where there is none")
        return number


def _pairs(name: str, found: Any) -> list[tuple[str, Any]]:
    if not isinstance(found, Mapping) or not all(isinstance(k, str) for k in found):
        raise InputError(name, repr(found), "a mapping of column names to values")
    return list(found.items())


def _behind(function: FunctionType | Any, seen: set[str]) -> Iterator[str]:
    """Its source and defaults, and those of what it names that is neither tautwire's nor installed."""
    key = f"{function.__module__}.{function.__qualname__}"
    if key in seen:
        return
    seen.add(key)
    yield f"\n{key}\n{inspect.getsource(function)}{function.__defaults__!r}{function.__kwdefaults__!r}"
    for name in sorted(set(_names(function.__code__))):
        value = function.__globals__.get(name)
        if isinstance(value, FunctionType) and _own(getattr(value.__code__, "co_filename", "")):
            yield from _behind(value, seen)
        elif isinstance(value, ModuleType) and _own(getattr(value, "__file__", None) or ""):
            yield Path(str(value.__file__)).read_text(encoding="utf-8")
        elif isinstance(value, PLAIN) and value is not None:
            yield f"\n{name} = {value!r}"


def _names(code: CodeType) -> Iterator[str]:
    yield from code.co_names
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _names(inner)


def _own(file: str) -> bool:
    """Whether a file is the user's own: neither tautwire's nor installed."""
    if not file:
        return False
    path = Path(file)
    installed = [Path(sys.prefix).resolve(), Path(sys.base_prefix).resolve(), OURS]
    return not any(place in path.resolve().parents for place in installed) and "site-packages" not in path.parts
