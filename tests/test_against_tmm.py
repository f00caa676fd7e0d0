"""Plane-wave coefficients of layered soil: against tmm, a transfer-matrix library of optics (Byrnes 2016; PyPI).

tmm's time factor is exp(-jwt), so its indices are the conjugates of ours, and so are its coefficients.
"""

import numpy as np
import pytest
import tmm

from tautwire.model.basics import C0
from tautwire.model.fields.far_field import fresnel
from tautwire.model.soil.ground import GROUNDS, STACKS, Layer, LayeredGround

SOURCE = "tmm, coh_tmm"
SOILS = {
    **STACKS,
    "average soil": GROUNDS["average soil"],
    "three": LayeredGround(
        (Layer(GROUNDS["dry snow"], 0.2), Layer(GROUNDS["ice"], 0.5), Layer(GROUNDS["fresh water"], 1.5)),
        GROUNDS["sandy soil"],
    ),
}


@pytest.mark.validation
@pytest.mark.parametrize("f_hz", [1.9e6, 14e6, 50e6])
@pytest.mark.parametrize("name", SOILS)
def test_plane_wave_coefficients(check, name, f_hz):
    stack = SOILS[name].stack(f_hz)
    n = [1.0, *np.conj(np.sqrt(stack.n2))]
    depth = [np.inf, *stack.depth, np.inf]
    off = {"TE": 0.0, "TM": 0.0}
    for degrees in (1.0, 10.0, 30.0, 60.0, 89.0):
        rtm, rte = fresnel(SOILS[name], f_hz, np.radians([degrees]))
        tilt = np.radians(90 - degrees)
        te, tm = (np.conj(tmm.coh_tmm(p, n, depth, tilt, C0 / f_hz)["r"]) for p in "sp")
        off = {"TE": max(off["TE"], abs(rte[0] - te)), "TM": max(off["TM"], abs(rtm[0] - tm))}
    for way, error in off.items():
        check(f"{way} reflection, {name}, {f_hz / 1e6:g} MHz, largest difference", SOURCE, 0.0, error, abs=1e-10)
