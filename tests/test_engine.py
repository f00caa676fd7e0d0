"""The engine's door: the quick way of asking for currents gives what the usual way gives, and errors stay clear."""

import numpy as np
import PyNEC
import pytest

from tautwire.model.errors import SolveError
from tautwire.model.solve import engine
from tautwire.model.solve.engine import RECEIVING, USUAL, _short_circuit, admittance

BENT = (((0.0, 0.0, 1.5), (7.0, 0.0, 8.0), 21, 0.6e-3), ((0.0, 0.0, 1.5), (0.0, 4.0, 1.0), 9, 2e-3))
F = 14.2e6


@pytest.mark.parametrize("perfect", [False, True], ids=["free space", "perfect ground"])
def test_receiving_format_gives_the_same_currents(perfect):
    quick, usual = (_short_circuit(BENT, F, perfect, card) for card in (RECEIVING, USUAL))
    assert quick is not None, "the engine no longer gathers currents in the receiving format: every solve is slower"
    np.testing.assert_allclose(quick, usual, rtol=1e-12)


def test_usual_format_where_the_receiving_one_gives_nothing(monkeypatch):
    expected = admittance(BENT, F)
    monkeypatch.setattr(engine, "RECEIVING", (-1, 0, 0, 0))  # no currents are gathered
    assert _short_circuit(BENT, F, False, engine.RECEIVING) is None
    np.testing.assert_allclose(admittance(BENT, F), expected, rtol=1e-12)


def test_an_engine_that_refuses(monkeypatch):
    class Refusing(PyNEC.nec_context):
        def xq_card(self, _):
            raise RuntimeError("no")

    monkeypatch.setattr(engine.PyNEC, "nec_context", Refusing)
    with pytest.raises(SolveError, match=r"refused the wires at 14\.2 MHz: no"):
        admittance(BENT, F)
