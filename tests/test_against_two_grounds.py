"""Two grounds that meet at a line: a boundary integral equation of the whole field, solved here, against the shore.

A plane wave comes in over the far ground, R2, and meets the near one; u is what its field on the ground differs by from
that over R2 alone. With an impedance d(x) over that of space (Leontovich), exp(j w t), k the wave number:

    u + (k/2) int d u H0(k |x - x'|) dx' = -(k/2) int_near (d1 - d2) (1 + R2) exp(j k x' cos e) H0 dx'

Nothing of the shore's asymptotics is in it, and by reciprocity what a current receives is what it would radiate.
(Green's theorem over a plane where the normal slope of Green's function vanishes: Jones, Acoustic and Electromagnetic
Waves, 1986, from memory.)
"""

import numpy as np
import pytest
import scipy

from tautwire.model.fields.terrain import Shore, at_shore, beyond, ways
from tautwire.model.soil.ground import UniformGround

pytestmark = pytest.mark.validation
SOURCE = "boundary integral equation of two grounds, solved in the test"
K = 2 * np.pi  # lengths in wavelengths
NEAR = {
    "average soil, 14 MHz": (13, 5e-3, 14.1e6),
    "dry soil, 28 MHz": (5, 1e-3, 28.4e6),
    "wet soil, 7 MHz": (30, 1e-2, 7.1e6),
}
LIMIT = {"upright": 0.1, "level, ahead": 0.05, "level, across": 0.05}
FAR = {"sea": (73.2, 4.29), "lake": (81.9, 3e-3)}


def impedance(er, sigma, f_hz, e, upright):
    """Over that of space, at elevation e: of waves polarised upright, or level."""
    n2 = complex(UniformGround(er, sigma).n2(f_hz))
    root = np.sqrt(n2 - np.cos(e) ** 2)
    return root / n2 if upright else root


def reflection(d, e):
    return (np.sin(e) - d) / (np.sin(e) + d)


def solved(edge, z, e, d1, d2, per=40):
    """Field at (0, z) less the wave that comes straight, and its slopes along x and z over j k; edge: its x."""
    left, right = min(edge, 0) - 3, max(edge, 0) + 1.5
    count = int(round((right - left) * per))
    h = (right - left) / count
    x = left + h * (np.arange(count) + 0.5)
    x += edge - x[np.argmin(np.abs(x - edge))] + h / 2  # the edge between two samples
    apart = np.abs(x[:, None] - x)
    kernel = scipy.special.hankel2(0, K * np.where(apart == 0, 1, apart))
    kernel[np.diag_indices(count)] = 1 - 2j / np.pi * (np.log(K * h / 4) + np.euler_gamma - 1)
    here = np.where(x < edge, d1, d2)
    source = (K / 2) * h * (d2 - d1) * (1 + reflection(d2, e)) * np.exp(1j * K * x * np.cos(e)) * (x < edge)
    u = np.linalg.solve(np.eye(count) + (K / 2) * h * kernel * here, kernel @ source)
    strength = source - (K / 2) * h * here * u
    far = np.hypot(x, z)
    h0, h1 = scipy.special.hankel2(0, K * far), scipy.special.hankel2(1, K * far)
    uniform = reflection(d2, e) * np.exp(-1j * K * z * np.sin(e))
    value = uniform + h0 @ strength
    along = uniform * np.cos(e) + (K * h1 * x / far) @ strength / (1j * K)
    up = -uniform * np.sin(e) + (-K * h1 * z / far) @ strength / (1j * K)
    return value, along, up


def mixed(distance, z, e, near, far, f_hz):
    """Reflection over the near ground's image by the model: level currents ahead, upright ones, level ones across."""
    shore = Shore(max(distance, 0.0), 0.0, UniformGround(*far))
    r = [
        tuple(np.array([reflection(impedance(*g, f_hz, e, up), e) * 1.0]) for up in (True, False)) for g in (near, far)
    ]
    place = np.array([[0.0, max(distance, 0.0) - distance, z]])
    mix = at_shore(shore, *r, place, ways(np.array([e]), np.array([0.0])), K)
    return [complex(m[0, 0]) for m in (mix.rtm_along, mix.rtm_up, mix.rte)]


@pytest.mark.parametrize("far", FAR)
@pytest.mark.parametrize("near", NEAR)
@pytest.mark.parametrize("e_deg", [3, 10, 30])
def test_shore_ahead(check, near, far, e_deg):
    """Currents a fiftieth to half a wave up, the shore from behind them to 5 waves ahead. The error is a share of the
    wave that comes straight, whose field across its way is 1; 0.05 of it is 0.4 dB where nothing cancels."""
    e, (er, sigma, f_hz) = np.radians(e_deg), NEAR[near]
    worst = dict.fromkeys(("upright", "level, ahead", "level, across"), 0.0)
    for z in (0.02, 0.2, 0.5):
        back = np.exp(-1j * K * z * np.sin(e))
        for distance in (-0.3, 0.1, 0.4, 1.4, 5.0):
            along, up, across = mixed(distance, z, e, (er, sigma), FAR[far], f_hz)
            d = [impedance(*g, f_hz, e, True) for g in ((er, sigma), FAR[far])]
            _, true_up, true_along = solved(distance, z, e, *d)
            # an upright current receives the slope along x, a level one that along z
            worst["upright"] = max(worst["upright"], abs(up * back * np.cos(e) - true_up))
            worst["level, ahead"] = max(worst["level, ahead"], abs(along * back * np.sin(e) + true_along))
            if distance in (0.1, 1.4):
                d = [impedance(*g, f_hz, e, False) for g in ((er, sigma), FAR[far])]
                value, _, _ = solved(distance, z, e, *d, per=60)
                worst["level, across"] = max(worst["level, across"], abs(across * back - value))
    for which, off in worst.items():
        check(f"{which}: {near}, {far} ahead, {e_deg} deg, worst", SOURCE, 0.0, off, abs=LIMIT[which])


def test_physical_optics_alone_is_decibels_off(check):
    """Why the transition has the pole of the surface wave: an upright current a twentieth of a wave up, 14 waves from
    the sea, 5 degrees above the horizon."""
    e, z, distance, near = np.radians(5.0), 0.05, 14.0, NEAR["average soil, 14 MHz"]
    d1, d2 = impedance(*near, e, True), impedance(*FAR["sea"], near[2], e, True)
    straight, back = np.exp(1j * K * z * np.sin(e)), np.exp(-1j * K * z * np.sin(e))
    true = straight + solved(distance, z, e, d1, d2)[1] / np.cos(e)
    out, up = np.array([[np.cos(e)]]), np.array([[np.sin(e)]])
    share = complex(beyond(np.array([distance]), np.array([z]), out, up, K)[0, 0])
    optics = straight + back * (reflection(d1, e) + (reflection(d2, e) - reflection(d1, e)) * share)
    ours = straight + back * mixed(distance, z, e, near[:2], FAR["sea"], near[2])[1]
    db = [20 * np.log10(abs(x) / abs(true)) for x in (optics, ours)]
    check("sea 14 waves ahead, 5 deg, gain against the equation's", SOURCE, 0.0, db[1], abs=0.2, unit="dB")
    assert db[0] > 3
