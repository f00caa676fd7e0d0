"""Physical constants against CODATA as scipy.constants gives it (2018 or 2022, which differ by 2e-10)."""

import pytest
from scipy import constants

from tautwire.model.constants import C0, EPS0, ETA0, MU0


def test_constants():
    assert constants.speed_of_light == C0
    assert pytest.approx(constants.mu_0, rel=1e-9) == MU0
    assert pytest.approx(constants.epsilon_0, rel=1e-9) == EPS0
    assert pytest.approx(constants.physical_constants["characteristic impedance of vacuum"][0], rel=1e-9) == ETA0
