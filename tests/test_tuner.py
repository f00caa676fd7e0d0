"""What a tuner takes: against the network solved with its losses in it, and against the trade's rule for one part."""

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import minimize

from tautwire.model.errors import InputError
from tautwire.model.feed.tuner import tuner_loss_db
from tautwire.studies.running.runner import run
from tautwire.studies.running.study_file import read_study


def lossy_parts(value: float, coil_q: float, capacitor_q: float) -> complex:
    """A reactance with the resistance that its Q gives it."""
    return abs(value) / (coil_q if value > 0 else capacitor_q) + 1j * value


def solved_loss(z: complex, coil_q: float, capacitor_q: float) -> float:
    """dB of the best L network into 50 ohm, its parts lossy and found by a search for the match."""
    best = math.inf
    for load_first, signs in itertools.product((True, False), itertools.product((1, -1), repeat=2)):

        def network(x, load_first=load_first, signs=signs):
            series, shunt = (lossy_parts(s * math.exp(v), coil_q, capacitor_q) for s, v in zip(signs, x, strict=True))
            if load_first:  # series part at the load
                inside = z + series
                seen = 1 / (1 / inside + 1 / shunt)
                amps = seen / inside
                return seen, abs(amps) ** 2 * z.real
            inside = 1 / (1 / z + 1 / shunt)
            return inside + series, abs(inside / z) ** 2 * z.real

        def miss(x, network=network):
            seen = network(x)[0]
            return abs((seen - 50) / (seen + 50)) ** 2

        for start in itertools.product((2.0, 4.0, 6.0), repeat=2):
            found = minimize(miss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-16})
            if found.fun < 1e-10:
                seen, into = network(found.x)
                best = min(best, 10 * math.log10(seen.real / into))
    return best


@pytest.mark.parametrize("z", [150 + 0j, 16 + 0j, 90 - 60j, 20 + 50j, 400 + 100j])
@pytest.mark.parametrize("coil_q", [60.0, 200.0])
def test_loss_is_that_of_the_network_solved_with_its_losses(z: complex, coil_q: float) -> None:
    assert float(tuner_loss_db(z, coil_q=coil_q)) == pytest.approx(solved_loss(z, coil_q, 1000.0), rel=0.12, abs=0.005)


def test_a_resistance_costs_what_the_network_q_over_the_coil_q_says() -> None:
    """Heat over power is sqrt(SWR - 1) / Q of the coil, with perfect capacitors: any radio handbook, from memory."""
    for swr in (2.0, 3.0, 5.0):
        loss = tuner_loss_db([50 * swr, 50 / swr], coil_q=80, capacitor_q=1e9)
        assert loss == pytest.approx(10 * math.log10(1 + math.sqrt(swr - 1) / 80), rel=1e-6)


def test_no_match_no_loss_and_no_resistance_no_tuner() -> None:
    assert float(tuner_loss_db(50.0)) == 0
    assert np.isinf(tuner_loss_db([50j, 0.0])).all()
    with pytest.raises(InputError, match="tuner.coil_q"):
        tuner_loss_db(100.0, coil_q=0)


def test_a_poor_dip_has_its_price_and_a_good_one_needs_no_tuner() -> None:
    """6 m on a wire cut for 40 to 10 m: SWR near 3, some hundredths of a decibel."""
    raw = {
        "study": {"name": "price", "bands": ["20 m", "6 m"]},
        "antenna": {"layout": "sloper", "length": "19.81 m", "feed_height": "1 m", "slope": "25 deg"},
        "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm"},
        "coax": {"type": "RG-8X", "length": "15.24 m"},
    }
    result = run(read_study(raw), workers=0)
    good, poor = result.frames["dips"]["dip_tuner_db"]
    assert good == 0 < 0.005 < poor < 0.3
    said = [str(line) for line in result.answer] if not isinstance(result.answer, str) else result.answer.splitlines()
    assert any("tuner" in line and "6 m" in line for line in said)
