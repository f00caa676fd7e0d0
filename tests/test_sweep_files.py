"""Some sixty forms of sweep files, each read right or refused with the reason.

The numbers are a series circuit in closed form (R 40 ohm, resonant at 14.137 MHz) and what handbooks make of them: SWR,
return loss and reflection coefficient against 50 ohm. Touchstone: the options of its version 1.1, from memory.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tautwire.model.errors import InputError
from tautwire.studies.study.measurement import Sweep, dips, read_sweeps

F = np.round(np.linspace(13.9e6, 14.4e6, 26))
Z = 40 * (1 + 15j * (F / 14.137e6 - 14.137e6 / F))
G = (Z - 50) / (Z + 50)
SWR = (1 + abs(G)) / (1 - abs(G))
R, X, MHZ = Z.real, Z.imag, F / 1e6
RL, DEG = -20 * np.log10(abs(G)), np.degrees(np.angle(G))
YP = 1 / Z  # parallel equivalent
G75 = (Z - 75) / (Z + 75)
SWR75 = (1 + abs(G75)) / (1 - abs(G75))


def text(heads: str, *columns: np.ndarray, sep: str = ",", dec: str = ".", digits: int = 6, end: str = "") -> str:
    """A table as a spreadsheet saves it: heads parted by '|'; no heading line if empty."""
    rows = [sep.join(f"{v:.{digits}f}".replace(".", dec) for v in row) + end for row in zip(*columns, strict=True)]
    return "\n".join([*([sep.join(heads.split("|")) + end] if heads else []), *rows]) + "\n"


@dataclass(frozen=True)
class Form:
    """name: what is odd about it. content: of the file. gives: "z", "swr", or the reason for which it is refused.

    says: what the line about it must hold. sweeps: how many. file: its name.
    """

    name: str
    content: str | bytes
    gives: str = "z"
    says: str = ""
    sweeps: int = 1
    file: str = "a.csv"


def halves(heads: str, *columns: np.ndarray) -> str:
    """The table twice, one under the other, each with its heading line."""
    return text(heads, *columns) + text(heads, *columns)


FORMS = (
    # headings
    Form("hertz without a unit", text("Frequency|R|X", F, R, X), says="taken as Hz"),
    Form("megahertz without a unit", text("Freq|R|X", MHZ, R, X), says="taken as MHz"),
    Form("kilohertz without a unit", text("f|Rs|Xs", F / 1e3, R, X), says="taken as kHz"),
    Form("unit in brackets", text("Frequency [kHz]|R [Ohm]|X [Ohm]", F / 1e3, R, X)),
    Form("unit alone as heading", text("MHz|SWR", MHZ, SWR), "swr"),
    Form("units in a second line", "Frequency,R,X\nMHz,Ohm,Ohm\n" + text("", MHZ, R, X)),
    Form("units in the cells", "\n".join(["f,SWR", *(f"{a:.4f} MHz,{b:.5f}:1" for a, b in zip(MHZ, SWR, strict=True))]),
         "swr"),
    Form("upper case and signs", text("FREQ.(MHZ)|R(Ω)|X(Ω)", MHZ, R, X)),
    Form("resistance and reactance in words", text("Frequency MHz|Resistance|Reactance", MHZ, R, X)),
    Form("real and imaginary part", text("freq_mhz|Re(Z)|Im(Z)", MHZ, R, X)),
    Form("in gigahertz", text("Freq (GHz)|R|X", F / 1e9, R, X, digits=9)),
    Form("in kiloohm", text("f (MHz)|R (kohm)|X (kohm)", MHZ, R / 1e3, X / 1e3)),
    # what was measured
    Form("SWR", text("Frequency (MHz)|SWR", MHZ, SWR), "swr"),
    Form("VSWR", text("Frequency (MHz)|VSWR", MHZ, SWR), "swr"),
    Form("SWR with few digits", text("Frequency (MHz)|SWR", MHZ, SWR, digits=3), "swr"),
    Form("return loss", text("Frequency (MHz)|Return Loss (dB)", MHZ, RL), "swr", "return loss as SWR"),
    Form("return loss written negative", text("Frequency (MHz)|RL", MHZ, -RL), "swr"),
    Form("S11 in dB alone", text("Frequency (MHz)|S11 (dB)", MHZ, -RL), "swr"),
    Form("S11 in dB and degrees", text("Frequency (MHz)|S11 (dB)|S11 (deg)", MHZ, -RL, DEG)),
    Form("S11 in dB and phase", text("Frequency (Hz)|S11 (dB)|Phase (°)", F, -RL, DEG)),
    Form("S11 in dB and radians", text("Frequency (Hz)|S11 (dB)|S11 (rad)", F, -RL, np.radians(DEG))),
    Form("return loss and phase", text("MHz|RL (dB)|Phase S11", MHZ, RL, DEG)),
    Form("S11 linear and angle", text("MHz|Mag S11|Ang S11", MHZ, abs(G), DEG)),
    Form("S11 real and imaginary", text("MHz|Re(S11)|Im(S11)", MHZ, G.real, G.imag)),
    Form("|Z| and phase", text("MHz|\\|Z\\||Phase".replace("\\|", "¦"), MHZ, abs(Z), np.degrees(np.angle(Z)))
         .replace("¦", "|")),
    Form("impedance and angle sign", text("MHz|Z (Ohm)|∠Z (°)", MHZ, abs(Z), np.degrees(np.angle(Z)))),
    Form("parallel R and X", text("MHz|Rp|Xp", MHZ, 1 / YP.real, -1 / YP.imag)),
    Form("all at once", text("Frequency (Hz)|SWR|R|X|Z|Phase|Return Loss", F, SWR, R, X, abs(Z), DEG, RL),
         says="R and X"),
    Form("all at once, phase of S11 with |Z|", text("Frequency (Hz)|Z|RL|Phase", F, abs(Z), RL, DEG)),
    Form("all at once, phase of Z with RL", text("f (Hz)|Z|RL|Phase", F, abs(Z), RL, np.degrees(np.angle(Z)))),
    Form("more columns than needed", text("No|Frequency (MHz)|Power|SWR", np.arange(26), MHZ, 0 * F, SWR), "swr",
         "not used: No, Power"),
    Form("X without sign", text("MHz|R|X", MHZ, R, abs(X)), "swr", "no sign"),
    Form("X without sign, as the heading says", text("MHz;R;|X|".replace("|", "¦").replace(";", "|"), MHZ, R, abs(X))
         .replace("¦", "|"), "swr", "no sign"),
    Form("R and |Z| alone", text("MHz|R|Z", MHZ, R, abs(Z)), "swr", "no sign"),
    Form("phase without sign", text("MHz|S11 (dB)|Phase", MHZ, -RL, abs(DEG)), "swr", "no sign"),
    Form("SWR against 75 ohm beside R and X", text("MHz|SWR|R|X", MHZ, SWR75, R, X), says="75 ohm"),
    # how the table is written
    Form("semicolons and decimal commas", text("Frequency (MHz)|R|X", MHZ, R, X, sep=";", dec=","),
         says="decimal commas"),
    Form("tabs and decimal commas", text("Frequency (MHz)|SWR", MHZ, SWR, sep="\t", dec=","), "swr", "tabs"),
    Form("spaces", text("MHz|R|X", MHZ, R, X, sep=" "), says="spaces", file="a.txt"),
    Form("semicolon at each end", text("MHz|R|X", MHZ, R, X, sep=";", end=";")),
    Form("grouped thousands", "Freq;SWR\n" + "\n".join(f"{a:,.0f};{b:.4f}" for a, b in zip(F, SWR, strict=True)),
         "swr"),
    Form("points as thousands, decimal commas", "Freq;SWR\n" + "\n".join(
        f"{a:,.0f}".replace(",", ".") + f";{b:.4f}".replace(".", ",") for a, b in zip(F, SWR, strict=True)), "swr"),
    Form("cells in quotation marks",
         pd.DataFrame({"Frequency (MHz)": MHZ, "R": R, "X": X}).to_csv(index=False, quoting=1)),
    Form("with an index column", pd.DataFrame({"Frequency (MHz)": MHZ, "R": R, "X": X}).to_csv()),
    Form("UTF-8 with its mark", b"\xef\xbb\xbf" + text("Frequency (MHz)|R (Ω)|X (Ω)", MHZ, R, X).encode()),
    Form("UTF-16", text("Frequency (MHz)|R|X", MHZ, R, X, sep="\t").encode("utf-16")),
    Form("Latin-1", text("Frequency (MHz)|S11 (dB)|S11 (°)", MHZ, -RL, DEG).encode("latin-1")),
    Form("lines ended as on Windows", text("MHz|R|X", MHZ, R, X).replace("\n", "\r\n")),
    Form("a line that names the separator", "sep=;\n" + text("MHz|R|X", MHZ, R, X, sep=";")),
    Form("comments", "# park\n! windy\n" + text("MHz|R|X", MHZ, R, X) + "// end\n", says="3 comment lines"),
    Form("lines of text before the headings", "Sweep at the lake\nDate,2026-05-04\nPoints,26\n"
         + text("Frequency (MHz)|R|X", MHZ, R, X), says="3 lines of text skipped"),
    Form("highest frequency first", text("MHz|R|X", MHZ[::-1], R[::-1], X[::-1]), says="turned round"),
    Form("exponents", "\n".join(["Hz,R,X", *(f"{a:.6E},{b:.5E},{c:.5E}" for a, b, c in zip(F, R, X, strict=True))])),
    # without headings
    Form("no headings, SWR", text("", MHZ, SWR), "swr", "no headings"),
    Form("no headings, hertz, S11 re and im", text("", F, G.real, G.imag, sep=" "), says="s11_re", file="a.dat"),
    Form("no headings, SWR proves R and X", text("", MHZ, SWR, R, X), says="no headings"),
    Form("no headings, dB and degrees", text("", MHZ, -RL, DEG), says="s11_phase"),
    Form("no headings, R and X or |Z| and phase", text("", MHZ, R, np.clip(X, -80, 80)), "a heading line"),
    Form("no headings, four that do not agree", text("", MHZ, R, X, SWR + 3), "agree in one way"),
    Form("no headings, a column of anything", text("", MHZ, abs(G)), "column 2 must be SWR"),
    # several sweeps
    Form("headings again", halves("MHz|R|X", MHZ, R, X), sweeps=2),
    Form("frequency starts again", text("MHz|R|X", np.tile(MHZ, 3), np.tile(R, 3), np.tile(X, 3)), sweeps=3),
    Form("side by side", text("MHz|R|X|MHz|R|X", MHZ, R, X, MHZ, R, X), sweeps=2),
    Form("an SWR column for each place", text("MHz|SWR lake|SWR park", MHZ, SWR, SWR), "swr", sweeps=2),
    Form("frequency in the last column", text("R|X|MHz", R, X, MHZ)),
    Form("SWR before its frequency", text("SWR|Frequency (MHz)", SWR, MHZ), "swr"),
    Form("a heading beyond all numbers", text("MHz|SWR", np.append(MHZ, 1e308), np.append(SWR, 1)), "0.1 to 1000 MHz"),
    Form("titles between", "lake\n" + text("MHz|R|X", MHZ, R, X) + "park\n" + text("", MHZ, R, X), sweeps=2),
    # Touchstone
    Form("Touchstone, dB", "! x\n# MHz S DB R 50\n" + text("", MHZ, -RL, DEG, sep=" "), file="a.s1p"),
    Form("Touchstone, no unit order", "# S MA HZ R 50\n" + text("", F, abs(G), DEG, sep=" "), file="a.s1p"),
    Form("Touchstone by its option line", "# Hz S RI R 50\n" + text("", F, G.real, G.imag, sep=" "), file="a.txt"),
    Form("Touchstone, 75 ohm", "# Hz S RI R 75\n" + text("", F, G75.real, G75.imag, sep=" "), says="75 ohm",
         file="a.s1p"),
    Form("Touchstone of two ports", "# Hz S RI R 50\n", "one-port", file="a.s2p"),
    # refused, with the reason
    Form("commas for both", text("MHz|SWR", MHZ, SWR, dec=","), "semicolons or tabs"),
    Form("SWR that contradicts R and X", text("MHz|SWR|R|X", MHZ, SWR + 2, R, X), "columns that agree"),
    Form("unknown headings", text("MHz|Loudness", MHZ, SWR), "frequency with R and X"),
    Form("no frequency", text("SWR|R|X", SWR, R, X), "frequency with R and X"),
    Form("phase alone", text("MHz|Phase", MHZ, DEG), "frequency with R and X"),
    Form("frequencies of no unit that fits", text("Frequency|SWR", MHZ * 40, SWR), "a unit in the heading"),
    Form("an SWR below 1", text("MHz|SWR", MHZ, SWR - 0.5), "SWR of 1 or more"),
    Form("words among the numbers", text("MHz|SWR", MHZ, SWR * np.where(np.arange(26) % 4, 1, np.nan)), "line 2"),
    Form("prose", "The dip was at 14.1 MHz, roughly.\nNext day it was lower.\n", "measured points"),
    Form("a picture", b"\x89PNG\r\n\x1a\n\x00\x00\x00", "a text file"),
    Form("a spreadsheet's own file", b"PK\x03\x04\x00\x00", "CSV", file="a.xlsx"),
)  # fmt: skip


def written(form: Form, folder: Path) -> Path:
    path = folder / form.file
    path.write_bytes(form.content if isinstance(form.content, bytes) else form.content.encode())
    return path


def _z(sweep: Sweep) -> None:
    assert sweep.z is not None, sweep.how
    np.testing.assert_allclose(sweep.z, Z, rtol=2e-3, atol=0.05)


def _swr(sweep: Sweep) -> None:
    assert sweep.gamma is None, sweep.how
    np.testing.assert_allclose(sweep.swr, SWR, rtol=2e-3)


CHECKS: dict[str, Callable[[Sweep], None]] = {"z": _z, "swr": _swr}


@pytest.mark.parametrize("form", FORMS, ids=[f.name for f in FORMS])
def test_read_right_or_refused_with_the_reason(form: Form, tmp_path: Path) -> None:
    path = written(form, tmp_path)
    if form.gives not in CHECKS:
        with pytest.raises(InputError) as refused:
            read_sweeps(path)
        assert form.gives in str(refused.value) and "\n" not in str(refused.value)
        return
    sweeps = read_sweeps(path)
    assert len(sweeps) == form.sweeps
    for sweep in sweeps:
        np.testing.assert_allclose(sweep.f_hz, F, rtol=1e-6)
        CHECKS[form.gives](sweep)
        assert form.says in sweep.how and "\n" not in sweep.how and path.name in sweep.how
        assert dips(sweep)[0][0] == pytest.approx(14.137e6, abs=3000)


GOOD = text("MHz|R|X", MHZ, R, X)
COMPLEX = "".join(
    f"{f:.6f},{z.real:.4f}{'-' if z.imag < 0 else '+'}j{abs(z.imag):.4f}\n" for f, z in zip(MHZ, Z, strict=True)
)
POINTS = text("", F, G.real, G.imag, sep=" ")


@pytest.mark.parametrize(
    "content, file, left, says",
    [
        (GOOD.replace(GOOD.splitlines()[6], "14.000000,NaN,3"), "a.csv", [5], "left out: line 7 ('NaN')"),
        (GOOD.replace(GOOD.splitlines()[6], "over,1,3"), "a.csv", [5], "left out: line 7 ('over')"),
        (GOOD.replace(GOOD.splitlines()[6], ",1,3"), "a.csv", [5], "left out: line 7 (a number missing)"),
        (GOOD[: GOOD.rindex(",")], "a.csv", [25], "left out: line 27 (a number missing)"),
        (GOOD[: GOOD.rindex("\n14")] + "\n14.3", "a.csv", [25], "left out: line 27 (a number missing)"),
        (GOOD.replace(GOOD.splitlines()[6], GOOD.splitlines()[6] * 2), "a.csv", [5], "left out: line 7 ('5 cells')"),
        ("# Hz S RI R 50\n" + POINTS.replace(POINTS.splitlines()[3], "13900000 nan 0.1"), "a.s1p", [3], "line 5"),
        ("# Hz S RI R 50\n" + POINTS[: POINTS.rindex(" ")], "a.s1p", [25], "left out: line 27"),
        ("MHz,Z (ohm)\n" + COMPLEX, "a.csv", [], "R and X"),
        ("MHz;Z\n" + COMPLEX.replace(",", ";").replace(".", ","), "a.csv", [], "R and X"),
        ("MHz\tImpedance\n" + COMPLEX.replace(",", "\t").replace("j", " j ") + "14.6\tinf", "a.txt", [], "line 28"),
    ],
)  # fmt: skip
def test_what_is_good_is_read_and_what_is_not_is_said(
    tmp_path: Path, content: str, file: str, left: list[int], says: str
) -> None:
    (tmp_path / file).write_text(content)
    (sweep,) = read_sweeps(tmp_path / file)
    kept = np.delete(np.arange(len(F)), left)
    assert sweep.z is not None
    np.testing.assert_allclose(sweep.f_hz, F[kept], rtol=1e-6)
    np.testing.assert_allclose(sweep.z, Z[kept], rtol=2e-3, atol=0.05)
    assert says in sweep.how and "\n" not in sweep.how, sweep.how


def test_a_dummy_load_is_said(tmp_path: Path) -> None:
    for z, said in ((51 + 0.3j, True), (56 + 0j, False), (40 + 0j, False)):
        (tmp_path / "a.csv").write_text(text("MHz|R|X", MHZ, np.full(26, z.real), np.full(26, z.imag)))
        assert (
            "looks like a dummy load: reflection below 0.05 on the whole range"
            in read_sweeps(tmp_path / "a.csv")[0].how
        ) is said
    (tmp_path / "a.csv").write_text(text("MHz|R|X", MHZ[12:14], R[:2] * 0 + 50, R[:2] * 0 + 1) + "14.2,50,1\n")
    assert not read_sweeps(tmp_path / "a.csv")[0].dummy  # too narrow to tell


def test_bands_of_one_file_are_parted_so_that_no_gap_looks_like_a_dip(tmp_path: Path) -> None:
    f = np.concatenate([np.linspace(7.0, 7.2, 11), np.linspace(14.0, 14.35, 11)])
    swr = np.concatenate([np.linspace(3, 1.5, 11), np.linspace(1.8, 4, 11)])
    (tmp_path / "two.csv").write_text(text("MHz|SWR", f, swr))
    sweeps = read_sweeps(tmp_path / "two.csv")
    assert [round(s.f_hz[0] / 1e6) for s in sweeps] == [7, 14]
    assert [s.name for s in sweeps] == ["two 1", "two 2"]
    assert not any(dips(s) for s in sweeps)
