"""Sweep files against scikit-rf, and dips against a resonant circuit in closed form."""

import math
import os
import pickle
from pathlib import Path

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st

from tautwire.model.errors import InputError
from tautwire.studies.study.measurement import Sweep, dips, read_sweep, write_csv, write_s1p

F = np.linspace(13.9e6, 14.5e6, 61)


def series_circuit(f_hz: np.ndarray, f0: float = 14.137e6, r: float = 60.0, q: float = 15.0) -> np.ndarray:
    return r * (1 + 1j * q * (f_hz / f0 - f0 / f_hz))


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("z0", [50.0, 75.0])
def test_touchstone_written_by_scikit_rf(tmp_path: Path, form: str, z0: float) -> None:
    network = skrf.Network(f=F, f_unit="hz", z=series_circuit(F)[:, None, None], z0=z0)
    network.write_touchstone("lake", dir=str(tmp_path), form=form, r_ref=z0)
    sweep = read_sweep(tmp_path / "lake.s1p", "transformer")
    assert (sweep.name, sweep.plane, sweep.z0) == ("lake", "transformer", z0)
    np.testing.assert_allclose(sweep.f_hz, F, rtol=1e-9)
    np.testing.assert_allclose(sweep.z, series_circuit(F), rtol=1e-6)
    np.testing.assert_allclose(sweep.swr, network.s_vswr[:, 0, 0], rtol=1e-6)


def test_touchstone_in_megahertz_by_hand(tmp_path: Path) -> None:
    """Touchstone 1.1: option line '# MHz S MA R 50', then frequency, magnitude, angle in degrees."""
    path = tmp_path / "hand.S1P"
    path.write_text("! park\n# MHz S MA R 50\n7.0 0.5 90\n7.1 0.2 -45\n7.2 0.4 0\n")
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.f_hz, [7e6, 7.1e6, 7.2e6])
    assert sweep.gamma is not None
    np.testing.assert_allclose(sweep.gamma, [0.5j, 0.2 * np.exp(-1j * math.pi / 4), 0.4], atol=1e-12)
    np.testing.assert_allclose(sweep.swr, [3, 1.5, 1.4 / 0.6])


class Trap:
    """Whoever unpickles it makes a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __reduce__(self) -> object:
        return os.mkdir, (str(self.folder),)


def test_a_sweep_from_somebody_else_runs_no_code(tmp_path: Path) -> None:
    path = tmp_path / "lake.s1p"
    path.write_bytes(pickle.dumps(Trap(tmp_path / "ran")))
    with pytest.raises(InputError, match="a text file"):
        read_sweep(path)
    assert not (tmp_path / "ran").exists()


steps = st.lists(st.floats(1e3, 1e6), min_size=3, max_size=12)
circles = st.complex_numbers(max_magnitude=0.98)


@settings(max_examples=40, deadline=None)
@given(steps, st.data())
def test_both_formats_give_back_what_was_written(
    tmp_path_factory: pytest.TempPathFactory, gaps: list[float], data: st.DataObject
) -> None:
    f = 1.8e6 + np.cumsum(gaps)
    gamma = np.array(data.draw(st.lists(circles, min_size=len(f), max_size=len(f))))
    sweep = Sweep.from_gamma(f, gamma)
    folder = tmp_path_factory.mktemp("trip")
    write_s1p(sweep, folder / "a.s1p")
    write_csv(sweep, folder / "a.csv")
    for name in ("a.s1p", "a.csv"):
        back = read_sweep(folder / name)
        assert back.gamma is not None
        np.testing.assert_allclose(back.f_hz, f, rtol=1e-12)
        np.testing.assert_allclose(back.gamma, gamma, atol=1e-9)


def test_swr_only_round_trip_has_no_impedance(tmp_path: Path) -> None:
    sweep = Sweep(F, 1 + np.abs(F - 14.2e6) / 1e5, None)
    write_csv(sweep, tmp_path / "s.csv")
    back = read_sweep(tmp_path / "s.csv")
    assert back.gamma is None and back.z is None
    np.testing.assert_array_equal(back.swr, sweep.swr)
    with pytest.raises(InputError, match="SWR only"):
        write_s1p(sweep, tmp_path / "s.s1p")


@pytest.mark.parametrize(
    "text",
    [
        "freq_hz,r,x\n7000000,100,50\n7100000,50,0\n7200000,25,-25\n",
        "freq_mhz;R (ohm);X (ohm)\n7.0;100;50\n7.1;50;0\n7.2;25;-25\n",
        "Frequency (kHz)\tSWR\tR [Ω]\tX [Ω]\n7000\t2.6\t100\t50\n7100\t1\t50\t0\n7200\t2.6\t25\t-25\n",
        "# at the lake\nfrequency, r_ohm, x_ohm\n7.0 MHz, 100, 50\n7100 kHz, 50, 0\n7.2 MHz, 25, -25\n\n",
    ],
)
def test_csv_headings(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    sweep = read_sweep(tmp_path / "a.csv")
    np.testing.assert_allclose(sweep.f_hz, [7e6, 7.1e6, 7.2e6])
    np.testing.assert_allclose(sweep.z, [100 + 50j, 50, 25 - 25j], atol=1e-9)


def test_csv_reflection_in_db_and_degrees(tmp_path: Path) -> None:
    """Return loss 9.54 dB is SWR 2.00 (common handbook table)."""
    (tmp_path / "a.csv").write_text("freq_mhz,s11_db,s11_deg\n7,-9.54,90\n7.1,-20,0\n7.2,-9.54,-90\n")
    sweep = read_sweep(tmp_path / "a.csv")
    assert sweep.swr[0] == pytest.approx(2.0, abs=0.002)
    assert sweep.gamma is not None and sweep.gamma[2] == pytest.approx(-1j / 3, abs=0.001)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.csv", "", "empty"),
        ("a.csv", "freq_mhz,swr\n", "measured points"),
        ("a.csv", "freq_mhz,swr\n7,1\n7.1,2\n", "3 or more"),
        ("a.csv", "freq_mhz,loss\n7,1\n7.1,2\n7.2,3\n", "freq_mhz, loss"),
        ("a.csv", "mhz,loud\n7,1\n7.1,2\n7.2,3\n", "mhz, loud"),
        ("a.csv", "freq_mhz,r\n7,1\n7.1,2\n7.2,3\n", "R and X"),
        ("a.csv", "freq_mhz,swr,vswr\n7,1,1\n7.1,2,2\n7.2,3,3\n", "only one swr"),
        ("a.csv", "freq_mhz,swr\n7,1\n7.2,2\n7.1,3\n", "higher than the point before"),
        ("a.csv", "freq_mhz,swr\n7,1\n7.1,nan\n7.2,3\n", "line 3"),
        ("a.csv", "freq_mhz,swr\n7,1\n7.1,\n7.2,3\n", "line 3"),
        ("a.csv", "freq_mhz,swr\n7,1\n7.1\n7.2,3\n", "line 3"),
        ("a.csv", "freq_mhz,swr\n7,1\n7,1,2\n7,2,3\n", "semicolons"),
        ("a.csv", "freq_hz,swr\n7,1\n7.1,2\n7.2,3\n", "stated unit"),
        ("a.csv", "frequency,swr\n0.7,1\n7.1,2\n7.2,3\n", "a unit in the heading"),
        ("a.csv", "freq_mhz,swr\n7,0.5\n7.1,2\n7.2,3\n", "SWR of 1 or more"),
        ("a.csv", "freq_mhz,r,x\n7,-20,0\n7.1,2,0\n7.2,3,0\n", "gamma"),
        ("a.csv", "freq_mhz,r,x\n7,-50,0\n7.1,2,0\n7.2,3,0\n", "gamma"),
        ("a.s1p", "", "empty"),
        ("a.s1p", "# MHz S RI R 50\n", "none"),
        ("a.s1p", "lake\n", "valid Touchstone"),
        ("a.s1p", "# MHz S RI R 50\n7 nan 0\n7.1 0 0\n7.2 0 0\n", "point 1"),
        ("a.s1p", "# MHz S RI R 50\n7 0 0\n7.1 0 0\n7.2 1.03 0\n", "1.02"),
        ("a.s1p", "# MHz S RI R 50\n7 0 0\n7 0 0\n7.2 0 0\n", "higher than"),
        ("a.s1p", "# MHz S RI R 50\n7 0 0\n7.1 0\n7.2 0 0\n", "valid Touchstone"),
        ("a.pdf", "x", ".s1p"),
    ],
)
def test_bad_files_get_one_clear_line(tmp_path: Path, name: str, text: str, says: str) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(InputError) as refused:
        read_sweep(tmp_path / name)
    assert says in str(refused.value) and "\n" not in str(refused.value)


def test_missing_file_wrong_plane_and_not_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="readable"):
        read_sweep(tmp_path / "none.s1p")
    (tmp_path / "a.csv").write_bytes(b"freq\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_sweep(tmp_path / "a.csv")
    with pytest.raises(InputError, match="'radio' or 'transformer'"):
        Sweep.from_gamma(F, 0 * F + 0j, plane="shack")


def test_just_outside_the_circle_is_kept_as_infinite_swr() -> None:
    sweep = Sweep.from_gamma(F, np.full(F.shape, 1.01 + 0j))
    assert np.all(np.isinf(sweep.swr))


def test_dip_of_a_series_circuit_is_at_resonance() -> None:
    """Closed form: a series circuit is purely r at f0, so SWR there is r/50 = 1.2."""
    found = dips(Sweep.from_impedance(F, series_circuit(F)))
    assert len(found) == 1
    assert found[0][0] == pytest.approx(14.137e6, abs=300)
    assert found[0][1] == pytest.approx(1.2, abs=0.01)


def test_refined_dip_beats_the_grid_on_uneven_points() -> None:
    f = np.sort(np.random.default_rng(1).uniform(13.9e6, 14.5e6, 60))
    found = dips(Sweep.from_impedance(f, series_circuit(f, r=50)))
    assert abs(found[0][0] - 14.137e6) < 1000 < np.median(np.diff(f))
    assert found[0][1] == pytest.approx(1, abs=0.05)


def test_no_dip_at_an_end_or_in_noise() -> None:
    assert dips(Sweep.from_impedance(F, series_circuit(F, f0=15e6))) == []
    rng = np.random.default_rng(2)
    flat = 0.5 + 0.003 * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size))
    assert dips(Sweep.from_gamma(F, flat)) == []
    with pytest.raises(InputError):
        dips(Sweep.from_gamma(F, flat), prominence=0)


def test_infinite_values_are_not_written_to_csv(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="finite"):
        write_csv(Sweep.from_gamma(F, np.ones(F.shape) + 0j), tmp_path / "a.csv")
