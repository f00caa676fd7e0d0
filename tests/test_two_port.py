"""A transformer from its measured two-port: scikit-rf writes, reads and converts beside ours; bad files."""

import numpy as np
import pytest
import skrf
from skrf.network import a2s

from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.transformer import PORTABLE_49_TO_1, MeasuredTransformer
from tautwire.studies.running.one_setup import predicted
from tautwire.studies.study.setup import Setup

F = np.linspace(1e6, 35e6, 171)
BANDS = np.array([3.6e6, 7.1e6, 14.2e6, 21.2e6, 28.5e6])
SETUP = {"antenna": {"layout": "sloper", "length": "19.8 m", "slope": "25 deg"}, "coax": {"length": "5 m"}}


def network(z0=50.0, turned=False):
    s = a2s(PORTABLE_49_TO_1.chain(F), 50)
    made = skrf.Network(f=F, f_unit="hz", s=s[:, ::-1, ::-1] if turned else s, z0=50)
    made.renormalize(z0)
    return made


def measured(path, **more):
    return Setup.read({**SETUP, "transformer": {"two_port": str(path), **more}}).feed_system()


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("z0", [50.0, 75.0])
@pytest.mark.parametrize("turned", [False, True])
def test_stands_for_the_transformer_it_was_measured_of(tmp_path, form, z0, turned):
    network(z0, turned).write_touchstone(str(tmp_path / "t"), form=form, r_ref=z0)
    feed, own = measured(tmp_path / "t.s2p"), FeedSystem(PORTABLE_49_TO_1, *_coax())
    for z in (2450 + 0j, 4400 - 900j, 1100 + 1400j):
        assert feed.impedances(z, BANDS).radio == pytest.approx(own.impedances(z, BANDS).radio, rel=4e-3)
        there, here = feed.power_split(z, BANDS), own.power_split(z, BANDS)
        assert there.core + there.winding == pytest.approx(here.core + here.winding, abs=2e-3)
        assert there.wire + there.coax + there.winding + there.mismatch == pytest.approx(np.ones(5), abs=1e-9)
    assert feed.transformer.turns_ratio == pytest.approx(7, rel=0.04)


def _coax():
    feed = Setup.read(SETUP).feed_system()
    return feed.coax, feed.coax_length


def test_chain_is_scikit_rfs():
    rng = np.random.default_rng(3)
    s = 0.4 * (rng.normal(size=(5, 2, 2)) + 1j * rng.normal(size=(5, 2, 2))) / 2
    s[:, 0, 1] = s[:, 1, 0] = 0.4 + 0.1j
    rows = np.column_stack([BANDS, s[:, 0, 0], s[:, 1, 0], s[:, 0, 1], s[:, 1, 1]])
    made = MeasuredTransformer.of(rows, 50.0)
    swapped = np.median(np.abs(skrf.network.s2a(s, 50)[:, 0, 0])) > 1
    expected = skrf.network.s2a(s[:, ::-1, ::-1] if swapped else s, 50)
    assert made.chain(BANDS) == pytest.approx(expected, rel=1e-9)


def test_a_new_measurement_is_a_new_answer(tmp_path):
    """Nothing stored is taken for what the file told before."""
    file = tmp_path / "t.s2p"
    network().write_touchstone(str(file.with_suffix("")))
    setup = {**SETUP, "study": {"bands": ["20 m"]}, "transformer": {"two_port": str(file)}}
    before = predicted({k: v for k, v in setup.items() if k != "study"}, spread=False).frames["dips"]
    made = network()
    more = np.tile(np.eye(2, dtype=complex), (len(F), 1, 1))
    more[:, 1, 0] = 2j * np.pi * F * 3e-12
    made.s = a2s(PORTABLE_49_TO_1.chain(F) @ more, 50)
    made.write_touchstone(str(file.with_suffix("")))
    after = predicted({k: v for k, v in setup.items() if k != "study"}, spread=False).frames["dips"]
    moved = 1e3 * (after["dip_mhz"] - before["dip_mhz"])[before["band"] == "20 m"].item()
    assert -600 < moved < -100  # 3 pF more at the wire's terminal: some 50 cm of wire


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ("1 0 0 .5 0 0 0 0 0\n2 0 0 .5 0 0 0 0 0\n3 0 0 .5 0 0 0 0 0\n", "measure both ways"),
        ("1 .9 0 .9 0 .9 0 .9 0\n2 0 0 .5 0 .5 0 0 0\n3 0 0 .5 0 .5 0 0 0\n", "passive"),
        ("1 0 0 0 0 0 0 0 0\n2 0 0 0 0 0 0 0 0\n3 0 0 0 0 0 0 0 0\n", "lets power through"),
        ("1 0 0 .5 0 .5 0 0 0\n2 0 0 .5 0 .5 0 0 0\n", "3 or more"),
        ("1 0 0 .5 0 .5 0 0 0\n5 0 0 .5 0 .5 0 0 0\n9 0 0 .5 0 .5 0 0 0\n", "the table has 1 to 9 MHz"),
        ("1 0 0\n2 0 0\n3 0 0\n4 0 0\n", "two-port"),
        ("", "measured points"),
    ],
)
def test_bad_files_are_told_in_one_line(tmp_path, lines, told):
    file = tmp_path / "bad.s2p"
    file.write_text("# MHz S RI R 50\n" + lines)
    with pytest.raises(InputError, match=told) as fault:
        measured(file).impedances(2450, 14e6)
    assert "transformer.two_port" in str(fault.value).replace("feed.", "") and "\n" not in str(fault.value)


@pytest.mark.parametrize(
    ("given", "told"), [("nothing.s2p", "is there"), ("README.md", r"\.s2p"), ("a\0.s2p", "is there")]
)
def test_bad_names_are_told(given, told):
    with pytest.raises(InputError, match=told):
        measured(given)


def test_beside_other_values_it_is_refused(tmp_path):
    network().write_touchstone(str(tmp_path / "t"))
    with pytest.raises(InputError, match="leakage_inductance"):
        measured(tmp_path / "t.s2p", leakage_inductance="0.2 uH")
    assert measured(tmp_path / "t.s2p", terminal_capacitance="2 pF").transformer.terminal_capacitance == 2e-12
