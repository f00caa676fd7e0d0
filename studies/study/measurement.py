"""Measured sweeps: read Touchstone one-port and CSV files, write them, find the dips."""

import csv
import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.signal import find_peaks

from tautwire.model.arrays import Complex, Real
from tautwire.model.errors import InputError
from tautwire.model.reflection import impedance, reflection, size_of, swr_of
from tautwire.studies.study import units

PLANES = ("radio", "transformer")
MOST_GAMMA = 1.02  # an analyser's own error; anything above is a wrong file or calibration

COLUMNS = "frequency (freq_hz, freq_khz, freq_mhz, or frequency with units) and r,x or swr or s11_db,s11_deg"


@dataclass(frozen=True, eq=False)
class Sweep:
    """One measured sweep, shape (n,) each. f_hz: rising, Hz. swr: against z0 (inf at or outside the unit circle).

    gamma: complex reflection coefficient against z0, or None if only SWR was measured. z0: ohm, real.
    plane: where it was taken, "radio" (through the coax) or "transformer". name: for plots and messages.
    Raises InputError for fewer than 3 points, NaN, frequencies not rising or outside 0.1 to 1000 MHz, SWR below 1,
    |gamma| above 1.02.
    """

    f_hz: Real
    swr: Real
    gamma: Complex | None
    z0: float = 50.0
    plane: str = "radio"
    name: str = "sweep"

    def __post_init__(self) -> None:
        f = self.f_hz
        if self.plane not in PLANES:
            raise InputError(f"{self.name}: plane", repr(self.plane), "'radio' or 'transformer'")
        if not (math.isfinite(self.z0) and self.z0 > 0):
            raise InputError(f"{self.name}: z0", self.z0, "a real reference impedance above 0 ohm")
        if f.ndim != 1 or len(f) < 3:
            raise InputError(f"{self.name}: points", f.size, "3 or more")
        if not np.all((f >= 1e5) & (f <= 1e9)):
            bad = f[~((f >= 1e5) & (f <= 1e9))][0]
            raise InputError(f"{self.name}: frequency", f"{bad:g} Hz", "from 0.1 to 1000 MHz, in the stated unit")
        if not np.all(np.diff(f) > 0):
            bad = f[1:][np.diff(f) <= 0][0]
            raise InputError(f"{self.name}: frequency", f"{bad:g} Hz", "higher than the point before it")
        if self.swr.shape != f.shape or (self.gamma is not None and self.gamma.shape != f.shape):
            raise InputError(f"{self.name}: points", self.swr.shape, f"one for each of the {len(f)} frequencies")
        if not np.all(self.swr >= 1):
            at = int(np.flatnonzero(~(self.swr >= 1))[0])
            raise InputError(f"{self.name}: point {at + 1}", self._at(at), "a number, SWR of 1 or more")
        if self.gamma is not None and not np.all(np.abs(self.gamma) <= MOST_GAMMA):
            at = int(np.flatnonzero(~(np.abs(self.gamma) <= MOST_GAMMA))[0])
            allowed = f"|gamma| up to {MOST_GAMMA}: check the calibration and the reference impedance"
            raise InputError(f"{self.name}: point {at + 1}", self._at(at), allowed)

    def _at(self, at: int) -> str:
        if self.gamma is None:
            return f"SWR {self.swr[at]:g}"
        return f"|gamma| {abs(self.gamma[at]):g}"

    @classmethod
    def from_gamma(
        cls, f_hz: Real, gamma: Complex, z0: float = 50.0, plane: str = "radio", name: str = "sweep"
    ) -> "Sweep":
        """A sweep from complex reflection coefficients against z0."""
        return cls(np.asarray(f_hz, dtype=float), swr_of(gamma), np.asarray(gamma, dtype=complex), z0, plane, name)

    @classmethod
    def from_impedance(
        cls, f_hz: Real, z: Complex, z0: float = 50.0, plane: str = "radio", name: str = "sweep"
    ) -> "Sweep":
        """A sweep from complex impedances in ohms."""
        z = np.asarray(z, dtype=complex)
        if np.any(z == -z0):
            raise InputError(f"{name}: impedance", f"{-z0} ohm", "a resistance of 0 or more")
        return cls.from_gamma(f_hz, reflection(z, z0), z0, plane, name)

    @property
    def z(self) -> Complex | None:
        """Impedance in ohms, complex (n,); None if only SWR was measured; infinite at gamma = 1."""
        return None if self.gamma is None else impedance(self.gamma, self.z0)


def read_sweep(path: str | Path, plane: str = "radio") -> Sweep:
    """The sweep in a Touchstone one-port (.s1p) or CSV file, taken at `plane`. Raises InputError."""
    path = Path(path)
    if not _is_file(path):
        raise InputError("sweep", str(path), "a readable .s1p or .csv file")
    if path.stat().st_size == 0:
        raise InputError("sweep", path.name, "a file with measured points; this one is empty")
    suffix = path.suffix.lower()
    if suffix == ".s1p":
        return _read_touchstone(path, plane)
    if suffix in (".csv", ".txt", ".tsv"):
        return _read_csv(path, plane)
    raise InputError("sweep", path.name, "a Touchstone one-port (.s1p) or CSV (.csv, .txt, .tsv) file")


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that is too long, or holds a null byte
        return False


def _read_touchstone(path: Path, plane: str) -> Sweep:
    import skrf

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Sweep checks the frequencies itself
            network = skrf.Network()
            network.read_touchstone(str(path))  # as text; Network(path) would try to unpickle the file first
        f, gamma, z0 = network.f, network.s[:, 0, 0], network.z0[:, 0]
    except Exception as error:  # whatever the reader stumbled over, the file is not what its name says
        raise InputError("sweep", path.name, f"a valid Touchstone one-port file ({_one_line(error)})") from None
    if network.nports != 1:
        raise InputError("sweep", path.name, f"a one-port file, not {network.nports} ports")
    if len(f) == 0:
        raise InputError("sweep", path.name, "a file with measured points; this one has none")
    if np.any(z0 != z0[0]) or z0[0].imag != 0:
        raise InputError("sweep", path.name, "one real reference impedance for all points")
    return Sweep.from_gamma(f, gamma, float(z0[0].real), plane, _printable(path.stem))


def _one_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:80]


_NAMES = {
    "f": "frequency",
    "freq": "frequency",
    "frequency": "frequency",
    "r": "r",
    "rs": "r",
    "resistance": "r",
    "x": "x",
    "xs": "x",
    "reactance": "x",
    "swr": "swr",
    "vswr": "swr",
}
_SCALES = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_S11 = {
    "s11_db": "s11_db",
    "s11_deg": "s11_deg",
    "s11_phase": "s11_deg",
    "s11_phase_deg": "s11_deg",
    "s11_re": "s11_re",
    "s11_im": "s11_im",
}


def _column(header: str) -> tuple[str, float | None] | None:
    """What a heading means, with the frequency scale in Hz if it names one; None if unknown."""
    words = "_".join(re.findall(r"[a-z0-9]+", header.lower().replace("ω", "ohm").replace("°", "deg")))
    if words in _S11:
        return _S11[words], None
    name, _, unit = words.partition("_")
    meaning = _NAMES.get(name)
    if meaning == "frequency" and (not unit or unit in _SCALES):
        return meaning, _SCALES.get(unit)
    if meaning in ("r", "x") and unit in ("", "ohm", "ohms") or meaning == "swr" and not unit:
        return meaning, None
    return None


def _read_csv(path: Path, plane: str) -> Sweep:
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (UnicodeDecodeError, OSError):
        raise InputError("sweep", path.name, "a text file in UTF-8") from None
    lines = [line for line in lines if line.strip() and not line.lstrip().startswith(("#", "!"))]
    if len(lines) < 2:
        raise InputError("sweep", path.name, "a file with a heading line and measured points")
    delimiter = max(",;\t", key=lines[0].count)
    try:
        headers, *rows = ([cell.strip() for cell in row] for row in csv.reader(lines, delimiter=delimiter))
    except csv.Error as error:
        raise InputError("sweep", path.name, f"a CSV file ({error})") from None
    places: dict[str, int] = {}
    scale: float | None = None
    for place, header in enumerate(headers):
        meaning = _column(header)
        if meaning is None:
            continue
        if meaning[0] in places:
            raise InputError(f"{path.name}: columns", ", ".join(headers), f"only one {meaning[0]} column")
        places[meaning[0]] = place
        if meaning[0] == "frequency":
            scale = meaning[1]
    wanted = next(
        (
            names
            for names in (("r", "x"), ("s11_re", "s11_im"), ("s11_db", "s11_deg"), ("swr",))
            if set(names) <= set(places)
        ),
        None,
    )
    if wanted is None or "frequency" not in places:
        raise InputError(f"{path.name}: columns", ", ".join(headers), COLUMNS)
    f, a, b = [], [], []
    for i, row in enumerate(rows, start=1):
        where = f"{path.name}: row {i}"
        if len(row) != len(headers):
            raise InputError(where, f"{len(row)} cells", f"{len(headers)} cells as in the heading line")
        cell = row[places["frequency"]]
        f.append(_finite(cell, where) * scale if scale else units.frequency(cell, where))
        a.append(_finite(row[places[wanted[0]]], where))
        b.append(_finite(row[places[wanted[-1]]], where))
    f_hz, first, second = np.array(f), np.array(a), np.array(b)
    if wanted == ("swr",):
        return Sweep(f_hz, first, None, 50.0, plane, _printable(path.stem))
    if wanted == ("r", "x"):
        return Sweep.from_impedance(f_hz, first + 1j * second, 50.0, plane, _printable(path.stem))
    if wanted == ("s11_re", "s11_im"):
        return Sweep.from_gamma(f_hz, first + 1j * second, 50.0, plane, _printable(path.stem))
    gamma = 10 ** (first / 20) * np.exp(1j * np.radians(second))
    return Sweep.from_gamma(f_hz, gamma, 50.0, plane, _printable(path.stem))


def _finite(cell: str, where: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(where, repr(cell), "a finite number with a decimal point")
    return value


def write_s1p(sweep: Sweep, path: str | Path) -> None:
    """Write a sweep as a Touchstone one-port file. Raises InputError if it has SWR only."""
    import skrf

    path = Path(path)
    if sweep.gamma is None:
        raise InputError("sweep", sweep.name, "complex data for Touchstone; this one has SWR only")
    if path.suffix.lower() != ".s1p":
        raise InputError("path", str(path), "a name ending in .s1p")
    network = skrf.Network(f=sweep.f_hz, f_unit="hz", s=sweep.gamma, z0=sweep.z0)
    text = network.write_touchstone(path.stem, return_string=True, form="ri", r_ref=sweep.z0)
    path.write_text(text, encoding="utf-8")


def write_csv(sweep: Sweep, path: str | Path) -> None:
    """Write a sweep as CSV with columns freq_hz, r_ohm, x_ohm, or freq_hz, swr if that is all it has.

    Raises InputError if an impedance or SWR is infinite.
    """
    z = sweep.z
    columns = [sweep.f_hz, sweep.swr] if z is None else [sweep.f_hz, z.real, z.imag]
    if not all(np.all(np.isfinite(column)) for column in columns):
        raise InputError("sweep", sweep.name, "finite values for CSV; write Touchstone instead")
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["freq_hz", "swr"] if z is None else ["freq_hz", "r_ohm", "x_ohm"])
        writer.writerows([float(value) for value in row] for row in zip(*columns, strict=True))


def dips(sweep: Sweep, prominence: float = 0.03) -> list[tuple[float, float]]:
    """Frequency (Hz) and SWR of each dip, lowest frequency first.

    A dip is a minimum of |gamma| inside the sweep that stands out from its surroundings by `prominence`, refined by
    the parabola of |gamma|^2 through three points. A minimum at an end of the sweep is not a dip: it may lie outside.
    """
    if not 0 < prominence < 1:
        raise InputError("prominence", prominence, "a step of |gamma| between 0 and 1")
    size = size_of(sweep.swr)
    found, _ = find_peaks(-size, prominence=prominence)
    result = []
    for i in found:
        f, y = sweep.f_hz[i - 1 : i + 2], size[i - 1 : i + 2] ** 2
        slope_1, slope_2 = np.diff(y) / np.diff(f)
        curvature = (slope_2 - slope_1) / (f[2] - f[0])
        at, low = f[1], y[1]
        if curvature > 0:
            slope = slope_1 + curvature * (f[1] - f[0])  # of the parabola at the middle point
            at = np.clip(f[1] - slope / (2 * curvature), f[0], f[2])
            low = max(y[1] + slope * (at - f[1]) + curvature * (at - f[1]) ** 2, 0.0)
        result.append((float(at), float(swr_of(math.sqrt(low)))))
    return result
