"""Transformer, line and feed against scikit-rf's own media, lumped elements and cascade."""

import math

import numpy as np
import pytest
import skrf
from skrf.media import DefinedGammaZ0, DistributedCircuit
from skrf.network import a2s

from tautwire.model.basics import C0, reflection
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.feed.coax import COAX_TYPES
from tautwire.model.feed.transformer import PORTABLE_49_TO_1, MagnetisingInductance, Transformer

pytestmark = pytest.mark.validation
GRID = skrf.Frequency(1.8, 54, 60, unit="mhz")
LUMPED = DefinedGammaZ0(GRID, z0=50)


def ideal_transformer(n):
    """S-parameters of an ideal 1 : n on 50 ohm (Pozar, Microwave Engineering, from memory)."""
    s = np.array([[1 - n**2, 2 * n], [2 * n, n**2 - 1]]) / (1 + n**2)
    return skrf.Network(frequency=GRID, s=np.tile(s, (len(GRID), 1, 1)), z0=50)


def as_network(chain):
    return skrf.Network(frequency=GRID, s=a2s(chain, 50), z0=50)


def cascade_of(t, shunt):
    """The transformer's circuit built part by part from scikit-rf elements; shunt: its magnetising branch."""
    resistance = LUMPED.resistor(t.winding_resistance * np.sqrt(GRID.f / t.winding_reference))
    return (
        LUMPED.shunt_capacitor(t.compensation_capacitance)
        ** resistance
        ** LUMPED.inductor(t.leakage_inductance)
        ** shunt
        ** ideal_transformer(t.turns_ratio)
        ** LUMPED.shunt_capacitor(t.terminal_capacitance)
    )


def shunt_impedance(z):
    """A shunt impedance as a two-port, from scikit-rf's ABCD to S conversion."""
    a = np.zeros((len(GRID), 2, 2), dtype=complex)
    a[:, 0, 0] = a[:, 1, 1] = 1
    a[:, 1, 0] = 1 / z
    return as_network(a)


def test_transformer_with_measured_inductance():
    t = Transformer(
        turns_ratio=8.0,
        magnetising=MagnetisingInductance(6e-6, resistance=700),
        leakage_inductance=0.3e-6,
        compensation_capacitance=150e-12,
        winding_resistance=0.2,
        terminal_capacitance=2e-12,
    )
    shunt = LUMPED.shunt_inductor(6e-6) ** LUMPED.shunt(LUMPED.resistor(700) ** LUMPED.short())
    assert np.allclose(as_network(t.chain(GRID.f)).s, cascade_of(t, shunt).s, atol=1e-9)


def test_transformer_with_ferrite_core():
    """Core branch written out here from the material's table: jw mu0 N^2 (mu' - j mu'') h ln(b/a)/(2 pi)."""
    t = PORTABLE_49_TO_1
    f, real, imag = np.array(t.magnetising.material.table).T
    x = np.log(GRID.f)
    mu = np.interp(x, np.log(f), real) - 1j * np.interp(x, np.log(f), imag)
    z = 1j * GRID.w * 2e-7 * 2**2 * mu * 12.7e-3 * math.log(35.55 / 23.0)
    assert np.allclose(as_network(t.chain(GRID.f)).s, cascade_of(t, shunt_impedance(z)).s, atol=1e-8)


@pytest.mark.parametrize("name", COAX_TYPES)
@pytest.mark.parametrize("z", [5 + 0j, 50 + 0j, 130 - 80j, 2450 + 600j])
def test_line_input_impedance(name, z):
    """A lossy line of real Z0 in scikit-rf, matched loss straight from the table's rows, slower and of higher impedance
    by the conductors' part of a/b, as the skin's reactance makes it.

    Ours adds the small reactive part of Z0: the reflection coefficients may differ by a/b.
    """
    coax = COAX_TYPES[name]
    f, db = np.array(coax.loss).T
    alpha, beta = db / 868.5889638, 2 * np.pi * f / (coax.velocity_factor * C0)
    within, skin = skrf.Frequency.from_f(f, unit="hz"), coax.attenuation(f)[0]
    media = DefinedGammaZ0(within, z0=50 * (1 + skin / beta), z0_port=50, gamma=alpha + 1j * (beta + skin))
    theirs = media.line(7.3, "m") ** DefinedGammaZ0(within, z0=50).load(reflection(z))
    ours = FeedSystem(None, coax, 7.3).impedances(z, f).radio
    assert (np.abs(reflection(ours) - theirs.s[:, 0, 0]) < alpha / beta).all()


@pytest.mark.parametrize("name", COAX_TYPES)
def test_line_with_the_same_complex_z0(name):
    """With our gamma and Z0 given, scikit-rf's line must be ours to rounding."""
    coax = COAX_TYPES[name]
    gamma, zc = coax.propagation(GRID.f)
    media = DefinedGammaZ0(GRID, z0=zc, z0_port=50, gamma=gamma)
    theirs = media.line(11.0, "m")
    assert np.allclose(as_network(coax.chain(11.0, GRID.f)).s, theirs.s, atol=1e-9)


@pytest.mark.parametrize("name", COAX_TYPES)
def test_complex_z0_against_distributed_circuit(name):
    """gamma and Zc from R, L, G, C per metre with scikit-rf's DistributedCircuit: the inductance is that of the space
    between the conductors and, by the skin effect, R/w (Ramo, Whinnery and Van Duzer, from memory)."""
    coax = COAX_TYPES[name]
    conductor, dielectric = coax.attenuation(GRID.f)
    v, (gamma, zc) = coax.velocity_factor * C0, coax.propagation(GRID.f)
    r, g = (gamma * zc).real, (gamma / zc).real
    assert (r > 0).all() and (g >= -1e-12).all()
    media = DistributedCircuit(GRID, R=r, L=coax.z0 / v + r / GRID.w, G=g, C=1 / (coax.z0 * v))
    assert np.allclose(gamma, media.gamma, rtol=1e-9)
    assert np.allclose(zc, media.z0_characteristic, rtol=1e-9)
    assert np.allclose(gamma.real, conductor + dielectric, rtol=1e-4), "the table's loss"


def test_thin_cable_on_160_m():
    """Its impedance is higher and capacitive where the skin is not thin; sqrt((R + jwL)/(jwC)) worked by hand for
    8.6 dB in 100 m: a/b = 0.126, so 1 + x - j x with x = 0.288."""
    r, w = 0.288 * 50 / 0.66 * 2 * np.pi * 1.9e6 / C0, 2 * np.pi * 1.9e6
    by_hand = np.sqrt((r + 1j * (w * 50 / (0.66 * C0) + r)) / (1j * w / (50 * 0.66 * C0)))
    assert by_hand == pytest.approx(57 - 6.3j, abs=0.2)
    zc = COAX_TYPES["RG-174"].propagation(1.9e6)[1]
    assert zc == pytest.approx(57 - 6.3j, abs=1.5), "from its table, some 9.6 dB"


def test_whole_feed():
    """Coax and transformer in cascade, wire at the end: impedance at the radio."""
    coax = COAX_TYPES["RG-58"]
    z = 2800 - 1200j + 40 * np.arange(len(GRID))
    gamma, zc = coax.propagation(GRID.f)
    line = DefinedGammaZ0(GRID, z0=zc, z0_port=50, gamma=gamma).line(5.0, "m")
    shunt = shunt_impedance(PORTABLE_49_TO_1.magnetising.impedance(2, GRID.f))
    theirs = line ** cascade_of(PORTABLE_49_TO_1, shunt) ** LUMPED.load(reflection(z))
    ours = FeedSystem(PORTABLE_49_TO_1, coax, 5.0)
    assert np.allclose(reflection(ours.impedances(z, GRID.f).radio), theirs.s[:, 0, 0], atol=1e-9)
    assert np.allclose(a2s(ours.chain(GRID.f), 50), (line ** cascade_of(PORTABLE_49_TO_1, shunt)).s, atol=1e-9)
