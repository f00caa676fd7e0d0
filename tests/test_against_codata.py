"""CODATA: physical constants as scipy.constants gives them (2018 or 2022, which differ by 2e-10)."""

import pytest
from scipy import constants

from tautwire.model.basics import C0, EPS0, ETA0, MU0

SOURCE = "scipy.constants, CODATA"


@pytest.mark.validation
def test_constants(check):
    check("speed of light", SOURCE, constants.speed_of_light, C0, unit="m/s")
    check("permeability of vacuum", SOURCE, constants.mu_0, MU0, rel=1e-9, unit="H/m")
    check("permittivity of vacuum", SOURCE, constants.epsilon_0, EPS0, rel=1e-9, unit="F/m")
    impedance = constants.physical_constants["characteristic impedance of vacuum"][0]
    check("impedance of vacuum", SOURCE, impedance, ETA0, rel=1e-9, unit="ohm")
