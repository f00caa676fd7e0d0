"""Measured sweeps: read Touchstone one-port and CSV files, write them, find the dips."""

import csv
import io
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy

from tautwire.model.basics import Complex, Real, impedance, reflection, size_of, swr_of
from tautwire.model.errors import InputError
from tautwire.studies.study.files import is_file
from tautwire.studies.study.sweep_cells import Reading, file_text
from tautwire.studies.study.sweep_table import read_one_port, read_table

PLANES = ("radio", "transformer")
MOST_GAMMA = 1.02  # an analyser's own error; anything above is a wrong file or calibration

DUMMY = 0.05
"""Size of the reflection below which no end-fed half-wave stays over DUMMY_RANGE of frequency: with a bandwidth (2:1)
of up to a tenth of the frequency it is above it from 0.8 % beside the dip."""
DUMMY_RANGE = 0.02

TEXTS = (".csv", ".txt", ".tsv", ".dat", ".asc", ".prn")
OPTION_LINE = re.compile(r"^#\s*(?:[kmg]?hz\s+)?[syz]\s+(?:ri|ma|db)\b", re.IGNORECASE | re.MULTILINE)


@dataclass(frozen=True, eq=False)
class Sweep:
    """One measured sweep, shape (n,) each. f_hz: rising, Hz. swr: against z0 (inf at or outside the unit circle).

    gamma: complex reflection coefficient against z0, or None if only SWR was measured. z0: ohm, real.
    plane: where it was taken, "radio" (through the coax) or "transformer". name: for plots and messages.
    how: in one line, how its file was read.
    Raises InputError for fewer than 3 points, NaN, frequencies not rising or outside 0.1 to 1000 MHz, SWR below 1,
    |gamma| above 1.02.
    """

    f_hz: Real
    swr: Real
    gamma: Complex | None
    z0: float = 50.0
    plane: str = "radio"
    name: str = "sweep"
    how: str = ""

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
    def dummy(self) -> str:
        """That it looks like a dummy load, in words; empty if it does not."""
        wide = self.f_hz[-1] >= (1 + DUMMY_RANGE) * self.f_hz[0]
        if not wide or not np.all(size_of(self.swr) < DUMMY):
            return ""
        return f"looks like a dummy load: reflection below {DUMMY:g} on the whole range"

    @property
    def z(self) -> Complex | None:
        """Impedance in ohms, complex (n,); None if only SWR was measured; infinite at gamma = 1."""
        return None if self.gamma is None else impedance(self.gamma, self.z0)


def read_sweep(path: str | Path, plane: str = "radio") -> Sweep:
    """The one sweep in a file, taken at `plane`. Raises InputError, also if the file holds several."""
    sweeps = _read(Path(path), plane, part_gaps=False)
    if len(sweeps) > 1:
        raise InputError("sweep", Path(path).name, f"a file with one sweep; this one has {len(sweeps)}")
    return sweeps[0]


def read_sweeps(path: str | Path, plane: str = "radio") -> list[Sweep]:
    """All sweeps in a file, taken at `plane`: Touchstone one-port, or any table of points (sweep_table.py).

    A new sweep begins at a new heading line, where the frequency starts again, and after a gap between bands.
    Each says in `how` how it was read. Raises InputError.
    """
    return _read(Path(path), plane, part_gaps=True)


def _read(path: Path, plane: str, part_gaps: bool) -> list[Sweep]:
    if not is_file(path):
        raise InputError("sweep", str(path), "a readable .s1p or .csv file")
    if path.stat().st_size == 0:
        raise InputError("sweep", path.name, "a file with measured points; this one is empty")
    suffix = path.suffix.lower()
    if suffix == ".s1p":
        return [_read_touchstone(path, plane)]
    if re.fullmatch(r"\.s\d+p", suffix):
        raise InputError("sweep", path.name, "a one-port file (.s1p)")
    if suffix not in TEXTS:
        raise InputError("sweep", path.name, f"a Touchstone one-port (.s1p) or CSV ({', '.join(TEXTS)}) file")
    if OPTION_LINE.search(file_text(path)):
        return [_read_touchstone(path, plane)]
    with np.errstate(all="ignore"):  # numbers beyond all bounds are refused by name
        found = read_table(path, part_gaps)
    return [_sweep_of(r, path, plane, f" {r.label or i}" if len(found) > 1 else "") for i, r in enumerate(found, 1)]


def _sweep_of(r: Reading, path: Path, plane: str, tail: str) -> Sweep:
    name = _printable(path.stem) + tail
    if r.gamma is None:
        assert r.swr is not None
        sweep = Sweep(r.f_hz, r.swr, None, r.z0, plane, name)
    else:
        sweep = Sweep.from_gamma(r.f_hz, r.gamma, r.z0, plane, name)
    return replace(sweep, how=_how(sweep, _printable(path.name), r.used, r.said))


def _how(sweep: Sweep, file: str, used: str, said: tuple[str, ...] = ()) -> str:
    low, high = sweep.f_hz[0] / 1e6, sweep.f_hz[-1] / 1e6
    reference = "" if sweep.z0 == 50 else f" against {sweep.z0:g} ohm"
    read = f"Read {file}: {len(sweep.f_hz)} points, {low:g} to {high:g} MHz, {used}{reference}"
    return "; ".join([read, *said, *([sweep.dummy] if sweep.dummy else [])]) + "."


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def _read_touchstone(path: Path, plane: str) -> Sweep:
    network, left = read_one_port(path)
    sweep = Sweep.from_gamma(network.f, network.s[:, 0, 0], float(network.z0[0, 0].real), plane, _printable(path.stem))
    return replace(sweep, how=_how(sweep, _printable(path.name), "Touchstone", (left,) if left else ()))


def s1p_text(sweep: Sweep, name: str) -> str:
    """A sweep as the text of a Touchstone one-port file. Raises InputError if it has SWR only."""
    import skrf

    if sweep.gamma is None:
        raise InputError("sweep", sweep.name, "complex data for Touchstone; this one has SWR only")
    network = skrf.Network(f=sweep.f_hz, f_unit="hz", s=sweep.gamma, z0=sweep.z0)
    return str(network.write_touchstone(name, return_string=True, form="ri", r_ref=sweep.z0))


def write_s1p(sweep: Sweep, path: str | Path) -> None:
    """Write a sweep as a new Touchstone one-port file. Raises InputError if it has SWR only, or the file is there."""
    path = Path(path)
    if path.suffix.lower() != ".s1p":
        raise InputError("path", str(path), "a name ending in .s1p")
    _write_new(path, s1p_text(sweep, path.stem))


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", newline="", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError("path", str(path), "a name not taken yet") from None


def write_csv(sweep: Sweep, path: str | Path) -> None:
    """Write a sweep as a new CSV file with columns freq_hz, r_ohm, x_ohm, or freq_hz, swr if that is all it has.

    Raises InputError if an impedance or SWR is infinite, or the file is there.
    """
    z = sweep.z
    columns = [sweep.f_hz, sweep.swr] if z is None else [sweep.f_hz, z.real, z.imag]
    if not all(np.all(np.isfinite(column)) for column in columns):
        raise InputError("sweep", sweep.name, "finite values for CSV; write Touchstone instead")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["freq_hz", "swr"] if z is None else ["freq_hz", "r_ohm", "x_ohm"])
    writer.writerows([float(value) for value in row] for row in zip(*columns, strict=True))
    _write_new(Path(path), text.getvalue())


def dips(sweep: Sweep, prominence: float = 0.03) -> list[tuple[float, float]]:
    """Frequency (Hz) and SWR of each dip, lowest frequency first.

    A dip is a minimum of |gamma| inside the sweep that stands out from its surroundings by `prominence`, refined by
    the parabola of |gamma|^2 through three points. A minimum at an end of the sweep is not a dip: it may lie outside.
    """
    if not 0 < prominence < 1:
        raise InputError("prominence", prominence, "a step of |gamma| between 0 and 1")
    size = size_of(sweep.swr)
    found, _ = scipy.signal.find_peaks(-size, prominence=prominence)
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
