"""Study portable end-fed half-wave wire antennas over real soil with the NEC method of moments.

What will this wire do tonight? One set-up, written as people write it:

    >>> import tautwire
    >>> setup = {
    ...     "antenna": {"layout": "sloper", "length": "19.8 m", "feed_height": "1.2 m", "slope": "25 deg"},
    ...     "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    ...     "coax": {"type": "RG-58", "length": "5 m"},
    ... }
    >>> tautwire.predict(setup, bands=["40 m", "20 m"])[["band", "dip_mhz"]].round(1)
       band  dip_mhz
    0  40 m      7.1
    1  20 m     14.2

What changes it? A study sweeps any value of the set-up; every case becomes rows of tidy pandas frames:

    >>> study = tautwire.read_study({
    ...     "study": {"name": "lengths", "bands": ["20 m"]},
    ...     "sweep": {"antenna.length": ["19.3 m", "20.3 m"]},
    ...     **setup,
    ... })
    >>> tautwire.run(study, workers=0).frames["dips"][["length_m", "band", "dip_mhz"]].round(1)
       length_m  band  dip_mhz
    0      19.3  20 m     14.6
    1      20.3  20 m     13.9

What there is:

    predict(setup)          dips, SWR and feed impedance of one set-up on each band
    response(setup, band)   feed impedance and SWR of one set-up over a band, or over any range
    read_study(tables)      a study from a mapping, load_study(file) from a TOML file
    run(study)              its Result: frames, and the cases that failed; also columns by functions of your own
    solve(setup, frequency) impedance, currents, near and far field, matrix, power balance, as labelled arrays
    Geometry(wires, ...)    wires of your own for `solve`: OwnWire, Source, Load, Lumped, Line, WireType
    read_deck(file)         a NEC-2 card deck for `solve`
    fit(tables, sweeps)     values of a set-up fitted to measured sweeps; fitted(result) is the set-up it found
    why(tables, moves)      what may have changed, when dips moved
    turns(tables)           turns off the reel for each segment, fewest stops
    choose(tables)          of all that may vary, the set-ups that serve best
    explore(tables)         an offline page with sliders
    write(result, folder)   tables, plots, a summary and a page
    write_touchstone        a sweep as a .s1p file
    InputError              a value that is not allowed: what it is called, what was given, what to write instead
    SolveError              the engine gave no usable answer

Quantities carry their units ("66 ft 3 in", "12 deg", "5 mS/m"); columns of the frames carry theirs in their names and
are described in tautwire.studies.study.columns. What the names above are made of is in two packages: tautwire.model,
one antenna at one site in SI units, and tautwire.studies, questions asked of it.

The wire's ends carry hundreds of volts while transmitting, and a wire that touches a power line kills: README.md says
how to keep clear. Local codes and licensed practice come first.
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tautwire.model.errors import InputError, SolveError
    from tautwire.model.wires.geometry import Geometry, Line, Lumped, OwnWire, Source
    from tautwire.model.wires.structure import Load, WireType
    from tautwire.studies.questions.choose import choose
    from tautwire.studies.questions.explore import Explorer, explore
    from tautwire.studies.questions.fit import fit
    from tautwire.studies.questions.formats import write_touchstone
    from tautwire.studies.questions.solve import solve
    from tautwire.studies.questions.turns import turns
    from tautwire.studies.questions.why import why
    from tautwire.studies.reports.folder import write
    from tautwire.studies.running.one_setup import predict, response
    from tautwire.studies.running.runner import run
    from tautwire.studies.running.study_file import load_study, read_study
    from tautwire.studies.study.nec_deck import Deck, read_deck
    from tautwire.studies.study.result import Result
    from tautwire.studies.study.study import Study
    from tautwire.studies.wants.fit.fitted import fitted
    from tautwire.studies.wants.own import Solved

__version__ = "0.1.0"
__all__ = [
    "Deck",
    "Explorer",
    "Geometry",
    "InputError",
    "Line",
    "Load",
    "Lumped",
    "OwnWire",
    "Result",
    "SolveError",
    "Solved",
    "Source",
    "Study",
    "WireType",
    "choose",
    "explore",
    "fit",
    "fitted",
    "load_study",
    "predict",
    "read_deck",
    "read_study",
    "response",
    "run",
    "solve",
    "turns",
    "why",
    "write",
    "write_touchstone",
]

_HOMES = {
    "Deck": "tautwire.studies.study.nec_deck",
    "Explorer": "tautwire.studies.questions.explore",
    "Geometry": "tautwire.model.wires.geometry",
    "InputError": "tautwire.model.errors",
    "Line": "tautwire.model.wires.geometry",
    "Load": "tautwire.model.wires.structure",
    "Lumped": "tautwire.model.wires.geometry",
    "OwnWire": "tautwire.model.wires.geometry",
    "Result": "tautwire.studies.study.result",
    "SolveError": "tautwire.model.errors",
    "Solved": "tautwire.studies.wants.own",
    "Source": "tautwire.model.wires.geometry",
    "Study": "tautwire.studies.study.study",
    "WireType": "tautwire.model.wires.structure",
    "choose": "tautwire.studies.questions.choose",
    "explore": "tautwire.studies.questions.explore",
    "fit": "tautwire.studies.questions.fit",
    "fitted": "tautwire.studies.wants.fit.fitted",
    "load_study": "tautwire.studies.running.study_file",
    "predict": "tautwire.studies.running.one_setup",
    "read_deck": "tautwire.studies.study.nec_deck",
    "read_study": "tautwire.studies.running.study_file",
    "response": "tautwire.studies.running.one_setup",
    "run": "tautwire.studies.running.runner",
    "solve": "tautwire.studies.questions.solve",
    "turns": "tautwire.studies.questions.turns",
    "why": "tautwire.studies.questions.why",
    "write": "tautwire.studies.reports.folder",
    "write_touchstone": "tautwire.studies.questions.formats",
}


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first used, so that `import tautwire` costs nothing."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = globals()[name] = getattr(importlib.import_module(_HOMES[name]), name)
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
