"""One antenna at one frequency: a set-up, wires of one's own, or a card deck."""

from collections.abc import Mapping
from typing import Any

from tautwire.model.errors import InputError
from tautwire.model.solve.geometry_solver import GeometrySolver
from tautwire.model.wires.geometry import Geometry
from tautwire.studies.running.store import Store
from tautwire.studies.study import units
from tautwire.studies.study.nec_deck import Deck
from tautwire.studies.study.parts import as_written
from tautwire.studies.study.setup import Setup, SiteSpec
from tautwire.studies.wants.own import Solved, solved_of


def solve(
    antenna: Mapping[str, Any] | Geometry | Deck,
    frequency: str | float,
    soil: Any = None,
    store: Store | None = None,
) -> Solved:
    """Solve one antenna at one frequency: impedance, currents, fields, matrices and power.

    Parameters
    ----------
    antenna : mapping, Geometry or Deck
        Tables of a study file that describe a set-up, as for `predict`; wires of your own; or a card deck that was
        read by `read_deck`.
    frequency : str or float
        "14.1 MHz", or Hz; 1.6 to 60 MHz.
    soil : str, mapping or list, optional
        What lies under a Geometry, as "site.soil" of a study file has it: a name, constants, layers; average soil if
        left out. A set-up and a deck have their own.
    store : Store, optional
        Where matrices are kept and looked up; by default a folder in the user's cache, or $TAUTWIRE_CACHE.

    Returns
    -------
    Solved
        impedance (ohm), and methods that give labelled arrays.

    Raises
    ------
    InputError
        For a value that is not allowed, and for wires that cannot be solved.
    SolveError
        Where the engine gives no usable answer.

    Examples
    --------
    A wire of 20 m with a branch of 5 m, against two radials 10 cm above wet ground:

    >>> import tautwire
    >>> geometry = tautwire.Geometry(
    ...     wires=[
    ...         tautwire.OwnWire([(0, 0, 1.2), (0, 12, 6), (0, 19, 4)], name="wire"),
    ...         tautwire.OwnWire([(0, 12, 6), (5, 12, 6)], name="branch"),
    ...         tautwire.OwnWire([(0, 0, 1.2), (-1, 0, 0.1), (-5, 0, 0.1)], name="radial west"),
    ...         tautwire.OwnWire([(0, 0, 1.2), (1, 0, 0.1), (5, 0, 0.1)], name="radial east"),
    ...     ],
    ...     sources=[tautwire.Source(wire=0, at=0.0)],
    ... )
    >>> solved = tautwire.solve(geometry, "14.1 MHz", soil="wet ground")
    >>> solved.impedance.real > 0, sorted(set(solved.currents().conductor.values.tolist()))
    (True, ['branch', 'radial east', 'radial west', 'wire'])
    """
    f_hz = units.frequency(frequency, "frequency") if isinstance(frequency, str) else float(frequency)
    store = store or Store()
    if isinstance(antenna, Deck | Geometry):
        if isinstance(antenna, Deck):
            if soil is not None:
                raise InputError("soil", repr(soil), "nothing: the deck has its own")
            geometry, ground = antenna.geometry, antenna.ground
        else:
            site = SiteSpec() if soil is None else Setup.read({**_ANY, "site": {"soil": soil}}).site
            geometry, ground = antenna, site.ground()
        own = GeometrySolver(geometry, ground, remember=store)
        own_solution = own.solve(f_hz)
        cut = geometry.cut(own.parts(f_hz).span.upper, own.rules, over_soil=False)
        return Solved(f_hz, own_solution, own, [geometry.name(n) for n in cut.wire], cut.along)
    if not isinstance(antenna, Mapping):
        raise InputError("antenna", repr(antenna), "tables of a set-up, a Geometry or a Deck")
    if soil is not None:
        raise InputError("soil", repr(soil), "nothing: a set-up has site.soil")
    with as_written(antenna):
        read = Setup.read(antenna)
        built, feed = read.build(), read.feed_system()
        return solved_of(built.solver(store), feed, f_hz)


_ANY: dict[str, Any] = {"antenna": {"layout": "vertical", "length": "5 m"}}
