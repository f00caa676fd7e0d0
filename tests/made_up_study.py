"""A made-up lakeside study for tests of figures and slides: its wire is a lossy line, not a solved antenna."""

from types import SimpleNamespace

import numpy as np

from tautwire.model.basics import C0
from tautwire.model.solve.response import Response, respond
from tautwire.studies.running.quality import LIMITS
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.result import Result, gather
from tautwire.studies.study.study import Study
from tautwire.studies.wants.dips.want import compute, finish

RAW = {
    "study": {
        "name": "lakeside slope",
        "question": "How does the slope move the dips at the lakeside park?",
        "bands": ["40 m", "20 m"],
    },
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.4 mm"},
    "counterpoise": [{"length": "2 m", "height": "10 cm"}],
    "coax": {"type": "RG-58", "length": "5 m"},
}
SLOPES = {"antenna.slope": {"from": "15 deg", "to": "60 deg", "step": "5 deg"}}


class LineWire:
    """Stands in for a solver: an open lossy line as long as the wire, shortened a little as it gets steeper."""

    def __init__(self, length: float, slope: float, loss: float) -> None:
        self.length, self.slope, self.loss = length, slope, loss

    def impedance(self, f_hz: float) -> complex:
        """Ohm: a line of 620 ohm with attenuation, and a short return conductor's capacitance in series."""
        reach = self.length * (1.05 - 0.05 * self.slope)
        turn = 2 * np.pi * f_hz / C0 * reach
        line = 620 / np.tanh(self.loss * turn + 0.12 + 1j * turn)
        return complex(line + 15 - 3e9j / f_hz)

    def solve(self, f_hz: float) -> SimpleNamespace:
        """The line's current, as far as its half-waves are counted."""
        size = np.full(80, self.length / 80)
        along = (np.arange(80) + 0.5) * size
        turn = (self.loss + 1j) * 2 * np.pi * f_hz / C0 * (1.05 - 0.05 * self.slope)
        mesh = SimpleNamespace(conductor=np.zeros(80, dtype=int), length=size, along=along)
        return SimpleNamespace(f_hz=f_hz, mesh=mesh, current=np.sinh(turn * (self.length - along)))

    def response(self, lower: float, upper: float) -> Response:
        return respond(self.impedance, lower, upper)


def made_up_study(**tables: object) -> Study:
    return read_study({**RAW, **tables})


def made_up_result(study: Study) -> Result:
    """The real "dips" tables of line wires in place of solved ones."""
    answers = {}
    for case in study.cases():
        setup = case.setup()
        built = setup.build()
        loss = 0.012 + 0.2 / (10 + built.ground.constants(10e6)[0]) * (1.2 - built.layout.slopes[0] / 2)
        solver = LineWire(built.layout.length, built.layout.slopes[0], loss)
        answers[case.index] = compute(setup, solver, study)  # type: ignore[arg-type]
        figures = dict.fromkeys(LIMITS, 0.05)
        answers[case.index]["quality"] = [{"band": b.name, **figures, "marks": ""} for b in study.bands]
    result = gather(study, answers, {})
    finish(result)
    return result
