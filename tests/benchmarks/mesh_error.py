"""What the default mesh costs: dip, reflection and quality of a portable wire with segments finer by 2 and by 4.

Also what the soil's power changes if weaker waves are counted. The figures stand beside the constants they belong to:
model/wires/mesh.py, model/fields/power_balance.py, studies/running/quality.py, studies/wants/fit/fitting.py.

    python tests/benchmarks/mesh_error.py
"""

import numpy as np

import tautwire.model.fields.power_balance as soil_power
from tautwire.model.basics import reflection
from tautwire.model.operating.bands import Band, band_named
from tautwire.model.solve.solver import Solver
from tautwire.studies.running.quality import power_error
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import GRID, minima, swr_at_radio, the_dip, window

SETUP = Setup.read(
    {
        "site": {"soil": "average soil"},
        "antenna": {"layout": "sloper", "length": "20.4 m", "slope": "30 deg", "feed_height": "1.2 m"},
        "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
        "coax": {"type": "RG-58", "length": "5 m"},
    }
)


def mesh_errors(band: Band) -> None:
    """Print a line for each fineness."""
    built, feed = SETUP.build(), SETUP.feed_system()
    first: tuple[float, np.ndarray] | None = None
    for factor in (1, 2, 4):
        solver = Solver(built.structure, built.ground, built.rules.finer(factor) if factor > 1 else built.rules)
        response = solver.response(*window(band))
        f = np.linspace(response.lower, response.upper, GRID)
        dip, low = the_dip(minima(swr_at_radio(response, feed), f), band)
        gamma = reflection(feed.impedances(response.impedance(f), f).radio, feed.reference)
        first = first or (dip, gamma)
        asymmetry, power = solver.quality(band.upper)["y_asymmetry"], power_error(solver, band.lower)
        print(
            f"{band.name}, {factor} times as fine: dip {dip / 1e6:.4f} MHz ({(dip - first[0]) / 1e3:+.1f} kHz), "
            f"SWR {low:.3f}, reflection moved by {np.abs(gamma - first[1]).max():.4f} at most, "
            f"asymmetry {asymmetry:.4f}, power error {power:.4f}"
        )


def wave_errors(band: Band) -> None:
    """Print what the soil's power changes with waves counted down to exp(-16)."""
    built, usual = SETUP.build(), soil_power.DECAY
    solution = Solver(built.structure, built.ground, built.rules).solve(band.lower)
    watts = []
    for soil_power.DECAY in (16.0, usual):
        watts.append(soil_power.soil_power(solution))
    print(f"{band.name}: weaker waves change the soil's power by {watts[1] / watts[0] - 1:.1e}")


if __name__ == "__main__":
    for name in ("40 m", "20 m", "10 m"):
        mesh_errors(band_named(name))
        wave_errors(band_named(name))
